"""Entries as they must be told while something stands in for something: nothing is taken away, everything is added.

Entries stay what was approved. What is told is the union of both goods: every
fact of the stand-in is added, none of the entry is taken away, a claim nobody
checked for it is not made, and what shares equipment with a drink it is in may
carry it. What nobody answered for it is unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Protocol

Record = Mapping[str, Any]
Fact = tuple[str, str, str | None, str]
STATUSES = ("contains", "may_contain", "unknown")


class Standing(Protocol):
    """`name` in place of `place_of`; `facts` are (status, substance, group or None, name), `items` what it is in."""

    @property
    def name(self) -> str: ...
    @property
    def place_of(self) -> str: ...
    @property
    def facts(self) -> tuple[Fact, ...]: ...
    @property
    def items(self) -> tuple[tuple[str, str, tuple[str, ...]], ...]: ...


@dataclass(frozen=True, slots=True)
class InPlace:
    """What stands in, as main's own verbs know it."""

    name: str
    place_of: str
    facts: tuple[Fact, ...]
    items: tuple[tuple[str, str, tuple[str, ...]], ...]


def told(entries: Mapping[str, Record], standing: Iterable[Standing]) -> dict[str, Record]:
    """Entries by item as they are told while these deviations hold."""
    found = dict(entries)
    for one in standing:
        reach = {item: choices for item, _, choices in one.items if item in found}
        touched = {tool for item in reach for tool in _tools(entries[item])}
        for item, entry in found.items():
            if item in reach:
                found[item] = _united(entry, one, reach[item])
            else:
                shared = [c["equipment"] for c in entry.get("contact", ()) if c["equipment"] in touched and not c["lowered"]]
                if shared:
                    found[item] = _carried(entry, one, shared)
    return found


def _tools(entry: Record) -> set[str]:
    return {*entry["equipment"], *(c["equipment"] for c in entry.get("contact", ()))}


def _united(entry: Record, one: Standing, choices: tuple[str, ...]) -> Record:
    path = f"{one.name}, in place of {one.place_of}"
    # Where only a choice uses it, every build but the standard one is told so: too much is better than too little.
    rows = [row if choices and row["choice"] == "" else _row(row, one.facts, path) for row in entry["allergens"]]
    return {**entry, "allergens": rows, "claims": [], "cautions": [f"For now {path}: its allergens are told beside the card's own.", *entry["cautions"]]}


def _carried(entry: Record, one: Standing, shared: list[str]) -> Record:
    facts = tuple(("unknown" if f[0] == "unknown" else "may_contain", *f[1:]) for f in one.facts)
    path = f"shared {', '.join(shared)} ({one.name}, in place of {one.place_of})"
    return {**entry, "allergens": [_row(row, facts, path) for row in entry["allergens"]], "claims": []}


def _row(row: Record, facts: Iterable[Fact], path: str) -> Record:
    held = {f["substance"]: (status, f) for status in STATUSES for f in row[status]}
    for status, substance, group, name in facts:
        was, fact = held.get(substance, (status, {"substance": substance, "group": group, "name": name, "listed": group is not None, "paths": []}))
        strongest = min(was, status, key=STATUSES.index)
        held[substance] = (strongest, {**fact, "paths": [*fact["paths"], path]})
    return {**row, **{status: [f for s, f in held.values() if s == status] for status in STATUSES}}
