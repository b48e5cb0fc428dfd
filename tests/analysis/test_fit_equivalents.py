"""One thing for another: what differs, where it is allowed, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest
from make import allergen_list, book, drink, facts, franchise, ingredient, layer, line, market, price_book, site, stand_in
from specctl.analysis.equivalent import check_equivalents, swap_json, swaps_of
from specctl.domain.amount import Grams
from specctl.domain.recipe import Substitute

# common practice, no source: two level teaspoons of fructose powder stand for 14 ml of fructose syrup.
# Stated by the test: powder 0.2 % water at 0.8 g/ml, syrup 23 % water at 1.38 g/ml.
CLEAR = facts(answers_for=("north",))
POWDER = ingredient("fructose", CLEAR, state="powder", bulk_density="0.8", composition={"water": D("0.2"), "sugars": D("99.8")}, packs={"bag": Grams(D(1000))})
SYRUP = ingredient("syrup", facts(contains=("milk",), may_contain=("nut",)), density="1.38", composition={"water": D(23), "sugars": D(77)}, packs={"bottle": Grams(D(1000))})


def world(stand: Substitute):  # type: ignore[no-untyped-def]
    prices = price_book({"fructose": ("bag", 5), "syrup": ("bottle", 4)})
    one = drink("one", layer("mix", line("sweet", "syrup", "19.32")), substitutes=(stand,))
    return book(
        POWDER, SYRUP, one, market("gb"), market("ie"), allergen_list("north", milk=("milk",), nut=("nut",)),
        franchise(), site("quay"), prices,
    )


def test_powder_for_syrup_differs_in_solids() -> None:
    # 8 g of powder (2 x 5 ml x 0.8) for 19.32 g of syrup (14 ml x 1.38)
    here = world(stand_in("dry", "syrup", "fructose", "0.414079"))
    (swap,) = swaps_of(here, here.drinks["one"], "gb")
    told = swap_json(swap)
    assert told["with"]["grams"] == "8" and told["solids_g"] == ["14.88", "7.98"]  # type: ignore[index]
    assert told["difference_g"]["water"] == "-4.42"  # type: ignore[index]
    assert told["density"] == ["1.38", "0.8"]
    (cost,) = swap.costs
    assert (cost.of, cost.by) == (D("0.0773"), D("0.0400"))
    assert [(s, a, b) for s, a, b in swap.loses if s == "milk"] == [("milk", "contains", "absent")]


def test_only_where_it_is_allowed() -> None:
    here = world(stand_in("dry", "syrup", "fructose", "0.4", markets=("ie",)))
    assert swaps_of(here, here.drinks["one"], "gb") == [] and len(swaps_of(here, here.drinks["one"], "ie")) == 1


def test_a_stand_in_for_itself() -> None:
    here = world(stand_in("same", "syrup", "syrup"))
    assert [p.code for p in check_equivalents(here)] == ["substitute-self"]


@pytest.mark.parametrize(
    ("brings", "codes"),
    [
        (None, []), (frozenset(), [("error", "milk"), ("error", "nut")]),
        (frozenset({"milk"}), [("error", "nut")]), (frozenset({"milk", "nut"}), []),
    ],
)
def test_an_allergen_it_may_not_bring(brings: frozenset[str] | None, codes: list[tuple[str, str]]) -> None:
    stand = replace(stand_in("wet", "fructose", "syrup", 2), brings=brings)
    here = world(stand)
    one = drink("one", layer("mix", line("sweet", "fructose", "8")), substitutes=(stand,))
    here = replace(here, drinks={"one": one})
    found = check_equivalents(here)
    assert [(p.severity, next(s for s in ("milk", "nut") if f"brings {s}" in p.what)) for p in found] == codes
    (swap,) = swaps_of(here, one, "gb")
    assert {(s, b) for s, _, b in swap.brings} == {("milk", "contains"), ("nut", "may contain")}


def test_what_is_not_stated_is_not_zero() -> None:
    here = world(stand_in("dry", "syrup", "fructose"))
    bare = replace(here, ingredients={**here.ingredients, "fructose": replace(POWDER, composition={}, bulk_density=None)})
    (swap,) = swaps_of(bare, bare.drinks["one"], "gb")
    told = swap_json(swap)
    assert told["difference_g"]["solids"] is None and told["density"] == ["1.38", None]  # type: ignore[index]
