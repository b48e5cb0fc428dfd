"""The release record: what main says was released, in one JSON file.

The record names its parents, the effects people signed, the statements that
count, the starts resolved to UTC, and for every site and item the entry before
and after. It is read back by `in_force`, which looks at nothing else.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import Any, Iterable, Mapping

from specctl.canonical import canonical
from specctl.change.effect import Row, WavePlan
from specctl.change.rows import entries_at, grouped, ungrouped
from specctl.errors import Damaged

_DIGEST = re.compile(r"[0-9a-f]{64}")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")


@dataclass(frozen=True, slots=True)
class Release:
    number: int
    book: str
    proposal: str
    title: str
    why: str
    parents: tuple[str, ...]
    effects: Mapping[str, str]
    start: str
    waves: tuple[WavePlan, ...]
    starts: Mapping[str, str]
    rows: tuple[Row, ...]
    statements: tuple[str, ...]
    released_by: str
    released: str

    @property
    def path(self) -> str:
        return f"releases/{self.number}.json"

    def as_json(self) -> dict[str, Any]:
        sites, entries = grouped(self.rows)
        return {
            "release": 1,
            "number": self.number,
            "book": self.book,
            "proposal": self.proposal,
            "title": self.title,
            "why": self.why,
            "parents": list(self.parents),
            "effects": dict(self.effects),
            "start": self.start,
            "waves": [{"key": w.key, "start": w.start, "sites": list(w.sites)} for w in self.waves],
            "starts": dict(self.starts),
            "sites": sites,
            "entries": entries,
            "statements": list(self.statements),
            "released_by": self.released_by,
            "released": self.released,
        }

    def bytes(self) -> bytes:
        return canonical(self.as_json()) + b"\n"

    def for_site(self, site: str) -> dict[str, Any]:
        """What one site may see of it: its own rows, wave and start."""
        record = self.as_json()
        record["entries"] = entries_at(site, record.pop("sites"), record["entries"])
        record["starts"] = {s: at for s, at in self.starts.items() if s == site}
        record["waves"] = [
            {"key": w.key, "start": w.start, "sites": [site]} for w in self.waves if site in w.sites
        ]
        return record


def read_release(data: bytes, path: str) -> Release:
    """Read a record. Raises Damaged for anything this tool would not have written."""
    try:
        raw = json.loads(data)
        release = Release(
            number=raw["number"],
            book=raw["book"],
            proposal=raw["proposal"],
            title=raw["title"],
            why=raw["why"],
            parents=tuple(raw["parents"]),
            effects=dict(raw["effects"]),
            start=raw["start"],
            waves=tuple(WavePlan(w["key"], w["start"], tuple(w["sites"])) for w in raw["waves"]),
            starts=dict(raw["starts"]),
            rows=ungrouped(raw["sites"], raw["entries"]),
            statements=tuple(raw["statements"]),
            released_by=raw["released_by"],
            released=raw["released"],
        )
        whole = release.bytes() == data and release.path == path and _well_formed(release)
    except (ValueError, KeyError, TypeError, RecursionError):
        whole = False
    if not whole:
        raise Damaged(
            f"the release record {path} cannot be read",
            "Do not write it by hand; restore it from another clone.",
        )
    return release


def _well_formed(release: Release) -> bool:
    """Whether every field is of the kind this tool writes; times and digests in their one form."""
    texts = [release.book, release.proposal, release.title, release.why, release.start, release.released_by]
    texts += [*release.parents, *release.starts, *release.effects]
    texts += [t for w in release.waves for t in (w.key, w.start, *w.sites)]
    texts += [t for row in release.rows for t in (row.site, row.item)]
    digests = [*release.effects.values(), *release.statements]
    digests += [d for row in release.rows for d in (row.before, row.after) if d is not None]
    return (
        type(release.number) is int
        and all(isinstance(text, str) for text in texts)
        and all(isinstance(d, str) and _DIGEST.fullmatch(d) for d in digests)
        and all(isinstance(t, str) and _TIME.fullmatch(t) for t in (release.released, *release.starts.values()))
    )


@dataclass(frozen=True, slots=True)
class InForce:
    """The newest release holding an entry for (site, item) that has started."""

    release: int
    since: str
    entry: str | None


def in_force(releases: Iterable[Release], site: str, at: str) -> dict[str, InForce]:
    """What was in force at a site at a UTC timestamp, by item.

    The newest release whose start has passed wins, by number: starts of one
    item never cross, because `release` refuses a start before a pending one.
    Items whose entry became None are kept, so that "no longer served" can be told.
    """
    found: dict[str, InForce] = {}
    for release in sorted(releases, key=lambda r: r.number):
        start = release.starts.get(site)
        if start is None or start > at:
            continue
        for row in release.rows:
            if row.site == site:
                found[row.item] = InForce(release.number, start, row.after)
    return found


def latest_rows(releases: Iterable[Release]) -> dict[tuple[str, str], str]:
    """Entries as of the newest release, started or not: what main stands for."""
    rows: dict[tuple[str, str], str] = {}
    for release in sorted(releases, key=lambda r: r.number):
        for row in release.rows:
            if row.after is None:
                rows.pop((row.site, row.item), None)
            else:
                rows[(row.site, row.item)] = row.after
    return rows


def crossing(releases: Iterable[Release], rows: Iterable[Row], starts: Mapping[str, str]) -> list[str]:
    """Sites and items whose new start would come before a start already released."""
    latest: dict[tuple[str, str], tuple[str, int]] = {}
    for release in sorted(releases, key=lambda r: r.number):
        for row in release.rows:
            if row.site in release.starts:
                latest[(row.site, row.item)] = (release.starts[row.site], release.number)
    found = []
    for row in rows:
        pending = latest.get((row.site, row.item))
        start = starts.get(row.site)
        if pending and start is not None and start < pending[0]:
            found.append(f"{row.item} at {row.site}: release {pending[1]} starts {pending[0]}")
    return found
