"""Which signatures a change needs, and which of those given count.

A change falls into classes; the policy on main maps each class to roles. The
role `franchise-manager` means one manager of every franchise the class
touches, over that franchise's scope; every other role signs the chain's scope.
Persons and keys must be distinct across the roles of one scope, and nobody
signs a proposal any of whose commits their key signed.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from itertools import product
from typing import Iterable, Iterator, Mapping, Sequence

from specctl.change.cover import Right, right_of
from specctl.change.effect import CHAIN
from specctl.domain.people import FRANCHISE_MANAGER, Person, Policy, Signatories

NEW = "new"

CLASS_WORDS = {
    "allergen-in": "an allergen comes into a drink",
    "declaration-up": "an allergen declaration grows",
    "declaration-down": "an allergen leaves a declaration",
    "unknown": "an allergen becomes unknown",
    "amount": "an amount changes",
    "unmeasurable": "a site can no longer measure an amount within tolerance",
    "cost": "the cost of a cup moves beyond the limit, or cannot be told",
    "price": "a price book changes",
    "method": "the method changes",
    "equipment": "tools, vessels or equipment change",
    "hold": "a hold time or storage changes",
    "scoop-check": "a scoop check changes",
    "item-new": "a drink or prep is new at a site",
    "item-gone": "a drink or prep is no longer served at a site",
    "text": "words change",
    "book": "settings, lists, markets, sites or franchises change",
    "policy": "who may sign, or who must, changes",
}


@dataclass(frozen=True, slots=True)
class Hit:
    """One class of change, the franchises it touches, and an example of why."""

    change: str
    franchises: frozenset[str]
    because: str


@dataclass(frozen=True, slots=True)
class Need:
    """One signature asked for: a role over a scope, with the classes that ask.

    `quorum` NEW: asked for by the policy, and judged by the signatories, that the proposal would bring.
    """

    role: str
    scope: str
    because: tuple[str, ...]
    quorum: str = ""


@dataclass(frozen=True, slots=True)
class Said:
    """A verified statement: who really signed it, as what, over which effect.

    `days`: those on which a cover must have held for it to count by that cover.
    """

    purpose: str
    person: str
    key: str
    role: str
    scope: str
    effect: str
    said: str
    note: str
    digest: str
    order: int = 0
    days: tuple[date, ...] = ()


@dataclass(frozen=True, slots=True)
class Instead:
    """Who may sign today in whose place, and until which day."""

    name: str
    of: str
    until: str

    def as_json(self) -> dict[str, str]:
        return {"name": self.name, "for": self.of, "until": self.until}


@dataclass(frozen=True, slots=True)
class Standing:
    """How one need stands: met by a statement, or open; why a given one does not count."""

    need: Need
    can_sign: tuple[str, ...]
    met_by: Said | None = None
    stale: str = ""
    instead: tuple[Instead, ...] = ()
    met_for: str = ""
    """Whom the signer stood in for by a cover; empty otherwise."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """All needs of a proposal, and the objections that stand."""

    standings: tuple[Standing, ...]
    objections: tuple[Said, ...] = ()
    answered: tuple[Said, ...] = ()
    authors: frozenset[str] = field(default_factory=frozenset)
    fast: bool = False

    @property
    def approved(self) -> bool:
        """Every need met and nobody objecting; a fast change waits for no objection."""
        return (self.fast or not self.objections) and all(s.met_by for s in self.standings)

    @property
    def open(self) -> tuple[Standing, ...]:
        return tuple(s for s in self.standings if s.met_by is None)


def is_fast(hits: Iterable[Hit]) -> bool:
    """Whether declarations grow and nothing else moves but words: that goes at once, and no objection blocks it."""
    classes = {hit.change for hit in hits}
    return "declaration-up" in classes and classes <= {"declaration-up", "text"}


def needs(policy: Policy, hits: Iterable[Hit]) -> tuple[Need, ...]:
    """The signatures a set of class hits asks for, sorted, reasons joined."""
    because: dict[tuple[str, str], list[str]] = {}
    for hit in hits:
        rule = policy.rules.get(hit.change)
        for role in rule.signs if rule else policy.otherwise:
            if role == FRANCHISE_MANAGER:
                scopes = [f"franchise/{f}" for f in sorted(hit.franchises)]
            else:
                scopes = [CHAIN]
            for scope in scopes:
                reasons = because.setdefault((role, scope), [])
                if hit.because not in reasons:
                    reasons.append(hit.because)
    return tuple(
        Need(role, scope, tuple(reasons))
        for (role, scope), reasons in sorted(because.items(), key=lambda i: (i[0][1], i[0][0]))
    )


def may_sign(person: Person, role: str, scope: str, people: Mapping[str, Person], days: Iterable[date] = ()) -> bool:
    """Whether a person holds a role for a scope, in any right that `cover.py` knows."""
    return right_of(person, role, scope, people, days) is not None


def judge(
    wanted: Iterable[Need],
    said: Iterable[Said],
    digests: Mapping[str, str],
    signatories: Signatories,
    authors: frozenset[str],
    fast: bool = False,
) -> Judgement:
    """Match verified statements to needs.

    `digests` gives today's effect digest by scope; a statement over another
    digest is stale. A later statement of one person on one scope replaces an
    earlier one, so a sign-off after an objection answers it, and the other way
    round. One person and one key meet one need of a scope only; whoever counts
    by a cover meets that one need and no other, of any scope.
    """
    people = signatories.people
    last: dict[tuple[str, str, str], Said] = {}
    objections_by: dict[tuple[str, str], Said] = {}
    answered: list[Said] = []
    for statement in sorted(said, key=lambda s: s.order):
        who = (statement.person, statement.scope)
        if statement.purpose == "objection":
            objections_by[who] = statement
            for key in [k for k in last if k[:2] == who]:
                del last[key]
        elif statement.purpose == "signoff":
            last[(*who, statement.role)] = statement
            if who in objections_by:
                answered.append(objections_by.pop(who))
    standings = []
    by_scope: dict[str, list[Need]] = {}
    for need in wanted:
        by_scope.setdefault(need.scope, []).append(need)
    heard = tuple(last.values())
    why = {id(s): why_not(s, digests.get(s.scope), people, authors) for s in heard}
    able = [
        [[s for s in heard if (s.scope, s.role) == (scope, need.role) and not why[id(s)]] for need in scoped]
        for scope, scoped in by_scope.items()
    ]
    lent = {id(s): right.of for s in heard if not why[id(s)] and (right := _right(s, people)) is not None and right.lent}
    for scoped, filled, candidates in zip(by_scope.values(), _filled(able, lent.keys()), able, strict=True):
        for need, met, could in zip(scoped, filled, candidates, strict=True):
            stale = ""
            if met is None:
                doubts = [_taken(s, lent.keys()) for s in could]
                doubts += [why[id(s)] for s in heard if (s.scope, s.role) == (need.scope, need.role) and why[id(s)]]
                stale = doubts[0] if doubts else ""
            met_for = lent.get(id(met), "") if met is not None else ""
            standings.append(Standing(need, _can_sign(need, people, authors), met, stale, met_for=met_for))
    return Judgement(
        tuple(standings),
        tuple(sorted(objections_by.values(), key=lambda s: s.order)),
        tuple(answered),
        authors,
        fast,
    )


def joined(old: Judgement, new: Judgement) -> Judgement:
    """Two quorums that must both be met: one person may stand in both, by one word or two."""
    heard = {o.digest: o for o in (*old.objections, *new.objections)}
    return Judgement(
        (*old.standings, *new.standings), tuple(sorted(heard.values(), key=lambda s: s.order)), old.answered, old.authors, old.fast
    )


def on_day(judgement: Judgement, signatories: Signatories, day: date, quorum: str = "") -> Judgement:
    """The judgement with everybody who may sign by a cover on a day, for the needs of one quorum."""
    if not signatories.covered:
        return judgement
    people = signatories.people
    standings = []
    for one in judgement.standings:
        if one.need.quorum == quorum:
            able = [
                (p, right)
                for _, p in sorted(people.items())
                if p.id not in judgement.authors and (right := right_of(p, one.need.role, one.need.scope, people, (day,))) and right.until
            ]
            instead = tuple(Instead(p.name, people[r.of].name, r.until.isoformat()) for p, r in able if r.until)
            one = replace(one, can_sign=(*one.can_sign, *(i.name for i in instead)), instead=instead)
        standings.append(one)
    return replace(judgement, standings=tuple(standings))


def _can_sign(need: Need, people: Mapping[str, Person], authors: frozenset[str]) -> tuple[str, ...]:
    able = sorted(p.id for p in people.values() if right_of(p, need.role, need.scope, people) and p.id not in authors)
    return tuple(people[p].name for p in able)


def _right(said: Said, people: Mapping[str, Person]) -> Right | None:
    person = people.get(said.person)
    return right_of(person, said.role, said.scope, people, said.days) if person is not None else None


def _taken(said: Said, lent: Iterable[int]) -> str:
    if id(said) in lent:
        return f"{said.person}, who covers for somebody, counts once and already does"
    return f"{said.person} already signed this scope in another role"


def why_not(said: Said, digest: str | None, people: Mapping[str, Person], authors: frozenset[str]) -> str:
    """Why a sign-off does not count by itself, or nothing."""
    if said.person in authors:
        return f"{said.person} is an author of this proposal"
    if _right(said, people) is None:
        ever = {p.id for p in people.values() for cover in p.covers if cover.by == said.person}
        dated = ", and nobody they cover was covered on the days this was said and taken in" if ever else ""
        return f"{said.person} may not sign as {said.role}{dated}"
    if said.effect != digest:
        return f"{said.person} signed an earlier effect of this proposal"
    return ""


def _filled(able: Sequence[Sequence[Sequence[Said]]], lent: Iterable[int]) -> list[tuple[Said | None, ...]]:
    """By scope, as many needs met as can be over all of them, each lent word used once and only for who counts nowhere else."""
    best: list[tuple[Said | None, ...]] = []
    for barred in _ways(able, frozenset(lent)):
        filled = [_fill([[s for s in could if id(s) not in barred] for could in scoped]) for scoped in able]
        if not best or sum(map(_met, filled)) > sum(map(_met, best)):
            best = filled
    return best


def _ways(able: Sequence[Sequence[Sequence[Said]]], lent: frozenset[int]) -> Iterator[frozenset[int]]:
    """The words left out, for every way in which those who hold a lent word may count: without it, or by one such alone."""
    words: dict[str, set[int]] = {}
    for said in (s for scoped in able for could in scoped for s in could):
        words.setdefault(said.person, set()).add(id(said))
    ways = []
    for _, mine in sorted(words.items()):
        borrowed = sorted(mine & lent)
        if borrowed:
            ways.append([frozenset(borrowed), *(frozenset(mine - {one}) for one in borrowed)])
    for way in product(*ways):
        yield frozenset().union(*way)


def _fill(able: Sequence[Sequence[Said]], used: frozenset[str] = frozenset()) -> tuple[Said | None, ...]:
    """As many needs met as can be, each by another person and another key; the order of signing plays no part."""
    if not able:
        return ()
    best: tuple[Said | None, ...] = ()
    for said in (*able[0], None):
        if said is not None and not used.isdisjoint((said.person, said.key)):
            continue
        taken = used | {said.person, said.key} if said is not None else used
        found = (said, *_fill(able[1:], taken))
        if not best or _met(found) > _met(best):
            best = found
        if _met(best) == len(able):
            break
    return best


def _met(found: Iterable[Said | None]) -> int:
    return sum(said is not None for said in found)
