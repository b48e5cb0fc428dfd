"""The cup an entry describes: its grams, at the temperatures and with the ice the book states.

Promises: the amounts are the entry's own, so a picture shows what is approved;
everything else (densities, temperatures, shape) is the book's, and the result
an estimate beside the entry, never part of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from specctl.analysis.cup_state import CupState
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import Larder
from specctl.domain.book import Book
from specctl.domain.place import Site

Entry = Mapping[str, Any]


def cup_of_entry(
    book: Book, entry: Entry, size: str, choice: str = "", site: Site | None = None
) -> CupState | None:
    """One size of a drink's entry, standard ("") or with `option=choice`.

    None for a prep, for a drink or a vessel the book does not hold, and for a
    vessel without a capacity. `site`: its ice, where it states any.
    """
    drink = book.drinks.get(str(entry["item"]).removeprefix("drink/"))
    if drink is None or not str(entry["item"]).startswith("drink/"):
        return None
    row = next((each for each in entry["sizes"] if each["key"] == size), None)
    vessel = book.vessels.get(row["vessel"]["id"]) if row and row["vessel"] else None
    if row is None or vessel is None:
        return None
    poured = portions_of(drink, grams_in(entry, size, choice))
    return build_cup(Larder(book, site.ice if site is not None else None), drink, vessel, poured)


def grams_in(entry: Entry, size: str, choice: str = "") -> dict[str, tuple[str, float | None]]:
    """`layer/line` to (id of what it uses, grams), in build order."""
    found: dict[str, tuple[str, float | None]] = {}
    for row in entry["sizes"]:
        if row["key"] == size:
            for layer in row["layers"]:
                for line in layer["lines"]:
                    found[f"{layer['key']}/{line['key']}"] = _used(line)
    for option in entry["options"]:
        for each in option["choices"]:
            if f"{option['key']}={each['key']}" != choice:
                continue
            for row in each["sizes"]:
                for changed in row["lines"] if row["key"] == size else ():
                    if changed["line"] is None:
                        found.pop(changed["path"], None)
                    else:
                        found[changed["path"]] = _used(changed["line"])
    return found


def _used(line: Mapping[str, Any]) -> tuple[str, float | None]:
    grams = line["grams"]
    return str(line["of"]).partition("/")[2], float(Decimal(grams)) if grams else None
