"""How far doses spread, against published error, a simulation and USP <1174>."""

from __future__ import annotations

import math
import random
from datetime import date
from decimal import Decimal as D
from statistics import NormalDist, fmean

import pytest

from specctl.analysis.dose import Bench
from specctl.analysis.error import (
    LIQUID_SPREAD,
    POWDER_SPREAD,
    Part,
    carr_index,
    chance_inside,
    combined_spread,
    flow_by_carr,
    flow_by_hausner,
    hausner_ratio,
    normal_share,
    spread_of,
)
from specctl.analysis.measuring import measure
from specctl.domain.amount import Each, Grams, Tolerance
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.place import ScoopCheck

FIVE = Tolerance(D("0.05"), D("0.05"), True)
TEN = Tolerance(D("0.1"), D("0.1"), True)

POWDER = Ingredient(
    id="powder", name="Powder", state="powder", storage="ambient", bulk_density=Density(D("0.56"), "weighed")
)
MILK = Ingredient(
    id="milk", name="Milk", state="liquid", storage="chilled", density=Density(D("1.031"), "stated")
)
AMBER = Tool(id="amber", name="Amber scoop", kind="scoop", volume=D(15))
CHECK = ScoopCheck(
    id="c", name="", ingredient="powder", tool="amber", site="quay", n=10,
    mean=D("8.4"), spread=D("0.5"), date=date(2026, 3, 1), who="sam",
)


def bench(*tools: Tool, checks: tuple[ScoopCheck, ...] = ()) -> Bench:
    return Bench(tools, {(each.ingredient, each.tool): each for each in checks}, 6, False)


def test_the_default_has_the_published_mean_error() -> None:
    # Rosenkranz et al., Front. Nutr. 11:1385496 (2024): mean absolute error 9.0 % for
    # powder, 4.4 % for liquid; simulated from our standard deviation
    draw = random.Random(2024)
    for spread, published in ((POWDER_SPREAD, 0.090), (LIQUID_SPREAD, 0.044)):
        errors = [abs(draw.gauss(0, spread)) for _ in range(100_000)]
        assert fmean(errors) == pytest.approx(published, rel=0.01)


def test_independent_errors_add_in_quadrature_common_ones_linearly() -> None:
    assert combined_spread([Part(4, 0.3, 0.0, "a")]) == pytest.approx(0.6)
    assert combined_spread([Part(4, 0.0, 0.3, "a")]) == pytest.approx(1.2)
    assert combined_spread([Part(1, 0, 3.0, "a"), Part(1, 0, 4.0, "b")]) == pytest.approx(5)
    assert combined_spread([Part(1, 0, 3.0, "a"), Part(1, 0, 4.0, "a")]) == pytest.approx(7)


def test_chance_with_a_scoop_check_against_a_simulation() -> None:
    where = bench(AMBER, checks=(CHECK,))
    target = D("17.0")
    found = measure(Grams(target), FIVE, POWDER, where)
    chance = chance_inside(target, FIVE, found, POWDER, where)
    draw = random.Random(7)
    inside = 0
    runs = 60_000
    for _ in range(runs):
        mean = draw.gauss(8.4, 0.5 / math.sqrt(10))
        total = draw.gauss(mean, 0.5) + draw.gauss(mean, 0.5)
        inside += 16.15 <= total <= 17.85
    assert chance == pytest.approx(inside / runs, abs=0.01)


def test_chance_by_the_default_error() -> None:
    # one 15 ml scoop of powder, +-10 %: the normal law with 9.0 % mean absolute error
    where = bench(AMBER)
    found = measure(Grams(D("8.4")), TEN, POWDER, where)
    law = NormalDist(0, 0.09 * math.sqrt(math.pi / 2))
    chance = chance_inside(D("8.4"), TEN, found, POWDER, where)
    assert chance == pytest.approx(law.cdf(0.1) - law.cdf(-0.1), abs=1e-6)
    assert found.verdict == "unproven"


