"""Off-sale notices: what must leave the counter now, as signed bytes and as the items it reaches.

A notice names an ingredient, prep or drink, for an ingredient perhaps one lot.
It reaches everything made from it: the reach is read from the entries a site
was shown, so it speaks of what is really made there. A pack whose lot nobody
can read counts as the lot named. A notice stands until a release lifts it.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from specctl.canonical import canonical, digest_of
from specctl.change.cover import CHAIN_WIDE, right_of
from specctl.change.statement import NOTICE, unwrap, wrap
from specctl.domain.people import FOOD_SAFETY, RELEASER, Person
from specctl.errors import Untrusted

FOLDER = "statements/off-sale/"
ROLES = (FOOD_SAFETY, RELEASER)
KINDS = ("ingredient", "lot", "prep", "drink")
LONGEST_WHY = 500
LONGEST_LOT = 60

_ID = r"[a-z0-9]+(?:-[a-z0-9]+)*"
_FORMS = {
    "book": re.compile(_ID),
    "about": re.compile(rf"(?:ingredient|prep|drink)/(?=.{{1,64}}\Z){_ID}"),
    "role": re.compile(_ID),
    "person": re.compile(_ID),
    "said": re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z"),
}


@dataclass(frozen=True, slots=True)
class Notice:
    """What is withdrawn and why. `lot` empty: all of it."""

    book: str
    about: str
    lot: str
    why: str
    role: str
    person: str
    said: str

    def as_json(self) -> dict[str, Any]:
        return {"notice": 1, "purpose": NOTICE, **{name: getattr(self, name) for name in self.__slots__}}

    @property
    def payload(self) -> bytes:
        return canonical(self.as_json())

    @property
    def namespace(self) -> str:
        return f"{NOTICE}@specctl"


@dataclass(frozen=True, slots=True)
class Posted:
    """A notice with its signature, as main keeps it."""

    notice: Notice
    payload: bytes
    signature: str

    @property
    def digest(self) -> str:
        """SHA-256 of the payload: the notice's name."""
        return digest_of(self.payload)

    @property
    def path(self) -> str:
        return f"{FOLDER}{self.digest}.statement"

    def text(self) -> str:
        return wrap(self.payload, self.signature)


Moved = tuple[str, str | None, str | None]
"""An item, and its entry's digest before and after one release."""


@dataclass(frozen=True, slots=True, order=True)
class Reached:
    """One item a notice takes off: wholly, or only where the named choices are made."""

    item: str
    name: str
    choices: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        return {"item": self.item, "name": self.name, "choices": list(self.choices)}


def read_posted(text: str) -> Posted:
    """Read one notice. Raises Untrusted for anything that is not exactly one whole notice."""
    payload, signature = unwrap(text)
    try:
        said = json.loads(payload)
        if not isinstance(said, dict):
            raise ValueError
        notice = Notice(**{name: said[name] for name in Notice.__slots__})
        whole = (
            all(isinstance(v, str) for v in notice.as_json().values() if v != 1)
            and all(form.fullmatch(getattr(notice, field)) for field, form in _FORMS.items())
            and 0 < len(notice.why.strip()) <= len(notice.why) <= LONGEST_WHY
            and len(notice.lot) <= LONGEST_LOT
            and not (notice.lot and not notice.about.startswith("ingredient/"))
            # Re-encoding must give the signed bytes: no duplicate, hidden or extra key survives this.
            and notice.payload == payload
        )
    except (ValueError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        raise Untrusted("this is not a whole off-sale notice", "Ask for it again, unchanged.")
    return Posted(notice, payload, signature)


def may_post(person: Person, people: Mapping[str, Person], days: Iterable[date] = ()) -> str | None:
    """The role in which one person alone may take something off sale, or None; deputies count, and a cover on all of `days`."""
    on = tuple(days)
    return next((role for role in ROLES if right_of(person, role, CHAIN_WIDE, people, on) is not None), None)


def reached(about: str, entries: Iterable[Mapping[str, Any]]) -> tuple[Reached, ...]:
    """Everything among these entries that is the named thing or made from it, sorted.

    An item counts wholly when its standard build, or an allowed stand-in, uses
    it; where only a choice does, the choices are named. Preps carry on to what
    is made from them; a prep that is reached is reached wholly.
    """
    known = list(entries)
    off = {about}
    while True:
        more = {e["item"] for e in known if e["item"] not in off and (_standard(e) | _chosen(e).keys()) & off}
        if not {m for m in more if m.startswith("prep/")} - off:
            break
        off |= {m for m in more if m.startswith("prep/")}
    found: dict[str, Reached] = {}
    for entry in known:
        item = entry["item"]
        if item == about or item in off or _standard(entry) & off:
            found[item] = Reached(item, entry["name"])
            continue
        choices = tuple(sorted({name for of, names in _chosen(entry).items() if of in off for name in names}))
        if choices and item not in found:
            found[item] = Reached(item, entry["name"], choices)
    return tuple(sorted(found.values()))


def reach_of(names: Iterable[str], rows: Iterable[Moved], entries: Mapping[str, Mapping[str, Any]]) -> tuple[Reached, ...]:
    """What the named things reach at a site whose items moved so, in order: each item's newest entry and the one before it.

    The one before counts because a batch made by it may still stand in the
    fridge, or because the newest has not started yet.
    """
    last: dict[str, list[str]] = {}
    for item, before, after in rows:
        kept = last.setdefault(item, [])
        kept += [d for d in (before, after) if d and d not in kept[-1:]]
    known = [entries[d] for item in sorted(last) for d in last[item][-2:]]
    found: dict[str, Reached] = {}
    for name in names:
        for one in reached(name, known):
            had = found.get(one.item)
            found[one.item] = one if had is None or not one.choices else replace(had, choices=tuple(sorted({*had.choices, *one.choices})) if had.choices else ())
    return tuple(sorted(found.values()))


def _standard(entry: Mapping[str, Any]) -> set[str]:
    used = {line["of"] for size in entry["sizes"] for layer in size["layers"] for line in layer["lines"]}
    return used | {stand_in["with"] for stand_in in entry["substitutes"]}


def _chosen(entry: Mapping[str, Any]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for name, line in _choice_lines(entry):
        found.setdefault(line["of"], set()).add(name)
    return found


def _choice_lines(entry: Mapping[str, Any]) -> Iterator[tuple[str, Mapping[str, Any]]]:
    for option in entry["options"]:
        for choice in option["choices"]:
            for size in choice["sizes"]:
                for row in size["lines"]:
                    if row["line"] is not None:
                        yield f"{option['name']}: {choice['name']}", row["line"]
