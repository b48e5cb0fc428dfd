"""The units a book may name, and the exact factor between two of them.

Promises: a closed list of units with exact decimal sizes; a bare name with
more than one meaning resolves only through a named spoon system. Leaves the
reading of people's text to `amounts`. pint, on our own definition file, is the
authority for every size; the table below is what it answers (a test compares
the two), so reading a book does not need pint.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Context, Decimal
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

MASS = "mass"
VOLUME = "volume"
DENSITY = "density"
TIME = "time"
LENGTH = "length"
TEMPERATURE = "temperature"

BASE: Mapping[str, str] = MappingProxyType(
    {MASS: "g", VOLUME: "ml", DENSITY: "g/ml", TIME: "s", LENGTH: "mm", TEMPERATURE: "°C"}
)

_EXACT = Context(prec=60)
_GIVEN = Context(prec=28)


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit's name as a book writes it, its dimension and its size in the base unit."""

    name: str
    dimension: str
    size: Decimal


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """A name with more than one meaning, or none: what it could be, what to write."""

    name: str
    candidates: tuple[str, ...]
    advice: str


_SIZES: dict[str, dict[str, str]] = {
    MASS: {
        "mg": "0.001",
        "g": "1",
        "kg": "1000",
        "oz": "28.349523125",
        "oz-av": "28.349523125",
        "lb": "453.59237",
        "oz-us-label": "28",
    },
    VOLUME: {
        "ml": "1",
        "cl": "10",
        "dl": "100",
        "l": "1000",
        "m3": "1000000",
        "tsp-metric": "5",
        "tbsp-metric": "15",
        "tbsp-au": "20",
        "cup-metric": "250",
        "tsp-us": "4.92892159375",
        "tbsp-us": "14.78676478125",
        "fl-oz-us": "29.5735295625",
        "cup-us": "236.5882365",
        "pint-us": "473.176473",
        "quart-us": "946.352946",
        "tsp-us-label": "5",
        "tbsp-us-label": "15",
        "fl-oz-us-label": "30",
        "cup-us-label": "240",
        "fl-oz-imp": "28.4130625",
        "pint-imp": "568.26125",
        "measure-uk-25": "25",
        "measure-uk-35": "35",
    },
    DENSITY: {"g/ml": "1", "kg/l": "1", "g/cm3": "1", "kg/m3": "0.001", "g/l": "0.001"},
    TIME: {"s": "1", "min": "60", "h": "3600", "d": "86400"},
    LENGTH: {"mm": "1", "cm": "10", "in": "25.4"},
    TEMPERATURE: {"°C": "1"},
}

UNITS: Mapping[str, Unit] = MappingProxyType(
    {
        name: Unit(name, dimension, Decimal(size))
        for dimension, sizes in _SIZES.items()
        for name, size in sizes.items()
    }
)

SPOONS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "metric": MappingProxyType(
            {"tsp": "tsp-metric", "tbsp": "tbsp-metric", "cup": "cup-metric"}
        ),
        "us-customary": MappingProxyType(
            {"tsp": "tsp-us", "tbsp": "tbsp-us", "cup": "cup-us", "fl oz": "fl-oz-us"}
        ),
        "us-label": MappingProxyType(
            {
                "tsp": "tsp-us-label",
                "tbsp": "tbsp-us-label",
                "cup": "cup-us-label",
                "fl oz": "fl-oz-us-label",
            }
        ),
        "au": MappingProxyType({"tsp": "tsp-metric", "tbsp": "tbsp-au", "cup": "cup-metric"}),
    }
)
"""Bare spoon names by system. Metric and AU kitchens have no fluid ounce."""


def known(name: str) -> Unit | None:
    """The unit of that exact name, or None."""
    return UNITS.get(name)


def factor(unit: str, to: str) -> Decimal:
    """How many `to` make one `unit`: exact into a base unit, else to 28 digits.

    ValueError for an unknown name or two different dimensions.
    """
    one, other = UNITS.get(unit), UNITS.get(to)
    if one is None or other is None:
        raise ValueError(f"unknown unit: {unit if one is None else to}")
    if one.dimension != other.dimension:
        raise ValueError(f"{unit} is a {one.dimension}, {to} is a {other.dimension}")
    if other.size == 1:
        return one.size
    return _GIVEN.divide(one.size, other.size)


