"""A report too large for one page: linked pages, whole, small enough, and written all at once or not at all."""

from __future__ import annotations

import re
from dataclasses import replace
from functools import cache
from html import unescape
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote

import pytest
from make_impact import HOSTILE, NOW, chain, hostile, rich

from specctl.actions import report_files
from specctl.actions.report_files import write_report
from specctl.change.impact import Impact
from specctl.report.clean import visible
from specctl.report.html import render_html
from specctl.report.pages_folder import MOST, Report, render_report
from specctl.report.tables import Listing, Table
from specctl.report.view import View, view_of

SMALL = 60_000  # bytes a page may have here, so that a report of a few drinks needs several
NAME = "The report.html"


def many(impact: Impact, times: int) -> Impact:
    """The same changes of `times` drinks."""
    return replace(
        impact,
        amounts=tuple(replace(c, item=f"{c.item}-{n}", item_name=f"{c.item_name} {n}") for n in range(times) for c in impact.amounts),
        allergens=tuple(replace(c, item=f"{c.item}-{n}", item_name=f"{c.item_name} {n}") for n in range(times) for c in impact.allergens),
    )


@cache
def pages(name: str) -> tuple[View, Report]:
    view = view_of(many({"rich": rich, "chain": chain, "hostile": hostile}[name](), 12), now=NOW)
    return view, render_report(view, most=SMALL)


class Read(HTMLParser):
    """Links, ids, tags and words of a page."""

    def __init__(self, page: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.links: list[str] = []
        self.ids: set[str] = set()
        self.tags: list[str] = []
        self.words: list[str] = []
        self.inside = ""
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        found = dict(attrs)
        self.inside = tag
        if tag == "a":
            self.links.append(found.get("href") or "")
        if found.get("id"):
            self.ids.add(found["id"] or "")

    def handle_data(self, data: str) -> None:
        if self.inside != "style":
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())


def all_pages(report: Report) -> dict[str, bytes]:
    return {NAME: report.first, **{f"{report.folder}/{name}": data for name, data in report.others.items()}}


def test_a_small_report_stays_one_page_with_the_same_bytes() -> None:
    view = view_of(rich(), now=NOW)
    report = render_report(view)
    assert report == Report(render_html(view))
    assert len(report.first) <= MOST == 2_000_000


@pytest.mark.parametrize("name", ["rich", "chain", "hostile"])
def test_no_page_is_larger_than_the_limit(name: str) -> None:
    _, report = pages(name)
    assert len(report.others) >= 3
    assert max(map(len, all_pages(report).values())) <= SMALL


@pytest.mark.parametrize("name", ["rich", "chain", "hostile"])
def test_every_text_of_the_view_stands_on_some_page_and_nothing_is_folded(name: str) -> None:
    view, report = pages(name)
    read = [Read(page) for page in report.others.values()]
    text = " ".join(page.text for page in read)
    for wanted in view.texts():
        assert " ".join(visible(wanted).split()) in text
    assert not any(tag in ("details", "summary", "script", "iframe") for page in read for tag in page.tags)


def test_rows_stand_once_and_in_order() -> None:
    view, report = pages("rich")
    rows = sum(len(b.rows) for s in view.sections for b in s.blocks if isinstance(b, Table))
    tags = [tag for page in all_pages(report).values() for tag in Read(page).tags]
    heads = tags.count("thead")
    again = Read(report.others["index.html"]).tags
    assert tags.count("tr") - again.count("tr") == rows + heads - again.count("thead")
    amounts = "".join(data.decode() for name, data in report.others.items() if name.startswith("amounts"))
    captions = [unescape(re.sub("<[^>]*>", "", c)) for c in re.findall("<caption>(.*?)</caption>", amounts)]
    wanted = [b.caption for b in view.section("amounts").blocks if isinstance(b, Table)]
    assert [c for c in captions if not c.endswith(", continued")] == wanted


def test_every_page_says_what_it_belongs_to_and_the_way_back() -> None:
    view, report = pages("rich")
    total = len(report.others)
    assert f"page 1 of {total}" in Read(report.first).text
    seen = set()
    for name, data in report.others.items():
        page = Read(data)
        assert view.proposal in page.text and view.digest in page.text
        number = re.search(rf"page ([0-9]+) of {total}\b", page.text)
        assert number is not None
        seen.add(int(number[1]))
        assert "index.html" in page.links or name == "index.html"
        # The foot of every printed page: CSS writes what is no letter or digit as a code point.
        assert f"page {number[1]} of {total} of the report" in data.decode()
        assert re.search(rf"@top-center{{content:\"[^\"]*page {number[1]} of {total}", data.decode())
    assert seen == set(range(1, total + 1))


@pytest.mark.parametrize("name", ["rich", "chain", "hostile"])
def test_links_are_relative_and_lead_somewhere(name: str) -> None:
    _, report = pages(name)
    there = all_pages(report)
    reached = set()
    for here, data in there.items():
        page = Read(data)
        for link in page.links:
            assert not re.match("[a-z]+:|/", link)
            if link.startswith("#"):
                assert link[1:] in page.ids
                continue
            parts = [*here.split("/")[:-1], *unquote(link).split("/")]
            while ".." in parts:
                at = parts.index("..")
                del parts[at - 1 : at + 1]
            assert "/".join(parts) in there
            reached.add("/".join(parts))
    assert reached == set(there) - {NAME}


