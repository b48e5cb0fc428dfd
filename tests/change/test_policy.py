"""Who must sign, and whose word counts: tables of cases."""

from __future__ import annotations

from typing import Any

import pytest

from specctl.change.policy import Hit, Judgement, Need, Said, judge, may_sign, needs
from specctl.domain.people import Person, Policy, Rule, Signatories

NOW, BEFORE = "a" * 64, "b" * 64
NORTH = "franchise/northsands"
PEOPLE = {
    p.id: p
    for p in (
        Person("isla", "Isla", frozenset({"author", "drinks", "releaser"})),
        Person("tobin", "Tobin", frozenset({"author", "drinks"})),
        Person("maren", "Maren", frozenset({"food-safety"})),
        Person("piet", "Piet", frozenset({"author"}), deputy_for=frozenset({"maren"})),
        Person("both", "Both", frozenset({"drinks", "food-safety"})),
        Person("wren", "Wren", frozenset({"franchise-manager"}), franchises=frozenset({"northsands"})),
        Person("jory", "Jory", frozenset(), deputy_for=frozenset({"wren"})),
        Person("second", "Second", frozenset(), deputy_for=frozenset({"jory"})),
        Person("aoife", "Aoife", frozenset({"franchise-manager"}), franchises=frozenset({"marram"})),
    )
}
SIGNATORIES = Signatories(PEOPLE)
DRINKS = Need("drinks", "chain", ("an amount changes",))
SAFETY = Need("food-safety", "chain", ("an allergen comes in",))
MANAGER = Need("franchise-manager", NORTH, ("an amount changes",))


def said(person: str, role: str, scope: str = "chain", **more: Any) -> Said:
    fields: dict[str, Any] = {"purpose": "signoff", "effect": NOW, "key": f"key of {person}", "order": 0} | more
    return Said(
        person=person, role=role, scope=scope, said="2026-11-25T09:00:00Z", note="", digest=f"{person}{role}{scope}", **fields
    )


def judged(wanted: list[Need], *spoken: Said, authors: tuple[str, ...] = ("isla",)) -> Judgement:
    ordered = [Said(**{**{n: getattr(s, n) for n in s.__slots__}, "order": i}) for i, s in enumerate(spoken)]
    return judge(wanted, ordered, {"chain": NOW, NORTH: NOW}, SIGNATORIES, frozenset(authors))


def met(judgement: Judgement) -> dict[str, str | None]:
    return {s.need.role: s.met_by and s.met_by.person for s in judgement.standings}


@pytest.mark.parametrize(
    ("need", "spoken", "counts", "why"),
    [
        pytest.param(DRINKS, said("tobin", "drinks"), True, "", id="a holder of the role"),
        pytest.param(DRINKS, said("isla", "drinks"), False, "author", id="an author"),
        pytest.param(DRINKS, said("maren", "drinks"), False, "may not sign", id="somebody else's role"),
        pytest.param(DRINKS, said("tobin", "food-safety"), False, "", id="another role than asked"),
        pytest.param(DRINKS, said("tobin", "drinks", effect=BEFORE), False, "earlier effect", id="a stale digest"),
        pytest.param(DRINKS, said("tobin", "drinks", NORTH), False, "", id="another scope"),
        pytest.param(SAFETY, said("piet", "food-safety"), True, "", id="a named deputy"),
        pytest.param(MANAGER, said("wren", "franchise-manager", NORTH), True, "", id="the franchise's manager"),
        pytest.param(MANAGER, said("jory", "franchise-manager", NORTH), True, "", id="her deputy"),
        pytest.param(MANAGER, said("second", "franchise-manager", NORTH), False, "may not", id="a deputy's deputy"),
        pytest.param(MANAGER, said("aoife", "franchise-manager", NORTH), False, "may not", id="another franchise's manager"),
        pytest.param(DRINKS, said("ghost", "drinks"), False, "may not", id="nobody we know"),
        pytest.param(DRINKS, said("tobin", "drinks", purpose="confirmation"), False, "", id="another purpose"),
        pytest.param(DRINKS, said("tobin", "drinks", purpose="objection"), False, "", id="an objection is no sign-off"),
    ],
)
def test_one_need_one_word(need: Need, spoken: Said, counts: bool, why: str) -> None:
    judgement = judged([need], spoken)
    (standing,) = judgement.standings
    assert (standing.met_by is not None) is counts
    assert why in standing.stale
    assert judgement.approved is counts


def test_one_person_is_one_voice_in_a_scope() -> None:
    judgement = judged([DRINKS, SAFETY], said("both", "drinks"), said("both", "food-safety"))
    assert sorted(str(v) for v in met(judgement).values()) == ["None", "both"]
    assert not judgement.approved
    assert any("another role" in s.stale for s in judgement.standings)


def test_one_key_is_one_voice_in_a_scope() -> None:
    judgement = judged([DRINKS, SAFETY], said("tobin", "drinks", key="k"), said("maren", "food-safety", key="k"))
    assert not judgement.approved


