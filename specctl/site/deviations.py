"""What stands in for what at one site, until when; and each entry as it must be told meanwhile.

Entries stay what was approved. While a deviation holds, what is shown is the
union of both goods: every fact of the stand-in is added, none of the entry is
taken away, a claim nobody checked for it is not made, and what shares equipment
with a drink it is in may carry it. What nobody answered for it is unknown.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from specctl.site import strict

Record = Mapping[str, Any]
STATUSES = ("contains", "may_contain", "unknown")


@dataclass(frozen=True, slots=True)
class StandsIn:
    """From `said` until `ends`, `name` in place of `of`; `facts` are (status, substance, group or None, name)."""

    deviation: str
    of: str
    by: str
    name: str
    checked: str
    why: str
    person: str
    role: str
    said: datetime
    ends: datetime
    facts: tuple[tuple[str, str, str | None, str], ...]
    items: tuple[tuple[str, str, tuple[str, ...]], ...]
    statement: str

    @property
    def place_of(self) -> str:
        return self.of.partition("/")[2].replace("-", " ")


def stand_ins(rows: list[Any]) -> tuple[StandsIn, ...]:
    """Reads the `deviations` of a bundle. Raises Untrusted naming the path of what is wrong."""
    found: list[StandsIn] = []
    for at, raw in enumerate(rows):
        path = f"$.deviations[{at}]"
        texts = dict.fromkeys(("deviation", "of", "by", "name", "checked", "why", "role", "person", "said", "ends", "statement"), str)
        row = strict.fields(raw, path, **texts, facts=dict, items=list)
        strict.matches(row["deviation"], f"{path}.deviation", strict.DIGEST)
        strict.matches(row["of"], f"{path}.of", strict.GOODS)
        for name in ("role", "person"):
            strict.matches(row[name], f"{path}.{name}", strict.ID)
        if any(one.deviation == row["deviation"] for one in found):
            raise strict.wrong(path, "one deviation told twice")
        lists = strict.fields(row["facts"], f"{path}.facts", **dict.fromkeys((*STATUSES, "absent"), list))
        facts = tuple((status, *_known(k, f"{path}.facts.{status}")) for status in STATUSES for k in lists[status])
        plain = {name: row[name] for name in ("deviation", "of", "by", "name", "checked", "why", "role", "person", "statement")}
        said, ends = (strict.time(row[name], f"{path}.{name}") for name in ("said", "ends"))
        items = tuple(strict_item(item, f"{path}.items[{n}]") for n, item in enumerate(row["items"]))
        found.append(StandsIn(**plain, said=said, ends=ends, facts=facts, items=items))
    return tuple(found)


def _known(raw: Any, path: str) -> tuple[str, str | None, str]:
    if len(strict.typed(raw, list, path)) != 3:
        raise strict.wrong(path, "a fact has three parts")
    group = None if raw[1] is None else strict.matches(raw[1], path, strict.ID)
    return strict.matches(raw[0], path, strict.ID), group, strict.typed(raw[2], str, path)


def strict_item(raw: Any, path: str) -> tuple[str, str, tuple[str, ...]]:
    """An item that is reached: [item, name, [choice]]."""
    if len(strict.typed(raw, list, path)) != 3:
        raise strict.wrong(path, "an item has three parts")
    choices = tuple(strict.typed(c, str, f"{path}[2]") for c in strict.typed(raw[2], list, f"{path}[2]"))
    return strict.matches(raw[0], f"{path}[0]", strict.ITEM), strict.typed(raw[1], str, f"{path}[1]"), choices


def told(entries: Mapping[str, Record], standing: Iterable[StandsIn]) -> dict[str, Record]:
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


def _united(entry: Record, one: StandsIn, choices: tuple[str, ...]) -> Record:
    path = f"{one.name}, in place of {one.place_of}"
    # Where only a choice uses it, every build but the standard one is told so: too much is better than too little.
    rows = [row if choices and row["choice"] == "" else _row(row, one.facts, path) for row in entry["allergens"]]
    return {**entry, "allergens": rows, "claims": [], "cautions": [f"For now {path}: its allergens are told beside the card's own.", *entry["cautions"]]}


def _carried(entry: Record, one: StandsIn, shared: list[str]) -> Record:
    facts = tuple(("unknown" if f[0] == "unknown" else "may_contain", *f[1:]) for f in one.facts)
    path = f"shared {', '.join(shared)} ({one.name}, in place of {one.place_of})"
    return {**entry, "allergens": [_row(row, facts, path) for row in entry["allergens"]], "claims": []}


def _row(row: Record, facts: Iterable[tuple[str, str, str | None, str]], path: str) -> Record:
    held = {f["substance"]: (status, f) for status in STATUSES for f in row[status]}
    for status, substance, group, name in facts:
        was, fact = held.get(substance, (status, {"substance": substance, "group": group, "name": name, "listed": group is not None, "paths": []}))
        strongest = min(was, status, key=STATUSES.index)
        held[substance] = (strongest, {**fact, "paths": [*fact["paths"], path]})
    return {**row, **{status: [f for s, f in held.values() if s == status] for status in STATUSES}}
