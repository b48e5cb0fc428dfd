"""Laws a computed cup keeps: energy in is energy out, volumes add with the stated contraction, more never stands lower."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from make import book, drink, ingredient, layer, line, prep, vessel

from specctl.analysis.cup import line_volume
from specctl.analysis.cup_state import CupState
from specctl.analysis.density import sucrose_density
from specctl.analysis.density_choice import DensityChoice
from specctl.analysis.heat import WATER_HEAT, Body, enthalpy
from specctl.analysis.layering import Portion, build_cup
from specctl.analysis.matter import Larder
from specctl.analysis.vessel import height_at, held_to
from specctl.domain.amount import Grams
from specctl.domain.ingredient import Density
from specctl.domain.place import SiteIce
from specctl.domain.recipe import Drink, Handling

COLD = D("-5")
STATED = 0.004
"""Share of their volumes that sucrose solutions lose in one another, at most, by DEVELOPERS.md."""


def liquid(id: str, density: str, at: int = 5) -> Any:
    made = ingredient(id, storage="chilled", composition={"water": D(100)})
    return replace(made, density=Density(D(density), "a test", D(at)))


TEA, SYRUP, ICE = liquid("tea", "1.0"), liquid("syrup", "1.23"), ingredient("ice", state="ice", storage="frozen")
HOT = replace(prep("hot", 1000, line("w", "tea", 1000), keep="hot"), served_at=D(80), density=Density(D("0.9718"), "a test", D(80)))
CUP = vessel(brimful=900)
USES = ("tea", "syrup", "hot")


def world(by: str | None, mixes: bool, strained: bool = False) -> tuple[Larder, Drink]:
    handling = Handling(by, strained=strained and by in ("shake", "stir")) if by else None
    made = drink(
        "made", replace(layer("low", line("l", "tea", 1), line("i", "ice", 1)), handling=handling), layer("mid", line("l", "hot", 1)),
        replace(layer("top", line("l", "syrup", 1)), mixes=mixes),
    )
    return Larder(book(TEA, SYRUP, ICE, HOT, CUP, made), SiteIce(COLD)), made


def built(larder: Larder, made: Drink, low: float, mid: float, top: float, ice: float, warm: float = 5.0) -> CupState:
    portions = [Portion("low/l", "low", "tea", low, warm), Portion("mid/l", "mid", "hot", mid), Portion("top/l", "top", "syrup", top)]
    if ice:
        portions.append(Portion("low/i", "low", "ice", ice))
    state = build_cup(larder, made, CUP, portions)
    assert state is not None
    return state


def heat_of(larder: Larder, use: str) -> float:
    matter = larder.matter(use)
    assert matter is not None
    return matter.heat


grams = st.floats(20, 200)


@settings(max_examples=150, deadline=None)
@given(grams, grams, grams, st.floats(0, 200), st.floats(0, 95), st.sampled_from([None, "shake", "stir", "blend"]), st.booleans(), st.booleans())
def test_energy_in_is_energy_out(
    low: float, mid: float, top: float, ice: float, warm: float, by: str | None, mixes: bool, strained: bool
) -> None:
    """Enthalpy from liquid at 0 °C: what is poured and the ice as scooped, against every layer and all ice at rest."""
    larder, made = world(by, mixes, strained)
    state = built(larder, made, low, mid, top, ice, warm)
    poured = [Body(low, heat_of(larder, "tea"), warm), Body(mid, heat_of(larder, "hot"), 80.0), Body(top, heat_of(larder, "syrup"), 5.0)]
    rest = []
    for each in state.layers:
        assert each.celsius is not None
        rest += [Body(mass, heat_of(larder, use), each.celsius) for use, mass in each.uses]
        rest.append(Body(each.water, WATER_HEAT, each.celsius))
    left = 0.0 if state.ice is None else state.ice.left + state.ice.strained
    if state.ice is not None and state.ice.melted == 0:
        assume(False)  # nothing touched the ice: it stays as cold as it was
    total = sum(body.grams for body in poured) * 400
    assert enthalpy(rest, left, 0.0) == pytest.approx(enthalpy(poured, ice, float(COLD)), abs=1e-6 * total)


@settings(max_examples=100, deadline=None)
@given(grams, grams, grams, st.booleans())
def test_volumes_add_up_layer_by_layer_and_where_layers_mix(low: float, mid: float, top: float, mixes: bool) -> None:
    larder, made = world(None, mixes)
    state = built(larder, made, low, mid, top, 0)
    alone = 0.0
    for each in state.layers:
        assert each.celsius is not None
        for use, mass in each.uses:
            matter = larder.matter(use)
            found = None if matter is None else larder.density(matter, each.celsius)
            assert isinstance(found, DensityChoice)
            alone += mass / found.value
    assert state.rest_ml == pytest.approx(alone, rel=1e-9)
    assert sum(each.ml or 0.0 for each in state.layers) == pytest.approx(alone, rel=1e-9)


# CRC Handbook, sucrose in water at 20 °C: mass % to g/ml
CRC = {0: 0.9982, 10: 1.0381, 30: 1.1270, 50: 1.2295, 60: 1.2864, 70: 1.3472}


@pytest.mark.parametrize(("first", "second", "whole"), [(0, 70, 10), (0, 70, 30), (0, 70, 50), (0, 70, 60), (0, 60, 10), (0, 60, 30), (0, 50, 10), (0, 50, 30), (10, 70, 30), (10, 60, 50), (30, 70, 50)])
def test_the_contraction_left_out_is_as_small_as_stated_by_the_handbook(first: int, second: int, whole: int) -> None:
    """Two solutions that mix to a third of the table: its volume against the sum of theirs."""
    share = (whole - first) / (second - first)
    apart = (1 - share) / CRC[first] + share / CRC[second]
    lost = 1 - (1 / CRC[whole]) / apart
    assert 0 <= lost <= STATED


@given(st.floats(0, 70), st.floats(0, 70), st.floats(0, 1))
def test_nor_is_it_larger_between_the_rows(first: float, second: float, share: float) -> None:
    mixed = first * (1 - share) + second * share
    densities = [sucrose_density(percent) for percent in (first, second, mixed)]
    assert None not in densities
    one, two, both = (each or 0.0 for each in densities)
    lost = 1 - (1 / both) / ((1 - share) / one + share / two)
    assert -2e-5 <= lost <= STATED + 2e-5, "the rows are given to 0.0001 g/ml"


@settings(max_examples=100, deadline=None)
@given(grams, grams, grams, st.floats(0.1, 50), st.sampled_from([0, 1, 2]), st.booleans())
def test_more_of_anything_poured_never_stands_lower(low: float, mid: float, top: float, more: float, which: int, mixes: bool) -> None:
    """Without ice: with it, a heap that comes to float takes up less than one that rests."""
    larder, made = world(None, mixes)
    amounts = [low, mid, top]
    before = built(larder, made, amounts[0], amounts[1], amounts[2], 0)
    amounts[which] += more
    after = built(larder, made, amounts[0], amounts[1], amounts[2], 0)
    assert before.level_mm is not None and after.level_mm is not None
    assert after.level_mm > before.level_mm or after.room == "overflows"
    assert [each.top for each in after.layers] == sorted(each.top or 0.0 for each in after.layers)


@given(st.integers(0, 90000), st.integers(0, 5000), st.sampled_from([CUP, replace(CUP, rim=None, base=None), replace(CUP, shape=((D(50), D(200)), (D(120), D(900))))]))
def test_the_exact_height_is_monotone_in_volume(hundredths: int, more: int, shape: Any) -> None:
    low, high = D(hundredths) / 100, D(hundredths + more) / 100
    assert height_at(shape, low) <= height_at(shape, high)
    if more >= 100 and high <= shape.brimful:
        assert height_at(shape, low) < height_at(shape, high), "a millilitre is a tenth of a millimetre in these cups"
    assert held_to(shape, Fraction(low) / 10) <= held_to(shape, Fraction(high) / 10)


@given(st.decimals(1, 500, places=2), st.decimals(1, 500, places=2))
def test_the_volumes_of_a_rule_add_up_exactly(first: D, second: D) -> None:
    one, two, both = (line_volume(Grams(each), SYRUP) for each in (first, second, first + second))
    assert isinstance(one, D) and isinstance(two, D) and isinstance(both, D)
    assert abs(one + two - both) <= D("0.01"), "each rounded half up to 0.01 ml"
