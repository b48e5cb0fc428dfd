"""The effect of a proposal: what people sign, as bytes.

Both sides are computed against today's main: `before` is main, `after` is the
proposal merged onto main. So an unrelated release leaves the bytes alone and a
related one never does. Costs are no part of it; the signature names the price
book it was read with.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Mapping

from specctl.canonical import canonical, digest, digest_of
from specctl.change.facts import Change, as_rows
from specctl.change.rows import Row as Row
from specctl.change.rows import grouped

if TYPE_CHECKING:
    from specctl.domain.book import Book
    from specctl.domain.people import Proposal

CHAIN = "chain"
Rows = Mapping[tuple[str, str], str]


@dataclass(frozen=True, slots=True)
class WavePlan:
    """A wave with its sites spelled out; `start` is an ISO date."""

    key: str
    start: str
    sites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Effect:
    scope: str
    start: str
    waves: tuple[WavePlan, ...]
    rows: tuple[Row, ...]
    files: tuple[tuple[str, str], ...]

    def as_json(self) -> dict[str, Any]:
        sites, entries = grouped(self.rows)
        return {
            "effect": 1,
            "scope": self.scope,
            "start": self.start,
            "waves": [{"key": w.key, "start": w.start, "sites": list(w.sites)} for w in self.waves],
            "sites": sites,
            "entries": entries,
            "files": [list(f) for f in self.files],
        }

    @property
    def digest(self) -> str:
        return digest_of(canonical(self.as_json()))

    @property
    def is_empty(self) -> bool:
        return not self.rows and not self.files


def differing(before: Rows, after: Rows) -> tuple[Row, ...]:
    """Rows whose digests differ, sorted by site and item."""
    keys = [k for k in before.keys() | after.keys() if before.get(k) != after.get(k)]
    return tuple(Row(site, item, before.get((site, item)), after.get((site, item))) for site, item in sorted(keys))


def plan_waves(proposal: Proposal, sites: tuple[str, ...]) -> tuple[WavePlan, ...]:
    """Waves in order of start; sites no wave names start with the proposal."""
    named = {s for w in proposal.waves.values() for s in (w.sites or ())}
    rest = tuple(sorted(set(sites) - named))
    plans = [
        WavePlan(w.key, w.start.isoformat(), tuple(sorted(w.sites)) if w.sites is not None else rest)
        for w in proposal.waves.values()
    ]
    if rest and all(w.sites is not None for w in proposal.waves.values()):
        plans.append(WavePlan("all", proposal.start.isoformat(), rest))
    return tuple(sorted(plans, key=lambda w: (w.start, w.key)))


def file_digest(changes: tuple[Change, ...], beside: tuple[Change, ...] | None = None) -> str:
    """Names the changed facts of one file; a comment-only edit names an empty list.

    `beside`: all facts of a file whose changes must not be guessed from the digest,
    as one price could be by trying them out.
    """
    rows = as_rows(changes)
    return digest(rows if beside is None else [rows, as_rows(beside)])


def part_of(effect: Effect, scope: str, sites: frozenset[str], hidden: frozenset[str]) -> Effect:
    """The rows and waves of `sites`, and every file but the hidden ones."""
    waves = tuple(
        WavePlan(w.key, w.start, tuple(s for s in w.sites if s in sites))
        for w in effect.waves
        if any(s in sites for s in w.sites)
    )
    return Effect(
        scope,
        effect.start,
        waves,
        tuple(r for r in effect.rows if r.site in sites),
        tuple(f for f in effect.files if f[0] not in hidden),
    )


def owner_of(path: str, book: Book) -> str | None:
    """The franchise a file belongs to alone, or None for a shared file."""
    kind, _, rest = path.partition("/")
    name = rest.rsplit("/", 1)[-1].removesuffix(".yaml")
    if kind == "prices":
        return rest.split("/", 1)[0]
    if kind == "franchises":
        return name
    if kind == "sites" and name in book.sites:
        return book.sites[name].franchise
    if kind == "scoop-checks" and name in book.scoop_checks:
        site = book.sites.get(book.scoop_checks[name].site)
        return site.franchise if site else None
    return None


def for_franchise(effect: Effect, franchise: str, before: Book, after: Book) -> Effect:
    """The franchise's own scope of a chain effect."""
    sites = frozenset(
        s.id for book in (before, after) for s in book.sites.values() if s.franchise == franchise
    )
    hidden = frozenset(
        path
        for path, _ in effect.files
        if (owners := {owner_of(path, before), owner_of(path, after)} - {None}) and franchise not in owners
    )
    return part_of(effect, f"franchise/{franchise}", sites, hidden)
