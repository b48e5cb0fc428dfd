"""A filling rule beside ice that is strained: what never reaches the cup displaces nothing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from make import book, change, choice, drink, ingredient, layer, line, option, vessel

from specctl.analysis.build import STANDARD, Variant, build_lines, choice_of
from specctl.analysis.cup_state import CupState
from specctl.analysis.cupcheck import cups_of
from specctl.analysis.filling import fill_lines
from specctl.analysis.heat import Body, balance, reached
from specctl.analysis.layering import Portion, build_cup
from specctl.analysis.matter import Larder
from specctl.change.cup_entry import heights_in
from specctl.domain.book import Book
from specctl.domain.ingredient import Density
from specctl.domain.recipe import Handling

TEA = replace(ingredient("tea", storage="chilled", composition={"water": D(100)}), density=Density(D("1.0"), "a test", D(5)))
SODA = replace(TEA, id="soda", name="Soda")
ICE = ingredient("ice", state="ice", storage="frozen")
CUP = replace(vessel(brimful=400), height=D(100), rim=None, base=None)  # straight: 4 ml a mm


def made(strained: bool, **more: Any) -> Any:
    shaken = replace(layer("low", line("l", "tea", 100), line("i", "ice", 91)), handling=Handling("shake", strained=strained))
    return drink("made", shaken, layer("high", line("top", "soda", "top 25")), **more)


def grams(of: Any, variant: Variant = STANDARD) -> D | None:
    here = book(TEA, SODA, ICE, CUP, of)
    lines, top_up = build_lines(here, of, "regular", variant), None
    if not variant.is_standard:
        top_up = choice_of(of, variant).top_up
    return fill_lines(here, lines, CUP, build_lines(here, of, "regular"), top_up)["high/top"].grams


def test_strained_ice_takes_no_room_and_kept_ice_does() -> None:
    room = 75 * 4 - 100
    assert grams(made(True)) == room
    # Archimedes: 91 g floating displace 91 ml of a liquid of 1 g/ml
    assert grams(made(False)) == room - 91


def test_less_of_the_ice_that_is_strained_frees_no_room() -> None:
    less = option("ice", choice("none", change("low/i", "ice", 1), top_up="high/top"))
    for strained in (True, False):
        of = made(strained, options=(less,))
        fixed = replace(of, layers={**of.layers, "high": layer("high", line("top", "soda", 150))})
        moved = grams(fixed, Variant(choice="ice=none"))
        # 90 g less of ice, its own volume by its density of 0.9167 g/ml
        assert moved == (D(150) if strained else D(150) + (D(91) / D("0.9167")).quantize(D("0.01")) - (D(1) / D("0.9167")).quantize(D("0.01")))


def in_cup(strained: bool, tea_at: int, grams: object = 100, ice: object = 200) -> tuple[Book, CupState]:
    low = replace(layer("low", replace(line("l", "tea", grams), at=D(tea_at)), line("i", "ice", ice)), handling=Handling("shake", strained=strained))
    of = drink("made", low, layer("high", line("top", "soda", "top 25")))
    here = book(TEA, SODA, ICE, replace(CUP, fill_line=D(20)), of)
    return here, next(iter(cups_of(Larder(here), of))).state


def test_melt_water_of_what_is_strained_leaves_less_to_top_up() -> None:
    # mass balance: what melts in the shaker is poured with the tea, so the soda gives way to it, gram for gram
    _, cup = in_cup(True, 80)
    water = balance([Body(100, 4.19, 80)], 200, 0.0, reached("shake", None)).melted
    assert water == pytest.approx(95, abs=3) and cup.layers[0].water == pytest.approx(water, rel=0.005)
    assert cup.poured_ml == pytest.approx(75 * 4, abs=0.1), "the height it is topped up to: 4 ml a mm"
    assert cup.room == "fits"
    assert cup.topped is not None and cup.topped.path == "high/top" and cup.topped.stated == 200
    assert cup.topped.reach == pytest.approx(200 - water, abs=1.0)
    assert cup.mass_out == pytest.approx(cup.mass_in, rel=1e-9)
    # in the cup: tea, melt water and the soda that was really poured
    assert sum(each.grams for each in cup.layers) == pytest.approx(100 + water + cup.topped.reach, abs=0.5)


def test_the_same_grams_without_their_rule_stand_over_the_line() -> None:
    here, cup = in_cup(True, 80)
    fixed = [Portion("low/l", "low", "tea", 100, 80), Portion("low/i", "low", "ice", 200), Portion("high/top", "high", "soda", 200)]
    blind = build_cup(Larder(here), here.drinks["made"], here.vessels["cup"], fixed)
    assert blind is not None and blind.room == "over-line" and blind.topped is None and cup.room == "fits"


def test_where_melt_water_alone_stands_higher_nothing_is_topped_up_and_it_is_told() -> None:
    _, cup = in_cup(True, 95, 190, 600)
    assert cup.topped is not None and cup.topped.reach == 0 and [each.key for each in cup.layers] == ["low"]
    assert cup.room != "fits" and cup.known_ml > 300


def test_ice_that_stays_in_the_cup_moves_no_rule() -> None:
    _, cup = in_cup(False, 5)
    assert cup.topped is None


def test_an_entry_says_its_rules_by_line() -> None:
    rule = {"grams": "200", "of": "ingredient/soda", "rule": "top to 12.5 mm below rim", "key": "top"}
    plain = {**rule, "rule": None, "key": "l"}
    entry = {"sizes": [{"key": "regular", "layers": [{"key": "high", "lines": [rule, plain]}]}], "options": []}
    assert heights_in(entry, "regular") == {"high/top": 12.5}