def test_one_person_may_meet_needs_of_two_scopes() -> None:
    person = Person("wide", "Wide", frozenset({"drinks", "franchise-manager"}), franchises=frozenset({"northsands"}))
    spoken = [said("wide", "drinks", order=0), said("wide", "franchise-manager", NORTH, order=1)]
    judgement = judge([DRINKS, MANAGER], spoken, {"chain": NOW, NORTH: NOW}, Signatories({"wide": person}), frozenset())
    assert judgement.approved


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 0, 2), (0, 2, 1)])
def test_two_people_who_can_fill_both_needs_fill_them_in_any_order(order: tuple[int, ...]) -> None:
    """Who signed first must not decide whether two people suffice for two needs."""
    spoken = [said("both", "drinks"), said("both", "food-safety"), said("tobin", "drinks")]
    assert judged([DRINKS, SAFETY], *(spoken[i] for i in order)).approved


def test_a_stale_word_beside_a_good_one_does_not_hinder() -> None:
    other = Person("tess", "Tess", frozenset({"drinks"}))
    spoken = [said("tess", "drinks", effect=BEFORE, order=0), said("tobin", "drinks", order=1)]
    judgement = judge([DRINKS], spoken, {"chain": NOW}, Signatories({**PEOPLE, "tess": other}), frozenset())
    assert judgement.approved and judgement.standings[0].stale == ""


def test_an_objection_blocks_until_its_author_signs() -> None:
    objection = said("maren", "food-safety", purpose="objection")
    open_one = judged([DRINKS], said("tobin", "drinks"), objection)
    assert not open_one.approved and [o.person for o in open_one.objections] == ["maren"]
    answered = judged([DRINKS], said("tobin", "drinks"), objection, said("maren", "food-safety"))
    assert answered.approved and [o.person for o in answered.answered] == ["maren"]


def test_nobody_else_can_answer_an_objection() -> None:
    judgement = judged([DRINKS], said("maren", "food-safety", purpose="objection"), said("piet", "food-safety"), said("tobin", "drinks"))
    assert not judgement.approved


def test_an_objection_takes_back_an_earlier_sign_off() -> None:
    judgement = judged([DRINKS], said("tobin", "drinks"), said("tobin", "drinks", purpose="objection"))
    assert not judgement.approved and met(judgement) == {"drinks": None}


def test_an_objection_stands_though_the_effect_moved() -> None:
    """Correcting the proposal does not silence whoever objected; only they do."""
    judgement = judged([DRINKS], said("maren", "food-safety", purpose="objection", effect=BEFORE), said("tobin", "drinks"))
    assert not judgement.approved


def test_an_objection_on_one_scope_is_not_answered_on_another() -> None:
    judgement = judged([DRINKS], said("wren", "franchise-manager", NORTH, purpose="objection"), said("wren", "drinks"), said("tobin", "drinks"))
    assert not judgement.approved


def test_nothing_asked_and_nothing_objected_is_approved() -> None:
    assert judged([]).approved


def test_who_can_sign_leaves_authors_out() -> None:
    (standing,) = judged([DRINKS], authors=("isla", "tobin")).standings
    assert standing.can_sign == ("Both",)


POLICY = Policy(
    {"amount": Rule("amount", ("drinks", "franchise-manager"), ""), "allergen-in": Rule("allergen-in", ("food-safety",), "")},
    ("drinks", "food-safety"),
)


def test_needs_join_reasons_and_name_each_franchise() -> None:
    found = needs(
        POLICY,
        [
            Hit("amount", frozenset({"northsands", "marram"}), "less milk"),
            Hit("amount", frozenset({"marram"}), "more foam"),
            Hit("amount", frozenset({"marram"}), "more foam"),
            Hit("allergen-in", frozenset({"marram"}), "hazelnut comes in"),
        ],
    )
    assert {(n.role, n.scope): n.because for n in found} == {
        ("drinks", "chain"): ("less milk", "more foam"),
        ("food-safety", "chain"): ("hazelnut comes in",),
        ("franchise-manager", "franchise/marram"): ("less milk", "more foam"),
        ("franchise-manager", NORTH): ("less milk",),
    }


def test_a_class_without_a_rule_asks_the_strictest_the_policy_has() -> None:
    assert {(n.role, n.scope) for n in needs(POLICY, [Hit("hold", frozenset(), "longer")])} == {
        ("drinks", "chain"),
        ("food-safety", "chain"),
    }


def test_a_manager_signs_for_their_own_franchise() -> None:
    assert may_sign(PEOPLE["wren"], "franchise-manager", NORTH, PEOPLE)
    assert not may_sign(PEOPLE["wren"], "franchise-manager", "franchise/marram", PEOPLE)
    assert not may_sign(PEOPLE["wren"], "franchise-manager", "chain", PEOPLE)
