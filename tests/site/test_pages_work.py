"""How staff work a card: where to tare, running totals, two at once, and what the errors leave out."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D
from typing import Any

import pytest

from specctl.report.catalogue import ENGLISH
from specctl.report.two_words import two_words
from specctl.site.pages_tare import tare_words, weighings
from specctl.site.pages_text import card_text
from specctl.site.pages_work import work_of


def weighed(key: str, grams: str, mark: str | None = None, **more: Any) -> dict[str, Any]:
    """A line on a scale that reads to 1 g and takes 500 g, with 10 % either way unless stated."""
    mark = mark or grams
    side = more.pop("side", str(D(grams) / 10))
    move = {"tool": "scale", "kind": "scale", "name": "Scale", "times": "1", "mark": f"{mark} g", "step": "1", "most": "500"} | more
    off = str(D(mark) - D(grams))
    measure = {"by": "scale", "moves": [move], "gives": mark, "off": off, "verdict": "within", "note": None}
    return line(key, grams, measure, side)


def scooped(key: str, grams: str, times: str, gives: str, **more: Any) -> dict[str, Any]:
    move = {"tool": "amber", "kind": "scoop", "name": "Amber scoop", "times": times, "mark": None}
    measure = {"by": "tools", "moves": [move], "gives": gives, "off": str(D(gives) - D(grams)), "verdict": "within", "note": None}
    return line(key, grams, measure | more, str(D(grams) / 10))


def line(key: str, grams: str, measure: dict[str, Any], side: str = "0") -> dict[str, Any]:
    return {
        "key": key, "of": f"ingredient/{key}", "name": key, "grams": grams, "each": None, "rule": None,
        "tolerance": {"minus": side, "plus": side}, "measure": measure,
    }  # fmt: skip


def size(*layers: tuple[str, list[dict[str, Any]]]) -> dict[str, Any]:
    """Layers by name; one whose name begins with `apart` is made apart."""
    told = [{"key": k, "name": k, "lines": lines} | ({"apart": True} if k.startswith("apart") else {}) for k, lines in layers]
    return {"key": "one", "name": "One", "vessel": None, "makes_g": "1", "layers": told}


def entry(*layers: tuple[str, list[dict[str, Any]]], item: str = "drink/it") -> dict[str, Any]:
    return {
        "entry": 1, "item": item, "name": "It", "market": "gb",
        "list": {"id": "l", "name": "L", "source": "S", "groups": {}}, "sizes": [size(*layers)], "steps": [], "options": [],
        "substitutes": [], "allergens": [], "hold": None, "equipment": [], "cautions": [], "claims": [],
    }  # fmt: skip


def said(*layers: tuple[str, list[dict[str, Any]]], is_prep: bool = False) -> list[str]:
    return [tare_words(found) for found in weighings(size(*layers), is_prep).values()]


def test_running_totals_across_layers_of_one_cup() -> None:
    words = said(("a", [weighed("syrup", "46.72", "47")]), ("b", [weighed("ice", "70"), weighed("tea", "110")]))
    assert words == ["vessel on, TARE, then to 47 g", "no tare: on to 117 g in all", "no tare: on to 227 g in all"]


def test_a_layer_made_apart_starts_anew_and_so_does_the_next() -> None:
    words = said(("a", [weighed("x", "40")]), ("apart", [weighed("y", "30"), weighed("z", "20")]), ("c", [weighed("w", "50")]))
    assert words[1:] == ["TARE, then to 30 g", "no tare: on to 50 g in all", "TARE, then to 50 g"]


def test_what_is_not_weighed_in_between_ends_the_total() -> None:
    words = said(("a", [weighed("x", "40"), scooped("ice", "70", "1", "70"), weighed("z", "20")]))
    assert words == ["vessel on, TARE, then to 40 g", "TARE, then to 20 g"]


def test_another_scale_starts_anew() -> None:
    words = said(("a", [weighed("x", "40"), weighed("y", "30", tool="fine"), weighed("z", "20")]))
    assert words[1:] == ["TARE, then to 30 g", "TARE, then to 20 g"]


@pytest.mark.parametrize(
    ("side", "words"), [("1", "no tare: on to 50 g in all"), ("0.99", "TARE, then to 10 g")]
)
def test_a_difference_of_two_readings_is_rounded_twice(side: str, words: str) -> None:
    # each reading is off by up to half a step, so their difference by up to a whole one (arithmetic)
    assert said(("a", [weighed("x", "40"), weighed("y", "10", side=side)]))[1] == words


def test_a_rounded_reading_leaves_less_room() -> None:
    # 9.6 g shown as 10 g is 0.4 g over: with a step of 1 g it needs 1.4 g above
    assert said(("a", [weighed("x", "40"), weighed("y", "9.6", "10", side="1.4")]))[1] == "no tare: on to 50 g in all"
    assert said(("a", [weighed("x", "40"), weighed("y", "9.6", "10", side="1.3")]))[1] == "TARE, then to 10 g"


def test_more_than_the_scale_takes_is_weighed_apart() -> None:
    # a tare takes nothing off the pan: what stands on it counts against the most it takes (OIML R 76-1 on subtractive tare; from memory)
    words = said(("a", [weighed("x", "300"), weighed("y", "200"), weighed("z", "20"), weighed("w", "5", side="2")]))
    assert words[1] == "no tare: on to 500 g in all"
    assert words[2].startswith("weigh it apart, TARE, then to 20 g:") and "500 g" in words[2]
    assert words[3].startswith("weigh it apart, TARE, then to 5 g:")
    assert said(("a", [weighed("x", "300"), weighed("y", "201", most="9000")]))[1] == "no tare: on to 501 g in all"


def test_an_entry_that_tells_no_step_gets_no_totals() -> None:
    old = [weighed("x", "40"), weighed("y", "30")]
    for each in old:
        del each["measure"]["moves"][0]["step"]
    assert said(("a", old))[1] == "TARE, then to 30 g"


def test_a_prep_that_is_boiled_or_strained_is_tared_at_every_line() -> None:
    assert said(("apart", [weighed("x", "40"), weighed("y", "30")]), is_prep=True)[1] == "TARE, then to 30 g"
    assert said(("mix", [weighed("x", "40"), weighed("y", "30")]), is_prep=True)[1] == "no tare: on to 70 g in all"


def test_two_at_once_are_twice_the_single_amount() -> None:
    assert two_words(weighed("x", "38.59", "39")) == "two at once: 78 g on the Scale"
    assert two_words(scooped("y", "8", "2", "8.4")) == "two at once: 4 level × Amber scoop; gives 16.8 g, 0.8 g over"
    count = line("z", "6", {"by": "count", "moves": [], "gives": None, "off": None, "verdict": "within", "note": None})
    assert two_words(count | {"each": "2"}) == "two at once: 4 pieces"
    assert two_words(line("w", "", {"by": "eye", "moves": [], "gives": None, "off": None, "verdict": "within", "note": None})) == ""


def test_what_the_entry_tells_for_two_goes_before() -> None:
    better = scooped("y", "16", "1", "16")["measure"] | {"verdict": "outside"}
    words = two_words(scooped("y", "8", "3", "8.4") | {"double": better})
    assert words == "two at once: 1 level × Amber scoop; gives 16 g, as asked; OUTSIDE tolerance"
    none = {"by": "none", "moves": [], "gives": None, "off": None, "verdict": "no-tool", "note": None}
    assert two_words(weighed("x", "300") | {"double": none}) == "two at once: no tool here takes both, measure one after the other"


def test_two_are_told_only_for_what_is_made_apart() -> None:
    whole = entry(("cup", [weighed("x", "40")]), ("apart", [weighed("y", "30"), weighed("z", "300")]))
    found = work_of(whole["sizes"][0], whole)
    assert found["cup", "x"] == ("vessel on, TARE, then to 40 g",)
    assert found["apart", "y"][1] == "two at once: 60 g on the Scale"
    assert found["apart", "z"][1].endswith("weigh the two apart, one vessel is too much for the scale")
    prep = entry(("apart", [weighed("y", "30")]), item="prep/it")
    assert all("two at once" not in words for told in work_of(prep["sizes"][0], prep).values() for words in told)


def test_the_card_says_what_is_not_modelled_where_errors_are_shown() -> None:
    def text(whole: dict[str, Any]) -> str:
        return " ".join(card_text(whole, today=date(2026, 11, 25)).split())

    scale, scoop = entry(("a", [weighed("x", "40")])), entry(("a", [scooped("y", "8", "2", "8.4")]))
    assert "heat and haste are not modelled" in text(scoop) and "heat and haste" not in text(scale)
    assert ENGLISH["work.totals"] in text(scale) and ENGLISH["work.totals"] not in text(scoop)
    assert "%" not in text(scoop).split("It")[1] and "chance" not in text(scoop)
