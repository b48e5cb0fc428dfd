"""What suppliers' documents say beyond yes and no: their own words, forms, amounts, and those of old packs."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from functools import partial

import make

from specctl.analysis.allergens import facts_of
from specctl.analysis.contact import Kitchen
from specctl.analysis.documents import check_documents
from specctl.domain.book import Book
from specctl.domain.ingredient import AllergenFacts, Was
from specctl.domain.place import Group
from specctl.domain.recipe import Step

NORTH = make.allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), wheat=("wheat",))
SULPHITES = Group("sulphites", "Sulphites", {"sulphites": "sulphites"}, limit=Decimal(10))
LIST = replace(NORTH, groups={**NORTH.groups, "sulphites": SULPHITES, "wheat": Group("wheat", "Wheat", {"wheat": "wheat"}, exempt=("glucose syrup from wheat",))})
SCOPE = "Milk is run on the same line (after a wet clean)."


def one(stated: AllergenFacts, **more: object) -> Book:
    return make.book(LIST, make.ingredient("thing", stated, **more), make.drink("cup", make.layer("base", make.line("a", "thing", 10))))


def test_a_precautionary_statement_keeps_its_suppliers_words() -> None:
    made = one(make.facts((), ("milk",), answers_for=("north",), scope=SCOPE))
    (fact,) = facts_of(made, made.drinks["cup"], LIST).may_contain
    assert fact.paths == ("base/a > ingredient/thing (its document: Milk is run on the same line [after a wet clean].)",)


def test_the_words_stay_beside_a_stronger_way_and_belong_to_no_other_fact() -> None:
    made = one(make.facts(("wheat",), ("milk",), answers_for=("north",), scope=SCOPE))
    cream = make.ingredient("cream", make.facts(("milk",), answers_for=("north",)))
    cup = make.drink("cup", make.layer("base", make.line("a", "thing", 10), make.line("b", "cream", 10)))
    made = replace(made, ingredients={**made.ingredients, "cream": cream}, drinks={"cup": cup})
    row = facts_of(made, cup, LIST)
    by = {f.substance: f.paths for f in row.contains}
    assert by["wheat"] == ("base/a > ingredient/thing",)
    assert by["milk"][0] == "base/b > ingredient/cream"
    assert "same line" in by["milk"][1] and by["milk"][1].endswith(" (may contain)")


def test_old_packs_keep_their_own_words() -> None:
    was = Was("OLD", "", make.facts((), ("almond",), answers_for=("north",), product_code="OLD", scope="Almonds before 2025."), date(2026, 9, 1))
    made = one(make.facts(answers_for=("north",)), was=was)
    (fact,) = facts_of(made, made.drinks["cup"], LIST).may_contain
    assert fact.paths == ("base/a > ingredient/thing (old stock OLD) (its document: Almonds before 2025.)",)


def codes(stated: AllergenFacts, **more: object) -> list[str]:
    return [p.code for p in check_documents(one(stated, **more), make.TODAY)]


def test_findings_on_forms_and_amounts() -> None:
    good = make.facts(("wheat",), forms={"wheat": ("glucose syrup from wheat",)}, mg_per_kg={"wheat": Decimal(3)})
    assert codes(good) == []
    bad = replace(good, forms={"wheat": ("glucose sirup from wheat",)})
    (problem,) = check_documents(one(bad), make.TODAY)
    assert problem.code == "allergen-form-unknown" and "Did you mean glucose syrup from wheat?" in problem.todo
    assert codes(make.facts((), mg_per_kg={"sulphites": Decimal(3)})) == ["allergen-amount-idle"]


def test_old_packs_with_a_misspelt_allergen_or_a_contradiction_are_told() -> None:
    was = Was("OLD", "", make.facts(("hazlenut", "milk"), absent=("milk",), product_code="OLD"), date(2026, 9, 1))
    assert codes(make.facts(), was=was) == ["allergen-unknown-name", "allergen-contradiction"]


def test_shared_equipment_brings_a_fact_back_that_stayed_below_the_limit() -> None:
    """The amount is of what the spec pours; what a spoon carries over has none."""
    weak = make.facts(("sulphites",), answers_for=("north",), mg_per_kg={"sulphites": Decimal(5)})
    strong = make.facts(("sulphites",), answers_for=("north",), mg_per_kg={"sulphites": Decimal(500)})
    spoon = (Step("s", "Stir.", equipment=frozenset({"spoon"})),)

    def listed(*steps: Step) -> tuple[bool, tuple[str, ...]]:
        made = make.book(
            LIST, make.market(), make.franchise(), make.site("pier"), make.vessel(),
            make.ingredient("weak", weak, density=1), make.ingredient("strong", strong, density=1),
            make.drink("cup", make.layer("base", make.line("a", "weak", 100)), steps=steps),
            make.drink("other", make.layer("base", make.line("a", "strong", 100)), steps=spoon),
        )  # fmt: skip
        kitchen = Kitchen(made, made.sites["pier"], LIST, lambda recipe, variant: partial(facts_of, made, market_list=LIST)(recipe=recipe, variant=variant))
        (fact,) = kitchen.row(made.drinks["cup"]).contains
        return fact.listed, fact.paths

    assert not listed()[0]
    again, ways = listed(*spoon)
    assert again and ways[1] == "shared spoon: Other contains sulphites (may contain)"
