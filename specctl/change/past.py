"""What one site was shown, release by release, in a form that answers for a minute without reading a record.

A past is made from release records alone and may be thrown away and made again
at any time; it only ever grows by the next release. It says no more than
`record.in_force` would, for one site, and the two agree at every minute.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from specctl.change.record import InForce, Release


@dataclass(frozen=True, slots=True)
class Told:
    """What an answer says of its release; `statements` are those it counts."""

    title: str
    why: str
    proposal: str
    released: str
    released_by: str
    commit: str
    statements: tuple[str, ...]


@dataclass(slots=True)
class Past:
    """The past of one site up to a release: by item [number, start, entry], oldest first; and each release once."""

    upto: int = 0
    known: bool = False
    rows: dict[str, list[list[Any]]] = field(default_factory=dict)
    told: dict[str, list[Any]] = field(default_factory=dict)

    def add(self, site: str, release: Release, commit: str) -> None:
        """Append the next release. Raises ValueError for another than the next."""
        if release.number != self.upto + 1:
            raise ValueError(f"release {release.number} does not follow release {self.upto}")
        self.upto = release.number
        start = release.starts.get(site)
        self.known = self.known or start is not None
        mine = [row for row in release.rows if row.site == site]
        self.known = self.known or bool(mine)
        if start is None or not mine:
            return
        for row in mine:
            self.rows.setdefault(row.item, []).append([release.number, start, row.after])
        one = release
        self.told[str(one.number)] = [one.title, one.why, one.proposal, one.released, one.released_by, commit, list(one.statements)]

    def at(self, moment: str) -> dict[str, InForce]:
        """By item, the newest release that had started at a UTC timestamp."""
        found = {}
        for item, rows in self.rows.items():
            for number, start, after in reversed(rows):
                if start <= moment:
                    found[item] = InForce(number, start, after)
                    break
        return found

    def release(self, number: int) -> Told:
        title, why, proposal, released, released_by, commit, statements = self.told[str(number)]
        return Told(title, why, proposal, released, released_by, commit, tuple(statements))

    def bytes(self) -> bytes:
        return json.dumps([self.upto, self.known, self.rows, self.told], separators=(",", ":")).encode()


def read_past(data: bytes | None) -> Past | None:
    """A kept past, or None for anything else: it can be made again."""
    try:
        upto, known, rows, told = json.loads(data) if data else (None,) * 4
    except (ValueError, TypeError):
        return None
    if type(upto) is not int or type(known) is not bool or not isinstance(rows, Mapping) or not isinstance(told, Mapping):
        return None
    return Past(upto, known, dict(rows), dict(told))
