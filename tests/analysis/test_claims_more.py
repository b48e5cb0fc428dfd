"""Claims beyond allergens: gluten-free is never computed, oats, caffeine, sugars; lists that switch.

20 mg/kg is a limit on a tested product: Implementing Regulation (EU) No 828/2014
(its rule on oats from memory).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import make
import pytest

from specctl.analysis.claims import claims_of
from specctl.analysis.listswitch import check_switches
from specctl.codec.load import load
from specctl.domain.book import Book, Claim
from specctl.domain.ingredient import Certificate
from specctl.problem import ERROR, WARNING
from specctl.resources import demo_book

LIST = make.allergen_list("north", gluten=("wheat", "rye", "barley", "oats"), milk=("milk",))
PAPER = Certificate("Certificate 9", date(2026, 1, 2))
CLAIMS = {
    "gluten-free": Claim("gluten-free", "Gluten-free", frozenset({"wheat", "rye", "barley", "oats"})),
    "decaffeinated": Claim("decaffeinated", "Decaffeinated", frozenset(), frozenset({"caffeine"})),
    "no-added-sugar": Claim("no-added-sugar", "No added sugar", frozenset(), frozenset(), frozenset({"sugars"})),
}


def found(claim: str, *contains: str, answers: bool = True, **more: object) -> list[tuple[str, str]]:
    thing = make.ingredient("thing", make.facts(contains, answers_for=("north",) if answers else ()), **more)
    cup = make.drink("cup", make.layer("base", make.line("a", "thing", 10)), claims=(claim,))
    book = make.book(LIST, thing, cup)
    book = replace(book, settings=replace(book.settings, claims=CLAIMS))
    return [(p.code, p.severity) for p in claims_of(book, cup)]


CONTRADICTED = [("claim-contradicted", ERROR)]
UNSUPPORTED = [("claim-unsupported", WARNING)]


def test_oats_contradict_gluten_free_unless_the_ingredient_is_certified() -> None:
    assert found("gluten-free", "oats") == CONTRADICTED
    assert found("gluten-free", "oats", certified={"gluten-free": PAPER}) == []
    assert found("gluten-free", "oats", certified={"dairy-free": PAPER}) == CONTRADICTED


def test_no_certificate_excuses_wheat() -> None:
    assert found("gluten-free", "wheat", certified={"gluten-free": PAPER}) == CONTRADICTED


def test_nothing_computes_gluten_free_and_unknown_does_not_support_it() -> None:
    assert found("gluten-free") == []
    assert found("gluten-free", answers=False) == UNSUPPORTED


def test_caffeine_contradicts_decaffeinated_unless_certified() -> None:
    assert found("decaffeinated", advisories=("caffeine",)) == CONTRADICTED
    assert found("decaffeinated", advisories=("caffeine",), certified={"decaffeinated": PAPER}) == []


def test_sugars_nobody_accounts_for_leave_no_added_sugar_open() -> None:
    def sugars(value: str) -> dict[str, Decimal]:
        return {"sugars": Decimal(value)}

    assert found("no-added-sugar", composition=sugars("5")) == UNSUPPORTED
    assert found("no-added-sugar") == UNSUPPORTED
    assert found("no-added-sugar", composition=sugars("0")) == []
    assert found("no-added-sugar", composition=sugars("5"), certified={"no-added-sugar": PAPER}) == []
    assert found("no-added-sugar", composition=sugars("0"), contradicts=frozenset({"no-added-sugar"})) == CONTRADICTED


def shipped() -> Book:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")}).book
    assert book is not None
    return book


@pytest.mark.parametrize(
    ("claim", "into", "because"),
    [
        ("vegan", "whole-milk", "milk"),
        ("vegan", "honey", "Honey rules it out"),  # Codex has no definition of vegan; the chain's own word
        ("vegetarian", "fish-sauce", "fish"),
        ("dairy-free", "skim-milk-powder", "milk"),
        ("gluten-free", "roasted-barley", "barley"),
        ("gluten-free", "oat-drink", "oats"),  # Implementing Regulation (EU) No 828/2014
        ("decaffeinated", "coffee-beans", "caffeine"),
        ("harbour-plain", "hazelnut-paste", "hazelnut"),  # a chain's own
        ("harbour-plain", "black-sesame-paste", "sesame"),
    ],
)
def test_every_claim_of_the_shipped_book_is_contradicted_by_what_it_forbids(claim: str, into: str, because: str) -> None:
    book = shipped()
    sauce = make.ingredient("fish-sauce", make.facts(("fish",), answers_for=tuple(book.lists)))
    cup = make.drink("cup", make.layer("base", make.line("a", into, 1)), claims=(claim,))
    book = replace(book, ingredients={**book.ingredients, "fish-sauce": sauce}, drinks={"cup": cup})
    (problem,) = [p for p in claims_of(book, cup) if p.severity == ERROR]
    assert problem.code == "claim-contradicted" and because in problem.what


def test_no_added_sugar_is_never_computed_from_a_recipe() -> None:
    book = shipped()
    cup = make.drink("cup", make.layer("base", make.line("a", "orange-juice", 100)), claims=("no-added-sugar",))
    (problem,) = claims_of(replace(book, drinks={"cup": cup}), cup)
    assert problem.code == "claim-unsupported" and "nothing says whether they were added" in problem.what


def test_may_contain_does_not_support_a_claim_and_is_no_contradiction() -> None:
    thing = make.ingredient("thing", make.facts((), ("oats",), answers_for=("north",)))
    cup = make.drink("cup", make.layer("base", make.line("a", "thing", 10)), claims=("gluten-free",))
    book = make.book(LIST, thing, cup)
    assert [p.code for p in claims_of(replace(book, settings=replace(book.settings, claims=CLAIMS)), cup)] == ["claim-unsupported"]


def test_one_record_that_cannot_be_read_is_no_finding_on_every_claim() -> None:
    """A broken ingredient, prep or list is told once, where it stands; a missing one still leaves a claim open."""
    cup = make.drink("cup", make.layer("base", make.line("a", "thing", 10)), claims=("gluten-free", "decaffeinated", "no-added-sugar"))

    def codes(book: Book) -> list[str]:
        return [p.code for p in claims_of(replace(book, settings=replace(book.settings, claims=CLAIMS)), cup)]

    assert codes(make.book(LIST, cup)) == ["claim-unsupported"]
    assert codes(make.book(LIST, cup, broken=frozenset({"ingredient/thing"}))) == []
    assert codes(make.book(LIST, cup, broken=frozenset({"prep/thing"}))) == []
    thing = make.ingredient("thing", make.facts((), answers_for=("north",)), composition={"sugars": Decimal(0)})
    silent = make.ingredient("thing", make.facts(()), composition={"sugars": Decimal(0)})
    assert codes(make.book(thing, cup, broken=frozenset({"list/north"}))) == []
    assert codes(make.book(silent, cup, broken=frozenset({"list/north"}))) == ["claim-unsupported"]


def switching() -> Book:
    market = replace(make.market(), switches=((date(2027, 1, 1), "next"), (date(2028, 1, 1), "gone")))
    return make.book(LIST, make.allergen_list("next", milk=("milk",)), market)


def test_a_list_takes_over_on_its_day_and_not_before() -> None:
    market = switching().markets["gb"]
    assert [market.list_on(d) for d in (None, date(2026, 12, 31), date(2027, 1, 1), date(2027, 12, 31), date(2028, 1, 1))] == [
        "north", "north", "next", "next", "gone",
    ]  # fmt: skip


def test_a_switch_to_no_list_and_one_that_is_due_are_told() -> None:
    assert [p.code for p in check_switches(switching(), date(2026, 12, 31))] == ["list-unknown"]
    assert [p.code for p in check_switches(switching(), date(2027, 1, 1))] == ["list-unknown", "list-switch-due"]
