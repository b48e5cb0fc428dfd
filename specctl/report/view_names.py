"""Names for the ids of an impact, and dates as people read them."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Iterable

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact
from specctl.report.numerals import weekday_pattern
from specctl.report.told_words import batch_told, bracket_told, build_told, is_bracket, shared_told
from specctl.report.tongue import _, _n, later
from specctl.report.words import date_words, say

STANDARD = "standard build"
_WEEKDAYS = (
    later("Monday"), later("Tuesday"), later("Wednesday"), later("Thursday"), later("Friday"), later("Saturday"), later("Sunday"),
)  # fmt: skip
_CLASSES = {
    "allergen-in": later("allergen in"),
    "declaration-up": later("declaration up"),
    "declaration-down": later("declaration down"),
    "unknown": later("unknown"),
    "amount": later("amount"),
    "unmeasurable": later("unmeasurable"),
    "cost": later("cost"),
    "price": later("price"),
    "method": later("method"),
    "equipment": later("equipment"),
    "hold": later("hold"),
    "scoop-check": later("scoop check"),
    "item-new": later("item new"),
    "item-gone": later("item gone"),
    "text": later("text"),
    "book": later("book"),
    "policy": later("policy"),
}


def all_sites(number: int) -> str:
    """`all 12 sites`."""
    return _n("all {count} site", "all {count} sites", number).format(count=number)


def site_names(impact: Impact, sites: Iterable[str]) -> str:
    """Every site by name, in the order of the names, or `all 12 sites` of the scope; none is ever left out."""
    sites = set(sites)
    if len(sites) > _NAMED_ONE_BY_ONE and sites == set(impact.names.sites):
        return all_sites(len(sites))
    return say("word.list").join(sorted(impact.names.sites.get(s, s) for s in sites)) or _("no site")


_NAMED_ONE_BY_ONE = 3


def market_sites(impact: Impact, market: str, sites: Iterable[str]) -> str:
    """`Great Britain (GB): Fishgate Kiosk, Saltmarket`, or all of the scope's sites in that market."""
    sites = set(sites)
    here = {s for s, m in impact.names.site_market.items() if m == market}
    words = all_sites(len(sites)) if len(sites) > 1 and sites == here else site_names(impact, sites)
    return f"{market_words(impact, market)}: {words}"


def site_list(impact: Impact, sites: Iterable[str]) -> tuple[str, ...]:
    return tuple(sorted(impact.names.sites.get(s, s) for s in sites))


def scope_words(impact: Impact, scope: str) -> str:
    """`the whole chain`, or the franchise by name."""
    if scope == CHAIN:
        return _("the whole chain")
    franchise = scope.partition("/")[2]
    return impact.names.franchises.get(franchise, franchise)


def market_words(impact: Impact, market: str) -> str:
    name = impact.names.markets.get(market, "")
    return f"{name} ({market.upper()})" if name and name.lower() != market.lower() else market.upper()


def is_drink(item: str) -> bool:
    """Whether the id is a drink's; else it is a prep's."""
    return item.startswith("drink/")


def kind_words(item: str) -> str:
    """`drink` or `prep`."""
    return _("drink") if is_drink(item) else _("prep")


def named(item: str, name: str) -> str:
    """`Salted oat foam (prep)`."""
    return _("{name} ({kind})").format(name=name, kind=kind_words(item))


def role_words(role: str) -> str:
    """A role as words; one that a policy thought of itself is read out."""
    known = {"drinks": _("drinks"), "food-safety": _("food safety"), "franchise-manager": _("franchise manager")}
    return known.get(role, role.replace("-", " "))


def class_words(change: str) -> str:
    """A class of change in short: `allergen in`."""
    return _(_CLASSES[change]) if change in _CLASSES else change.replace("-", " ")


def choice_words(choice: str, choice_name: str) -> str:
    """`choice_name` as written, but for the standard build, which arrives in English."""
    return build_told(choice_name or choice or STANDARD)


def size_words(item: str, size_name: str, size: str) -> str:
    """The size by its name, as written; a prep's is its batch."""
    return batch_told(item, size_name or size)


def path_words(impact: Impact, item: str, path: str) -> str:
    """The way an allergen comes in, in the names people know.

    `foam/foam > prep/salted-oat-foam > powder > ingredient/holm` of a drink reads
    `layer Salted oat foam > Salted oat foam (prep) > powder > Foam powder (Holm)`.
    What is not written in that form stays as it is.
    """
    bare, brackets = _in_brackets(path)
    found = _PATH.fullmatch(bare)
    if not found:
        return shared_told(bare, lambda: _cards_named(impact)) + brackets
    first, *rest = found[1].split(" > ")
    start = [] if item.startswith("prep/") and rest else [_line_words(impact, item, first, bool(rest))]
    if not start:
        start = [first.rpartition("/")[2].replace("-", " ")]
    return " > ".join((*start, *(_part_words(impact, part) for part in rest))) + found[2] + brackets


def _cards_named(impact: Impact) -> frozenset[str]:
    """Names of drinks and preps this page knows."""
    changed = {change.item_name for change in (*impact.allergens, *impact.texts)}
    return frozenset(changed | {*impact.names.items.values(), *impact.untouched.drink_names})


def _in_brackets(path: str) -> tuple[str, str]:
    """The way itself, and what the comparison put in brackets behind it, said again; a name may end in brackets too."""
    behind = ""
    while (found := _BRACKETED.fullmatch(path)) and is_bracket(found[2]):
        path, behind = found[1], f" ({bracket_told(found[2])}){behind}"
    return path, behind


_PART = "[a-z0-9-]+(?:/[a-z0-9-]+)?"
_BRACKETED = re.compile(r"(.+) \(([^()]+)\)", re.DOTALL)
_PATH = re.compile(rf"({_PART}(?: > {_PART})*)((?: \([^()]+\))*)")


def _line_words(impact: Impact, item: str, part: str, followed: bool) -> str:
    """The layer by its name; its line needs no word where what it holds comes next."""
    layer, _slash, line = part.rpartition("/")
    words = line.replace("-", " ")
    if not layer:
        return _("line {line}").format(line=words)
    name = impact.names.layers.get(f"{item} {layer}", layer.replace("-", " "))
    if followed:
        return _("layer {layer}").format(layer=name)
    return _("layer {layer}, line {line}").format(layer=name, line=words)


def _part_words(impact: Impact, part: str) -> str:
    kind, _slash, id = part.rpartition("/")
    name = impact.names.items.get(part, id.replace("-", " "))
    return named("prep/", name) if kind == "prep" else name


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
    if found is None:
        return text
    return weekday_pattern().format(weekday=_(_WEEKDAYS[found.weekday()]), date=date_words(found))


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
        return _("today")
    if days > 0:
        return _n("in {count} day", "in {count} days", days).format(count=days)
    return _n("{count} day ago", "{count} days ago", -days).format(count=-days)


def listed(names: Iterable[str]) -> str:
    """`a, b and c`, without repeats, in the order given."""
    unique = list(dict.fromkeys(names))
    if len(unique) < 2:
        return "".join(unique)
    return _("{names} and {last}").format(names=say("word.list").join(unique[:-1]), last=unique[-1])


def few(names: Iterable[str], most: int) -> str:
    """`a, b and c`, or the first `most` and how many are left: `a, b and 41 more`. Repeats count once."""
    unique = list(dict.fromkeys(names))
    if len(unique) <= most:
        return listed(unique)
    left = len(unique) - most
    more = _n("{names} and {count} more", "{names} and {count} more", left)
    return more.format(names=say("word.list").join(unique[:most]), count=left)
