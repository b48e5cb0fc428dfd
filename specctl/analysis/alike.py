"""Which sites pour alike, so that what follows from it is worked out once for all of them."""

from __future__ import annotations

from collections.abc import Mapping

from specctl.domain.place import Site

Pours = tuple[str, frozenset[str], tuple[tuple[str, str], ...]]


def pours(site: Site) -> Pours:
    """Market, drinks not served, and stand-ins stocked: sites of one book equal in these pour the same lines."""
    return site.market, site.not_served, tuple(sorted(site.stocks.items()))


def one_of_each(sites: Mapping[str, Site]) -> list[Site]:
    """The first site, by id, of those that pour alike."""
    found: dict[Pours, Site] = {}
    for _, site in sorted(sites.items()):
        found.setdefault(pours(site), site)
    return list(found.values())
