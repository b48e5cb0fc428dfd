"""The verbs `sign` and `object`: one person's word on one effect, signed.

In a clone the effect is computed here, on today's main. Without a clone it is
taken from a report's JSON, whose effect is digested again: what is signed is
the digest of what the page shows, never a digest the page merely claims.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from specctl.actions.case import Case, open_case
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.judging import findings_of, signatories_of
from specctl.actions.removing import refuse_bare_removal
from specctl.actions.source import Source
from specctl.canonical import canonical, digest_of
from specctl.change.cover import Right, right_of
from specctl.change.effect import CHAIN
from specctl.change.policy import NEW, Need
from specctl.change.statement import LONGEST_NOTE, OBJECTION, SIGNOFF, Envelope, Statement, read_envelope
from specctl.domain.people import FOOD_SAFETY, FRANCHISE_MANAGER, Person
from specctl.errors import Refused, Untrusted
from specctl.store.signature import sign

MOST_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class SignWish:
    """`purpose` is signoff or objection; `role` and `scope` may be left to be worked out."""

    purpose: str
    now: datetime
    key: Path | None = None
    role: str | None = None
    scope: str | None = None
    note: str = ""


def sign_in_clone(source: Source, which: str, wish: SignWish) -> tuple[Envelope, ...]:
    """Statements over every need of this proposal the person may meet, or over the one named."""
    repository = source.in_git()
    if repository.has_origin():
        # A signature over an old state would be stale before it is collected.
        repository.fetch()
    case = open_case(source, which, wish.now.date())
    who = _who(case, key_at_hand(repository, wish.key))
    if wish.purpose == SIGNOFF and who.person.id in case.authors:
        raise Refused(
            f"{who.person.name} is an author of {case.name}", "Someone else who may sign must sign it."
        )
    if case.merged.conflicts:
        raise Refused(f"{case.name} conflicts with main as it is now", "Its author must settle that first.")
    wanted = _wanted(case, who.person.id, wish)
    return tuple(
        _seal(
            Statement(
                purpose=wish.purpose,
                book=case.book.settings.id,
                proposal=case.name,
                scope=scope,
                effect=case.digests[scope],
                role=role,
                person=who.person.id,
                said=_stamp(wish.now),
                price_book=_price_book(case, scope),
                note=wish.note,
            ),
            who.key,
        )
        for role, scope in wanted
    )


def _who(case: Case, key: Path) -> Identity:
    """Whose key it is by main; by the proposal's own signatories, where it brings that key in."""
    try:
        return identify(signatories_of(case), key)
    except Refused:
        proposed = case.book.signatories
        if proposed is None or "signatories.yaml" not in case.files_changed:
            raise
        return identify(proposed, key)


def _wanted(case: Case, person_id: str, wish: SignWish) -> list[tuple[str, str]]:
    known, proposed = signatories_of(case).people, case.book.signatories
    by_quorum = {"": known, NEW: proposed.people if proposed is not None else {}}
    person = known.get(person_id) or by_quorum[NEW][person_id]
    if wish.purpose == OBJECTION:
        if wish.scope:
            scope = wish.scope
        else:
            own = sorted(person.franchises)
            scope = f"franchise/{own[0]}" if FRANCHISE_MANAGER in person.roles and len(own) == 1 else CHAIN
        if scope not in case.digests:
            raise Refused(f"there is no scope {scope}", "Scopes: " + ", ".join(sorted(case.digests)))
        return [(wish.role or sorted(person.roles)[0], scope)]
    needs = findings_of(case).needs
    rights = {n: right for n in needs if (right := _right(by_quorum[n.quorum], person_id, n, wish.now.date())) is not None}
    mine = [n for n in rights if wish.role in (None, n.role) and wish.scope in (None, n.scope)]
    for quorum in ("", NEW):
        # A lent right counts once, and only for who counts nowhere else: so it is used where nothing else is at hand.
        lasting = any(n.quorum == quorum and not rights[n].lent for n in mine)
        lent = [n for n in mine if n.quorum == quorum and rights[n].lent]
        mine = [n for n in mine if n not in (lent if lasting else lent[1:])]
    if not mine:
        asked = ", ".join(f"{n.role} for {n.scope}" for n in needs) or "nobody"
        raise Refused(
            f"no signature of {person.name} is asked for on {case.name}", f"The policy asks for: {asked}."
        )
    # One person meets one need of a scope and quorum: the first the policy lists. One word may serve both quorums.
    taken: dict[tuple[str, str], tuple[str, str]] = {}
    for n in mine:
        taken.setdefault((n.scope, n.quorum), (n.role, n.scope))
    if any(role == FOOD_SAFETY for role, _ in taken.values()):
        # Told before anybody's signature goes stale over it; `release` asks once more.
        refuse_bare_removal(findings_of(case))
    return list(dict.fromkeys(taken.values()))


