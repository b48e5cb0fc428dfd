"""Hostile text: what must be shown, what must stay inert. Sources beside each check."""

from __future__ import annotations

import csv
import io
import unicodedata
from html.parser import HTMLParser

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from specctl.errors import Refused
from specctl.report.clean import (
    columns,
    file_name,
    for_csv,
    for_markdown,
    visible,
    visible_lines,
)
from specctl.report.plain import box, wrap

# Unicode UAX 9, section 2: the explicit direction characters and the marks.
BIDI = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
# ECMA-48: ESC and the C1 controls that start sequences (DCS, CSI, OSC, APC).
STARTERS = "\x1b\x90\x9b\x9d\x9f\x07\x08\r\x7f"


@pytest.mark.parametrize("character", [*BIDI, *STARTERS, "\u200b", "\ufeff", "\ue000", "\u0378", "\u2028"])
def test_a_character_that_steers_or_hides_is_shown_as_its_code_point(character: str) -> None:
    assert visible(f"milk{character}x") == f"milk⟨U+{ord(character):04X}⟩x"


def test_plain_words_of_many_scripts_stay_as_they_are() -> None:
    for text in ("Crème brûlée", "Tiếng Việt", "抹茶", "حليب", "молоко", "½ 28 g — 5 °C"):
        text = unicodedata.normalize("NFC", text)
        assert visible(text) == text


def test_a_tower_of_marks_is_cut_down_where_it_would_cover_other_lines() -> None:
    assert visible("a" + "\u0301" * 5) == "a" + "\u0301" * 3 + "⟨U+0301⟩" * 2
    assert visible("\u0301a") == "⟨U+0301⟩a"


@given(st.text())
def test_what_is_made_visible_holds_no_control_and_stays_the_same_when_done_twice(text: str) -> None:
    shown = visible(text)
    assert all(unicodedata.category(character)[0] != "C" for character in shown)
    assert "\n" not in shown and visible(shown) == shown


def test_line_feeds_part_lines_only_where_asked() -> None:
    assert visible_lines("a\nb\x1b") == ["a", "b⟨U+001B⟩"]


class _Inline(HTMLParser):
    """Collects the text and the tags of rendered Markdown."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.tags: set[str] = set()

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.tags.add(tag)

    def handle_data(self, data: str) -> None:
        self.words.append(data)


def _rendered(markdown: str) -> _Inline:
    # markdown-it-py: an independent reader of CommonMark with tables switched on.
    reader = pytest.importorskip("markdown_it").MarkdownIt("commonmark").enable("table")
    page = _Inline()
    page.feed(reader.render(markdown))
    return page


@given(st.text(min_size=1))
@example("a|b")
@example("`|`")
def test_escaped_markdown_reads_as_the_text_itself_in_a_table_cell(text: str) -> None:
    page = _rendered(f"| head |\n| --- |\n| {for_markdown(text)} |\n")
    assert page.tags == {"table", "thead", "tbody", "tr", "th", "td"}
    cells = "".join(page.words).replace("head", "", 1).strip()
    assert cells == visible(text).strip()


@pytest.mark.parametrize(
    "text",
    ["# big", "- item", "1. one", "+ x", "> said", "    code", "`x`", "**b**", "_i_", "[a](http://b.example)",
     "![a](b)", "<script>", "<http://b.example>", "a|b", "&lt;", "---", "===", "~~~", "\\", "a  "],
)  # fmt: skip
def test_each_active_form_of_markdown_is_inert(text: str) -> None:
    page = _rendered(for_markdown(text))
    assert page.tags == {"p"} and "".join(page.words).strip() == visible(text).strip()


# OWASP, "CSV Injection": cells starting with these are run as formulas.
@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-2+3", "@sum", "\t=1", "\r=1", " =1", "＝1"])
def test_no_cell_of_a_csv_starts_like_a_formula(text: str) -> None:
    stream = io.StringIO()
    csv.writer(stream).writerow([for_csv(text), "next"])
    [cell, after] = next(csv.reader(io.StringIO(stream.getvalue())))
    assert cell.lstrip(" ")[0] not in "=+-@\t\r＝" and after == "next"


def test_a_plain_signed_number_stays_a_number_in_csv() -> None:
    assert [for_csv(text) for text in ("-1.4", "+2", "28")] == ["-1.4", "+2", "28"]


# The device names are those of Windows ("Naming Files, Paths, and Namespaces"), from memory.
@pytest.mark.parametrize(
    "name",
    ["", ".", "..", "a/b", "a\\b", ".hidden", "A.html", "a b", "con", "nul.txt", "com1.html", "a.html\n",
     "x" * 101, "a..b", "-a", "ä.html"],
)  # fmt: skip
def test_a_file_name_that_could_leave_its_folder_is_refused(name: str) -> None:
    with pytest.raises(Refused):
        file_name(name)


def test_an_ordinary_file_name_passes() -> None:
    assert file_name("allergens-2.html") == "allergens-2.html"


@given(st.text(), st.integers(min_value=8, max_value=80))
def test_wrapped_text_loses_no_letter_and_keeps_to_its_width(text: str, width: int) -> None:
    shown = visible(text)
    lines = wrap(shown, width)
    assert "".join("".join(lines).split()) == "".join(shown.split())
    assert all(columns(line) <= width for line in lines)


def test_a_wide_letter_takes_two_columns() -> None:
    # Unicode UAX 11: CJK ideographs are wide.
    assert columns("抹茶") == 4 and columns("e\u0301") == 1


def test_a_box_is_even_on_all_sides() -> None:
    rows = box(["ASK BEFORE ANSWERING", "抹茶 " * 30], 40)
    assert {columns(row) for row in rows} == {40}
