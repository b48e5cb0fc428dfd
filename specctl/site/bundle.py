"""One site's bundle as a frozen value: what is in force, what is to come, what changed.

Parsing is strict and trusts nothing, not even a good signature: a field too
many, a float, a repeated key, an entry whose bytes are not its digest, a
timeline out of order each refuse the whole bundle. Reads no clock: every
question names its time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from types import MappingProxyType
from typing import Any, NamedTuple

from specctl.errors import NotFound, Untrusted
from specctl.site import strict
from specctl.site.approvals import Approvals, read_approvals
from specctl.site.deviations import StandsIn, stand_ins, strict_item, told
from specctl.site.drawings import Drawings, drawings

CAP = 16 * 1024 * 1024
_LATER = {"notices": list, "drawings": dict, "deviations": list, "approvals": dict, "language": str}
# All a release record may tell a site: whatever else stood there (a price) would be kept with its cards.
_RECORD = frozenset(
    ["release", "number", "book", "proposal", "title", "why", "parents", "effects", "start", "waves", "starts", "entries", "statements", "released_by", "released"]
)


class Standing(NamedTuple):
    """What holds for an item: the release, its entry (None: no longer served), since when."""

    release: int
    digest: str | None
    since: datetime


@dataclass(frozen=True, slots=True, order=True)
class Row:
    """One line of the timeline: from `start` (UTC) on, `release` puts `digest` in force."""

    start: datetime
    release: int
    item: str
    digest: str | None


@dataclass(frozen=True, slots=True)
class Change:
    """An item whose entry differs between two times or two bundles; None: not served."""

    item: str
    before: str | None
    after: str | None


@dataclass(frozen=True, slots=True)
class SiteLabel:
    """How the bundle names the site it is for."""

    id: str
    name: str
    franchise: str
    market: str
    market_name: str
    time_zone: str
    day_starts: str


@dataclass(frozen=True, slots=True)
class Withdrawn:
    """What is off sale: from `said` until `lifted` (None: no end yet), with (item, name, choices) it reaches here.

    An item with choices is off only where one of them is asked for.
    """

    notice: str
    about: str
    lot: str
    why: str
    person: str
    role: str
    said: datetime
    lifted: datetime | None
    items: tuple[tuple[str, str, tuple[str, ...]], ...]
    statement: str = ""


@dataclass(frozen=True, slots=True)
class Bundle:
    """A verified bundle. `entries` maps digest to entry; treat the inner values as read-only."""

    book: str
    book_name: str
    main: str
    site: SiteLabel
    timeline: tuple[Row, ...]
    entries: Mapping[str, Mapping[str, Any]]
    releases: tuple[Mapping[str, Any], ...]
    statements: tuple[str, ...]
    notices: tuple[Withdrawn, ...] = ()
    drawings: Drawings = field(default_factory=dict)
    deviations: tuple[StandsIn, ...] = ()
    approvals: Approvals | None = None
    language: str = ""
    """Of the site's market, as BCP 47 names it; "" for English."""

    @staticmethod
    def parse(data: bytes) -> Bundle:
        """Reads bundle bytes. Raises Untrusted naming the path of what is wrong."""
        if len(data) > CAP:
            raise Untrusted(f"the bundle is larger than {CAP} bytes", "Tell head office.")
        return _bundle(strict.load(data))

    def in_force(self, now: datetime) -> dict[str, Standing]:
        """Per item the newest release that has started by `now`, sorted by item.

        An item no longer served is listed with digest None; one that has not
        started yet is absent.
        """
        held: dict[str, Standing] = {}
        for row in self.timeline:
            if row.start > now:
                break  # the timeline is sorted by start
            standing = held.get(row.item)
            if standing is None or row.release >= standing.release:
                held[row.item] = Standing(row.release, row.digest, row.start)
        return dict(sorted(held.items()))

    def upcoming(self, now: datetime) -> tuple[Row, ...]:
        """The lines that have not started by `now`, earliest first."""
        return tuple(row for row in self.timeline if row.start > now)

    def changed_since(self, earlier: datetime, now: datetime) -> tuple[Change, ...]:
        """Items whose entry in force at `now` differs from the one at `earlier`, by item."""
        return changes(self.in_force(earlier), self.in_force(now))

    def off_sale(self, now: datetime) -> tuple[Withdrawn, ...]:
        """What is off sale at `now`. A notice counts from when it is known, whatever its own date says."""
        return tuple(one for one in self.notices if one.lifted is None or one.lifted > now)

    def standing_in(self, now: datetime) -> tuple[StandsIn, ...]:
        """The deviations that hold at `now`."""
        return tuple(one for one in self.deviations if one.said <= now < one.ends)

    def told(self, now: datetime) -> dict[str, Mapping[str, Any]]:
        """By item, what is served at `now` as it must be told, with what stands in for something."""
        served = {item: self.entries[s.digest] for item, s in self.in_force(now).items() if s.digest is not None}
        return told(served, self.standing_in(now))

    def entry(self, digest: str) -> Mapping[str, Any]:
        """The entry of that digest. Raises NotFound."""
        try:
            return self.entries[digest]
        except KeyError:
            raise NotFound(f"this bundle holds no entry {digest}", "Pull again.") from None

    def release(self, number: int) -> Mapping[str, Any]:
        """The record of a release. Raises NotFound."""
        for record in self.releases:
            if record["number"] == number:
                return record
        raise NotFound(f"this bundle holds no release {number}", "Pull again.")


def changes(before: Mapping[str, Standing], after: Mapping[str, Standing]) -> tuple[Change, ...]:
    """Items whose digest differs, sorted by item; absent and None both mean not served."""
    found = []
    for item in sorted(before.keys() | after.keys()):
        old = before[item].digest if item in before else None
        new = after[item].digest if item in after else None
        if old != new:
            found.append(Change(item, old, new))
    return tuple(found)


