"""Which signatures a change needs, and which of those given count.

A change falls into classes; the policy on main maps each class to roles. The
role `franchise-manager` means one manager of every franchise the class
touches, over that franchise's scope; every other role signs the chain's scope.
Persons and keys must be distinct across the roles of one scope, and nobody
signs a proposal any of whose commits their key signed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterable, Mapping, Sequence

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
    """A verified statement: who really signed it, as what, over which effect."""

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


@dataclass(frozen=True, slots=True)
class Standing:
    """How one need stands: met by a statement, or open; why a given one does not count."""

    need: Need
    can_sign: tuple[str, ...]
    met_by: Said | None = None
    stale: str = ""


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


def may_sign(person: Person, need_role: str, scope: str, people: Mapping[str, Person]) -> bool:
    """Whether a person holds a role for a scope, in their own right or as a named deputy."""
    if _holds(person, need_role, scope):
        return True
    return any(
        _holds(people[other], need_role, scope) for other in person.deputy_for if other in people
    )


def _holds(person: Person, role: str, scope: str) -> bool:
    if role not in person.roles:
        return False
    if role == FRANCHISE_MANAGER:
        return scope.removeprefix("franchise/") in person.franchises
    return True


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
    round. One person and one key meet one need of a scope only.
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
    for scope, scoped in by_scope.items():
        heard = [s for s in last.values() if s.scope == scope]
        why = {id(s): why_not(s, digests.get(scope), people, authors) for s in heard}
        able = [[s for s in heard if s.role == need.role and not why[id(s)]] for need in scoped]
        for need, met, could in zip(scoped, _fill(able), able, strict=True):
            stale = ""
            if met is None:
                doubts = [f"{s.person} already signed this scope in another role" for s in could]
                doubts += [why[id(s)] for s in heard if s.role == need.role and why[id(s)]]
                stale = doubts[0] if doubts else ""
            standings.append(Standing(need, _can_sign(need, people, authors), met, stale))
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


def _can_sign(need: Need, people: Mapping[str, Person], authors: frozenset[str]) -> tuple[str, ...]:
    able = sorted(p.id for p in people.values() if may_sign(p, need.role, need.scope, people) and p.id not in authors)
    return tuple(people[p].name for p in able)


def why_not(said: Said, digest: str | None, people: Mapping[str, Person], authors: frozenset[str]) -> str:
    """Why a sign-off does not count by itself, or nothing."""
    person = people.get(said.person)
    if said.person in authors:
        return f"{said.person} is an author of this proposal"
    if person is None or not may_sign(person, said.role, said.scope, people):
        return f"{said.person} may not sign as {said.role}"
    if said.effect != digest:
        return f"{said.person} signed an earlier effect of this proposal"
    return ""


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
