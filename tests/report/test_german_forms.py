"""The forms of a report in German: figures, columns and escapes as in English, in other words."""

from __future__ import annotations

import csv
import inspect
import io
import re
import unicodedata
from collections import Counter
from html.parser import HTMLParser

import pytest
from make_impact import HOSTILE, NOW, chain, hostile, quiet, rich
from openpyxl import load_workbook

from specctl.analysis import density_choice, layering, matter
from specctl.change.impact import Impact
from specctl.report import told_words
from specctl.report.csv_tables import csv_files
from specctl.report.html import _shares, render_html
from specctl.report.markdown import render_markdown
from specctl.report.numbers_whole import figures
from specctl.report.pages_folder import render_report
from specctl.report.tables import Column, Table, cell
from specctl.report.terminal import render_terminal
from specctl.report.told_words import cup_told
from specctl.report.tongue import speaking
from specctl.report.typed_control import typed_tables
from specctl.report.view import view_of
from specctl.report.workbook import workbook_bytes

IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}


class _Tags(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.tags: Counter[str] = Counter()
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in ("text", "tspan", "span"):  # as many lines and whole figures as the words need
            self.tags[tag] += 1


def _workbook(impact: Impact) -> dict[str, list[tuple[object, ...]]]:
    tables = typed_tables(impact, view_of(impact, now=NOW))
    book = load_workbook(io.BytesIO(workbook_bytes(tables, title=impact.title, stamp="")))
    return {sheet.title: [tuple(c.value for c in row) for row in sheet.iter_rows()] for sheet in book}


def _csv(impact: Impact) -> dict[str, list[list[str]]]:
    files = csv_files(typed_tables(impact, view_of(impact, now=NOW)))
    return {name: list(csv.reader(io.StringIO(data.decode(), newline=""))) for name, data in files.items()}


@pytest.mark.parametrize("name", IMPACTS)
def test_no_table_row_list_or_alarm_is_lost_and_none_is_made(name: str) -> None:
    impact = IMPACTS[name]()
    english = _Tags(render_html(view_of(impact, now=NOW)).decode())
    with speaking("de"):
        page = render_html(view_of(impact, now=NOW)).decode()
    assert _Tags(page).tags == english.tags
    assert '<html lang="de">' in page and "Änderungsprüfsumme" in page


def test_what_an_author_wrote_is_inert_between_german_words() -> None:
    impact = hostile()
    with speaking("de"):
        view = view_of(impact, now=NOW)
        linked = render_report(view, most=60_000)
        forms = [render_html(view).decode(), linked.first.decode(), *(page.decode() for page in linked.others.values())]
        markdown, terminal = render_markdown(view), render_terminal(view, 80)
    assert len(linked.others) > 1
    for page in forms:
        assert not set(_Tags(page).tags) & {"script", "img", "iframe", "object", "form", "b"}
    steering = {c for text in HOSTILE for c in text if c not in "\r\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn")}
    assert len(steering) > 2
    assert not any(c in page for c in steering for page in (*forms, markdown, terminal))
    # CommonMark 0.31, backslash escapes: an escaped bracket opens no tag.
    assert "<script" in markdown.lower() and not re.search(r"(?<!\\)<(script|img|b\b)", markdown, re.IGNORECASE)


def test_a_workbook_is_headed_in_german_and_its_figures_are_the_same() -> None:
    english = _workbook(rich())
    with speaking("de"):
        german = _workbook(rich())
    assert list(german) == list(english)
    for leaf, rows in english.items():
        assert len(rows) == len(german[leaf])
        same = [head for head, other in zip(rows[0], german[leaf][0], strict=True) if head == other]
        assert all(str(head).lower() in ("name", "start") for head in same), (leaf, same)
        for row, other in zip(rows[1:], german[leaf][1:], strict=True):
            for value, spoken in zip(row, other, strict=True):
                assert isinstance(value, str) or value == spoken, "a number or a day does not change its language"


def test_a_program_finds_the_columns_of_a_csv_file_in_any_language() -> None:
    english = _csv(rich())
    with speaking("de"):
        german = _csv(rich())
    for name, rows in english.items():
        assert german[name][0] == rows[0]
        for row, other in zip(rows[1:], german[name][1:], strict=True):
            for value, spoken in zip(row, other, strict=True):
                assert value not in ("yes", "no") or spoken == value
    assert english != german


# How German writes a sum is Unicode CLDR's `#,##0.00 ¤`.
@pytest.mark.parametrize(
    ("text", "whole"),
    [
        ("eine Woche +3,71 EUR, dann 94,23 g", ["+3,71 EUR", "94,23 g"]),
        ("−0,4 Prozentpunkte und 0,186 ± 0,007 g", ["−0,4 Prozentpunkte", "0,186", "0,007 g"]),
        ("GBP 0.41 and 28 g", ["GBP 0.41", "28 g"]),
        ("um 06:05 UTC", ["06", "05"]),
    ],
)
def test_a_figure_with_a_comma_is_not_parted(text: str, whole: list[str]) -> None:
    pieces = figures(text)
    assert "".join(piece for piece, _ in pieces) == text
    assert [piece for piece, is_whole in pieces if is_whole] == whole


def test_a_long_head_gets_more_room_than_the_same_word_below_it() -> None:
    def share(head: str, below: str) -> int:
        heads = ("Getränk", "Kosten je Becher", "Preise", head)
        rows = ((cell("Pear and sage fizz, Glass"), cell("0,524 USD"), cell("0,000 USD"), cell(below)),)
        return _shares(Table("", tuple(Column(name) for name in heads), rows))[3]

    assert share("Rezeptureffekt", "+0,021 USD") > share("Preise", "Rezeptureffekt je Tag")


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("no density of Oat foam is stated", "für Oat foam ist keine Dichte angegeben"),
        ("the composition of Oat and rye does not give a density at 62.5 °C", "aus der Zusammensetzung von Oat and rye ergibt sich bei 62,5 °C keine Dichte"),
        ("foam/foam: its grams are not known", "foam/foam: Die Gramm sind nicht bekannt"),
        ("pour it slowly", "pour it slowly"),
    ],
)
def test_why_a_cup_is_not_known_is_said_in_german(said: str, told: str) -> None:
    assert cup_told(said) == said
    with speaking("de"):
        assert cup_told(said) == told


def test_the_computation_still_says_what_is_said_again() -> None:
    """Else a changed sentence would stay English without anybody noticing."""
    code = "".join(inspect.getsource(module) for module in (layering, matter, density_choice))
    for form in told_words._CUPS:
        for part in re.split(r"\{[a-z]+\}", form):
            assert part in code, form