def _bundle(value: Any) -> Bundle:
    top = strict.fields(
        value,
        "$",
        bundle=int,
        book=str,
        book_name=str,
        main=str,
        site=dict,
        timeline=list,
        entries=dict,
        releases=list,
        statements=list,
        # Bundles made before these were told do not have them.
        **({name: kind for name, kind in _LATER.items() if isinstance(value, dict) and name in value}),
    )
    if top["bundle"] != 1:
        raise strict.wrong("$.bundle", "a bundle format this specctl does not know")
    strict.matches(top["book"], "$.book", strict.ID)
    strict.matches(top["main"], "$.main", strict.COMMIT)
    texts = dict.fromkeys(SiteLabel.__slots__, str)
    site = SiteLabel(**strict.fields(top["site"], "$.site", **texts))
    for name in ("id", "franchise", "market"):
        strict.matches(getattr(site, name), f"$.site.{name}", strict.ID)
    strict.matches(site.time_zone, "$.site.time_zone", strict.ZONE)
    strict.matches(site.day_starts, "$.site.day_starts", strict.CLOCK)
    for name, entry in top["entries"].items():
        strict.entry(name, entry, site.market)
    timeline = _timeline(top["timeline"], top["entries"])
    releases = _releases(top["releases"], top["book"], site.id)
    told = {record["number"] for record in releases}
    for at, row in enumerate(timeline):
        if row.release not in told:
            raise strict.wrong(f"$.timeline[{at}]", f"release {row.release} has no record")
    for at, text in enumerate(top["statements"]):
        strict.typed(text, str, f"$.statements[{at}]")
    return Bundle(
        book=top["book"],
        book_name=top["book_name"],
        main=top["main"],
        site=site,
        timeline=timeline,
        entries=MappingProxyType(top["entries"]),
        releases=releases,
        statements=tuple(top["statements"]),
        notices=_notices(top.get("notices", [])),
        drawings=drawings(top.get("drawings", {}), top["entries"]),
        deviations=stand_ins(top.get("deviations", [])),
        approvals=read_approvals(top["approvals"], site.id) if "approvals" in top else None,
        language=strict.matches(top["language"], "$.language", strict.TONGUE) if "language" in top else "",
    )


def _notices(rows: list[Any]) -> tuple[Withdrawn, ...]:
    found: list[Withdrawn] = []
    for at, raw in enumerate(rows):
        path = f"$.notices[{at}]"
        row = strict.fields(
            raw, path, notice=str, about=str, lot=str, why=str, role=str, person=str, said=str,
            lifted=object, items=list, statement=str,
        )
        strict.matches(row["notice"], f"{path}.notice", strict.DIGEST)
        strict.matches(row["about"], f"{path}.about", strict.GOODS)
        for name in ("role", "person"):
            strict.matches(row[name], f"{path}.{name}", strict.ID)
        if any(one.notice == row["notice"] for one in found):
            raise strict.wrong(path, "one notice told twice")
        lifted = None if row["lifted"] is None else strict.time(row["lifted"], f"{path}.lifted")
        items = tuple(strict_item(item, f"{path}.items[{n}]") for n, item in enumerate(row["items"]))
        texts = {name: row[name] for name in ("notice", "about", "lot", "why", "person", "role", "statement")}
        found.append(Withdrawn(**texts, said=strict.time(row["said"], f"{path}.said"), lifted=lifted, items=items))
    return tuple(found)


def _timeline(rows: list[Any], entries: Mapping[str, Any]) -> tuple[Row, ...]:
    timeline: list[Row] = []
    for at, raw in enumerate(rows):
        path = f"$.timeline[{at}]"
        if len(strict.typed(raw, list, path)) != 4:
            raise strict.wrong(path, "a row has four parts")
        start, release, item, digest = raw
        row = Row(
            strict.time(start, f"{path}[0]"),
            strict.count(release, f"{path}[1]"),
            strict.matches(item, f"{path}[2]", strict.ITEM),
            None if digest is None else strict.matches(digest, f"{path}[3]", strict.DIGEST),
        )
        if timeline and (row.start, row.release, row.item) <= (
            timeline[-1].start,
            timeline[-1].release,
            timeline[-1].item,
        ):
            raise strict.wrong(path, "rows are not sorted, or one is repeated")
        if row.digest is not None and row.digest not in entries:
            raise strict.wrong(path, "the entry it names is missing")
        if row.digest is not None and entries[row.digest]["item"] != row.item:
            raise strict.wrong(path, "the entry it names is another item's")
        timeline.append(row)
    return tuple(timeline)


def _releases(records: list[Any], book: str, site: str) -> tuple[Mapping[str, Any], ...]:
    numbers: set[int] = set()
    for at, record in enumerate(records):
        path = f"$.releases[{at}]"
        for name in sorted(strict.typed(record, dict, path).keys() - _RECORD):
            raise strict.wrong(f"{path}.{name}", "no such field is known")
        number = strict.count(record.get("number"), f"{path}.number")
        if record.get("release") != 1 or number in numbers:
            raise strict.wrong(path, "not a release record, or one told twice")
        numbers.add(number)
        if record.get("book", book) != book:
            raise strict.wrong(f"{path}.book", "the record of another book")
        rows = strict.typed(record.get("entries", []), list, f"{path}.entries")
        if any(not isinstance(row, list) or row[:1] != [site] for row in rows):
            raise strict.wrong(f"{path}.entries", "holds a row of another site")
    return tuple(MappingProxyType(record) for record in records)
