"""A removal is explained by something the item rests on, or it is stopped. Each case worked out by hand; no source."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "analysis"))
import make

from specctl.change.impact import AllergenChange
from specctl.change.removal import unexplained

BOOK = make.book(
    make.allergen_list("north", milk=("milk",)), make.market(), make.franchise(), make.site("pier", stocks={"water": "spare"}),
    make.ingredient("cream"), make.ingredient("water"), make.ingredient("spare"), make.ingredient("stranger"),
    make.prep("foam", 30, make.line("c", "cream", 30)),
    make.drink("cup", make.layer("base", make.line("f", "foam", 30), make.line("w", "water", 100))),
    make.drink("other", make.layer("base", make.line("s", "stranger", 10))),
)  # fmt: skip


def gone(*paths: str, before: str = "contains", after: str | None = None) -> AllergenChange:
    return AllergenChange("drink/cup", "Cup", "", "Standard", "gb", "NORTH", "milk", "milk", True, before, after, paths or ("base/f",), ("pier",))


@pytest.mark.parametrize(
    ("file", "explains"),
    [
        ("drinks/cup.yaml", True),
        ("preps/foam.yaml", True),
        ("ingredients/cream.yaml", True),  # through the prep
        ("ingredients/spare.yaml", True),  # what the site stocks in place of water
        ("sites/pier.yaml", True),
        ("markets/gb.yaml", True),
        ("lists/north.yaml", True),
        ("book.yaml", True),
        ("ingredients/stranger.yaml", False),
        ("drinks/other.yaml", False),
        ("tools/scoop.yaml", False),
        ("prices/marram/price-book.yaml", False),
    ],
)
def test_what_explains_a_removal(file: str, explains: bool) -> None:
    assert bool(unexplained([gone()], BOOK, BOOK, {file})) is not explains


def test_what_equipment_carried_over_may_have_come_from_any_recipe() -> None:
    carried = gone("shared jug: Other contains milk", before="may_contain")
    assert not unexplained([carried], BOOK, BOOK, {"drinks/other.yaml"})
    assert unexplained([carried], BOOK, BOOK, {"tools/scoop.yaml"}) and unexplained([carried], BOOK, BOOK, ())


def test_what_comes_in_needs_no_explanation() -> None:
    assert not unexplained([gone(before="may_contain", after="contains")], BOOK, BOOK, ())