def test_a_stated_error_of_a_tool_is_used_for_what_is_poured() -> None:
    jug = Tool(id="jug", name="Jug", kind="jug", graduation=D(10), up_to=D(500), error=D("0.02"))
    found = measure(Grams(D("92.79")), FIVE, MILK, bench(jug))
    assert spread_of(found, MILK, bench(jug)) == pytest.approx(0.02 * 92.79)
    plain = Tool(id="jug", name="Jug", kind="jug", graduation=D(10), up_to=D(500))
    assert spread_of(found, MILK, bench(plain)) == pytest.approx(LIQUID_SPREAD * 92.79)


def test_a_proven_measure_has_at_least_the_chance_of_two_deviations() -> None:
    # 95.45 % of a normal law lies within two standard deviations
    jug = Tool(id="jug", name="Jug", kind="jug", graduation=D(10), up_to=D(500), error=D("0.025"))
    found = measure(Grams(D("92.79")), FIVE, MILK, bench(jug))
    assert found.verdict == "within"
    chance = chance_inside(D("92.79"), FIVE, found, MILK, bench(jug))
    assert chance == pytest.approx(0.9545, abs=0.0005)


def test_a_scale_is_as_good_as_its_step() -> None:
    scale = Tool(id="scale", name="Scale", kind="scale", readability=D(1))
    half = Tolerance(D("0.5"), D("0.5"), False)
    found = measure(Grams(D("28.4")), half, POWDER, bench(scale))
    # reading 28 g: true masses 27.5 to 28.5, of which 27.9 to 28.5 are inside
    assert chance_inside(D("28.4"), half, found, POWDER, bench(scale)) == pytest.approx(0.6)
    assert spread_of(found, POWDER, bench(scale)) == pytest.approx(1 / math.sqrt(12))
    assert chance_inside(D(30), FIVE, measure(Grams(D(30)), FIVE, POWDER, bench(scale)), POWDER, bench(scale)) == 1


def test_nothing_measured_has_no_chance() -> None:
    found = measure(Each(D(3)), FIVE, POWDER, bench())
    assert chance_inside(D(3), FIVE, found, POWDER, bench()) is None
    assert spread_of(found, POWDER, bench()) is None
    assert normal_share(0.0, 0.0, -1, 1) == 1.0
    assert normal_share(2.0, 0.0, -1, 1) == 0.0


@pytest.mark.parametrize(
    ("index", "flow"),
    # USP <1174>, Carr index; between two bands: rounded half up to a whole number first
    [
        ("10", "excellent"), ("10.4", "excellent"), ("10.5", "good"), ("15", "good"), ("15.5", "fair"),
        ("16", "fair"), ("20", "fair"), ("21", "passable"), ("25", "passable"), ("26", "poor"),
        ("31", "poor"), ("32", "very poor"), ("37", "very poor"), ("37.4", "very poor"),
        ("38", "very, very poor"), ("39", "very, very poor"),
    ],
)
def test_carr_bands(index: str, flow: str) -> None:
    assert flow_by_carr(D(index)) == flow


@pytest.mark.parametrize(
    ("ratio", "flow"),
    # USP <1174>, Hausner ratio; rounded half up to two decimals first
    [
        ("1.00", "excellent"), ("1.11", "excellent"), ("1.115", "good"), ("1.18", "good"), ("1.19", "fair"),
        ("1.25", "fair"), ("1.26", "passable"), ("1.34", "passable"), ("1.35", "poor"), ("1.45", "poor"),
        ("1.46", "very poor"), ("1.59", "very poor"), ("1.60", "very, very poor"), ("1.61", "very, very poor"),
    ],
)
def test_hausner_bands(ratio: str, flow: str) -> None:
    assert flow_by_hausner(D(ratio)) == flow


def test_hausner_and_carr_are_one_measure() -> None:
    # USP <1174>: HR = 100 / (100 - CI)
    bulk, tapped = D("0.4"), D("0.5")
    assert hausner_ratio(bulk, tapped) == D("1.25")
    assert carr_index(bulk, tapped) == 20
    assert hausner_ratio(bulk, tapped) == 100 / (100 - carr_index(bulk, tapped))
