"""What if, at the bench: a drink with other amounts, less ice, another temperature.

Promises: nothing is written, the book and its files stay as they are. The
grammar is strict: a line, an equals sign, grams or pieces; what it does not
read it refuses with the lines there are.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from decimal import Decimal
from typing import Any

from specctl.analysis.build import BuiltLine, build_lines, stocked
from specctl.analysis.cup_state import CupState
from specctl.analysis.filling import fill_lines, heights_of
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import Larder
from specctl.domain.amount import Absent, Amount, Each, Grams, centigrams
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import Site
from specctl.domain.recipe import Drink
from specctl.errors import Refused, Usage

_CHANGE = re.compile(
    r"(?P<line>[a-z0-9]+(?:-[a-z0-9]+)*(?:/[a-z0-9]+(?:-[a-z0-9]+)*)?)="
    r"(?:(?P<number>[0-9]{1,5}(?:\.[0-9]{1,3})?) ?(?P<unit>g|each)|(?P<none>none))",
    re.ASCII,
)
_CELSIUS = re.compile(r"(?P<number>-?[0-9]{1,3}(?:\.[0-9]{1,2})?) ?(?:°C|C)")
_SHARE = re.compile(r"[0-9](?:\.[0-9]{1,3})?", re.ASCII)
_MOST_ICE = Decimal(3)


@dataclass(frozen=True, slots=True)
class WhatIf:
    """Changed amounts by line or `layer/line`; a factor on every ice line; the °C of
    everything poured that is not handled; each None or empty: as the spec says."""

    amounts: Mapping[str, Amount]
    ice: Decimal | None = None
    celsius: Decimal | None = None

    @property
    def is_plain(self) -> bool:
        return not self.amounts and self.ice is None and self.celsius is None


AS_SPECIFIED = WhatIf({})


@dataclass(frozen=True, slots=True)
class BenchCup:
    """One size: its vessel, the cup as the spec says, and as asked (None: nothing was asked)."""

    size: str
    vessel: Vessel
    spec: CupState
    asked: CupState | None

    def as_json(self) -> dict[str, Any]:
        """Estimates to four places; g, ml, mm, °C, g/ml."""
        return {
            "size": self.size,
            "vessel": self.vessel.id,
            "spec": _rounded(asdict(self.spec)),
            "asked": _rounded(asdict(self.asked)) if self.asked is not None else None,
        }


def read_what_if(changes: Sequence[str], ice: str | None, at: str | None) -> WhatIf:
    """Reads `foam=28g`, `0.6` and `4C`; raises Usage for anything else."""
    amounts: dict[str, Amount] = {}
    for text in changes:
        match = _CHANGE.fullmatch(text)
        if match is None:
            raise Usage(
                f"cannot read --with {text!r}",
                "Write a line and its grams, as in foam=28g; pieces as slice=2each; or slice=none. A volume has no mass without its density: write grams.",
            )
        line = match["line"]
        if line in amounts:
            raise Usage(f"--with names {line} twice", "Say each line once.")
        if match["none"]:
            amounts[line] = Absent()
        else:
            number = Decimal(match["number"])
            if number <= 0:
                raise Usage(f"--with {text!r} is nothing", f"Write {line}=none to leave it out.")
            amounts[line] = Grams(number) if match["unit"] == "g" else Each(number)
    return WhatIf(amounts, None if ice is None else _share(ice), None if at is None else _celsius(at))


def bench(book: Book, drink: Drink, site: Site, asked: WhatIf) -> tuple[BenchCup, ...]:
    """Every size of a drink that has a vessel, at a site, as the spec says and as asked.

    Raises Usage for a line the drink does not have or has twice.
    """
    chosen = {path: amount for name, amount in asked.amounts.items() for path in _paths(drink, name)}
    larder = Larder(book, site.ice)
    warm = None if asked.celsius is None else float(asked.celsius)
    found = []
    for size in drink.sizes.values():
        vessel = book.vessels.get(size.vessel)
        if vessel is None:
            continue
        lines = stocked(build_lines(book, drink, size.key), drink.substitutes.values(), site.stocks, site.market)
        spec = _cup(larder, drink, vessel, lines, None)
        if spec is None:
            raise Refused(f"{vessel.name} has no capacity", "Run specctl check.")
        changed = None
        if not asked.is_plain:
            changed = _cup(larder, drink, vessel, dict(_changed(book, lines, chosen, asked.ice)), warm)
        found.append(BenchCup(size.key, vessel, spec, changed))
    return tuple(found)


def _cup(
    larder: Larder, drink: Drink, vessel: Vessel, lines: Mapping[str, BuiltLine], warm: float | None
) -> CupState | None:
    filled = fill_lines(larder.book, lines, vessel)
    poured = {
        path: (each.line.use, None if each.grams is None else float(each.grams)) for path, each in filled.items()
    }
    return build_cup(larder, drink, vessel, portions_of(drink, poured, heights_of(filled)), warm)


def _changed(
    book: Book, lines: Mapping[str, BuiltLine], chosen: Mapping[str, Amount], ice: Decimal | None
) -> Iterator[tuple[str, BuiltLine]]:
    for path, line in lines.items():
        amount = chosen.get(path, line.amount)
        item = book.item(line.use)
        if ice is not None and path not in chosen and isinstance(item, Ingredient) and item.state == "ice":
            amount = Grams(centigrams(amount.value * ice)) if isinstance(amount, Grams) else amount
            if ice == 0:
                amount = Absent()
        if not isinstance(amount, Absent):
            yield path, replace(line, amount=amount)


def _paths(drink: Drink, name: str) -> tuple[str, ...]:
    """The one path a name stands for: `layer/line`, a line's key, or an only line's layer."""
    every = {f"{layer.key}/{key}": key for layer in drink.layers.values() for key in layer.lines}
    if name in every:
        return (name,)
    found = [path for path, key in every.items() if key == name]
    if not found and name in drink.layers and len(drink.layers[name].lines) == 1:
        found = [path for path in every if path.startswith(f"{name}/")]
    if len(found) == 1:
        return (found[0],)
    what = f"has more than one line {name}" if found else f"has no line {name}"
    raise Usage(f"{drink.id} {what}", "Write one of: " + ", ".join(found or every))


def _share(text: str) -> Decimal:
    if _SHARE.fullmatch(text) is None or Decimal(text) > _MOST_ICE:
        raise Usage(f"cannot read --ice {text!r}", "Write how much of the spec's ice, from 0 to 3: 0.6 is six tenths.")
    return Decimal(text)


def _celsius(text: str) -> Decimal:
    match = _CELSIUS.fullmatch(text)
    if match is None:
        raise Usage(f"cannot read --at {text!r}", "Write degrees Celsius, as in 4C or 65 °C.")
    number = Decimal(match["number"])
    if number < 0:
        raise Usage(f"{text} is below freezing: nothing here can say how it pours", "Write 0C or above; ice has --ice.")
    if number >= 100:
        raise Usage(f"{text} boils", "Write what it is poured at, below 100C.")
    return number


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 4)
    if isinstance(value, dict):
        return {key: _rounded(each) for key, each in value.items()}
    return [_rounded(each) for each in value] if isinstance(value, (list, tuple)) else value
