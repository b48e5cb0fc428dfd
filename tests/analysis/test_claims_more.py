"""Claims beyond allergens: gluten-free is never computed, oats, caffeine, sugars; lists that switch.

20 mg/kg is a limit on a tested product: Implementing Regulation (EU) No 828/2014
(its rule on oats from memory).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal

import make

from specctl.analysis.claims import claims_of
from specctl.analysis.listswitch import check_switches
from specctl.domain.book import Book, Claim
from specctl.domain.ingredient import Certificate
from specctl.problem import ERROR, WARNING

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
