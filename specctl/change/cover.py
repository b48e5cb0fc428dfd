"""May this person, on these days, count for that role: for themselves, as a named deputy, or by a cover; and for whom.

The one place that answers it; quorums, notices, deviations and what a site is
shown all ask here. A cover lends the right of the person covered, from a day to
a day, and lends it once: it does not pass on what that person has only by a
cover, or as a deputy, of somebody else. Which days bear on a word is for the
caller to say; without a day no cover counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date

from specctl.domain.people import FRANCHISE_MANAGER, Person

CHAIN_WIDE = "chain"


@dataclass(frozen=True, slots=True)
class Right:
    """In which right a person counts: `of` empty, for themselves; `until` the last day of a cover, None without an end."""

    of: str = ""
    until: date | None = None

    @property
    def lent(self) -> bool:
        """Whether it is by a dated cover: such a word counts once in a quorum, and only where its giver does not already."""
        return self.until is not None


def right_of(person: Person, role: str, scope: str, people: Mapping[str, Person], days: Iterable[date] = ()) -> Right | None:
    """The right by which a person holds a role for a scope on every one of `days`, the most lasting one; None for none."""
    if holds_role(person, role, scope):
        return Right()
    for other in sorted(person.deputy_for):
        if other in people and holds_role(people[other], role, scope):
            return Right(other)
    on = tuple(days)
    lent = [
        (cover.ends, other.id)
        for other in people.values()
        if other.id != person.id and holds_role(other, role, scope)
        for cover in other.covers
        if cover.by == person.id and on and all(cover.holds(day) for day in on)
    ]
    return Right(max(lent)[1], max(lent)[0]) if lent else None


def holds_role(person: Person, role: str, scope: str) -> bool:
    """Whether a role is a person's own over a scope: `chain`, or `franchise/<id>` of one they manage."""
    if role not in person.roles:
        return False
    if role == FRANCHISE_MANAGER:
        return scope.removeprefix("franchise/") in person.franchises
    return True


def day_of(stamp: str) -> date | None:
    """The UTC day of a timestamp as statements write it; None for a day the calendar does not have."""
    try:
        return date.fromisoformat(stamp[:10])
    except ValueError:
        return None


def days_of(*stamps: str) -> tuple[date, ...]:
    """The days of several timestamps; none at all where one of them is no day, so that no cover counts by it."""
    days = [day_of(stamp) for stamp in stamps]
    return tuple(day for day in days if day is not None) if None not in days else ()
