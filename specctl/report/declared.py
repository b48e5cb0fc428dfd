"""The allergens of one build in words: named, left open, or not in its documents.

"Absent" is never a promise here: a substance no document names reads as "not
in its documents", and from the day its documents are too old to trust as
UNKNOWN. Facts off the market's list are kept and shown apart.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from specctl.report.allergen_words import allergen_word
from specctl.report.clean import visible
from specctl.report.words import date_words, fact_words, group_words, say, status_words

Record = Mapping[str, Any]

NAMED = ("contains", "may_contain", "unknown")


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact: `column` is its group (or itself) on the list, `paths` the ways in.

    `name` says the group too, `bare` the substance alone.
    """

    status: str
    name: str
    bare: str
    column: str
    listed: bool
    paths: tuple[str, ...]

    @property
    def status_words(self) -> str:
        return status_words(self.status)


@dataclass(frozen=True, slots=True)
class Facts:
    """The allergens of one row. `lapsed`: what is not named counts as unknown.

    `missing` marks a row the entry does not have; nothing is known then.
    """

    choice: str
    name: str
    facts: tuple[Fact, ...]
    lapsed: bool
    missing: bool
    absent_words: str

    @property
    def statements(self) -> tuple[tuple[str, str, str], ...]:
        """(status, its words, the names) of listed facts, worst first, then the rest."""
        found = []
        for status in NAMED:
            names = [fact.name for fact in self.facts if fact.listed and fact.status == status]
            if names:
                found.append((status, status_words(status), say("word.list").join(names)))
        return tuple(found)

    @property
    def unlisted(self) -> str:
        """Facts that are off the market's list, each with its status in words."""
        return "; ".join(
            f"{fact.status_words}: {fact.name}" for fact in self.facts if not fact.listed
        )

    def in_column(self, column: str) -> tuple[Fact, ...]:
        return tuple(fact for fact in self.facts if fact.listed and fact.column == column)

    def same_as(self, other: Facts) -> bool:
        """Whether every fact, way in and date reads as in `other`."""
        return (self.facts, self.lapsed, self.missing, self.absent_words) == (
            other.facts,
            other.lapsed,
            other.missing,
            other.absent_words,
        )


def facts_of(entry: Record, choice: str, today: date) -> Facts:
    """The allergens of a row of `entry`; a row it lacks reads as unknown."""
    for row in entry["allergens"]:
        if row["choice"] == choice:
            return _facts(row, groups_of(entry), today)
    return Facts(choice, visible(choice), (), True, True, say("allergens.no-row"))


def groups_of(entry: Record) -> Mapping[str, str]:
    """Group id to the list's own word for it; empty where the entry does not tell."""
    groups: Mapping[str, str] = entry["list"].get("groups", {})
    return groups


def _facts(row: Record, groups: Mapping[str, str], today: date) -> Facts:
    until = row["absent_until"]
    last = None if until is None else date.fromisoformat(until)
    lapsed = last is not None and last <= today
    facts = tuple(
        Fact(
            status=status,
            name=fact_words(fact, groups),
            bare=visible(allergen_word(fact["name"])),
            column=fact["group"] or fact["substance"],
            listed=fact["listed"],
            paths=tuple(visible(path) for path in fact["paths"]),
        )
        for status in NAMED
        for fact in row[status]
    )
    return Facts(
        choice=row["choice"],
        name=visible(row["name"]) or say("allergens.standard"),
        facts=facts,
        lapsed=lapsed,
        missing=False,
        absent_words=_absent_words(last, lapsed, any(fact.listed for fact in facts)),
    )


def _absent_words(last: date | None, lapsed: bool, named: bool) -> str:
    if last is not None and lapsed:
        return say("allergens.absent-over", date=date_words(last))
    words = [] if named else [say("allergens.none")]
    if last is not None:
        words.append(say("allergens.absent-until", date=date_words(last)))
    return " ".join(words)


@dataclass(frozen=True, slots=True)
class Cell:
    """One place of the matrix: letters for a table, words for everybody."""

    column: str
    letters: str
    words: str
    absent: bool


def cell_of(facts: Facts, column: str, name: str) -> Cell:
    """What `facts` say about a group; several statuses all show."""
    here = facts.in_column(column)
    statuses = [status for status in NAMED if any(fact.status == status for fact in here)]
    if facts.lapsed and "unknown" not in statuses:
        statuses.append("unknown")
    if not statuses:
        return Cell(name, say("letter.absent"), f"{name}: {status_words('absent')}", True)
    letters = " ".join(say(f"letter.{status}") for status in statuses)
    words = []
    for status in statuses:
        names = say("word.list").join(fact.bare for fact in here if fact.status == status)
        words.append(f"{status_words(status)} ({names})" if names else status_words(status))
    return Cell(name, letters, f"{name}: {'; '.join(words)}", False)


def columns_of(entries: list[Record]) -> list[tuple[str, str]]:
    """(group, heading) of the market's list: all groups a list names, else those that occur."""
    found: dict[str, str] = {}
    for entry in entries:
        for group, name in groups_of(entry).items():
            found.setdefault(group, visible(allergen_word(name)))
    for entry in entries:
        for row in entry["allergens"]:
            for status in NAMED:
                for fact in row[status]:
                    if not fact["listed"]:
                        continue
                    if fact["group"]:
                        found.setdefault(fact["group"], group_words(fact["group"]))
                    else:
                        found.setdefault(fact["substance"], visible(allergen_word(fact["name"])))
    return sorted(found.items(), key=lambda pair: (pair[1].casefold(), pair[0]))
