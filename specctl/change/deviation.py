"""Deviations: one site may use something else in place of an ingredient, until a set end, as signed bytes.

A food-safety signature says what stands in for what, what was checked, and
what of allergens is known of it; the facts are in the signed bytes, so no later
book and no later version of the tool reads them otherwise. What was not said is
unknown. A later deviation for the same ingredient at the same site takes the
earlier one's place; at its end it is over by itself, without anybody's doing.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from specctl.canonical import canonical, digest_of
from specctl.change.cover import CHAIN_WIDE, right_of
from specctl.change.statement import unwrap, wrap
from specctl.domain.people import FOOD_SAFETY, Person
from specctl.errors import Untrusted

FOLDER = "statements/deviations/"
DEVIATION = "deviation"
# Common practice, no source: what lasts longer than four weeks is a change of the spec.
LONGEST = timedelta(days=28)
LONGEST_TEXT = 500
STATUSES = ("contains", "may_contain", "unknown", "absent")

_ID = r"(?=.{1,64}\Z)[a-z0-9]+(?:-[a-z0-9]+)*"
_TIME = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z"
_FORMS = {
    "book": re.compile(_ID),
    "site": re.compile(_ID),
    "of": re.compile(rf"ingredient/{_ID}"),
    "by": re.compile(rf"(?:ingredient/{_ID})?"),
    "role": re.compile(_ID),
    "person": re.compile(_ID),
    "said": re.compile(_TIME),
    "ends": re.compile(_TIME),
}
_TEXTS = ("name", "checked", "why")


@dataclass(frozen=True, slots=True, order=True)
class Known:
    """A substance as the market's list names it; `group` None: off the list."""

    substance: str
    group: str | None
    name: str

    def as_json(self) -> list[Any]:
        return [self.substance, self.group, self.name]


@dataclass(frozen=True, slots=True)
class Deviation:
    """`of` is replaced by `by` (an ingredient of the book, or empty) called `name`, from `said` until `ends`."""

    book: str
    site: str
    of: str
    by: str
    name: str
    checked: str
    why: str
    facts: Mapping[str, tuple[Known, ...]]
    role: str
    person: str
    said: str
    ends: str

    def as_json(self) -> dict[str, Any]:
        plain = {name: getattr(self, name) for name in self.__slots__ if name != "facts"}
        facts = {status: [k.as_json() for k in self.facts[status]] for status in STATUSES}
        return {"deviation": 1, "purpose": DEVIATION, **plain, "facts": facts}

    @property
    def payload(self) -> bytes:
        return canonical(self.as_json())

    @property
    def namespace(self) -> str:
        return f"{DEVIATION}@specctl"


@dataclass(frozen=True, slots=True)
class Passed:
    """A deviation with its signature, as main keeps it."""

    deviation: Deviation
    payload: bytes
    signature: str

    @property
    def digest(self) -> str:
        """SHA-256 of the payload: the deviation's name."""
        return digest_of(self.payload)

    @property
    def path(self) -> str:
        return f"{FOLDER}{self.digest}.statement"

    def text(self) -> str:
        return wrap(self.payload, self.signature)


def read_passed(text: str) -> Passed:
    """Read one deviation. Raises Untrusted for anything that is not exactly one whole one."""
    payload, signature = unwrap(text)
    try:
        said = json.loads(payload)
        if not isinstance(said, dict) or not isinstance(said["facts"], dict):
            raise ValueError
        facts = {status: tuple(Known(*row) for row in said["facts"][status]) for status in STATUSES}
        plain = {name: said[name] for name in Deviation.__slots__ if name != "facts"}
        deviation = Deviation(facts=facts, **plain)
        # Re-encoding must give the signed bytes: no duplicate, hidden or extra key survives this.
        whole = _well_formed(deviation) and deviation.payload == payload
    except (ValueError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        raise Untrusted("this is not a whole deviation", "Ask for it again, unchanged.")
    return Passed(deviation, payload, signature)


def _well_formed(one: Deviation) -> bool:
    texts = [getattr(one, name) for name in one.__slots__ if name != "facts"]
    known = [k for rows in one.facts.values() for k in rows]
    return (
        all(isinstance(text, str) for text in texts)
        and all(form.fullmatch(getattr(one, name)) for name, form in _FORMS.items())
        and all(0 < len(text.strip()) <= len(text) <= LONGEST_TEXT for text in (getattr(one, n) for n in _TEXTS))
        and one.of != one.by
        and all(isinstance(k.substance, str) and re.fullmatch(_ID, k.substance) and isinstance(k.name, str) for k in known)
        and all(k.group is None or isinstance(k.group, str) for k in known)
        # One substance has one status, or a reader could take the weaker.
        and len({k.substance for k in known}) == len(known)
        and timedelta(0) <= _time(one.ends) - _time(one.said) <= LONGEST
    )


def _time(stamp: str) -> datetime:
    return datetime.fromisoformat(stamp)


def may_pass(person: Person, people: Mapping[str, Person], days: Iterable[date] = ()) -> bool:
    """Whether a person may say the food-safety yes; deputies count, and a cover that holds on all of `days`."""
    return right_of(person, FOOD_SAFETY, CHAIN_WIDE, people, tuple(days)) is not None


@dataclass(frozen=True, slots=True)
class Span:
    """A deviation and when it is really over: at its own end, or where a later one took its place."""

    passed: Passed
    ends: str

    def holds(self, at: str) -> bool:
        return self.passed.deviation.said <= at < self.ends


def spans(every: Iterable[Passed]) -> tuple[Span, ...]:
    """Each deviation with its real end, in the order they were said."""
    ordered = sorted(every, key=lambda p: (p.deviation.said, p.digest))
    found = []
    for at, one in enumerate(ordered):
        mine = one.deviation
        later = [p.deviation.said for p in ordered[at + 1 :] if (p.deviation.site, p.deviation.of) == (mine.site, mine.of)]
        found.append(Span(one, min([mine.ends, *later])))
    return tuple(found)
