"""The verb `publish`: one bundle for each site, into a folder any static host can serve.

Bundles are made from main's records and stored entries alone; nothing is
compiled again. A bundle holds one site's timeline, the entries it names, the
release records and the statements about them, and never a cost.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from specctl.actions.approving import Approver, first_trust
from specctl.actions.collecting import main_book
from specctl.actions.drawing import Drawer
from specctl.actions.ledger import Ledger
from specctl.actions.offsale import Stands, notices, reach_at, refuse_forged
from specctl.actions.source import Source
from specctl.actions.verifying import verified_releases
from specctl.canonical import canonical
from specctl.change.deviation import FOLDER as DEVIATIONS
from specctl.change.statement import Envelope
from specctl.domain.book import Book
from specctl.domain.place import Site
from specctl.errors import Refused
from specctl.store import distribution
from specctl.store.distribution import Published
from specctl.store.keys import apart, make_keys
from specctl.store.repository import Repository

STEP = 1000


@dataclass(frozen=True, slots=True)
class PublishDone:
    folder: Path
    main: str
    sites: tuple[str, ...]
    published: Published
    started: bool


def publish(source: Source, folder: Path, keys: Path, now: datetime, *, new_keys: bool = False) -> PublishDone:
    """Bundles of main as it is now. `new_keys` begins a folder: keys and its first root."""
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    targets = bundles(repository, main)
    if new_keys:
        apart(folder, keys)  # before any key is made there
        make_keys(keys)
        distribution.start(folder, keys, now, first_trust(repository, main).digest)
    version = len(repository.reader.first_parents(main)) * STEP
    published = distribution.publish(folder, keys, targets, version, now)
    return PublishDone(folder, main, tuple(sorted(t.removesuffix(".json") for t in targets)), published, new_keys)


def bundles(repository: Repository, main: str) -> dict[str, bytes]:
    """File name to bundle, for every site of main's book."""
    book = main_book(repository, main)
    ledger = Ledger(repository, main)
    verified_releases(ledger)
    standing = notices(ledger)
    refuse_forged(ledger, standing)
    envelopes = {
        proposal: ledger.envelopes(proposal) for proposal in sorted({r.proposal for r in ledger.releases})
    }
    drawn, approved = Drawer(book), Approver(ledger, envelopes)
    made = {}
    for site in book.sites.values():
        bundle = _bundle(book, site, ledger, envelopes, approved.scopes(site))
        bundle["statements"] += approved.statements(site)
        later = (
            _notices(ledger, site, standing),
            drawn.key(site, ledger),
            _deviations(ledger, site),
            approved.key(site),
            language_key(book, site),
        )
        made[f"{site.id}.json"] = canonical({name: value for part in (bundle, *later) for name, value in part.items()})
    return made


def _bundle(
    book: Book, site: Site, ledger: Ledger, envelopes: dict[str, tuple[Envelope, ...]], scopes: dict[int, frozenset[str]]
) -> dict[str, Any]:
    timeline = []
    records = []
    statements: list[str] = []
    for release in ledger.releases:
        start = release.starts.get(site.id)
        mine = [row for row in release.rows if row.site == site.id]
        if start is None or not mine:
            continue
        timeline += [[start, release.number, row.item, row.after] for row in mine]
        records.append(release.for_site(site.id))
        statements += [e.text() for e in envelopes[release.proposal] if e.statement.scope in scopes[release.number]]
    market = book.markets[site.market]
    return {
        "bundle": 1,
        "book": book.settings.id,
        "book_name": book.settings.name,
        "main": ledger.commit,
        "site": {
            "id": site.id,
            "name": site.name,
            "franchise": site.franchise,
            "market": site.market,
            "market_name": market.name,
            "time_zone": site.time_zone,
            "day_starts": site.day_starts or book.settings.day_starts,
        },
        "timeline": sorted(timeline, key=lambda row: (row[0], row[1], row[2])),
        "entries": ledger.entries(row[3] for row in timeline if row[3]),
        "releases": records,
        "statements": statements,
    }


_TAG = re.compile("[A-Za-z]{2,3}(-[A-Za-z0-9]{2,8}){0,3}")


def language_key(book: Book, site: Site) -> dict[str, Any]:
    """The language of the site's market; nothing where that is English, so that such a bundle stays as it was."""
    tag = book.markets[site.market].language
    return {} if tag.partition("-")[0].lower() == "en" or not _TAG.fullmatch(tag) else {"language": tag}


def _notices(ledger: Ledger, site: Site, standing: tuple[Stands, ...]) -> dict[str, Any]:
    """What is off sale, at every site whether or not anything there is made from it. Nothing where nothing ever was."""
    by_number = {r.number: r for r in ledger.releases}
    rows = []
    for one in standing:
        notice = one.posted.notice
        lifting = by_number[one.lifted_by] if one.lifted_by else None
        rows.append(
            {
                "notice": one.posted.digest,
                **{name: getattr(notice, name) for name in ("about", "lot", "why", "role", "person", "said")},
                # A site no wave of the lifting release names takes the release's own time.
                "lifted": lifting.starts.get(site.id, lifting.released) if lifting else None,
                "items": [[r.item, r.name, list(r.choices)] for r in reach_at(ledger, site.id, notice.about)],
                "statement": one.posted.text(),
            }
        )
    return {"notices": rows} if rows else {}


def _deviations(ledger: Ledger, site: Site) -> dict[str, Any]:
    """What stands in for what at this site; nothing where nothing ever did."""
    if not ledger.under(DEVIATIONS):
        return {}
    from specctl.actions.deviating import at_site

    rows = at_site(ledger, site.id)
    return {"deviations": rows} if rows else {}


def refresh(folder: Path, keys: Path, now: datetime) -> Published:
    """Renew the timestamp alone; needs neither the book nor any other key."""
    return distribution.refresh(folder, keys, now)


def renew_root(folder: Path, keys: Path, now: datetime) -> Published:
    """Renew the root for a year, signed by two of the old and two of the new root keys."""
    return distribution.renew_root(folder, keys, now)
