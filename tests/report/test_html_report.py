"""The HTML page: one file, nothing active, nothing folded that must be seen, read in a browser."""

from __future__ import annotations

import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest
from make_impact import HOSTILE, LONG_WORD, NOW, chain, hostile, quiet, rich

from specctl.change.impact import Impact
from specctl.report.clean import visible
from specctl.report.html import render_html
from specctl.report.view import view_of

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
from browser import DESK, PHONE, TABLET, look, opened_browser, printed  # noqa: E402

IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}
ALL = (PHONE, TABLET, DESK)
# What the templates use; anything else came out of somebody's text.
TAGS = set(
    "html head meta title style body header main footer section h1 h2 p a ul li strong div table caption colgroup col "
    "thead tbody tr th td br bdi span code details summary figure figcaption svg path rect "
    "circle defs desc g line pattern polygon clippath text tspan".split()
)
ATTRIBUTES = set(
    "lang charset http-equiv content name class href id aria-labelledby role scope data-label width "
    "data-stamp aria-label height viewbox shape-rendering fill d "
    "x y x1 x2 y1 y2 cx cy r rx xmlns stroke stroke-width stroke-dasharray stroke-opacity stroke-linejoin points "
    "patternunits clip-path fill-opacity font-family font-size font-weight text-anchor".split()
)


class Seen(HTMLParser):
    """Tags, attributes and text, as a parser of the HTML standard's tokens meets them."""

    def __init__(self, page: bytes) -> None:
        super().__init__(convert_charrefs=True)
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.open: list[str] = []
        self.folded: list[str] = []
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "br", "col"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        while self.open and self.open.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        if "style" not in self.open:
            self.words.append(data)
        if "details" in self.open:
            self.folded.append(data)

    @property
    def text(self) -> str:
        return " ".join("".join(self.words).split())


def page_of(impact: Impact) -> bytes:
    return render_html(view_of(impact, now=NOW))


def one_line(text: str) -> str:
    return " ".join(visible(text).split())


@pytest.mark.parametrize("name", IMPACTS)
def test_nothing_but_our_own_tags_and_attributes(name: str) -> None:
    seen = Seen(page_of(IMPACTS[name]()))
    assert {tag for tag, _ in seen.tags} <= TAGS
    assert {key for _, attributes in seen.tags for key in attributes} <= ATTRIBUTES
    for tag, attributes in seen.tags:
        assert (attributes.get("href") or "#").startswith("#"), tag
        assert "src" not in attributes


def test_the_policy_forbids_everything_but_the_page_s_own_style() -> None:
    seen = Seen(page_of(rich()))
    policies = [a["content"] or "" for t, a in seen.tags if t == "meta" and a.get("http-equiv") == "Content-Security-Policy"]
    assert len(policies) == 1
    assert policies[0].startswith("default-src 'none'; style-src 'sha256-")
    assert "script" not in policies[0] and "unsafe" not in policies[0] and "http" not in policies[0]


@pytest.mark.parametrize("name", IMPACTS)
def test_every_text_of_the_view_is_on_the_page(name: str) -> None:
    view = view_of(IMPACTS[name](), now=NOW)
    text = Seen(render_html(view)).text
    for wanted in view.texts():
        assert one_line(wanted) in text


def test_no_character_hides_or_steers() -> None:
    page = page_of(hostile()).decode("utf-8")
    for character in "\x1b\x07\x08\u202e\u202c\u2066\u2069\u200b\u200d\ufeff":
        assert character not in page
    assert "⟨U+202E⟩" in page and "⟨U+001B⟩" in page


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_stands_there_as_text(text: str) -> None:
    seen = Seen(page_of(rich(why=f"before {text} after")))
    assert one_line(f"before {text} after") in seen.text


@pytest.mark.parametrize("name", IMPACTS)
def test_allergens_are_never_folded_away(name: str) -> None:
    impact = IMPACTS[name]()
    seen = Seen(page_of(impact))
    folded = "".join(seen.folded)
    for change in impact.allergens:
        assert one_line(change.paths[0]) not in folded
    page = page_of(impact).decode("utf-8")
    start = page.index('<section id="allergens"')
    assert "<details" not in page[start : page.index("</section>", start)]


def test_same_view_same_bytes() -> None:
    assert page_of(rich()) == page_of(rich())


def test_tables_name_their_columns_and_rows() -> None:
    seen = Seen(page_of(rich()))
    tables = sum(t == "table" for t, _ in seen.tags)
    assert tables == sum(t == "caption" for t, _ in seen.tags) > 10
    scopes = [a.get("scope") for t, a in seen.tags if t == "th"]
    assert None not in scopes and {"row", "col"} == set(scopes)


@pytest.mark.parametrize("name", IMPACTS)
def test_it_holds_no_path_of_a_machine(name: str) -> None:
    page = page_of(IMPACTS[name]()).decode("utf-8")
    for start in ("/home/", "/tmp/", "/work/", "/root/", "/usr/", "file:", "C:\\"):
        assert start not in page


@pytest.mark.browser
def test_in_a_browser_at_three_widths(tmp_path: Path) -> None:
    folder = tmp_path / "report"
    folder.mkdir()
    with opened_browser() as browser:
        for name, widths in {"rich": ALL, "chain": ALL[:1], "quiet": ALL[:1], "hostile": ALL}.items():
            page, impact = folder / f"{name}.html", IMPACTS[name]()
            page.write_bytes(page_of(impact))
            for width in widths:
                seen = look(browser, page, width)
                assert (seen.errors, seen.requests) == ((), ())
                assert seen.overflow == 0, f"{name} at {width}: {seen.widest}"
                text = " ".join(seen.text.split())
                for change in impact.allergens:
                    assert one_line(change.name) in text
        assert LONG_WORD in seen.text
        assert printed(browser, folder / "rich.html").stat().st_size > 10_000
