"""The verb `policy`: which rule asks for whom on a proposal, and what each statement is worth.

Nothing is decided here: classes, needs and the judgement are those `release`
goes by. This module only says, for every statement on main about the proposal,
whether it counts and if not why, and for every need who could meet it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timezone
from typing import Any

from specctl.actions.case import open_case
from specctl.actions.judging import Findings, findings_of, policy_of, signatories_of, state_of
from specctl.actions.ledger import signers_of
from specctl.actions.released import as_released
from specctl.actions.source import Source
from specctl.actions.starts import starts_of
from specctl.change.effect import CHAIN
from specctl.change.policy import CLASS_WORDS, Said, why_not
from specctl.change.statement import OBJECTION, SIGNOFF, Envelope
from specctl.change.trial import sites_of
from specctl.domain.people import Policy, Signatories
from specctl.errors import Refused
from specctl.store.signature import Signer, verify


@dataclass(frozen=True, slots=True)
class AskedBy:
    """A class of change found, the rule that speaks of it, and every reason it was found for."""

    change: str
    words: str
    signs: tuple[str, ...]
    why: str
    because: tuple[str, ...]
    franchises: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Asked:
    """One signature asked for: by which classes, met by whom, and who could meet it."""

    role: str
    scope: str
    classes: tuple[str, ...]
    met_by: str
    can_sign: tuple[str, ...]
    nearly: str
    quorum: str = ""
    instead: tuple[dict[str, str], ...] = ()
    """Who may sign today in whose place, until when: they are among `can_sign` too."""
    met_for: str = ""


@dataclass(frozen=True, slots=True)
class Weighed:
    """One statement on main: whether it counts towards a need, or why not."""

    purpose: str
    person: str
    role: str
    scope: str
    said: str
    digest: str
    counts: bool
    why: str
    note: str


@dataclass(frozen=True, slots=True)
class Tried:
    """The trial that is asked for: by which classes, for how long, where it may be, where it is planned, and what it lacks."""

    classes: tuple[str, ...]
    days: int
    may: tuple[str, ...]
    sites: tuple[str, ...]
    lacks: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        return {n: list(v) if isinstance(v := getattr(self, n), tuple) else v for n in self.__slots__}


@dataclass(frozen=True, slots=True)
class Explained:
    proposal: str
    state: str
    fast: bool
    rules: tuple[AskedBy, ...]
    needs: tuple[Asked, ...]
    statements: tuple[Weighed, ...]
    authors: tuple[str, ...]
    trial: Tried | None = None

    def as_json(self) -> dict[str, Any]:
        def rows(values: tuple[Any, ...]) -> list[dict[str, Any]]:
            return [{n: list(v) if isinstance(v := getattr(one, n), tuple) else v for n in one.__slots__} for one in values]

        return {
            "policy": 1,
            "proposal": self.proposal,
            "state": self.state,
            "fast": self.fast,
            "rules": rows(self.rules),
            "needs": rows(self.needs),
            "statements": rows(self.statements),
            "authors": list(self.authors),
            **({"trial": self.trial.as_json()} if self.trial else {}),
        }


def explain(source: Source, which: str, today: date) -> Explained:
    """Why a proposal waits for whom. A released one is looked at on the main it was released onto."""
    opened = open_case(source, which, today)
    case, number = as_released(opened, CHAIN)
    if number is None and state_of(opened, None) == "released":
        raise Refused(f"{opened.name} is released, and this version no longer comes to the effect that was signed")
    if case.merged.conflicts:
        raise Refused(f"{case.name} conflicts with main as it is now", f"Settle that first; see: specctl report {case.name}")
    findings = findings_of(case)
    judgement = findings.judgement
    policy, people = policy_of(case), signatories_of(case)
    classes = {need: _classes(findings, policy, need.role, need.scope) for need in findings.needs}
    return Explained(
        case.name,
        "released" if number is not None else state_of(case, judgement),
        judgement.fast,
        _rules(findings, policy),
        tuple(
            Asked(
                s.need.role,
                s.need.scope,
                classes[s.need],
                s.met_by.person if s.met_by else "",
                s.can_sign,
                s.stale,
                s.need.quorum,
                tuple(one.as_json() for one in s.instead),
                s.met_for,
            )
            for s in judgement.standings
        ),
        _weighed(findings, people),
        tuple(sorted(case.authors)),
        _trial(findings, judgement.fast),
    )


def _trial(findings: Findings, fast: bool) -> Tried | None:
    """By starts as they would be if it were released today."""
    if not findings.trials:
        return None
    case = findings.case
    starts = starts_of(case.book, case.effect.waves, datetime.combine(case.today, time(), timezone.utc), fast)
    named = [t.sites for t in findings.trials.values() if t.sites]
    return Tried(
        tuple(findings.trials),
        max(t.days for t in findings.trials.values()),
        tuple(sorted(frozenset.intersection(*named))) if named else (),
        tuple(sorted(sites_of(case.effect.waves))),
        tuple(findings.untried(starts)),
    )


def _rules(findings: Findings, policy: Policy) -> tuple[AskedBy, ...]:
    found = []
    for change in CLASS_WORDS:
        hits = [h for h in findings.hits if h.change == change]
        if not hits:
            continue
        rule = policy.rules.get(change)
        found.append(
            AskedBy(
                change,
                CLASS_WORDS[change],
                rule.signs if rule else policy.otherwise,
                rule.why if rule else "No rule names this class, so the policy's `otherwise` asks.",
                tuple(dict.fromkeys(h.because for h in hits)),
                tuple(sorted(frozenset().union(*(h.franchises for h in hits)))),
            )
        )
    return tuple(found)


def _classes(findings: Findings, policy: Policy, role: str, scope: str) -> tuple[str, ...]:
    """The classes whose rule, the old or the new, asks for this role over this scope."""
    policies = [policy]
    proposed = findings.case.book.policy
    if proposed is not None and any(h.change == "policy" for h in findings.hits):
        policies.append(proposed)
    found = []
    for change in CLASS_WORDS:
        hits = [h for h in findings.hits if h.change == change]
        signs = {r for p in policies for r in (p.rules[change].signs if change in p.rules else p.otherwise)}
        touched = scope == CHAIN or any(scope.removeprefix("franchise/") in h.franchises for h in hits)
        if hits and role in signs and touched:
            found.append(change)
    return tuple(found)


def _weighed(findings: Findings, people: Signatories) -> tuple[Weighed, ...]:
    case, judgement = findings.case, findings.judgement
    said = {s.digest: s for s in (*findings.said_by_new, *findings.said)}
    counted = {s.met_by.digest for s in judgement.standings if s.met_by}
    standing = {o.digest for o in judgement.objections}
    wanted = {(n.role, n.scope) for n in findings.needs}
    found = []
    for envelope in case.ledger.envelopes(case.name):
        s = envelope.statement
        one = said.get(envelope.digest)
        if one is None:
            why = _unverified(envelope, people, case.book.settings.id)
        elif one.purpose == OBJECTION:
            why = "" if one.digest in standing else f"{s.person} has signed off since"
        elif one.digest in counted:
            why = ""
        else:
            why = (
                _uncounted(one, findings, wanted)
                or why_not(one, case.digests.get(s.scope), people.people, case.authors)
                or "that need is met by somebody else's, or this person's other, sign-off"
            )
        counts = envelope.digest in counted or envelope.digest in standing
        found.append(Weighed(s.purpose, s.person, s.role, s.scope, s.said, envelope.digest, counts, why, s.note))
    return tuple(found)


def _uncounted(one: Said, findings: Findings, wanted: set[tuple[str, str]]) -> str:
    """What came after it, or that nobody asked for it."""
    later = [s for s in findings.said if s.order > one.order and (s.person, s.scope) == (one.person, one.scope)]
    if any(s.purpose == OBJECTION for s in later):
        return f"{one.person} objected afterwards"
    if any(s.purpose == SIGNOFF and s.role == one.role for s in later):
        return f"{one.person} signed again afterwards"
    if (one.role, one.scope) not in wanted:
        return f"nothing in this proposal asks for {one.role} over {one.scope}"
    return ""


def _unverified(envelope: Envelope, people: Signatories, book: str) -> str:
    s = envelope.statement
    if s.book != book:
        return f"it is about the book {s.book}"
    if s.person not in people.people:
        return f"{s.person} is not among the signatories on main"
    every = [k for k in signers_of(people, retired=True)]
    who = verify(envelope.payload, envelope.signature, s.namespace, [Signer(k.person, k.public_key) for k in every])
    if who == s.person:
        return f"it is signed with a retired key of {s.person}"
    if who is not None:
        return f"it says {s.person} and is signed by {who}"
    return f"it is signed by no key of {s.person}"
