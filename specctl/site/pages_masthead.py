"""How fresh the pages are, what they say of themselves, and until when they hold."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from zoneinfo import ZoneInfo

from specctl.report.clean import visible
from specctl.report.words import ago_words, say, time_words
from specctl.site.bundle import Bundle, Standing, Withdrawn
from specctl.site.deviations import StandsIn

_CLOCK_SLACK = timedelta(minutes=5)
_REMEMBERED = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class Times:
    """When a page is made, when its bundle was last confirmed, what to compare with.

    All aware. `confirmed` None: never. A confirmation older than `limit`, or one
    from the future, makes the pages stale. `approved`: whether this site checked who
    approved the cards; None: not said.
    """

    now: datetime
    confirmed: datetime | None
    since: datetime | None = None
    limit: timedelta = timedelta(hours=48)
    approved: bool | None = None


@dataclass(frozen=True, slots=True)
class Masthead:
    """What every page says of itself."""

    site: str
    market: str
    book: str
    made: str
    release: str
    confirmed: str
    stale: str
    good_until: str
    zone: str
    off_sale: tuple[str, ...] = ()
    """What is off sale here now, a sentence each: before everything else on every page."""
    deviations: tuple[str, ...] = ()
    """What stands in for something here, and what no longer may, a sentence each."""

    approval: str = ""
    """Whether it was checked here who approved the cards."""

    @property
    def lines(self) -> tuple[str, ...]:
        rest = (*self.deviations, self.release, self.made, self.confirmed, self.good_until, self.approval, self.zone)
        return tuple(line for line in rest if line)

    @property
    def footer(self) -> str:
        return " · ".join((self.site, self.release, self.made, self.stale or self.confirmed))


def masthead_of(bundle: Bundle, times: Times, served: Mapping[str, Standing]) -> Masthead:
    """The masthead; `served` are the items with a card at this time."""
    zone = zone_of(bundle.site.time_zone)
    now = time_words(times.now.astimezone(zone))
    newest = max((standing.release for standing in served.values()), default=0)
    confirmed, stale = _freshness(times, zone, now)
    until = None if stale else _good_until(bundle, times, served, zone)
    known = zone is not UTC or bundle.site.time_zone in ("UTC", "Etc/UTC")
    return Masthead(
        site=visible(bundle.site.name),
        market=visible(bundle.site.market_name),
        book=visible(bundle.book_name),
        made=say("page.made", when=now, site=bundle.site.name, market=bundle.site.market_name),
        release=say("fresh.release", release=newest) if newest else say("fresh.no-release"),
        confirmed=confirmed,
        stale=stale,
        good_until=say("fresh.good-until", when=time_words(until.astimezone(zone))) if until else "",
        zone=say("fresh.zone" if known else "fresh.zone-unknown", zone=bundle.site.time_zone),
        off_sale=tuple(words for one in bundle.off_sale(times.now) for words in off_sale_words(one, zone)),
        approval="" if times.approved is None else say("fresh.approved" if times.approved else "fresh.unapproved"),
        deviations=tuple(deviation_words(one, times.now, zone) for one in bundle.deviations if one.said <= times.now < one.ends + _REMEMBERED),
    )


def off_sale_words(one: Withdrawn, zone: tzinfo) -> tuple[str, ...]:
    """A notice in sentences: what, why and since when; which goods; what to take off."""
    kind, _, id = one.about.partition("/")
    what = say(f"off-sale.{kind}", id=id.replace("-", " "))
    lot = say("off-sale.lot", lot=one.lot) if one.lot else ""
    when = time_words(one.said.astimezone(zone))
    said = [say("off-sale.head", what=what, why=one.why), say("off-sale.since", when=when, person=one.person)]
    whole = [name for _, name, choices in one.items if not choices]
    if whole:
        said.append(say("off-sale.items", items=say("word.list").join(whole)))
    said += [
        say("off-sale.choices", item=name, choices=say("word.list").join(choices))
        for _, name, choices in one.items
        if choices
    ]
    if not one.items:
        said.append(say("off-sale.nothing"))
    return tuple([said[0], *([lot] if lot else []), *said[1:]])


def deviation_words(one: StandsIn, now: datetime, zone: tzinfo) -> str:
    """A deviation in one sentence; once it is over, that it is."""
    until = time_words(one.ends.astimezone(zone))
    items = say("word.list").join(name + (f" ({say('word.list').join(choices)})" if choices else "") for _, name, choices in one.items)
    if now >= one.ends:
        return say("deviation.over", of=one.place_of, name=one.name, when=until)
    return say("deviation.holds", of=one.place_of, name=one.name, when=until, checked=one.checked, person=one.person, items=items or "-")


def _freshness(times: Times, zone: tzinfo, now: str) -> tuple[str, str]:
    """(confirmed, stale): exactly one of the two is said."""
    if times.confirmed is None:
        return "", say("fresh.never")
    age = times.now - times.confirmed
    when = time_words(times.confirmed.astimezone(zone))
    if age < -_CLOCK_SLACK:
        return "", say("fresh.future", when=when)
    if age > times.limit:
        return "", say("fresh.stale", when=when, ago=ago_words(age))
    return say("fresh.confirmed", ago=ago_words(age), when=when, now=now), ""


def _good_until(
    bundle: Bundle, times: Times, served: Mapping[str, Standing], zone: tzinfo
) -> datetime | None:
    """The first moment at which a printed page may say something that no longer holds."""
    if times.confirmed is None:
        return None
    moments = [times.confirmed + times.limit]
    moments += [row.start for row in bundle.upcoming(times.now)]
    moments += [one.ends for one in bundle.standing_in(times.now)]
    today = times.now.astimezone(zone).date()
    for standing in served.values():
        for row in bundle.entries[standing.digest or ""]["allergens"]:
            until = row["absent_until"]
            if until is not None and date.fromisoformat(until) > today:
                day = date.fromisoformat(until)
                moments.append(datetime(day.year, day.month, day.day, tzinfo=zone))
    return min(moments)


def zone_of(name: str) -> tzinfo:
    """The zone of that name; UTC where this machine knows none of that name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        return UTC


def last_opening(now: datetime, zone: tzinfo, day_starts: str) -> datetime:
    """When the working day before today's started, by the site's own `day_starts`."""
    hour, minute = (int(part) for part in day_starts.split(":"))
    local = now.astimezone(zone)
    start = local.replace(hour=hour, minute=minute, second=0, microsecond=0)
    days = 1 if local >= start else 2
    return (start - timedelta(days=days)).astimezone(UTC)


def standing_words(standing: Standing, zone: tzinfo) -> str:
    """The release an entry came with and since when, in the site's time."""
    since = time_words(standing.since.astimezone(zone))
    return say("fresh.started", release=standing.release, when=since)
