"""The allergen sheet tells what stands in for something at a site that day: Regulation (EU) 1169/2011, articles 9(1)(c) and 44."""

from __future__ import annotations

from typing import Any

import pytest
from chain_world import SAFETY, World, day

from specctl.actions.deviating import DeviationWish, StandIn, deviate
from specctl.actions.sheeting import SheetFacts, sheet_of_market, sheet_of_site

QUAY, FROST = "northsands-quay", "drink/hazelnut-frost"


def statuses(facts: SheetFacts, item: str = FROST) -> dict[str, str]:
    entry: Any = next(e for e in facts.entries if e["item"] == item)
    row = next(r for r in entry["allergens"] if r["choice"] == "")
    return {f["substance"]: s for s in ("contains", "may_contain", "unknown") for f in row[s]}


@pytest.mark.parametrize("way", ["on disk", "released", "market"])
def test_the_sheet_is_of_what_is_really_used(world: World, way: str) -> None:
    def sheet(at: int, site: str = QUAY) -> SheetFacts:
        with world.open() as source:
            if way == "market":
                return sheet_of_market(source, "gb", day(at).date())
            return sheet_of_site(source, site, day(at).date(), way == "released")

    before = statuses(sheet(6))
    assert "lupin" not in before
    goods = StandIn(name="Nut paste from next door", contains=("lupin",))
    with world.open() as source:
        deviate(source, DeviationWish(QUAY, "hazelnut-paste", goods, "Read off the jar.", "None came.", day(8).date(), day(5), world.key(SAFETY)))
    now = statuses(sheet(6))
    assert now["lupin"] == "contains" and now["celery"] == "unknown"  # said by nobody: unknown, never free from
    assert before.keys() <= now.keys() and now["hazelnut"] == "contains"
    entry = next(e for e in sheet(6).entries if e["item"] == FROST)
    assert any("Nut paste from next door" in path for row in entry["allergens"] for fact in row["contains"] for path in fact["paths"])
    for other in (sheet(4), sheet(6 + 5)):
        assert "lupin" not in statuses(other)
    assert statuses(sheet(5))["lupin"] == "contains"  # a part of the day is enough
    if way != "market":
        assert "lupin" not in statuses(sheet(6, "harbour-row"))


