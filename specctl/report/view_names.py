"""Names for the ids of an impact, and dates as people read them."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Iterable

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact
from specctl.report.words import date_words

STANDARD = "standard build"
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def site_names(impact: Impact, sites: Iterable[str]) -> str:
    """Every site by name, in the order of the names; none is ever left out."""
    return ", ".join(sorted(impact.names.sites.get(s, s) for s in sites)) or "no site"


def site_list(impact: Impact, sites: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(impact.names.sites.get(s, s) for s in sites))


def scope_words(impact: Impact, scope: str) -> str:
    """`the whole chain`, or the franchise by name."""
    if scope == CHAIN:
        return "the whole chain"
    franchise = scope.partition("/")[2]
    return impact.names.franchises.get(franchise, franchise)


def market_words(impact: Impact, market: str) -> str:
    name = impact.names.markets.get(market, "")
    return f"{name} ({market.upper()})" if name and name.lower() != market.lower() else market.upper()


def kind_words(item: str) -> str:
    """`drink` or `prep`."""
    return item.partition("/")[0]


def role_words(role: str) -> str:
    return role.replace("-", " ")


def choice_words(choice: str, choice_name: str) -> str:
    return choice_name or choice or STANDARD


def path_words(path: str) -> str:
    """The way an allergen comes in, `foam/oat > prep/salted-oat-foam > ingredient/oat-drink`, in words.

    What is not written in that form stays as it is.
    """
    found = _PATH.fullmatch(path)
    if not found:
        return path
    return " > ".join(_part_words(part) for part in found[1].split(" > ")) + found[2]


_PART = "[a-z0-9-]+(?:/[a-z0-9-]+)?"
_PATH = re.compile(rf"({_PART}(?: > {_PART})*)((?: \([a-z _-]+\))?)")


def _part_words(part: str) -> str:
    kind, _, name = part.rpartition("/")
    words = name.replace("-", " ")
    if kind in ("prep", "ingredient", "drink"):
        return f"{kind} {words}"
    layer = kind.replace("-", " ")
    return f"layer {layer}, line {words}" if layer else f"line {words}"


def day(text: str) -> date | None:
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def day_words(text: str) -> str:
    """An ISO date as `1 December 2026`; what is no date stays as it was written."""
    found = day(text)
    return date_words(found) if found else text


def weekday_words(text: str) -> str:
    """An ISO date as `Tuesday 1 December 2026`."""
    found = day(text)
    return f"{_WEEKDAYS[found.weekday()]} {date_words(found)}" if found else text


def days_until(text: str, now: datetime | None) -> int | None:
    """Whole days from `now` to an ISO date; None when either is not known."""
    found = day(text)
    return (found - now.date()).days if found and now else None


def until_words(text: str, now: datetime | None) -> str:
    """`in 12 days`, `today`, `3 days ago`; "" without a clock."""
    days = days_until(text, now)
    if days is None:
        return ""
    if days == 0:
        return "today"
    unit = "day" if abs(days) == 1 else "days"
    return f"in {days} {unit}" if days > 0 else f"{-days} {unit} ago"


def listed(names: Iterable[str]) -> str:
    """`a, b and c`, without repeats, in the order given."""
    unique = list(dict.fromkeys(names))
    if len(unique) < 2:
        return "".join(unique)
    return f"{', '.join(unique[:-1])} and {unique[-1]}"
