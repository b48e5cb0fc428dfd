"""Lines and steps, shared by preps and drinks, and the two themselves.

Every collection is a mapping from key to value in build order: identity is the
key, never the position.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Iterator, Mapping

from specctl.domain.amount import Absent, Amount, Tolerance
from specctl.domain.ingredient import Density
from specctl.domain.record import Record
from specctl.problem import NOWHERE, Place

ALL_SIZES = ""


@dataclass(frozen=True, slots=True)
class Line:
    """So much of one ingredient or prep.

    `amounts` is by size key; the key `ALL_SIZES` stands for every size.
    `written` keeps the form an amount was written in, by the same keys.
    """

    key: str
    use: str
    amounts: Mapping[str, Amount]
    tolerance: Tolerance | None = None
    written: Mapping[str, str] = field(default_factory=dict)
    note: str = ""
    place: Place = field(default=NOWHERE, compare=False)
    amount_places: Mapping[str, Place] = field(default_factory=dict, compare=False)
    at: Decimal | None = None
    """Its temperature in °C as it goes into the cup, where it is not as it is kept."""

    def amount(self, size: str) -> Amount | None:
        """The amount at a size; None when the spec says nothing for it."""
        if size in self.amounts:
            return self.amounts[size]
        return self.amounts.get(ALL_SIZES)

    def place_of(self, size: str) -> Place:
        return self.amount_places.get(size) or self.amount_places.get(ALL_SIZES) or self.place


@dataclass(frozen=True, slots=True)
class Step:
    key: str
    do: str
    layer: str | None = None
    equipment: tuple[str, ...] = ()
    caution: str = ""
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Handling:
    """What is done to a layer before it is poured, as far as it moves heat, water or air.

    `by` is steam, heat, shake, stir or blend; `to` the temperature reached in °C;
    `seconds` how long; `strained` leaves the ice behind; `overrun` the air taken
    up, as a share of the volume.
    """

    by: str
    to: Decimal | None = None
    seconds: int | None = None
    strained: bool = False
    overrun: Decimal | None = None
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Layer:
    """`mixes`: meant to mix with the layer below it, so nobody is warned when it does."""

    key: str
    name: str
    lines: Mapping[str, Line]
    place: Place = field(default=NOWHERE, compare=False)
    mixes: bool = False
    handling: Handling | None = None


@dataclass(frozen=True, slots=True)
class Size:
    key: str
    name: str
    vessel: str
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class LineChange:
    """What a choice does to one line: `out` drops it; `use` None keeps the item."""

    layer: str
    line: str
    out: bool = False
    use: str | None = None
    amounts: Mapping[str, Amount] = field(default_factory=dict)
    tolerance: Tolerance | None = None
    written: Mapping[str, str] = field(default_factory=dict)
    place: Place = field(default=NOWHERE, compare=False)
    amount_places: Mapping[str, Place] = field(default_factory=dict, compare=False)

    @property
    def path(self) -> str:
        return f"{self.layer}/{self.line}"


@dataclass(frozen=True, slots=True)
class Choice:
    key: str
    name: str
    changes: Mapping[str, LineChange]
    top_up: str | None = None
    note: str = ""
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Option:
    """Something customers may ask for; one of its choices, or the standard build."""

    key: str
    name: str
    choices: Mapping[str, Choice]
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Substitute:
    """A stand-in the book allows, at `ratio` grams for a gram; no markets: all.

    `brings`: the allergens it may bring that the original has not; None: not said.
    """

    key: str
    of: str
    by: str
    ratio: Decimal
    markets: frozenset[str] = frozenset()
    place: Place = field(default=NOWHERE, compare=False)
    brings: frozenset[str] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Prep(Record):
    """Made on site. `yields` in grams; `overrun`, `discard` and `film` are shares (1 = 100 %)."""

    lines: Mapping[str, Line]
    yields: Decimal
    keep: str
    steps: Mapping[str, Step] = field(default_factory=dict)
    overrun: Decimal | None = None
    density: Density | None = None
    served_at: Decimal | None = None
    hold: int | None = None
    discard: Decimal = Decimal(0)
    vessel: str | None = None
    colour: str = ""
    cautions: tuple[str, ...] = ()
    film: Decimal | None = None
    keep_at: Decimal | None = None
    stable: str = ""
    composition: Mapping[str, Decimal] = field(default_factory=dict)

    def all_lines(self) -> Iterator[Line]:
        yield from self.lines.values()


@dataclass(frozen=True, slots=True, kw_only=True)
class Drink(Record):
    """Something sold. Layers stand from the bottom of the cup up."""

    sizes: Mapping[str, Size]
    layers: Mapping[str, Layer]
    steps: Mapping[str, Step]
    served: str
    options: Mapping[str, Option] = field(default_factory=dict)
    substitutes: Mapping[str, Substitute] = field(default_factory=dict)
    markets: frozenset[str] = frozenset()
    claims: tuple[str, ...] = ()
    served_at: Decimal | None = None
    cautions: tuple[str, ...] = ()

    def all_lines(self) -> Iterator[Line]:
        for layer in self.layers.values():
            yield from layer.lines.values()

    def line(self, path: str) -> Line | None:
        """The line at `layer/line`, or None."""
        layer, _, key = path.partition("/")
        found = self.layers.get(layer)
        return found.lines.get(key) if found else None

    def sold_in(self, market: str) -> bool:
        return not self.markets or market in self.markets


def left_out(amount: Amount | None) -> bool:
    """Whether this amount leaves its line out of a size."""
    return amount is None or isinstance(amount, Absent)
