"""Holiday cover: who may sign in whose place, on which days, at head office and at a site; and nobody twice.

No published standard has dated deputies. The rules are those this project
states; that a threshold counts distinct people is The Update Framework 1.0 (5.3.4,
a role's keys are counted once each).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from chain_world import SAFETY, SECOND, World, day, plain_git
from forge import commit_of, set_main

from specctl.actions.auditing import audit
from specctl.actions.explaining import explain
from specctl.actions.offsale import OffSaleWish, off_sale
from specctl.actions.publishing import bundles
from specctl.actions.signing import SignWish, sign_in_clone
from specctl.analysis.covers import check_chains, check_covers
from specctl.change.cover import Right, right_of
from specctl.change.notice import may_post
from specctl.change.policy import Need, Said, judge
from specctl.change.trust import read_trust, shown, trust_of
from specctl.codec.load import load
from specctl.domain.people import Cover, Key, Person, Policy, Signatories
from specctl.errors import Refused, Untrusted
from specctl.report.policy_words import policy_text
from specctl.site.bundle import Bundle
from specctl.site.quorum import verify_quorum
from specctl.store.signature import sign

WREN, AOIFE = "wren-castell", "aoife-tarn"
FIRST, LAST = day(8).date(), day(20).date()


def person(id: str, *roles: str, franchises: tuple[str, ...] = (), covers: tuple[Cover, ...] = ()) -> Person:
    return Person(id, id.title(), frozenset(roles), franchises=frozenset(franchises), keys={"k": Key("k", f"ssh-ed25519 {id}")}, covers=covers)


def people(*all: Person) -> dict[str, Person]:
    return {p.id: p for p in all}


BEN_COVERS = (Cover("leave", "ben", FIRST, LAST),)
TRIO = people(person("ada", "food-safety", covers=BEN_COVERS), person("ben", "drinks"), person("cal", "franchise-manager", franchises=("marram",)))


def said(who: str, role: str, scope: str = "chain", days: tuple[date, ...] = (FIRST,)) -> Said:
    return Said("signoff", who, f"key of {who}", role, scope, "e", "", "", f"{who} {role} {scope}", days=days)


@pytest.mark.parametrize("on, counts", [(date(2026, 11, 9), False), (FIRST, True), (LAST, True), (date(2026, 11, 23), False)])
def test_a_cover_counts_from_its_first_day_to_its_last(on: date, counts: bool) -> None:
    found = right_of(TRIO["ben"], "food-safety", "chain", TRIO, (on,))
    assert found == (Right("ada", LAST) if counts else None)
    assert (may_post(TRIO["ben"], TRIO, (on,)) == "food-safety") is counts


def test_every_day_that_bears_on_a_word_must_lie_in_the_cover_and_without_a_day_none_counts() -> None:
    assert right_of(TRIO["ben"], "food-safety", "chain", TRIO, (FIRST, day(21).date())) is None
    assert right_of(TRIO["ben"], "food-safety", "chain", TRIO) is None
    assert right_of(TRIO["ben"], "drinks", "chain", TRIO) == Right()


def test_a_cover_is_not_passed_on() -> None:
    chain = people(person("ada", "food-safety", covers=BEN_COVERS), person("ben", "drinks", covers=(Cover("x", "cal", FIRST, LAST),)), person("cal", "author"))
    assert right_of(chain["cal"], "drinks", "chain", chain, (FIRST,)) == Right("ben", LAST)
    assert right_of(chain["cal"], "food-safety", "chain", chain, (FIRST,)) is None


def test_nobody_counts_twice_in_one_quorum_not_even_over_two_scopes() -> None:
    """Ben signs as drinks for himself and covers two people: one word of his counts, the most that can be met are."""
    all = people(
        person("ada", "food-safety", covers=BEN_COVERS),
        person("ben", "drinks"),
        person("cal", "franchise-manager", franchises=("marram",), covers=BEN_COVERS),
        person("dot", "drinks"),
    )
    needs = [Need("drinks", "chain", ()), Need("food-safety", "chain", ()), Need("franchise-manager", "franchise/marram", ())]
    digests = {"chain": "e", "franchise/marram": "e"}
    mine = [said("ben", "drinks"), said("ben", "food-safety"), said("ben", "franchise-manager", "franchise/marram")]
    found = judge(needs, mine, digests, Signatories(all), frozenset())
    assert sum(s.met_by is not None for s in found.standings) == 1
    assert {s.stale for s in found.open} <= {"ben, who covers for somebody, counts once and already does", "ben already signed this scope in another role"}
    # With another for drinks, Ben is free to stand in for one of the two he covers, and only one.
    found = judge(needs, [*mine, said("dot", "drinks")], digests, Signatories(all), frozenset())
    assert sum(s.met_by is not None for s in found.standings) == 2
    met = next(s for s in found.standings if s.met_by and s.met_by.person == "ben")
    assert met.met_for in ("ada", "cal") and met.met_for


def test_the_pinned_trust_carries_the_cover_and_is_as_it_was_where_there_is_none() -> None:
    policy = Policy({}, ("food-safety",))
    with_it, without = trust_of(Signatories(TRIO), policy), trust_of(Signatories({**TRIO, "ada": replace(TRIO["ada"], covers=())}), policy)
    assert with_it.digest != without.digest and all("cover" not in p for p in shown(without, frozenset())["people"])
    keyed = {id: replace(p, keys={"k": Key("k", public)}) for (id, p), public in zip(TRIO.items(), KEYS, strict=True)}
    told = shown(trust_of(Signatories(keyed), policy), frozenset())
    assert [p["person"] for p in told["people"]] == ["ada", "ben"]  # a manager of elsewhere by digest only
    back = read_trust(told)
    assert right_of(back.signatories.people["ben"], "food-safety", "chain", back.signatories.people, (LAST,)) == Right("ada", LAST)
    told["people"][0]["cover"][0][2] = "2027-11-22"
    with pytest.raises(Untrusted):
        read_trust(told)


KEYS = [f"ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAI{c * 43}" for c in "ABC"]


# Problems of a book, with their place.

BASE = """people:
  ada:
    name: Ada
    roles: [food-safety]
    cover:
      leave:
        by: {by}
        from: {first}
        to: {last}
  ben:
    name: Ben
    roles: [drinks]
