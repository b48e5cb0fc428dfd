"""Classes of allergen changes: the slowest road is taken however the allergen goes."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from decimal import Decimal

import pytest

from specctl.change.classes import hits_of_allergens
from specctl.change.impact import AllergenChange
from specctl.domain.amount import Grams, Tolerance
from specctl.domain.book import Book, Settings
from specctl.domain.recipe import Drink, Layer, Line, Prep, Step

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


def _book(*steps: Step, foam: tuple[Step, ...] = ()) -> Book:
    prep = Prep(id="foam", name="Foam", lines={}, yields=Decimal(90), keep="chilled", steps={s.key: s for s in foam})
    line = Line("foam", "foam", {"": Grams(Decimal(30))})
    cloud = Drink(
        id="cloud", name="Cloud", sizes={}, layers={"top": Layer("top", "Top", {"foam": line})},
        steps={s.key: s for s in steps}, served="cold",
    )  # fmt: skip
    return replace(BOOK, drinks={"cloud": cloud}, preps={"foam": prep})


SPOON = Step("stir", "Stir it.", None, ("bar-spoon",))
WHIP = Step("whip", "Whip it.", None, ("foam-whip",))


@pytest.mark.parametrize(
    ("before", "after", "found"),
    [
        # Another drink brought it to equipment this one touched before: judged there, declared here.
        (_book(SPOON), _book(SPOON), "declaration-up"),
        # This drink has come to touch the equipment: it comes in here.
        (_book(), _book(SPOON), "allergen-in"),
        (_book(SPOON), _book(SPOON, foam=(WHIP,)), "allergen-in"),
        (_book(SPOON, WHIP), _book(SPOON), "declaration-up"),
    ],
)
def test_what_shared_equipment_carries_comes_in_where_the_equipment_is_new(before: Book, after: Book, found: str) -> None:
    # Policy of this project.
    change = replace(LUPIN, after="may_contain", paths=("shared bar-spoon: Mist contains lupin",))
    assert [h.change for h in hits_of_allergens([change], before, after, {"quay": "northsands"})] == [found]
