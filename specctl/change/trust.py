"""Who may sign and who must, as one digest that can be pinned, and as much of it as one site may see.

A trust names every person who can meet a need, by the digest of what counts of
them: id, roles, franchises, deputies, covers, keys; no name, no address. So a site is
shown the people it needs and only digests of the rest, and still checks the
whole. A change of trust is signed as one row of the effect of the proposal that
makes it: the digests before and after.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from specctl.canonical import digest
from specctl.domain.people import (
    AUTHOR,
    FRANCHISE_MANAGER,
    Cover,
    Key,
    Person,
    Policy,
    Rule,
    Signatories,
)
from specctl.errors import Untrusted
from specctl.publickey import is_public_key

ROW = "quorum"
"""The path under which an effect's files name a change of trust: no file of a book has it."""

Plain = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Trust:
    """Signatories and policy, and the digest of both; of a read one, the people shown only."""

    signatories: Signatories
    policy: Policy
    digest: str


def trust_of(signatories: Signatories, policy: Policy) -> Trust:
    """The trust a main stands for."""
    return Trust(signatories, policy, digest(_whole(signatories, policy)))


def change_of(before: str, after: str) -> str:
    """What an effect names for a change of trust."""
    return digest([before, after])


def shown(trust: Trust, franchises: frozenset[str]) -> dict[str, Any]:
    """The trust as JSON, with the people whose word can count at a site of these franchises in full."""
    people = trust.signatories.people
    counts = {id for id, person in people.items() if _counts(person, franchises)}
    # A deputy counts through whom they stand in for, and so does whoever covers somebody.
    covering = {cover.by for id in counts for cover in people[id].covers}
    seen = [p for p in people.values() if p.id in counts | covering or p.deputy_for & counts]
    whole = _whole(trust.signatories, trust.policy)
    return {"trust": whole, "people": [_person(p) for p in sorted(seen, key=lambda p: p.id)]}


def read_trust(raw: Any) -> Trust:
    """A trust from JSON. Raises Untrusted for anything `shown` would not have made."""
    try:
        trust, people = raw["trust"], [_read_person(each) for each in raw["people"]]
        policy = Policy(
            {change: Rule(change, _texts(roles), "") for change, roles in trust["rules"].items()}, _texts(trust["otherwise"])
        )
        whole = (
            set(raw) == {"trust", "people"}
            and trust == {"trust": 1, "rules": _rules(policy), "otherwise": list(policy.otherwise), "people": trust["people"]}
            and [_person(p) for p in people] == raw["people"]
            and {digest(_person(p)) for p in people} <= set(_texts(trust["people"]))
            and len({p.id for p in people}) == len(people)
            and _apart(people)
        )
        made = Trust(Signatories({p.id: p for p in people}), policy, digest(trust))
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError):
        whole = False
    if not whole:
        raise Untrusted("who may sign is not well made in this bundle", "Tell head office.")
    return made


def _whole(signatories: Signatories, policy: Policy) -> dict[str, Any]:
    people = sorted(digest(_person(person)) for person in signatories.people.values())
    return {"trust": 1, "rules": _rules(policy), "otherwise": list(policy.otherwise), "people": people}


def _rules(policy: Policy) -> dict[str, list[str]]:
    return {change: list(rule.signs) for change, rule in policy.rules.items()}


def _person(person: Person) -> dict[str, Any]:
    # Nothing where nobody ever stood in for a while: such a person's digest is what it always was.
    covers = sorted([c.by, c.begins.isoformat(), c.ends.isoformat()] for c in person.covers)
    return {
        **({"cover": covers} if covers else {}),
        "person": person.id,
        "roles": sorted(person.roles),
        "franchises": sorted(person.franchises),
        "deputy_for": sorted(person.deputy_for),
        "keys": sorted(" ".join(key.public.split()[:2]) for key in person.keys.values() if not key.retired),
    }


def _read_person(raw: Any) -> Person:
    keys = {str(at): Key(str(at), public) for at, public in enumerate(_texts(raw["keys"]))}
    if not isinstance(raw["person"], str) or not all(is_public_key(key.public) for key in keys.values()):
        raise ValueError("not a person with keys")
    roles, franchises, deputy_for = (frozenset(_texts(raw[name])) for name in ("roles", "franchises", "deputy_for"))
    covers = tuple(
        Cover(str(at), by, date.fromisoformat(begins), date.fromisoformat(ends))
        for at, (by, begins, ends) in enumerate(_texts(each) for each in raw.get("cover", []))
    )
    return Person(raw["person"], raw["person"], roles, franchises=franchises, deputy_for=deputy_for, keys=keys, covers=covers)


def _texts(raw: Any) -> tuple[str, ...]:
    if not isinstance(raw, list) or not all(isinstance(each, str) for each in raw):
        raise TypeError("not a list of texts")
    return tuple(raw)


def _apart(people: Iterable[Person]) -> bool:
    """Whether no key stands under two persons: such a key proves neither."""
    keys = [key.public for person in people for key in person.keys.values()]
    return len(set(keys)) == len(keys)


def _counts(person: Person, franchises: frozenset[str]) -> bool:
    """Whether a site of these franchises may meet the person's word: all but those who manage other franchises alone."""
    return bool(person.roles - {FRANCHISE_MANAGER, AUTHOR}) or bool(franchises & person.franchises)
