"""The words for measures, verdicts, allergens and times."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from string import Formatter
from typing import Any

import pytest

from specctl.report.catalogue import ENGLISH
from specctl.report.words import (
    STATUSES,
    VERDICTS,
    ago_words,
    amount_words,
    date_words,
    error_words,
    fact_words,
    keep_words,
    measure_words,
    say,
    span_words,
    status_words,
    time_words,
    verdict_words,
)


def _line(by: str, *moves: tuple[str, str, str | None], **more: Any) -> dict[str, Any]:
    told = [{"tool": name.lower().replace(" ", "-"), "name": name, "times": times, "mark": mark}
            for name, times, mark in moves]  # fmt: skip
    measure = {"by": by, "moves": told, "gives": None, "off": None, "verdict": "within", "note": None}
    return {"grams": "28", "each": None, "rule": None, "measure": measure} | more


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (_line("scale", ("Bench scale", "1", "28 g")), "28 g on the Bench scale"),
        (_line("tools", ("Amber scoop", "2", None), ("Teal scoop", "1", None)),
         "2 level × Amber scoop + 1 level × Teal scoop"),
        (_line("tools", ("Amber scoop", "0.5", None)), "0.5 level × Amber scoop"),
        (_line("tools", ("Jigger", "1", "25 ml")), "25 ml line of the Jigger"),
        (_line("tools", ("Jigger", "2", "25 ml")), "2 × 25 ml line of the Jigger"),
        (_line("tools", ("Syrup pump", "3", None)), "3 strokes of the Syrup pump"),
        (_line("tools", ("Syrup pump", "1", None)), "1 stroke of the Syrup pump"),
        (_line("eye", rule="top to 15 mm below rim"), "top to 15 mm below the rim"),
        (_line("count", each="3"), "3 pieces"),
        (_line("count", each="1"), "1 piece"),
        (_line("none"), "no tool here for 28 g"),
    ],
)  # fmt: skip
def test_a_measure_reads_as_a_person_would_say_it(line: dict[str, Any], words: str) -> None:
    assert measure_words(line) == words


def test_a_hostile_tool_name_stays_inert_in_a_measure() -> None:
    assert measure_words(_line("tools", ("Amber\u202e\x1b", "1", None))) == "1 level × Amber⟨U+202E⟩⟨U+001B⟩"


@pytest.mark.parametrize(
    ("gives", "off", "words"),
    [("29.4", "1.4", "gives 29.4 g, 1.4 g over"), ("26.6", "-1.4", "gives 26.6 g, 1.4 g under"),
     ("28", "0", "gives 28 g, as asked"), (None, None, "what it gives is not known")],
)  # fmt: skip
def test_an_error_says_which_way(gives: str | None, off: str | None, words: str) -> None:
    assert error_words({"gives": gives, "off": off}) == words


def test_every_verdict_and_status_has_words_of_its_own() -> None:
    assert len({verdict_words(verdict) for verdict in VERDICTS}) == 4
    assert len({status_words(status) for status in STATUSES}) == 4
    assert verdict_words("no-tool") == "NOTHING HERE CAN MEASURE THIS"


def test_no_sentence_promises_what_nobody_can() -> None:
    # DESIGN, first promise on allergens: unknown is never shown as absence.
    for key, text in ENGLISH.items():
        assert not re.search(r"free[ -]from|[a-z]-free\b|\bsafe\b|no allergens", text, re.IGNORECASE), key


def test_every_sentence_is_a_whole_template_with_named_places() -> None:
    for key, text in ENGLISH.items():
        names = [name for _, name, spec, _ in Formatter().parse(text) if name is not None]
        assert all(name.isidentifier() for name in names), key


def test_a_missing_value_is_an_error_not_a_hole() -> None:
    with pytest.raises(KeyError):
        say("measure.pieces")


@pytest.mark.parametrize(
    ("span", "words"),
    [("24 h", "24 hours"), ("1 h", "1 hour"), ("90 min", "90 minutes"), ("2.5 h", "2 hours 30 minutes"),
     ("0.5 h", "30 minutes"), ("3 d", "3 days"), ("240", "240 minutes"), ("until close", "until close"),
     # Rounded down: 0.33 h is 19.8 minutes, and a hold time never grows.
     ("0.33 h", "19 minutes")],
)  # fmt: skip
def test_a_stated_span_is_read_out(span: str, words: str) -> None:
    assert span_words(span) == words


@pytest.mark.parametrize(
    ("minutes", "words"),
    [(0, "under a minute ago"), (1, "1 minute ago"), (119, "119 minutes ago"), (120, "2 hours ago"),
     (47 * 60 + 59, "47 hours ago"), (48 * 60, "2 days ago")],
)  # fmt: skip
def test_how_long_ago_is_never_rounded_up(minutes: int, words: str) -> None:
    assert ago_words(timedelta(minutes=minutes)) == words


def test_dates_and_times_are_written_out() -> None:
    assert date_words(date(2026, 11, 25)) == "25 November 2026"
    assert time_words(datetime(2026, 1, 2, 6, 5)) == "2 January 2026, 06:05"


def test_amounts_allergens_and_keeping_in_words() -> None:
    assert amount_words(_line("count", each="3")) == "3 pieces (28 g)"
    assert amount_words(_line("eye", rule="top to 15 mm below rim")) == "top to 15 mm below the rim (28 g)"
    barley = {"name": "barley", "group": "gluten"}
    assert fact_words(barley) == "barley (gluten)"
    assert fact_words(barley, {"gluten": "Cereals containing gluten"}) == "barley (cereals containing gluten)"
    assert fact_words({"name": "milk", "group": "milk"}) == "milk"
    assert keep_words("chilled") == "chilled" and keep_words("odd\x1b") == "odd⟨U+001B⟩"
