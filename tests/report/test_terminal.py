"""The terminal form: nothing cut, nothing steering, a list where a table would not fit."""

from __future__ import annotations

import io
import re

import pytest
from make_impact import HOSTILE, NOW, chain, hostile, quiet, rich

from specctl.change.impact import Impact
from specctl.problem import Place, Problem
from specctl.report.clean import columns, visible
from specctl.report.terminal import print_report, problems_text, render_terminal, table_text
from specctl.report.view import view_of

WIDTHS = (40, 80, 120)
IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}


def shown(impact: Impact, width: int, colour: bool = False) -> str:
    return render_terminal(view_of(impact, now=NOW), width, colour)


def squeezed(text: str) -> str:
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", IMPACTS)
def test_no_line_is_wider_than_the_terminal_and_nothing_is_cut(name: str, width: int) -> None:
    text = shown(IMPACTS[name](), width)
    assert max(columns(line) for line in text.split("\n")) <= width
    assert "…" not in text


@pytest.mark.parametrize("width", WIDTHS)
def test_every_allergen_word_is_there_whole(width: int) -> None:
    impact = rich()
    lines = shown(impact, width).split("\n")
    names = {c.name for c in impact.allergens} | {name for _, _, name, _ in impact.cover.still_unknown}
    for word in {w for name in names for w in name.split()} | {"CONTAINS", "UNKNOWN", "REMOVED", "ADDED"}:
        assert any(re.search(rf"(?<!\w){re.escape(word)}(?!\w)", line) for line in lines), word


@pytest.mark.parametrize("width", (40, 80))
@pytest.mark.parametrize("name", IMPACTS)
def test_every_text_of_the_view_is_there_when_listed(name: str, width: int) -> None:
    # Folded over several columns a text is split between rows; below 80 most tables are lists.
    view = view_of(IMPACTS[name](), now=NOW)
    text = squeezed(render_terminal(view, width))
    for point in view.points:
        assert squeezed(visible(point.text)) in text


def test_a_narrow_table_is_a_list_and_a_wide_one_a_table() -> None:
    narrow, wide = shown(rich(), 80), shown(rich(), 120)
    assert "  Before → after: CONTAINS → not in its documents" in narrow
    assert re.search(r"Allergen +Drink or prep +Choice +Before → after +Way in +Sites", wide)


@pytest.mark.parametrize("colour", [False, True])
@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_neither_steers_nor_vanishes(text: str, colour: bool) -> None:
    out = shown(rich(why=text), 80, colour)
    bare = re.sub(r"\x1b\[[0-9;]*m", "", out)
    assert squeezed(visible(text)) in squeezed(bare)
    for character in "\x1b\x07\x08\r\u202e\u202c\u2066\u200b\ufeff\ue000":
        assert character not in bare


def test_a_table_keeps_ordinary_words_whole() -> None:
    rows = [["2-thicker-oat-foam", "in review", "franchise-manager for franchise/northsands", "a b c"]] * 3
    for width in range(40, 110):
        text = table_text(["Proposal", "State", "Waits for", "Why"], rows, width)
        for word in ("2-thicker-oat-foam", "franchise-manager", "franchise/northsands"):
            assert text.count(word) == 3, width
        assert max(columns(line) for line in text.split("\n")) <= width


def test_markup_is_text() -> None:
    assert "[milk, soya]" in shown(rich(why="allergens [milk, soya] [bold red]x[/]"), 80)


def test_colour_only_repeats_the_words() -> None:
    plain, coloured = shown(rich(), 80), shown(rich(), 80, True)
    assert "\x1b[" not in plain and "\x1b[1;31m" in coloured
    assert squeezed(re.sub(r"\x1b\[[0-9;]*m", "", coloured)) == squeezed(plain)


def test_the_environment_changes_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    before = shown(rich(), 80)
    for name, value in {"COLUMNS": "33", "TERM": "dumb", "FORCE_COLOR": "1", "JUPYTER_COLUMNS": "30"}.items():
        monkeypatch.setenv(name, value)
    assert shown(rich(), 80) == before


def test_a_command_is_cut_only_where_a_shell_joins_it_again() -> None:
    text = shown(rich(), 60)
    lines = [line.strip() for line in text.split("\n")]
    start = next(i for i, line in enumerate(lines) if line.startswith("specctl object"))
    joined = lines[start]
    while joined.endswith("\\"):
        start += 1
        joined = joined[:-1] + lines[start]
    assert joined == 'specctl object 12-oat-foam --role franchise-manager --scope franchise/northsands --note "why"'


def test_figures_stay_with_their_units() -> None:
    for width in WIDTHS:
        for line in shown(rich(), width).split("\n"):
            assert not re.match(r"\s*(g|ml|%)( |,|$)", line), line


def test_print_report_writes_the_same() -> None:
    out = io.StringIO()
    print_report(view_of(rich(), now=NOW), 80, out)
    assert out.getvalue() == shown(rich(), 80)


def test_problems_say_place_what_and_todo() -> None:
    problem = Problem("unit-unknown", Place("drinks/fizz.yaml", 7, 12), "'cp' is no unit \x1b[2J", "Write ml or g.")
    text = problems_text([problem], 40)
    assert text == (
        "drinks/fizz.yaml:7:12: error\nunit-unknown\n  'cp' is no unit ⟨U+001B⟩[2J\n  To do: Write ml or g.\n"
    )
    assert "⟨U+001B⟩" in text and "\x1b" not in text
    assert problems_text([], 80) == ""


def test_a_plain_table_folds_and_lists() -> None:
    rows = [["12-oat-foam", "in review", "A thicker salted oat foam that stays"], ["13-x", "draft", "[red]x[/red]"]]
    wide = table_text(["Proposal", "State", "Title"], rows, 100)
    assert "12-oat-foam   in review   A thicker salted oat foam that stays" in wide
    narrow = table_text(["Proposal", "State", "Title"], rows, 30)
    assert "- 12-oat-foam" in narrow and "  State: in review" in narrow and "[red]x[/red]" in narrow
