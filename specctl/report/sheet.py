"""The allergen sheet of a site or a market as a view: every drink, every choice, and what to say.

Promises: a row for every variant an entry knows; contains, may contain and
unknown told apart by letters and words; a sentence for each drink that names
the choices it covers, says that equipment is shared, asks for the allergy, and
promises nothing. Takes compiled entries; computes nothing about a drink.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from specctl.report.clean import visible
from specctl.report.declared import Cell, Fact, Facts, cell_of, columns_of, facts_of
from specctl.report.ways import way_words
from specctl.report.words import advisory_words, contact_words, date_words, say

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Heading:
    """What a sheet is about: a place, a day, the release or "as on disk", the market's own caution."""

    where: str
    market: str
    day: date
    standing: str
    caution: str
    site: str = ""
    covers: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One build: `choice` is "" for the standard one.

    `reasons` are the facts whose ways in are told here: all of the standard
    build's, and of a choice those that differ from it.
    """

    choice: str
    name: str
    facts: Facts
    cells: tuple[Cell, ...]
    reasons: tuple[Fact, ...] = ()

    @property
    def reasons_left(self) -> str:
        """Where the other ways in are told; "" where all are here."""
        return say("sheet.reasons-standard") if len(self.reasons) < len(self.facts.facts) else ""


@dataclass(frozen=True, slots=True)
class DrinkSheet:
    """One drink: its rows, the standard build first, and what goes with them."""

    item: str
    name: str
    rows: tuple[Row, ...]
    sentence: str
    contact: tuple[str, ...]
    advice: tuple[str, ...]
    claims: str
    nutrition: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """All drinks of a place. `columns` are (group, heading)."""

    heading: Heading
    columns: tuple[tuple[str, str], ...]
    drinks: tuple[DrinkSheet, ...]
    lists: tuple[str, ...]
    nutrition_note: str = ""
    names: frozenset[str] = frozenset()

    def way(self, path: str) -> str:
        """A way in, in words."""
        return way_words(path, self.names)

    @property
    def title(self) -> str:
        return f"{say('sheet.title')} · {visible(self.heading.where)}"

    @property
    def top(self) -> tuple[str, ...]:
        """What stands above everything: place and day, standing, coverage, lists."""
        head = self.heading
        lines = (say("sheet.of", where=head.where, day=date_words(head.day)), head.standing, head.covers, *self.lists)
        return tuple(line for line in lines if line)

    @property
    def cautions(self) -> tuple[str, ...]:
        own = (visible(self.heading.caution),) if self.heading.caution else ()
        return (*own, say("caution.tell-us"), say("caution.shared"), say("caution.law"), say("sheet.limits"))


def sheet_of(
    heading: Heading,
    entries: Iterable[Record],
    nutrition: Mapping[str, tuple[str, ...]] | None = None,
    nutrition_note: str = "",
    preps: Iterable[str] = (),
) -> Sheet:
    """The view of the entries of drinks; `nutrition` is by item, in words; `preps` are names that ways in may tell."""
    entries = tuple(entries)
    drinks = sorted((e for e in entries if e["item"].startswith("drink/")), key=lambda e: (e["name"].casefold(), e["item"]))
    columns = columns_of(drinks)
    lists = {say("allergens.list", name=e["list"]["name"], source=e["list"]["source"]): None for e in drinks}
    return Sheet(
        heading,
        tuple(columns),
        tuple(_drink(heading, entry, columns, (nutrition or {}).get(entry["item"], ())) for entry in drinks),
        tuple(lists),
        nutrition_note,
        frozenset(visible(name) for name in (*(e["name"] for e in entries), *preps)),
    )


def _drink(heading: Heading, entry: Record, columns: list[tuple[str, str]], nutrition: tuple[str, ...]) -> DrinkSheet:
    rows = []
    for record in entry["allergens"]:
        facts = facts_of(entry, record["choice"], heading.day)
        cells = tuple(cell_of(facts, column, name) for column, name in columns)
        rows.append(Row(record["choice"], facts.name if record["choice"] else say("allergens.standard"), facts, cells))
    rows.sort(key=lambda row: row.choice != "")
    told = frozenset(rows[0].facts.facts) if rows else frozenset()
    rows = [replace(r, reasons=tuple(f for f in r.facts.facts if not r.choice or f not in told)) for r in rows]
    return DrinkSheet(
        visible(entry["item"]),
        visible(entry["name"]),
        tuple(rows),
        _sentence(heading, visible(entry["name"]), rows),
        # Entries made before these were told do not have them.
        tuple(contact_words(shared) for shared in entry.get("contact", ())),
        tuple(advisory_words(advice) for advice in entry.get("advisories", ())),
        say("word.list").join(visible(claim) for claim in entry["claims"]),
        nutrition,
    )


def _sentence(heading: Heading, drink: str, rows: list[Row]) -> str:
    """What staff can read out; it covers the standard build and the choices that say the same."""
    standard = rows[0]
    names = {
        status: say("word.list").join(f.bare for f in standard.facts.facts if f.listed and f.status == status)
        for status in ("contains", "may_contain", "unknown")
    }
    where = heading.where
    if names["contains"]:
        parts = [say("sheet.say-contains", drink=drink, where=where, names=names["contains"])]
    elif names["may_contain"] or names["unknown"] or standard.facts.lapsed:
        parts = [f"{drink}, {where}:"]
    else:
        parts = [say("sheet.say-nothing", drink=drink, where=where)]
    if names["may_contain"]:
        parts.append(say("sheet.say-may", names=names["may_contain"]))
    if standard.facts.lapsed:
        parts.append(say("sheet.say-unknown", names=say("allergens.anything-else")))
    elif names["unknown"]:
        parts.append(say("sheet.say-unknown", names=names["unknown"]))
    same = [row.name for row in rows[1:] if _told(row) == _told(standard)]
    other = [row.name for row in rows[1:] if _told(row) != _told(standard)]
    parts.append(say("sheet.say-covers", choices="; ".join(same)) if same else say("sheet.say-covers-only"))
    if other:
        parts.append(say("sheet.say-differs", choices="; ".join(other)))
    return " ".join([*parts, say("sheet.say-shared")])


def _told(row: Row) -> tuple[object, ...]:
    """What a guest would be told of a row: substances and statuses, never the ways in."""
    return tuple((f.status, f.name, f.listed) for f in row.facts.facts), row.facts.lapsed
