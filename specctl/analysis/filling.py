"""The lines of one build with every rule turned into grams.

A line that tops up to a height is solved for its cup; a choice's own top-up
line takes the volume the choice leaves out, or gives way to what it adds. What
cannot be worked out stays without grams; nothing is guessed. Strained ice
displaces nothing, and its melt water, an estimate, is not counted: a rule is
met by eye, and `layering` works out what then goes in. Exact decimals: the
result lands in an entry.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.build import BuiltLine
from specctl.analysis.cup import Poured, Unknown, line_volume, top_to_grams, top_up_grams
from specctl.analysis.density import Item, liquid_density
from specctl.domain.amount import Each, Grams, TopTo, centigrams
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient


@dataclass(frozen=True, slots=True)
class Filled:
    """A line and the grams it comes to; `topped_up` if a choice's rule moved them."""

    line: BuiltLine
    grams: Decimal | None
    topped_up: bool = False


def fill_lines(
    book: Book,
    lines: Mapping[str, BuiltLine],
    vessel: Vessel | None,
    standard: Mapping[str, BuiltLine] | None = None,
    top_up: str | None = None,
) -> dict[str, Filled]:
    """Grams for every line of one size. `standard` and `top_up` belong to a choice."""
    rules: Mapping[str, Decimal | Unknown] = {}
    if vessel is not None and any(isinstance(line.amount, TopTo) for line in lines.values()):
        rules = top_to_grams(_poured(book, lines), vessel)
    filled = {path: Filled(line, _grams(book, line, rules.get(path))) for path, line in lines.items()}
    if top_up in filled and standard is not None and top_up is not None:
        filled[top_up] = _topped_up(book, filled, standard, top_up)
    return filled


def heights_of(filled: Mapping[str, Filled]) -> dict[str, float]:
    """Mm below the rim by path, for the lines that top up to a height."""
    return {path: float(each.line.amount.mm) for path, each in filled.items() if isinstance(each.line.amount, TopTo)}


def _poured(book: Book, lines: Mapping[str, BuiltLine]) -> list[Poured]:
    """What reaches the cup: strained ice does not. The water it leaves is an estimate and no part of a rule."""
    found = ((path, line, book.item(line.use)) for path, line in lines.items())
    return [(path, line.amount, item) for path, line, item in found if item and not _stays_behind(line, item)]


def _stays_behind(line: BuiltLine, item: Item) -> bool:
    return line.strained and isinstance(item, Ingredient) and item.state == "ice"


def _grams(book: Book, line: BuiltLine, rule: Decimal | Unknown | None) -> Decimal | None:
    match line.amount:
        case Grams(value):
            return value
        case Each(count):
            item = book.item(line.use)
            if isinstance(item, Ingredient) and item.each is not None:
                return centigrams(count * item.each)
        case TopTo():
            return rule if isinstance(rule, Decimal) else None
    return None


def _topped_up(
    book: Book, filled: Mapping[str, Filled], standard: Mapping[str, BuiltLine], top_up: str
) -> Filled:
    own = filled[top_up]
    item = book.item(own.line.use)
    density = liquid_density(item) if item else None
    before = _volume(book, standard)
    after = _volume(book, {path: f.line for path, f in filled.items()})
    if own.grams is None or density is None or before is None or after is None:
        return own
    room = before - after
    grams = own.grams + (top_up_grams(room, density.value) if room >= 0 else -top_up_grams(-room, density.value))
    return Filled(own.line, grams, True) if grams > 0 else own


def _volume(book: Book, lines: Mapping[str, BuiltLine]) -> Decimal | None:
    """The sum of all volumes in ml, or None where one is not known."""
    total = Decimal(0)
    for line in lines.values():
        item = book.item(line.use)
        if item and _stays_behind(line, item):
            continue
        volume = line_volume(line.amount, item) if item else None
        if not isinstance(volume, Decimal):
            return None
        total += volume
    return total
