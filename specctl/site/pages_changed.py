"""What changed here since a time, and what is known to start next, item by item."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, tzinfo

from specctl.errors import NotFound
from specctl.report.clean import visible
from specctl.report.words import say, time_words
from specctl.site.bundle import Bundle
from specctl.site.compare import compare
from specctl.site.compare_words import difference_words
from specctl.site.pages_masthead import standing_words


@dataclass(frozen=True, slots=True)
class Changed:
    """One item that changed or will: allergen statements apart and first."""

    name: str
    standing: str
    title: str
    why: str
    headline: str
    allergens: tuple[str, ...]
    others: tuple[str, ...]


def changed_between(
    bundle: Bundle, since: datetime, now: datetime, zone: tzinfo
) -> Iterator[Changed]:
    """Each item whose entry at `now` is another than at `since`."""
    held = bundle.in_force(now)
    for change in bundle.changed_since(since, now):
        standing = held.get(change.item)
        if standing is None:
            continue
        words = standing_words(standing, zone)
        yield _change(bundle, change.before, change.after, (change.item, standing.release, words))


def upcoming_after(bundle: Bundle, now: datetime, zone: tzinfo) -> Iterator[Changed]:
    """Each start still to come, compared with what will be in force just before it."""
    held = {item: standing.digest for item, standing in bundle.in_force(now).items()}
    numbers = {item: standing.release for item, standing in bundle.in_force(now).items()}
    for row in bundle.upcoming(now):
        if row.release < numbers.get(row.item, 0):
            continue  # an older release that starts later never comes into force
        when = say("changed.starts", when=time_words(row.start.astimezone(zone)))
        label = f"{say('fresh.release', release=row.release)}, {when}"
        yield _change(bundle, held.get(row.item), row.digest, (row.item, row.release, label))
        held[row.item], numbers[row.item] = row.digest, row.release


def _change(
    bundle: Bundle, before: str | None, after: str | None, about: tuple[str, int, str]
) -> Changed:
    item, number, standing = about
    old = bundle.entries.get(before) if before else None
    new = bundle.entries.get(after) if after else None
    allergens: list[str] = []
    others: list[str] = []
    headline = ""
    if after is None:
        headline = say("changed.gone")
    elif before is None:
        headline = say("changed.new")
    elif old is None or new is None:
        headline = say("changed.unreadable")
    else:
        for difference in compare(old, new):
            (allergens if difference.about_allergens else others).append(
                difference_words(difference)
            )
    named = new or old
    title, why = _reason(bundle, number)
    return Changed(
        name=visible(named["name"]) if named else visible(item),
        standing=standing,
        title=title,
        why=why,
        headline=headline,
        allergens=tuple(allergens),
        others=tuple(others),
    )


def _reason(bundle: Bundle, number: int) -> tuple[str, str]:
    try:
        record = bundle.release(number)
    except NotFound:
        return "", ""
    return visible(str(record.get("title") or "")), visible(str(record.get("why") or ""))
