"""Weighings of a scoop: what they say, and when they say nothing."""

from __future__ import annotations

import random
from datetime import date, timedelta
from decimal import Decimal as D
from statistics import fmean, stdev

import pytest

from specctl.analysis.scoopcheck import Weighed, bias, due, summary, weigh_up
from specctl.analysis.student import grubbs, inside, two_sided
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.place import ScoopCheck

POWDER = Ingredient(id="powder", name="Powder", state="powder", storage="ambient", bulk_density=Density(D("0.56"), "weighed"))
AMBER = Tool(id="amber", name="Amber scoop", kind="scoop", volume=D(15))
TENTH = D("0.1")


def weigh(*grams: str, step: D = TENTH) -> tuple[Weighed | None, list[str]]:
    found, problems = weigh_up([D(g) for g in grams], step, POWDER, AMBER)
    return found, [f"{p.code}: {p.what}" for p in problems]


@pytest.mark.parametrize(
    ("degrees", "t"),
    # NIST/SEMATECH e-Handbook 1.3.6.7.2, critical values of Student's t, upper 0.975
    [(1, 12.706), (2, 4.303), (3, 3.182), (4, 2.776), (5, 2.571), (9, 2.262), (10, 2.228), (20, 2.086), (30, 2.042), (100, 1.984)],
)
def test_students_t_as_tabulated(degrees: int, t: float) -> None:
    assert two_sided(0.95, degrees) == pytest.approx(t, abs=0.0006)
    assert inside(t, degrees) == pytest.approx(0.95, abs=1e-4)


@pytest.mark.parametrize(
    ("count", "bound"),
    # ASTM E178 / Grubbs & Beck (1972), upper 2.5 % of the largest of n (two-sided 5 %); from memory
    [(3, 1.155), (4, 1.481), (5, 1.715), (6, 1.887), (7, 2.020), (8, 2.126), (9, 2.215), (10, 2.290), (15, 2.549), (20, 2.709)],
)
def test_grubbs_as_tabulated(count: int, bound: float) -> None:
    assert grubbs(count) == pytest.approx(bound, abs=0.0015)


def test_against_a_reference_library() -> None:
    stats = pytest.importorskip("scipy.stats")
    for degrees in (1, 2, 3, 7, 40, 999):
        assert two_sided(0.95, degrees) == pytest.approx(stats.t.ppf(0.975, degrees), rel=1e-9)


def test_mean_and_spread() -> None:
    values = ["8.4", "8.2", "8.5", "8.3", "8.9"]
    found, problems = weigh(*values)
    floats = [float(v) for v in values]
    assert found is not None and problems == []
    assert float(found.mean) == pytest.approx(fmean(floats), abs=0.0005)
    assert float(found.spread) == pytest.approx(stdev(floats), abs=0.0005)
    assert found.half_width == pytest.approx(2.776 * stdev(floats) / 5**0.5, rel=1e-3)
    assert found.proves and not weigh(*values[:4])[0].proves  # type: ignore[union-attr]


def test_the_interval_holds_the_truth_as_often_as_it_says() -> None:
    draw = random.Random(11)
    hit = 0
    for _ in range(2000):
        found = summary([D(f"{draw.gauss(8.4, 0.4):.3f}") for _ in range(5)], D("0.001"))
        hit += abs(float(found.mean) - 8.4) <= found.half_width
    # binomial: 0.95 +- 3 x sqrt(0.95 x 0.05 / 2000)
    assert hit / 2000 == pytest.approx(0.95, abs=0.015)


def test_a_scale_that_hides_the_spread_does_not_make_it_nothing() -> None:
    found, _ = weigh("8", "8", "8", "8", "8", step=D(1))
    assert found is not None and found.floored and found.spread == D("0.289")  # 1 / sqrt(12)


@pytest.mark.parametrize(
    ("grams", "said"),
    [
        (["8.4"], "one weighing"),
        (["8.4", "8.2", "8.3", "8.5", "13.9"], "weighing 5, 13.9 g"),
        (["4.9", "8.4", "8.2", "8.3", "8.5"], "weighing 1, 4.9 g"),
        (["8.4", "8.2", "8.3", "12.1", "12.3", "12.0"], "two things"),
        (["5", "8", "12", "15"], "not one scoop"),
        (["84", "82", "83"], "not this tool level"),
        (["0.84", "0.82", "0.83"], "not this tool level"),
        (["8.4", "0"], "weighing 2 is 0 g"),
        (["8.4", "-8.4"], "weighing 2 is -8.4 g"),
    ],
)
def test_what_is_no_check(grams: list[str], said: str) -> None:
    found, problems = weigh(*grams)
    assert found is None and any(said in p for p in problems), problems


def test_ordinary_hands_are_not_refused() -> None:
    # Rosenkranz et al. 2024: standard deviation 11.3 %; the tests together may turn away about one in ten
    draw = random.Random(5)
    refused = sum(
        weigh(*(f"{draw.gauss(8.4, 0.95):.1f}" for _ in range(10)))[0] is None for _ in range(500)
    )
    assert refused < 60


def test_far_from_bulk_density_is_told_and_counts() -> None:
    found, problems = weigh("11.2", "11.3", "11.1")
    assert found is not None and any("weighings-off-density" in p for p in problems)


def test_due() -> None:
    assert due(date(2026, 1, 1), None) == date(2026, 6, 30)
    assert due(date(2026, 1, 1), timedelta(days=90)) == date(2026, 4, 1)


def check(mean: str, spread: str, n: int = 10) -> ScoopCheck:
    return ScoopCheck(
        id="c", name="", ingredient="powder", tool="amber", site="quay", n=n, mean=D(mean), spread=D(spread),
        date=date(2026, 1, 1), who="sam",
    )


def test_a_busy_hour_against_a_quiet_one() -> None:
    off, share, sure = bias(check("8.4", "0.2"), check("9.4", "0.3"))
    assert (off, sure) == (D("1.0"), True) and float(share) == pytest.approx(0.119, abs=0.001)
    assert not bias(check("8.4", "0.5", 3), check("8.9", "0.5", 3))[2]
