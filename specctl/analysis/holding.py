"""How long something may be kept, and when it must go.

The earliest limit wins: its own hold, the preps inside it, the packs it was made
from. Topping up never starts a new clock. A hold time that is not written is
unknown, never long. No clock here: times are given. The legal limits are shown as
information; local law and licensed practice decide.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Prep

AT_ONCE = "at-once"


@dataclass(frozen=True, slots=True)
class Hold:
    """How long a batch keeps at best, everything in it opened or made just now.

    `seconds` None: not known. `keep` is how it is kept; `because` names the limit.
    """

    seconds: int | None
    keep: str
    because: str


@dataclass(frozen=True, slots=True)
class Started:
    """One thing that went into a batch: when its pack was opened, the last day its
    pack may be used on, or, for a prep, when that batch must go."""

    item: str
    opened: datetime | None = None
    pack_date: date | None = None
    discard: datetime | None = None


@dataclass(frozen=True, slots=True)
class Discard:
    """When a batch must go; `at` None: not known. `unknown` names what was not
    told and could bring it forward."""

    at: datetime | None
    because: str
    unknown: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """A limit of public rules, shown as information. `where` is the jurisdiction."""

    where: str
    about: str
    value: str
    source: str


_FOOD_CODE = "US Food and Drug Administration, Food Code (a model code; states adopt and change it)"
_UK_RULES = "UK food hygiene regulations, temperature control requirements"

LIMITS = (
    Limit("US", "cold holding", "at or below 5 °C (41 °F)", _FOOD_CODE),
    Limit("US", "hot holding", "at or above 57 °C (135 °F)", _FOOD_CODE),
    Limit("US", "time instead of temperature", "4 h, or 6 h if never above 21 °C (70 °F)", _FOOD_CODE),
    Limit("US", "cooling", "57 °C to 21 °C within 2 h, to 5 °C within 6 h in all", _FOOD_CODE),
    Limit("UK", "cold holding", "at or below 8 °C; one period of display of under 4 h", _UK_RULES),
    Limit("UK", "hot holding", "at or above 63 °C", _UK_RULES),
)

DEFERENCE = (
    "For information. Local law, the local authority and licensed practice decide; "
    "where they are stricter, they hold."
)


def limits_in(where: str) -> tuple[Limit, ...]:
    """The limits of a jurisdiction, `US` or `UK`; none are known for another."""
    return tuple(limit for limit in LIMITS if limit.where == where)


def hold_of(prep: Prep, book: Book) -> Hold:
    """The hold time of a prep at best: the earliest of its own, its preps' and the
    opened life of its ingredients.

    A prep kept `at-once` is used when made: 0 s. One without a written hold is
    unknown, whatever its parts would allow.
    """
    if prep.keep == AT_ONCE and prep.hold is None:
        return Hold(0, prep.keep, "made to order")
    if prep.hold is None:
        return Hold(None, prep.keep, "no hold time is written")
    seconds, because = prep.hold, "its own hold time"
    for limit, why in _inside(prep, book, {prep.id}):
        if limit < seconds:
            seconds, because = limit, why
    return Hold(seconds, prep.keep, because)


def discard_at(made: datetime, prep: Prep, started: Iterable[Started], book: Book) -> Discard:
    """When a batch made at `made` must go: the earliest of its own hold, the
    discard of its preps, the opened life of its packs and the packs' dates.

    A pack date is the last day of use, in the time zone of `made`. What a line
    uses and `started` does not tell is named in `unknown`, unless nothing limits
    it. An unwritten own hold makes the answer unknown.
    """
    told = {each.item: each for each in started}
    unknown: list[str] = []
    ends: list[tuple[datetime, str]] = []
    own = 0 if prep.keep == AT_ONCE and prep.hold is None else prep.hold
    if own is not None:
        ends.append((made + timedelta(seconds=own), "its own hold time"))
    for item_id in sorted({line.use for line in prep.all_lines()}):
        item = book.item(item_id)
        name = item.name if item is not None else item_id
        start = told.get(item_id)
        if start is not None and start.discard is not None:
            ends.append((start.discard, f"the batch of {name} it was made from"))
        if start is not None and start.pack_date is not None:
            ends.append((_day_after(start.pack_date, made), f"the date on the pack of {name}"))
        if isinstance(item, Prep):
            if (start is None or start.discard is None) and item.keep != AT_ONCE:
                unknown.append(f"when the batch of {name} must go")
        elif isinstance(item, Ingredient) and item.opened_life is not None:
            if start is None or start.opened is None:
                unknown.append(f"when the pack of {name} was opened")
            else:
                end = start.opened + timedelta(seconds=item.opened_life)
                ends.append((end, f"the opened pack of {name}"))
    if own is None:
        return Discard(None, "no hold time is written", tuple(unknown))
    at, because = min(ends, key=lambda each: each[0])
    return Discard(at, because, tuple(unknown))


def topped_up(held: Discard, fresh: Discard) -> Discard:
    """When a container must go into which a fresh batch was poured: never later
    than what was in it. Topping up resets nothing."""
    if held.at is None or fresh.at is None:
        lacking = held if held.at is None else fresh
        return Discard(None, lacking.because, held.unknown + fresh.unknown)
    earlier = held if held.at <= fresh.at else fresh
    because = earlier.because if earlier is fresh else "what was already in it; topping up resets nothing"
    return Discard(earlier.at, because, held.unknown + fresh.unknown)


def relabelled(label: Discard, made: datetime, own: int | None) -> Discard:
    """What the label of a container made at `made` must say once the own hold is `own` seconds.

    A shorter hold reaches what is already made; a longer one never moves a label
    out; one taken away (None) leaves no time that can be answered for.
    """
    if own is None:
        return Discard(None, "no hold time is written any more", label.unknown)
    end = made + timedelta(seconds=own)
    if label.at is None or end >= label.at:
        return label
    return Discard(end, "its hold time is shorter now: relabel it", label.unknown)


def _inside(prep: Prep, book: Book, seen: set[str]) -> Iterator[tuple[int, str]]:
    """(seconds, why) of every written limit below a prep, each prep walked once."""
    for item_id in sorted({line.use for line in prep.all_lines()}):
        item = book.item(item_id)
        if isinstance(item, Ingredient) and item.opened_life is not None:
            yield item.opened_life, f"{item.name} once opened"
        elif isinstance(item, Prep) and item.id not in seen:
            seen.add(item.id)
            if item.hold is not None:
                yield item.hold, f"the hold time of {item.name}"
            yield from _inside(item, book, seen)


def _day_after(day: date, made: datetime) -> datetime:
    """The first moment a pack of that date may no longer be used."""
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=made.tzinfo)
