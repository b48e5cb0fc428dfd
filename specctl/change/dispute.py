"""A conflict in words of the trade: what both move, of which record, and what each makes of it.

Written for whoever runs the drinks: keys of a record become names of things
(`the amount (large) of cream in foam`), and a part that one side took away while
the other worked on it is told as that, not as two values.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from specctl.change.facts import MAP, ORDER, SET, Path, Value
from specctl.change.merge import Conflict
from specctl.domain.book import Book

_NOUNS = {
    "layers": "layer", "lines": "line", "steps": "step", "sizes": "size", "options": "option", "choices": "choice",
    "substitutes": "substitute", "packs": "pack", "waves": "wave", "groups": "group", "people": "person", "keys": "key",
    "rules": "rule", "menu": "price of", "cups_a_week": "weekly cups of", "tools": "number of the tool", "cleaning": "cleaning of",
}  # fmt: skip
_FIELDS: Mapping[tuple[str, ...], str] = {
    ("use",): "what goes in",
    ("do",): "what is done",
    ("at",): "the temperature",
    ("top_up",): "what fills up",
    ("served_at",): "the serving temperature",
    ("keep_at",): "the keeping temperature",
    ("hold",): "the hold time",
    ("opened_life",): "the life once opened",
    ("brimful",): "the brimful capacity",
    ("density", "is"): "the density",
    ("density", "at"): "the temperature of the density",
    ("density", "from"): "the source of the density",
    ("bulk_density", "is"): "the bulk density",
    ("bulk_density", "from"): "the source of the bulk density",
    ("composition", "source"): "the source of the composition",
    ("allergens", "document"): "the allergen paper",
    ("allergens", "dated"): "the date of the allergen paper",
    ("allergens", "product_code"): "the product code on the allergen paper",
    ("allergens", "scope"): "what the allergen paper speaks of",
    ("allergens", "contains"): "the list of what it contains",
    ("allergens", "may_contain"): "the list of what it may contain",
    ("allergens", "absent"): "the list of what is declared absent",
    ("allergens", "answers_for"): "the lists the allergen paper answers",
    ("tax", "rate"): "the tax rate",
}
_ALLERGENS = {"contains": "contains", "may_contain": "may contain", "absent": "is declared free from"}


def conflict_between(conflict: Conflict, book: Book | None, here: str, there: str) -> str:
    """One conflict in trade words: what both move, and to what. `here` has `ours`, `there` has `theirs`."""
    name, path = record_name(conflict.file, book), conflict.path
    base, ours, theirs = conflict.base, conflict.ours, conflict.theirs
    if not path:
        return f"both change {name}, and the two texts cannot be joined by meaning"
    if base is None and path == (MAP,):
        return f"both bring in {name}, each its own"
    if path[-1] == ORDER and None in (ours, theirs) and base is not None:
        gone, stays = (here, there) if ours is None else (there, here)
        return f"{gone} takes away {_of(path[:-1], name)}, and {stays} changes what is in it"
    if len(path) == 4 and path[0] == "allergens" and path[2] == SET and path[1] in _ALLERGENS:
        sides = ", ".join(f"{who} {_said(side)}" for side, who in ((ours, here), (theirs, there)))
        return f"both change whether {name} {_ALLERGENS[path[1]]} {path[3]}: {sides}"
    if path[-1] == ORDER:
        what = f"the order of {_of(path[:-1], name)}" if len(path) > 1 else f"the order of the parts of {name}"
    else:
        what = _of(path, name)
    if conflict.parts:
        told = f"{here} {_has(ours, path, 'ours' in conflict.parts)}, {there} {_has(theirs, path, 'theirs' in conflict.parts)}"
        return f"both change {what}: {told}" + ("" if base is None else f", before it was {_value(base)}")
    if base is None and None in (ours, theirs):
        adds, other = (here, there) if ours is not None else (there, here)
        value = ours if ours is not None else theirs
        given = "" if SET in path or value is True else f", {_value(value)},"
        return f"{adds} brings in {what}{given} and {other} takes away what it stands in"
    if None in (ours, theirs):
        gone, stays = (here, there) if ours is None else (there, here)
        value = theirs if ours is None else ours
        does = "keeps it" if value == base else f"changes it from {_value(base)} to {_value(value)}"
        return f"{gone} takes away {what}, and {stays} {does}"
    verb = "both bring in" if base is None else "both change"
    return f"{verb} {what}: {here} has {_value(ours)}, {there} has {_value(theirs)}" + ("" if base is None else f", before it was {_value(base)}")


def _has(value: Value | None, path: Path, parts: bool) -> str:
    if parts:
        return "has one for each size" if path[-1] in ("amount", "written", "tolerance") else "has parts instead of one value"
    return "takes it away" if value is None else f"has {_value(value)}"


def record_name(file: str, book: Book | None) -> str:
    """A record by its name, else by its file."""
    kind, _, rest = file.partition("/")
    if kind == "prices" and book is not None:
        franchise = book.franchises.get(rest.split("/")[0])
        return f"the price book of {franchise.name} ({file})" if franchise else file
    held: Mapping[str, Any] = getattr(book, kind.replace("-", "_"), {}) if rest and book else {}
    found = held.get(rest.removesuffix(".yaml")) if isinstance(held, Mapping) else None
    name = getattr(found, "name", "")
    return f"{name} ({file})" if name else file


def _of(path: Path, name: str) -> str:
    """What a path leads to in a record, and the record: `the amount (large) of cream in foam of Some drink`."""
    what = _thing(path)
    return f"{what} of {name}" if what else name


def _thing(path: Path) -> str:
    """layers/foam/lines/cream/amount/large as `the amount (large) of cream in foam`."""
    steps = tuple(p for p in path if p not in (MAP, SET, ORDER))
    member = steps[-1] if SET in path[:-1] else None
    steps = steps[:-1] if member is not None else steps
    places: list[tuple[str, str]] = []
    while len(steps) > 1 and steps[0] in _NOUNS:
        places.append((steps[0], steps[1]))
        steps = steps[2:]
    field, where = _field(steps), _place(places)
    if member is not None:
        field = f"{member} in {field or 'the list'}"
    if not field and places and places[-1][0] == "lines":
        return f"the line {where}"
    joined = " as " if steps == ("use",) else " of "
    return joined.join(part for part in (field, where) if part)


def _field(steps: tuple[str, ...]) -> str:
    if not steps:
        return ""
    if steps in _FIELDS:
        return _FIELDS[steps]
    first, more = steps[0].replace("_", " "), [s.replace("_", " ") for s in steps[1:]]
    if first == "composition" and more:
        return f"the {more[0]} in the composition"
    return f"the {first}" + (f" ({', '.join(more)})" if more else "")


def _place(places: list[tuple[str, str]]) -> str:
    """Where in the record, from the inside out."""
    words = ""
    for kind, key in places:
        if kind == "lines":
            words = f"{key} in {words.removeprefix('the layer ')}" if words else key
        else:
            words = f"the {_NOUNS[kind]} {key}" + (f" of {words}" if words else "")
    return words


def _said(member: Value | None) -> str:
    return "does not say so" if member is None else "says so"


def _value(value: Value | None) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return " > ".join(value) or "none of its parts"
    if isinstance(value, str):
        seconds = re.fullmatch(r"([0-9]+) s", value)
        if seconds is not None:
            return _time(int(seconds[1]))
        return f"“{value}”" if " " in value and not value[:1].isdigit() or not value else value
    return f"{value.normalize():f}" if isinstance(value, Decimal) else str(value)


def _time(seconds: int) -> str:
    """Facts hold times in seconds; people say hours."""
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size and seconds % size == 0:
            return f"{seconds // size} {unit}"
    return f"{seconds} s"
