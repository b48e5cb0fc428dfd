"""When a release takes over at each site, in UTC.

A start is a local date at the site's `day_starts`, never mid-shift, and never
before the release itself: where the stated day has already begun, the next
day's opening counts. A correction that only adds to declarations goes at once.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta, timezone
from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from specctl.change.effect import WavePlan
    from specctl.domain.book import Book
    from specctl.domain.place import Site


def starts_of(book: Book, waves: Iterable[WavePlan], released: datetime, at_once: bool) -> dict[str, str]:
    """UTC start by site, for every site a wave names."""
    starts = {}
    for wave in waves:
        for id in wave.sites:
            site = book.sites.get(id)
            if site is None:
                continue
            start = opening(book, site, date.fromisoformat(wave.start))
            if at_once or start < released:
                start = released if at_once else next_opening(book, site, released)
            starts[id] = stamp(start)
    return starts


def opening(book: Book, site: Site, day: date) -> datetime:
    """When a site's day begins, in UTC."""
    from zoneinfo import ZoneInfo  # reading verbs only stamp times

    hours, minutes = (site.day_starts or book.settings.day_starts).split(":")
    # A local time that a clock change skips still resolves to one instant (fold 0).
    local = datetime.combine(day, time(int(hours), int(minutes)), ZoneInfo(site.time_zone))
    return local.astimezone(timezone.utc)


def next_opening(book: Book, site: Site, after: datetime) -> datetime:
    """The first opening of a site at or after a moment."""
    from zoneinfo import ZoneInfo

    day = after.astimezone(ZoneInfo(site.time_zone)).date() - timedelta(days=1)
    while (first := opening(book, site, day)) < after:
        day += timedelta(days=1)
    return first


def local_days(book: Book, starts: Mapping[str, str]) -> dict[str, date]:
    """The day on which each site starts, by its own calendar."""
    from zoneinfo import ZoneInfo

    return {
        id: datetime.fromisoformat(start).astimezone(ZoneInfo(book.sites[id].time_zone)).date() for id, start in starts.items() if id in book.sites
    }


def stamp(moment: datetime) -> str:
    return moment.astimezone(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")
