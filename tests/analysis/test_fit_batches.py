"""Whole batches in a site's vessels; what a film keeps back; few weighings prove nothing."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal as D

from make import book, ingredient, line, prep, vessel

from specctl.analysis.batch import room_for, scale
from specctl.analysis.dose import Bench, void_reason
from specctl.analysis.error import chance_inside
from specctl.analysis.measuring import measure
from specctl.domain.amount import Grams, Tolerance
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density
from specctl.domain.place import ScoopCheck

FIVE = Tolerance(D("0.05"), D("0.05"), True)
JUG = replace(vessel("jug", 1000), rim=None, base=None, fill_line=D(0))


def mix(**more: object):  # type: ignore[no-untyped-def]
    return prep("mix", 500, line("water", "water", 500), density=Density(D(1), "a test"), vessel="jug", **more)


WATER = ingredient("water", density="1", packs={"bottle": Grams(D(1000))})


def test_working_volume_after_overrun() -> None:
    here = book(WATER, mix(), JUG)
    assert (room_for(mix(), JUG, here).most, room_for(mix(), JUG, here).ml) == (2, D("500.0"))
    # University of Guelph: overrun by volume 94.6 % makes 1.946 of one
    whipped = mix(overrun=D("0.946"))
    assert (room_for(whipped, JUG, here).most, room_for(whipped, JUG, here).ml) == (1, D("973.0"))
    assert room_for(mix(), replace(JUG, working=D(999)), here).most == 1
    assert room_for(replace(mix(), density=None), JUG, here).most is None


def test_the_least_a_blade_needs() -> None:
    here = book(WATER, mix(), JUG)
    assert room_for(mix(), replace(JUG, least=D(501)), here).least == 2
    assert room_for(mix(), replace(JUG, least=D(500)), here).least == 1
    # the blade stands in the mix before it holds air
    assert room_for(mix(overrun=D(1)), replace(JUG, least=D(501)), here).least == 2


def test_batches_in_a_sites_tools_and_whole_packs() -> None:
    here = book(WATER, mix(), JUG)
    where = Bench((Tool(id="scale", name="scale", kind="scale", readability=D(1)),), {}, 6, False)
    (two,) = scale(mix(), 2, here, where)
    assert isinstance(two.amount, Grams) and two.amount.value == D(1000) and two.packs == ("bottle", 1)
    assert two.measure.verdict == "within"
    (one,) = scale(mix(), 1, here, where)
    assert one.packs is None


def test_a_film_stays_in_a_jigger_and_not_in_a_pump() -> None:
    honey = replace(ingredient("honey", density="1.4"), film=D("0.05"))
    jigger = Tool(id="jigger", name="jigger", kind="jigger", marks=(D(20),), error=D("0.01"))
    pump = Tool(id="pump", name="pump", kind="pump", stroke=D(20), error=D("0.01"))
    found = measure(Grams(D("26.6")), FIVE, honey, Bench((jigger,), {}, 6, False))
    assert found.gives == D("26.60") and "5 %" in (found.note or "")  # 20 ml x 1.4 g/ml x 0.95
    assert measure(Grams(D(28)), FIVE, honey, Bench((pump,), {}, 6, False)).gives == D("28.00")


def test_few_weighings_prove_nothing() -> None:
    powder = ingredient("powder", state="powder", bulk_density="0.56")
    amber = Tool(id="amber", name="amber", kind="scoop", volume=D(15))

    def where(n: int) -> Bench:
        check = ScoopCheck(
            id="c", name="", ingredient="powder", tool="amber", site="quay", n=n, mean=D("8.4"), spread=D("0.05"),
            date=date(2026, 3, 1), who="sam",
        )
        return Bench((amber,), {("powder", "amber"): check}, 6, False)

    assert measure(Grams(D("8.4")), FIVE, powder, where(5)).verdict == "within"
    two = measure(Grams(D("8.4")), FIVE, powder, where(2))
    assert two.verdict == "unproven" and "fewer than 5 weighings" in (two.note or "")
    few, many = (chance_inside(D("8.4"), FIVE, two, powder, where(n)) for n in (2, 5))
    assert few is not None and many is not None and few < 0.5 < many


def test_another_supplier_voids_a_check() -> None:
    check = ScoopCheck(
        id="c", name="", ingredient="powder", tool="amber", site="quay", n=5, mean=D("8.4"), spread=D("0.05"),
        date=date(2026, 3, 1), who="sam", supplier="Ness Provisions",
    )
    powder = ingredient("powder", state="powder", bulk_density="0.56", supplier="Ness Provisions")
    assert void_reason(check, powder) is None
    assert "Ness Provisions" in (void_reason(check, replace(powder, supplier="Holm")) or "")
