"""The cup an entry describes: its grams, at the temperatures and with the ice the book states.

Promises: the amounts are the entry's own, so a picture shows what is approved;
everything else (densities, temperatures, shape) is the book's, and the result
an estimate beside the entry, never part of it. An entry and a book that do not
belong together (another vessel, other layers) make no cup.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from specctl.analysis.cup_outline import colour_of
from specctl.analysis.cup_state import CupState
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import Larder
from specctl.analysis.vessel import Hollow, hollow_of
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.place import Site
from specctl.domain.recipe import Drink

Entry = Mapping[str, Any]
_RULE = re.compile(r"top to (?P<mm>[0-9]+(?:\.[0-9]+)?) mm below rim", re.ASCII)

HOT = 50.0
"""°C from which a cup is told to be hot: common practice, no source; skin can burn well below it in time."""


@dataclass(frozen=True, slots=True)
class CupMade:
    """A computed cup and what a drawing of it needs. `names` and `colours` go by layer key;
    `asked` says what is not standard in it; `lid` the mm a lid stands above the rim."""

    drink: str
    name: str
    size: str
    size_name: str
    asked: str
    hot: bool
    vessel: str
    lid: float | None
    hollow: Hollow
    names: Mapping[str, str]
    colours: Mapping[str, str]
    state: CupState


def made_of_entry(
    larder: Larder, entry: Entry, size: str, choice: str = "", names: Mapping[str, str] | None = None
) -> CupMade | None:
    """One size of an entry, standard ("") or with `option=choice`, with the larder's ice.

    `names` are those of choices; None: the entry's own. None where `cup_of_entry` is None.
    """
    found = _belonging(larder.book, entry, size)
    if found is None:
        return None
    drink, vessel, row = found
    state = build_cup(larder, drink, vessel, portions_of(drink, grams_in(entry, size, choice), heights_in(entry, size, choice)))
    if state is None:
        return None
    known = {each["choice"]: each["name"] for each in entry["allergens"]} if names is None else names
    made = made_of(larder.book, drink, size, vessel, state)
    if made is None:
        return None
    layers = {each["key"]: str(each["name"]) for each in row["layers"]}
    return CupMade(
        made.drink, str(entry["name"]), size, str(row["name"]), str(known.get(choice, choice)) if choice else "", made.hot,
        str(row["vessel"]["name"]), made.lid, made.hollow, {**made.names, **layers}, made.colours, state,
    )


def made_of(book: Book, drink: Drink, size: str, vessel: Vessel, state: CupState, asked: str = "") -> CupMade | None:
    """A computed cup with what its drawing needs; None for a vessel without a capacity."""
    hollow = hollow_of(vessel)
    if hollow is None:
        return None
    hottest = state.hottest
    return CupMade(
        drink=drink.id,
        name=drink.name,
        size=size,
        size_name=drink.sizes[size].name if size in drink.sizes else size,
        asked=asked,
        hot=drink.served == "hot" or (hottest is not None and hottest >= HOT),
        vessel=vessel.name,
        lid=None if vessel.lid_room is None else float(vessel.lid_room),
        hollow=hollow,
        names={key: layer.name for key, layer in drink.layers.items()},
        colours={layer.key: colour_of(book, layer) for layer in state.layers},
        state=state,
    )


def cup_of_entry(
    book: Book, entry: Entry, size: str, choice: str = "", site: Site | None = None
) -> CupState | None:
    """One size of a drink's entry, standard ("") or with `option=choice`.

    None for a prep, for a drink, a vessel or a layer the book does not hold or
    holds otherwise, and for a vessel without a capacity. `site`: its ice, where it states any.
    """
    found = _belonging(book, entry, size)
    if found is None:
        return None
    drink, vessel, _ = found
    larder = Larder(book, site.ice if site is not None else None)
    portions = portions_of(drink, grams_in(entry, size, choice), heights_in(entry, size, choice))
    return build_cup(larder, drink, vessel, portions)


def builds_of(entry: Entry) -> Iterator[tuple[str, str, str]]:
    """(size, choice, what it is called) for each size of the standard build, then of each choice that changes it."""
    for row in entry["sizes"]:
        yield row["key"], "", ""
    for option in entry["options"]:
        for each in option["choices"]:
            for row in each["sizes"]:
                if row["lines"]:
                    yield row["key"], f"{option['key']}={each['key']}", f"{option['name']}: {each['name']}"


def grams_in(entry: Entry, size: str, choice: str = "") -> dict[str, tuple[str, float | None]]:
    """`layer/line` to (id of what it uses, grams), in build order."""
    return {path: _used(line) for path, line in _lines(entry, size, choice).items()}


def heights_in(entry: Entry, size: str, choice: str = "") -> dict[str, float]:
    """`layer/line` to mm below the rim, for the lines that top up to a height."""
    rules = ((path, _RULE.fullmatch(line["rule"] or "")) for path, line in _lines(entry, size, choice).items())
    return {path: float(rule["mm"]) for path, rule in rules if rule}


def _lines(entry: Entry, size: str, choice: str) -> dict[str, Mapping[str, Any]]:
    found: dict[str, Mapping[str, Any]] = {}
    for row in entry["sizes"]:
        if row["key"] == size:
            for layer in row["layers"]:
                for line in layer["lines"]:
                    found[f"{layer['key']}/{line['key']}"] = line
    for option in entry["options"]:
        for each in option["choices"]:
            if f"{option['key']}={each['key']}" != choice:
                continue
            for row in each["sizes"]:
                for changed in row["lines"] if row["key"] == size else ():
                    if changed["line"] is None:
                        found.pop(changed["path"], None)
                    else:
                        found[changed["path"]] = changed["line"]
    return found


def _belonging(book: Book, entry: Entry, size: str) -> tuple[Drink, Vessel, Mapping[str, Any]] | None:
    """The drink, vessel and size an entry speaks of, if this book holds them as the entry does."""
    kind, _, id = str(entry["item"]).partition("/")
    drink = book.drinks.get(id) if kind == "drink" else None
    row = next((each for each in entry["sizes"] if each["key"] == size), None)
    if drink is None or row is None or not row["vessel"]:
        return None
    vessel = book.vessels.get(row["vessel"]["id"])
    if vessel is None or Decimal(row["vessel"]["brimful_ml"]) != vessel.brimful:
        return None
    if Decimal(row["vessel"]["fill_line_mm"]) != vessel.fill_line:
        return None
    layers = [each["key"] for each in row["layers"]]
    return (drink, vessel, row) if layers == [key for key in drink.layers if key in layers] else None


def _used(line: Mapping[str, Any]) -> tuple[str, float | None]:
    grams = line["grams"]
    return str(line["of"]).partition("/")[2], float(Decimal(grams)) if grams else None