def _right(people: Mapping[str, Person], id: str, need: Need, day: date) -> Right | None:
    return right_of(people[id], need.role, need.scope, people, (day,)) if id in people else None


def sign_report(report: Path, wish: SignWish, person: str) -> Envelope:
    """A statement over the report in hand, needing no clone. Who it is from is checked when it is collected."""
    shown = _read_report(report)
    effect = shown["effect"]
    found = _digest(effect)
    if found is None or found != shown.get("effect_digest") or effect.get("scope") != shown.get("scope"):
        raise Untrusted(
            "the effect in this report is not the one its digest names", "Ask for the report again and compare the digests."
        )
    scope = str(shown["scope"])
    key = key_at_hand(None, wish.key)
    role = wish.role
    if role is None:
        listed = shown.get("signings")
        asked = [s for s in listed if isinstance(s, dict) and s.get("scope") == scope] if isinstance(listed, list) else []
        if wish.purpose == SIGNOFF and len(asked) != 1:
            raise Refused(
                "the report asks for more than one signature of this scope" if asked else "the report asks for no signature of this scope",
                "Say as what you sign with --role.",
            )
        role = str(asked[0].get("role")) if asked else FRANCHISE_MANAGER
    statement = Statement(
        purpose=wish.purpose,
        book=str(shown.get("book")),
        proposal=str(shown.get("proposal")),
        scope=scope,
        effect=found,
        role=role,
        person=person,
        said=_stamp(wish.now),
        price_book=shown.get("price_book"),
        note=wish.note,
    )
    return _seal(statement, key)


def _digest(effect: object) -> str | None:
    """The digest of an effect, or None for what no report of ours would hold."""
    try:
        return digest_of(canonical(effect))
    except (TypeError, RecursionError):
        return None


def _read_report(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise Refused(f"{path.name} is too large to be a report")
        shown = json.loads(path.read_bytes())
    except OSError:
        raise Refused(f"{path.name} cannot be read", "Name the report's JSON file.") from None
    except (ValueError, RecursionError):
        raise Refused(f"{path.name} is not a report's JSON", "Save it with: specctl report NUMBER --json") from None
    if not isinstance(shown, dict) or shown.get("report") != 1 or not isinstance(shown.get("effect"), dict):
        raise Refused(f"{path.name} is not a report of format 1", "Save it with: specctl report NUMBER --json")
    return shown


def _seal(statement: Statement, key: Path) -> Envelope:
    """Sign, but only what `collect` will be able to read."""
    try:
        read_envelope(Envelope(statement, statement.payload, "").text())
    except (Untrusted, TypeError):
        raise Refused(
            "nothing was signed: something named here cannot stand in a statement",
            f"Check the report, --role, the person and the note ({LONGEST_NOTE} characters at most).",
        ) from None
    return Envelope(statement, statement.payload, sign(statement.payload, key, statement.namespace))


def _price_book(case: Case, scope: str) -> str | None:
    if scope == CHAIN:
        return None
    data = case.merged.files.get(f"prices/{scope.removeprefix('franchise/')}/price-book.yaml")
    return digest_of(data) if data is not None else None


def _stamp(now: datetime) -> str:
    return now.strftime("%Y-%m-%dT%H:%M:%SZ")
