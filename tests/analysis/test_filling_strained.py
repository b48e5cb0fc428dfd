"""A filling rule beside ice that is strained: what never reaches the cup displaces nothing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

from make import book, change, choice, drink, ingredient, layer, line, option, vessel

from specctl.analysis.build import STANDARD, Variant, build_lines, choice_of
from specctl.analysis.filling import fill_lines
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