def test_file_names_are_plain_words() -> None:
    view = replace(view_of(many(rich(), 12), now=NOW), proposal="../../etc/x")
    with pytest.raises(Exception, match="file name"):
        render_report(view, most=SMALL)
    for name in (*pages("hostile")[1].others, pages("hostile")[1].folder):
        assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*(\.html)?", name)


def test_same_view_same_pages() -> None:
    view, report = pages("rich")
    assert render_report(view, most=SMALL) == report


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_stands_on_a_page_as_text(text: str) -> None:
    view = view_of(many(rich(title=f"before {text} after"), 12), now=NOW)
    report = render_report(view, most=SMALL)
    for page in all_pages(report).values():
        assert " ".join(visible(f"before {text} after").split()) in Read(page).text


def test_allergens_are_on_pages_that_print_whole() -> None:
    impact = many(rich(), 12)
    _, report = pages("rich")
    told = [Read(data) for name, data in all_pages(report).items() if "/allergens-" in name]
    assert told
    text = " ".join(page.text for page in told)
    for change in impact.allergens:
        assert change.name in text and change.item_name in text
    for name, data in report.others.items():
        if name.startswith("allergens-"):
            assert b"no-print" not in data.split(b"</style>")[-1]


def test_long_lists_go_on_under_their_own_lead() -> None:
    view, _ = pages("rich")
    long = Listing("Points", tuple(f"point {n} " + "word " * 30 for n in range(900)), alarm=True)
    section = replace(view.sections[0], blocks=(long,))
    report = render_report(replace(view, sections=(section,)), most=SMALL)
    text = " ".join(Read(page).text for page in report.others.values())
    assert all(f"point {n} word" in text for n in range(900)) and "Points, continued" in text


# writing


def first_of(folder: str) -> bytes:
    return f'<a href="{folder}/x-1.html">x</a>'.encode()


A, B = "2-foam-pages-" + "a" * 32, "2-foam-pages-" + "b" * 32


def test_a_new_report_takes_the_old_one_s_place(tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    write_report(out, first_of(A), A, {"x-1.html": b"old"})
    write_report(out, first_of(B), B, {"x-1.html": b"new"})
    assert {p.name for p in tmp_path.iterdir()} == {"report.html", B}
    assert (tmp_path / B / "x-1.html").read_bytes() == b"new"
    write_report(out, b"one page", "", {})
    assert {p.name for p in tmp_path.iterdir()} == {"report.html"}


def test_a_folder_that_holds_somebody_s_file_stays(tmp_path: Path) -> None:
    out = tmp_path / "report.html"
    write_report(out, first_of(A), A, {"x-1.html": b"old"})
    (tmp_path / A / "notes.txt").write_text("mine")
    write_report(out, b"one page", "", {})
    assert (tmp_path / A / "notes.txt").read_text() == "mine"


def test_half_a_folder_is_made_whole(tmp_path: Path) -> None:
    (tmp_path / A).mkdir()
    (tmp_path / A / "x-1.html").write_bytes(b"ha")
    write_report(tmp_path / "report.html", first_of(A), A, {"x-1.html": b"half", "x-2.html": b"two"})
    assert (tmp_path / A / "x-1.html").read_bytes() == b"half"
    assert {p.name for p in tmp_path.iterdir()} == {"report.html", A}


@pytest.mark.parametrize("stop", range(12))
def test_a_kill_at_any_file_operation_leaves_the_old_report_or_the_new(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stop: int
) -> None:
    out = tmp_path / "report.html"
    write_report(out, first_of(A), A, {"x-1.html": b"old"})
    left = stop

    class Killed(BaseException):
        pass

    def counted(act):  # type: ignore[no-untyped-def]
        def run(*given, **named):  # type: ignore[no-untyped-def]
            nonlocal left
            if left == 0:
                raise Killed
            left -= 1
            return act(*given, **named)

        return run

    # What a kill skips is everything after it: cleaning up as well.
    monkeypatch.setattr(report_files.shutil, "rmtree", counted(report_files.shutil.rmtree))
    monkeypatch.setattr(report_files.os, "rename", counted(report_files.os.rename))
    monkeypatch.setattr(report_files, "write_atomic", counted(report_files.write_atomic))
    monkeypatch.setattr(report_files, "sync_folder", counted(report_files.sync_folder))
    try:
        write_report(out, first_of(B), B, {"x-1.html": b"new", "x-2.html": b"too"})
        assert stop > 7
    except Killed:
        pass
    points = re.search(r'href="([^/"]+)/', out.read_text())
    assert points is not None
    shown = {p.name: p.read_bytes() for p in (tmp_path / points[1]).iterdir()}
    assert shown == {A: {"x-1.html": b"old"}, B: {"x-1.html": b"new", "x-2.html": b"too"}}[points[1]]