"""


@pytest.mark.parametrize(
    "by, first, last, code, line, column",
    [
        ("ben", "2026-12-10", "2026-12-01", "cover-dates", 9, 13),
        ("ada", "2026-12-01", "2026-12-10", "cover-self", 7, 13),
        ("bem", "2026-12-01", "2026-12-10", "person-unknown", 7, 13),
    ],
)
def test_a_cover_that_cannot_be_is_a_problem_where_it_stands(world: World, by: str, first: str, last: str, code: str, line: int, column: int) -> None:
    from specctl.analysis.references import check_references

    with world.open() as source:
        text = BASE.format(by=by, first=first, last=last)
        loaded = load({"book.yaml": world.on_main("book.yaml").encode(), "signatories.yaml": text.encode()}, source.shelf)
    found = [*loaded.problems, *(check_references(loaded.book) if loaded.book else [])]
    assert [(p.code, p.place.file, p.place.line, p.place.column) for p in found if p.code == code] == [(code, "signatories.yaml", line, column)], found


def test_a_chain_of_covers_and_one_by_a_retired_person_are_problems() -> None:
    class Held:
        signatories = Signatories(
            people(
                person("ada", "food-safety", covers=BEN_COVERS),
                replace(person("ben", "drinks", covers=(Cover("x", "cal", LAST, LAST),)), keys={"k": Key("k", "p", retired=True)}),
                person("cal", "drinks"),
            )
        )

    assert [p.code for p in check_chains(Held())] == ["cover-chain"]  # type: ignore[arg-type]
    assert [p.code for p in check_covers(Held(), LAST)] == ["cover-retired"]  # type: ignore[arg-type]
    # What is over and done stops nobody.
    assert check_covers(Held(), day(21).date()) == []  # type: ignore[arg-type]


# The whole way, on main, in the audit and at a site.


@pytest.fixture
def covered(world: World) -> World:
    """Tobin Hale stands in for the food-safety lead, and Aoife Tarn for Wren Castell, from day 8 to day 20."""
    text = world.on_main("signatories.yaml")
    for who, by in ((SAFETY, SECOND), (WREN, AOIFE)):
        head, gap, rest = text.partition(f"  {who}:\n")
        text = head + gap + f"    cover:\n      leave:\n        by: {by}\n        from: {FIRST}\n        to: {LAST}\n" + rest
    (world.book / "signatories.yaml").write_text(text + "\n")
    name = world.propose(5, "Holiday cover").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.signed(name, 5.1, SECOND, SAFETY)
    world.release(name, 6)
    return world


def signed_by(world: World, name: str, who: str, at: float, taken_in: float, **more: str) -> None:
    with world.open() as source:
        said = sign_in_clone(source, name, SignWish("signoff", day(at), world.key(who), **more))
    assert world.collect(said, taken_in).refused == ()


def hold_change(world: World, at: float) -> str:
    """A hold time asks for food safety alone."""
    path = min((world.book / "preps").glob("*.yaml"))
    text = path.read_text()
    line = next(one for one in text.splitlines() if one.startswith("hold:"))
    path.write_text(text.replace(line, "hold: 3 h"))
    name = world.propose(at, "Kept shorter", start=day(at + 9).date()).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    return name


def site_bundle(world: World) -> Bundle:
    with world.open() as source:
        made = bundles(source.in_git(), world.main())
    return Bundle.parse(min(made.items())[1])


def test_a_covering_person_signs_main_and_a_site_agree(covered: World) -> None:
    from specctl.actions.approving import first_trust

    name = hold_change(covered, 9)
    with covered.open() as source:
        found = explain(source, name, day(9).date())
        late = explain(source, name, day(21).date())
    need = next(n for n in found.needs if n.role == "food-safety")
    assert {"name": "Tobin Hale", "for": "Maren Oduya", "until": str(LAST)} in need.instead
    assert f"Tobin Hale may sign in place of Maren Oduya until {LAST}" in policy_text(found.as_json())
    assert next(n for n in late.needs if n.role == "food-safety").instead == ()
    assert [n.role for n in found.needs] == ["food-safety"]
    signed_by(covered, name, SECOND, 9.1, 9.2)
    covered.release(name, 9.5)
    with covered.open() as source:
        assert audit(source, afresh=True).first is None
        pinned = first_trust(source.in_git(), covered.main()).digest
    bundle = site_bundle(covered)
    assert verify_quorum(bundle, pinned) == 3


@pytest.mark.parametrize("at, taken_in", [(7.5, 8.5), (19.9, 21.5)])
def test_a_word_said_too_early_or_taken_in_too_late_does_not_count(covered: World, at: float, taken_in: float) -> None:
    name = hold_change(covered, 7)
    with covered.case(name, at) as case:
        from specctl.change.statement import Envelope, Statement

        stamp = day(at).strftime("%Y-%m-%dT%H:%M:%SZ")
        word = Statement("signoff", "tidewick", name, "chain", case.digests["chain"], "food-safety", SECOND, stamp)
    covered.collect([Envelope(word, word.payload, sign(word.payload, covered.key(SECOND), word.namespace))], taken_in)
    with pytest.raises(Refused, match="nobody they cover was covered"):
        covered.release(name, taken_in + 0.1)


def test_backdating_a_word_does_not_help_for_the_day_main_took_it_in_counts(covered: World) -> None:
    name = hold_change(covered, 22)
    with covered.case(name, 22) as case:
        from specctl.change.statement import Envelope, Statement

        word = Statement("signoff", "tidewick", name, "chain", case.digests["chain"], "food-safety", SECOND, day(9).strftime("%Y-%m-%dT%H:%M:%SZ"))
    covered.collect([Envelope(word, word.payload, sign(word.payload, covered.key(SECOND), word.namespace))], 22.1)
    with pytest.raises(Refused, match="nobody they cover was covered"):
        covered.release(name, 22.2)


def test_whoever_covers_may_take_off_sale_and_only_then(covered: World) -> None:
    wish = OffSaleWish("ingredient", "sage-leaf", "A lot was recalled.", day(21), "", covered.key(SECOND))
    with covered.open() as source, pytest.raises(Refused, match="may not take anything off sale"):
        off_sale(source, wish)
    with covered.open() as source:
        off_sale(source, replace(wish, now=day(12)))
        assert audit(source, afresh=True).first is None


def test_a_notice_put_on_main_by_git_after_the_cover_ended_is_found(covered: World) -> None:
    """Words of day 12, put on main on day 21: the commit's day speaks."""
    from specctl.change.notice import Notice, Posted

    notice = Notice("tidewick", "ingredient/sage-leaf", "", "A lot was recalled.", "food-safety", SECOND, day(12).strftime("%Y-%m-%dT%H:%M:%SZ"))
    posted = Posted(notice, notice.payload, sign(notice.payload, covered.key(SECOND), notice.namespace))
    set_main(covered, commit_of(covered, {posted.path: posted.text().encode()}, key=covered.key(SECOND), at=21))
    with covered.open() as source:
        first = audit(source, afresh=True).first
    assert first is not None and (first.code, first.who) == ("statement", SECOND)


def test_signing_uses_a_lent_right_only_where_no_other_is_at_hand(covered: World) -> None:
    """Aoife Tarn is asked for Marram herself and covers Northsands: her one word is Marram's unless she says otherwise."""
    covered.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
    name = covered.propose(9, "More paste").name
    with covered.open() as source:
        scopes = [e.statement.scope for e in sign_in_clone(source, name, SignWish("signoff", day(9.1), covered.key(AOIFE)))]
        other = [e.statement.scope for e in sign_in_clone(source, name, SignWish("signoff", day(9.1), covered.key(AOIFE), scope="franchise/northsands"))]
    assert (scopes, other) == (["franchise/marram"], ["franchise/northsands"])


