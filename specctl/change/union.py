"""One entry that says of an item all that any of several sites is told about its allergens.

Promises: the strongest status of each substance over the sites wins, ways of
every site stay, those of shared equipment named with the site; the earliest
day on which an absence lapses holds for all. Everything that is no allergen is
the first entry's. Entries must be of one item and one market.
"""

from __future__ import annotations

from typing import Any, Mapping

from specctl.change.entry_lines import STATUSES

Entry = Mapping[str, Any]


def union_of(entries: Mapping[str, Entry]) -> dict[str, Any]:
    """The union of entries by site name. Raises ValueError where there is none."""
    if not entries:
        raise ValueError("no entry to unite")
    first = next(iter(entries.values()))
    choices: dict[str, None] = {}
    for entry in entries.values():
        choices.update(dict.fromkeys(row["choice"] for row in entry["allergens"]))
    return {
        **first,
        "allergens": [_row(choice, entries) for choice in choices],
        "contact": [],
        "advisories": _advisories(entries),
    }


def _row(choice: str, entries: Mapping[str, Entry]) -> dict[str, Any]:
    found: dict[str, dict[str, Any]] = {}
    until: list[str] = []
    name = ""
    for site, entry in entries.items():
        for row in entry["allergens"]:
            if row["choice"] != choice:
                continue
            name = name or row["name"]
            if row["absent_until"]:
                until.append(row["absent_until"])
            for rank, status in enumerate(STATUSES):
                for fact in row[status]:
                    held = found.setdefault(fact["substance"], {"rank": rank, "fact": fact, "paths": {}})
                    if rank < held["rank"]:
                        held["rank"], held["fact"] = rank, fact
                    for path in fact["paths"]:
                        words = f"at {site}, {path}" if path.startswith("shared ") else path
                        held["paths"][words] = None
    facts: dict[str, list[dict[str, Any]]] = {status: [] for status in STATUSES}
    for held in found.values():
        facts[STATUSES[held["rank"]]].append({**held["fact"], "paths": list(held["paths"])})
    return {"choice": choice, "name": name, **facts, "absent_until": min(until, default=None)}


def _advisories(entries: Mapping[str, Entry]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, dict[str, None]]] = {}
    for entry in entries.values():
        for advice in entry.get("advisories", ()):
            held = found.setdefault(advice["about"], {"because": {}, "choices": {}})
            for key in held:
                held[key].update(dict.fromkeys(advice[key]))
    return [{"about": about, **{key: list(names) for key, names in held.items()}} for about, held in found.items()]
