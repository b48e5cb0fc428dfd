"""`report --verify`: a page as it came is a yes; anything else is not, and says what is wrong."""

from __future__ import annotations

import io
import json
import re
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from counter_world import HOJICHA, MANAGERS, NOW, World, copied, git, own_machine, run

FORMS = {"html": "html", "json": "json", "markdown": "md", "xlsx": "xlsx", "pdf": "pdf"}
SCOPE = "northsands"


@pytest.fixture(scope="module")
def pages(with_open: World, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """One page in every form that can be checked, for one franchise."""
    folder = tmp_path_factory.mktemp("pages")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        for form, ending in FORMS.items():
            with_open.run("report", "4", "--for", SCOPE, "--as", form, "--out", folder / f"page.{ending}")
    return {form: folder / f"page.{ending}" for form, ending in FORMS.items()}


@pytest.mark.parametrize("form", FORMS)
def test_a_page_as_it_came_is_a_yes(form: str, pages: dict[str, Path], with_open: World) -> None:
    told = with_open.run("report", "--verify", pages[form])
    assert told.out.startswith("YES. ")
    digest = json.loads(pages["json"].read_bytes())["effect_digest"]
    assert digest in told.out and "names this digest today" in told.out
    assert "does not say that anybody has signed" in told.out
    said = with_open.run("report", "--verify", pages[form], "--json").json
    assert (said["holds"], said["form"], said["effect_digest"]) == (True, form, digest)


def test_the_day_it_is_checked_on_does_not_matter(pages: dict[str, Path], with_open: World) -> None:
    for form in ("html", "pdf"):
        assert with_open.run("report", "--verify", pages[form], now="2026-11-27T09:00:00Z").out.startswith("YES. ")


def changed(form: str, data: bytes) -> bytes:
    """A page whose words are altered and whose digest still stands."""
    if form == "json":
        shown = json.loads(data)
        shown["why"] += " Really."
        return json.dumps(shown).encode()
    if form == "xlsx":
        out = io.BytesIO()
        with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
            for entry in old.infolist():
                part = old.read(entry)
                new.writestr(entry, part.replace(b"warm days", b"cold days"))
        return out.getvalue()
    if form == "pdf":
        return data.replace(b"%%EOF", b"%%EOF ", 1)
    altered = re.sub(rb"warm (?=days)", b"cold ", data, count=1)
    assert altered != data
    return altered


@pytest.mark.parametrize("form", FORMS)
def test_a_page_with_other_words_under_the_same_digest_is_a_no(form: str, pages: dict[str, Path], with_open: World, tmp_path: Path) -> None:
    page = tmp_path / pages[form].name
    page.write_bytes(changed(form, pages[form].read_bytes()))
    told = with_open.run("report", "--verify", page, code=1)
    assert told.out.startswith("NO: ") and "Do not sign by it" in told.out
    assert with_open.run("report", "--verify", page, "--json", code=1).json["holds"] is False


def test_it_says_where_the_page_departs(pages: dict[str, Path], with_open: World, tmp_path: Path) -> None:
    for form in ("html", "markdown"):
        page = tmp_path / pages[form].name
        page.write_bytes(changed(form, pages[form].read_bytes()))
        told = with_open.run("report", "--verify", page, code=1)
        assert "cold days" in told.out and "the book gives" in told.out and "warm days" in told.out
    page = tmp_path / "page.json"
    page.write_bytes(changed("json", pages["json"].read_bytes()))
    assert "/why: the page has" in with_open.run("report", "--verify", page, code=1).out


@pytest.mark.parametrize(
    ("name", "alter"),
    [
        ("twice", lambda t: t.replace('"why":', '"why": "x", "why":', 1)),
        ("more", lambda t: t.replace('"why":', '"whyy": "x", "why":', 1)),
        ("number for a text", lambda t: re.sub(r'"cups_a_week": (\d+)', r'"cups_a_week": \1.0', t, count=1)),
        ("not a number", lambda t: t.replace('"release": null', '"release": NaN', 1)),
        ("digest", lambda t: re.sub(r'"effect_digest": "[0-9a-f]', '"effect_digest": "0', t, count=1)),
        ("effect", lambda t: re.sub(r'"start": "2026-12-\d\d"', '"start": "2026-12-24"', t)),
        ("allergen", lambda t: t.replace('"may_contain"', '"unknown"') if '"may_contain"' in t else t.replace('"untouched"', '"unmoved"')),
        ("deep", lambda t: '{"why":' + "[" * 100_000 + "]" * 100_000 + "," + t.lstrip()[1:]),
    ],
)
def test_json_that_lies_or_that_two_readers_read_apart_is_a_no(name: str, alter: object, pages: dict[str, Path], with_open: World, tmp_path: Path) -> None:
    text = pages["json"].read_text(encoding="utf-8")
    altered = alter(text)  # type: ignore[operator]
    if altered == text:
        pytest.skip("this page holds nothing of the kind")
    page = tmp_path / "page.json"
    page.write_text(altered, encoding="utf-8")
    assert with_open.run("report", "--verify", page, code=1).out[:3] != "YES"


def test_json_in_another_layout_is_the_same_page(pages: dict[str, Path], with_open: World, tmp_path: Path) -> None:
    page = tmp_path / "page.json"
    page.write_text(json.dumps(json.loads(pages["json"].read_bytes())), encoding="utf-8")
    assert with_open.run("report", "--verify", page).out.startswith("YES. ")


def test_a_real_page_that_is_old_is_no_longer_a_yes(pages: dict[str, Path], opened: World) -> None:
    opened.edit(HOJICHA, "{regular: 36 g, large: 48 g}", "{regular: 38 g, large: 50 g}")
    opened.run("propose", "--update", "4")
    for form in ("html", "json"):
        told = opened.run("report", "--verify", pages[form], code=1)
        assert told.out.startswith("NO LONGER. ") and "OLD" in told.out
        said = opened.run("report", "--verify", pages[form], "--json", code=1).json
        assert (said["same"], said["current"], said["holds"]) == (True, False, False)


def test_a_page_stays_true_when_main_moves_by_a_signature(pages: dict[str, Path], opened: World) -> None:
    opened.run("object", "4", "--note", "Wait.", "--key", opened.key(MANAGERS[SCOPE]))
    told = opened.run("report", "--verify", pages["html"])
    assert told.out.startswith("YES. ")
    assert "Wait" in opened.run("report", "4", "--for", SCOPE, "--as", "markdown").out


def test_a_released_page_is_still_found_true(played: tuple[World, object], tmp_path: Path) -> None:
    world = copied(played[0], tmp_path)
    page = tmp_path / "page.html"
    world.run("report", "2", "--as", "html", "--out", page)
    told = world.run("report", "--verify", page)
    assert told.out.startswith("YES. ") and "nothing is to be signed" in told.out


def test_a_report_of_several_pages_is_checked_with_all_of_them(opened: World, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from specctl.cli import report_forms
    from specctl.report.pages_folder import render_report
    from specctl.report.view import view_of

    monkeypatch.setattr(report_forms, "html_pages", lambda impact, day: render_report(view_of(impact, now=datetime(day.year, day.month, day.day, tzinfo=UTC)), most=70_000))
    first = tmp_path / "page.html"
    opened.run("report", "4", "--for", "marram", "--as", "html", "--out", first)
    [folder] = [f for f in tmp_path.iterdir() if f.name.startswith("4-firmer-foam-pages-")]
    for page in (first, folder / "index.html"):
        told = opened.run("report", "--verify", page)
        assert told.out.startswith("YES. ") and "pages that go with it" in told.out
    part = next(f for f in sorted(folder.iterdir()) if f.name != "index.html")
    assert "It is one of the" in opened.run("report", "--verify", part).out
    part.write_bytes(part.read_bytes().replace(b"</main>", b"<p>Free from nuts.</p></main>"))
    assert opened.run("report", "--verify", part, code=1).out.startswith("NO: ")
    assert f"the page {part.name}" in opened.run("report", "--verify", first, code=1).out
    part.unlink()
    assert "cannot be read" in opened.run("report", "--verify", first, code=1).out


def test_a_page_that_names_commits_of_nobody_s_is_a_no(pages: dict[str, Path], with_open: World, tmp_path: Path) -> None:
    text = pages["html"].read_text(encoding="utf-8")
    main = json.loads(pages["json"].read_bytes())["main"]
    page = tmp_path / "page.html"
    page.write_text(text.replace(main, "0" * 40), encoding="utf-8")
    assert with_open.run("report", "--verify", page, code=1).out.startswith("NO: ")


def test_a_commit_off_main_is_not_believed(pages: dict[str, Path], opened: World, tmp_path: Path) -> None:
    """A forger with a clone makes a side commit and a page from it; main never held it."""
    forged = git(opened.book, "commit-tree", "refs/heads/main^{tree}", "-p", "refs/heads/main", "-m", "side")
    text = pages["html"].read_text(encoding="utf-8")
    main = json.loads(pages["json"].read_bytes())["main"]
    page = tmp_path / "page.html"
    # All that such a page would say differently: what it was edited from stays where it was.
    page.write_text(re.sub(rf"(?<!Edited from</bdi></strong>: <bdi>){main}", forged, text), encoding="utf-8")
    assert opened.run("report", "--verify", page, code=1).out.startswith("NO: ")


def test_without_a_book_nothing_is_a_yes(pages: dict[str, Path], tmp_path: Path) -> None:
    for form, page in pages.items():
        told = run("report", "--verify", page, "--book", tmp_path, code=1)
        assert told.out.startswith("NOT PROVED")
        assert ("is the one its digest names" in told.out) == (form == "json")
    altered = tmp_path / "page.json"
    shown = json.loads(pages["json"].read_bytes())
    shown["effect"]["start"] = "2027-01-01"
    altered.write_text(json.dumps(shown), encoding="utf-8")
    assert run("report", "--verify", altered, "--book", tmp_path, code=1).out.startswith("NO: ")


@pytest.mark.parametrize("data", [b"", b"hello", b"{", b"{}", b"[]", b"PK\x03\x04broken", b"%PDF-1.7", b"<!doctype html>", b"\xff\xfe", b"{" * 50_000])
def test_what_is_no_page_is_told_so(data: bytes, with_open: World, tmp_path: Path) -> None:
    page = tmp_path / "page"
    page.write_bytes(data)
    told = with_open.run("report", "--verify", page, code=1)
    assert "is no report of this tool" in told.out


def test_words_that_do_not_fit(with_open: World, tmp_path: Path) -> None:
    assert "cannot be read" in with_open.run("report", "--verify", tmp_path / "none.html", code=1).err
    assert "which proposal" in with_open.run("report", code=2).err
    for form in ("csv", "xlsx", "pdf"):
        assert "not for a screen" in with_open.run("report", "4", "--as", form, code=2).err


def test_csv_is_a_folder_of_tables(with_open: World, tmp_path: Path) -> None:
    with_open.run("report", "4", "--for", SCOPE, "--as", "csv", "--out", tmp_path / "tables")
    names = {file.name for file in (tmp_path / "tables").iterdir()}
    assert {"about.csv", "allergens.csv", "amounts.csv", "costs.csv", "signatures.csv"} <= names
    assert not [n for n in names if not n.endswith(".csv")]


def test_the_frozen_day_is_the_page_s(pages: dict[str, Path]) -> None:
    assert f" {NOW[:10]}".encode() in pages["html"].read_bytes()

