"""The drawings that travel beside entries: made at `publish` from main's book, each distinct one once.

Of each drink the newest entries of a site are drawn, enough for what is in
force and what is to come; an older entry would be drawn with a book it was not
made from. No clock is read, so the same main draws the same.
"""

from __future__ import annotations

from typing import Any

from specctl.actions.ledger import Ledger
from specctl.analysis.matter import Larder
from specctl.change.cup_drawing import drawings_of
from specctl.domain.book import Book
from specctl.domain.place import Site, SiteIce

NEWEST = 3


class Drawer:
    """Draws the cups of one book for its sites."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self._larders: dict[SiteIce | None, Larder] = {}
        self._drawn: dict[tuple[SiteIce | None, str], dict[str, Any]] = {}

    def key(self, site: Site, ledger: Ledger) -> dict[str, Any]:
        """`{"drawings": {entry digest: {size: drawing}}}`; empty where nothing can be drawn."""
        newest: dict[str, list[str]] = {}
        for release in ledger.releases:
            for row in release.rows if site.id in release.starts else ():
                if row.site == site.id and row.after and row.item.startswith("drink/"):
                    newest.setdefault(row.item, []).append(row.after)
        wanted = sorted({digest for digests in newest.values() for digest in digests[-NEWEST:]})
        entries = ledger.entries(digest for digest in wanted if (site.ice, digest) not in self._drawn)
        larder = self._larders.setdefault(site.ice, Larder(self.book, site.ice))
        for digest, entry in entries.items():
            self._drawn[site.ice, digest] = drawings_of(larder, entry)
        found = {digest: drawn for digest in wanted if (drawn := self._drawn[site.ice, digest])}
        return {"drawings": found} if found else {}
