"""What an audit of main says: the first thing that does not hold, and what was covered.

A finding names the commit, what is wrong with it and whose doing it claims to
be. The rules that need no repository stand here; the replay is an action.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from specctl.domain.people import Key, Signatories

# Machines' clocks differ; a date further off than this is not a clock's doing.
CLOCKS_APART = 3600
LEDGER = ("releases/", "entries/", "statements/")
PEOPLE_AND_POLICY = ("policy.yaml", "signatories.yaml")

WORDS = {
    "start": "the first commit is not a signed beginning",
    "unsigned": "a commit is not signed by whoever may make it",
    "stray-edit": "something was changed outside a release",
    "removed": "something main must keep was taken away",
    "changed": "something main must keep was changed",
    "record": "a release record is not what a release would write",
    "wrong-base": "a release does not follow from the commit it claims to",
    "merge": "the released files are not the merge of what was signed",
    "effect": "what was released is not what was signed",
    "entries": "the stored entries are not those the record names",
    "statement": "a statement does not hold",
    "replay": "a statement is used where it was not made for",
    "retired-key": "a retired key was used",
    "doubled-key": "one key stands for two persons, or twice for one",
    "threshold": "one person or one key was counted twice",
    "quorum": "signatures the policy asks for are missing",
    "mixed": "a change of people or policy came together with something else",
    "backdated": "a date goes backwards",
    "crossing": "a start comes before one that was already released",
    "trial": "a change was not tried as the policy asked",
    "tag": "a release's tag does not name its commit",
    "rewound": "main was set back",
    "forked": "main has parted from origin's",
    "damaged": "something cannot be read",
}


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that does not hold. `commit` is 40 hex digits, or empty where no commit is at fault."""

    code: str
    commit: str
    what: str
    who: str = ""

    def as_json(self) -> dict[str, Any]:
        return {"code": self.code, "commit": self.commit, "what": self.what, "who": self.who}


@dataclass(frozen=True, slots=True)
class Covered:
    """How much was looked at, and what an audit cannot see."""

    commits: int
    releases: int
    statements: int
    notices: int
    kept: int

    def as_json(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass(frozen=True, slots=True)
class Audited:
    """The answer for one main. `first` is None where everything holds."""

    main: str
    root: str
    first: Finding | None
    covered: Covered
    notes: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {
            "audit": 1,
            "main": self.main,
            "root": self.root,
            "holds": self.first is None,
            "first": self.first.as_json() if self.first else None,
            "covered": self.covered.as_json(),
            "notes": list(self.notes),
        }


def doubled_keys(signatories: Signatories) -> Iterator[tuple[str, str]]:
    """(person, what): keys that stand for two persons, or twice for one with only one of them retired."""
    holders: dict[str, tuple[str, bool]] = {}
    for person in signatories.people.values():
        for key in person.keys.values():
            public = _public(key)
            known = holders.get(public)
            if known is None:
                holders[public] = (person.id, key.retired)
            elif known[0] != person.id:
                yield person.id, f"the key {key.id} of {person.id} is also a key of {known[0]}"
            elif known[1] != key.retired:
                yield person.id, f"{person.id} has one key both as current and as retired"


def keys_revived(before: Iterable[Signatories], after: Signatories) -> Iterator[tuple[str, str, str]]:
    """(code, person, what): keys once retired that count again, and keys of one person that become another's."""
    retired: set[str] = set()
    holders: dict[str, str] = {}
    for signatories in before:
        for person in signatories.people.values():
            for key in person.keys.values():
                public = _public(key)
                retired |= {public} if key.retired else set()
                holders.setdefault(public, person.id)
    for person in after.people.values():
        for key in person.keys.values():
            holder = holders.get(_public(key), person.id)
            if holder != person.id:
                yield "doubled-key", person.id, f"the key {key.id} of {person.id} was {holder}'s"
            elif _public(key) in retired and not key.retired:
                yield "retired-key", person.id, f"the key {key.id} of {person.id} was retired, and counts again"


def _public(key: Key) -> str:
    return " ".join(key.public.split()[:2])


def counted_twice(statements: Iterable[tuple[str, str, str]]) -> Iterator[tuple[str, str]]:
    """(person, what) for a person or key met twice in one scope of (person, key, scope)."""
    seen: set[tuple[str, str]] = set()
    for person, key, scope in statements:
        if (person, scope) in seen:
            yield person, f"{person} is counted twice for {scope}"
        elif (key, scope) in seen:
            yield person, f"the key of {person} is counted twice for {scope}"
        seen |= {(person, scope), (key, scope)}


def mixes_people_with_recipes(paths: Iterable[str]) -> bool:
    """Whether a release changes who may sign, or who must, beside anything but proposals."""
    book = {p for p in paths if not p.startswith(("proposals/", *LEDGER))}
    return bool(book & set(PEOPLE_AND_POLICY)) and bool(book - set(PEOPLE_AND_POLICY))


def kept_broken(differing: Mapping[str, tuple[str | None, str | None]], own_proposal: str = "") -> Iterator[tuple[str, str]]:
    """(code, what) for ledger and proposal files taken away or changed by a commit."""
    for path, (before, after) in sorted(differing.items()):
        if before is None or not path.startswith((*LEDGER, "proposals/")):
            continue
        if after is None:
            yield "removed", f"{path} was taken away"
        elif path != f"proposals/{own_proposal}.yaml":
            yield "changed", f"{path} was changed"