def disher(number: int) -> Decimal:
    """Level volume in ml of a numbered disher: N scoops to the US quart.

    Rounded half up to 0.001 ml. Kitchen charts round the same figure by up to
    6 per cent. ValueError outside 1 to 200.
    """
    if not 1 <= number <= 200:
        raise ValueError("a disher's number lies between 1 and 200")
    exact = _EXACT.divide(UNITS["quart-us"].size, Decimal(number))
    return exact.quantize(Decimal("0.001"), rounding=ROUND_HALF_UP)


def resolve_spoon(bare: str, system: str | None) -> str | None:
    """The exact unit a bare spoon name means in a system, or None."""
    if system is None:
        return None
    return SPOONS.get(system, {}).get(bare)


def _sized(*names: str) -> tuple[str, ...]:
    def one(name: str) -> str:
        unit = UNITS[name]
        return f"{name} ({unit.size.normalize():f} {BASE[unit.dimension]})"

    return tuple(one(name) for name in names)


_BY_SYSTEM = "Write the exact one, or name the spoon system of the book or market."
_WEIGH = "Sources conflict or there are none: weigh it and write grams or milligrams."

AMBIGUOUS: Mapping[str, Ambiguous] = MappingProxyType(
    {
        a.name: a
        for a in (
            Ambiguous("tsp", _sized("tsp-metric", "tsp-us", "tsp-us-label"), _BY_SYSTEM),
            Ambiguous(
                "tbsp", _sized("tbsp-metric", "tbsp-us", "tbsp-us-label", "tbsp-au"), _BY_SYSTEM
            ),
            Ambiguous("cup", _sized("cup-metric", "cup-us", "cup-us-label"), _BY_SYSTEM),
            Ambiguous("fl oz", _sized("fl-oz-us", "fl-oz-us-label", "fl-oz-imp"), _BY_SYSTEM),
            Ambiguous(
                "oz",
                _sized("oz-av", "oz-us-label", "fl-oz-us", "fl-oz-us-label", "fl-oz-imp"),
                "Write the exact one: a weight or a volume.",
            ),
            Ambiguous("pint", _sized("pint-us", "pint-imp"), "Write the exact one."),
            Ambiguous(
                "shot",
                _sized("measure-uk-25", "measure-uk-35"),
                "Write the exact one, or millilitres or grams.",
            ),
            Ambiguous(
                "jigger",
                ("an id of one of the book's tools",),
                "Define the jigger as a tool and write its id, or write millilitres.",
            ),
            Ambiguous("dash", ("between 0.3 ml and 1 ml, by source",), _WEIGH),
            Ambiguous("drop", ("between 0.03 ml and 0.1 ml, by source",), _WEIGH),
            Ambiguous("pinch", ("between 0.2 ml and 0.6 ml, by source",), _WEIGH),
            Ambiguous(
                "scoop",
                ("an id of one of the book's tools, such as scoop-amber",),
                "Define the scoop as a tool and write its id, or write grams.",
            ),
            Ambiguous(
                "pump",
                ("an id of one of the book's tools, such as pump-8",),
                "Define the pump as a tool and write its id, or write grams.",
            ),
        )
    }
)
"""Names that are refused when bare. The spread of dash, drop and pinch is from
memory and only ever shown, never computed with."""


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry(
        str(Path(__file__).with_name("units.txt")), non_int_type=Decimal, cache_folder=None
    )


_PINT_WORDS = {
    "in": "inch",
    "g/ml": "g / ml",
    "kg/l": "kg / l",
    "kg/m3": "kg / m3",
    "g/l": "g / l",
    "g/cm3": "g / cm ** 3",
}


def pint_factor(unit: str, to: str) -> Decimal:
    """The factor as pint computes it, for units of our own table only.

    This is what the table is made from; it costs the import of pint.
    """
    if unit not in UNITS or to not in UNITS:
        raise ValueError("only units of the table")
    if unit == to:
        return Decimal(1)
    registry = _registry()
    one, other = (
        registry.Unit(_PINT_WORDS.get(name, name.replace("-", "_"))) for name in (unit, to)
    )
    return Decimal(registry.Quantity(Decimal(1), one).to(other).magnitude)
