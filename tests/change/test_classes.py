"""Classes of allergen changes: the slowest road is taken however the allergen goes."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from specctl.change.classes import hits_of_allergens
from specctl.change.impact import AllergenChange
from specctl.domain.amount import Tolerance
from specctl.domain.book import Book, Settings

ANY_DOSE = Tolerance(Decimal("0.1"), Decimal("0.1"), True)
BOOK = Book(
    Settings(id="tidewick", name="Tidewick", day_starts="04:00", tolerance=ANY_DOSE, documents_last=timedelta(days=730))
)
LUPIN = AllergenChange(
    "drink/cloud", "Cloud", "", "", "gb", "GB list", "lupin", "lupin", True, None, "contains", ("foam > ingredient/powder",), ("quay",)
)


@pytest.mark.parametrize(
    ("before", "after", "classes"),
    [
        ("contains", "unknown", ["unknown", "declaration-down"]),
        ("may_contain", "unknown", ["unknown", "declaration-down"]),
        (None, "unknown", ["unknown"]),
        ("contains", "may_contain", ["declaration-down"]),
        ("contains", None, ["declaration-down"]),
        ("unknown", None, ["declaration-down"]),
        (None, "contains", ["allergen-in"]),
    ],
)
def test_each_way_an_allergen_moves_has_its_classes(before: str | None, after: str | None, classes: list[str]) -> None:
    # Policy of this project: a declaration that goes is the slowest change, an unknown is a class of its own.
    change = replace(LUPIN, before=before, after=after)
    hits = hits_of_allergens([change], BOOK, BOOK, {"quay": "northsands"})
    assert [h.change for h in hits] == classes
    assert {h.franchises for h in hits} == {frozenset({"northsands"})}
    if after == "unknown":
        assert hits[0].because.endswith("becomes unknown")
