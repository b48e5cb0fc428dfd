"""Which of a franchise's sites serve what: asked once for all sites that sell alike."""

from __future__ import annotations

from collections.abc import Mapping

from specctl.domain.book import Book


class Serving:
    """The drinks of one franchise's sites in one book, worked out once."""

    def __init__(self, book: Book, franchise: str) -> None:
        alike: dict[tuple[str, frozenset[str]], tuple[str, ...]] = {}
        found: dict[str, list[str]] = {}
        for site in sorted(book.sites_of(franchise), key=lambda s: s.id):
            key = (site.market, site.not_served)
            if key not in alike:
                alike[key] = tuple(drink.id for drink in book.served_at(site))
            for drink in alike[key]:
                found.setdefault(drink, []).append(site.id)
        self._sites: Mapping[str, list[str]] = found

    def sites(self, drink: str) -> list[str]:
        """Ids of the sites that serve a drink, sorted."""
        return self._sites.get(drink, [])
