"""Sizes of units against their legal sources and against pint's own registry."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal

import pytest

from specctl.codec import units

# name, size in the base unit, source
LEGAL = [
    # NIST SP 811 (2008), appendix B.8, exact by definition of the gallon (231 cubic inches)
    ("tsp-us", "4.92892159375", "NIST SP 811"),
    ("tbsp-us", "14.78676478125", "NIST SP 811"),
    ("fl-oz-us", "29.5735295625", "NIST SP 811"),
    ("cup-us", "236.5882365", "NIST SP 811"),
    ("oz-av", "28.349523125", "NIST SP 811"),
    ("lb", "453.59237", "NIST SP 811"),
    ("in", "25.4", "NIST SP 811"),
    # 21 CFR 101.9(b)(5)(viii): label sizes
    ("tsp-us-label", "5", "21 CFR 101.9"),
    ("tbsp-us-label", "15", "21 CFR 101.9"),
    ("fl-oz-us-label", "30", "21 CFR 101.9"),
    ("cup-us-label", "240", "21 CFR 101.9"),
    ("oz-us-label", "28", "21 CFR 101.9"),
    # Weights and Measures Act 1985, schedule 1
    ("fl-oz-imp", "28.4130625", "Weights and Measures Act 1985"),
    ("pint-imp", "568.26125", "Weights and Measures Act 1985"),
    # Weights and Measures (Intoxicating Liquor) Order 1988
    ("measure-uk-25", "25", "Intoxicating Liquor Order 1988"),
    ("measure-uk-35", "35", "Intoxicating Liquor Order 1988"),
    # common practice, no source
    ("tsp-metric", "5", "common practice, no source"),
    ("tbsp-metric", "15", "common practice, no source"),
    ("tbsp-au", "20", "common practice, no source"),
    ("cup-metric", "250", "common practice, no source"),
]


@pytest.mark.parametrize(("name", "size", "source"), LEGAL)
def test_size_is_exactly_the_published_one(name: str, size: str, source: str) -> None:
    unit = units.UNITS[name]
    assert units.factor(name, units.BASE[unit.dimension]) == Decimal(size), source


@pytest.mark.parametrize("name", [n for n, u in units.UNITS.items() if u.dimension != "temperature"])
def test_table_is_what_pint_computes_from_our_definitions(name: str) -> None:
    unit = units.UNITS[name]
    assert units.pint_factor(name, units.BASE[unit.dimension]) == unit.size


# Our name, and the name in the registry that pint ships.
PINTS_OWN = [
    ("tsp-us", "teaspoon", "ml"),
    ("tbsp-us", "tablespoon", "ml"),
    ("fl-oz-us", "fluid_ounce", "ml"),
    ("cup-us", "cup", "ml"),
    ("pint-us", "pint", "ml"),
    ("quart-us", "quart", "ml"),
    ("fl-oz-imp", "imperial_fluid_ounce", "ml"),
    ("pint-imp", "imperial_pint", "ml"),
    ("oz-av", "ounce", "g"),
    ("lb", "pound", "g"),
    ("in", "inch", "mm"),
    ("d", "day", "s"),
    ("m3", "meter ** 3", "ml"),
    ("cl", "centiliter", "ml"),
]


def test_sizes_agree_with_the_registry_pint_ships() -> None:
    import pint

    registry = pint.UnitRegistry()
    for ours, theirs, base in PINTS_OWN:
        size = registry.Quantity(1.0, theirs).to(base).magnitude
        assert float(units.UNITS[ours].size) == pytest.approx(size, rel=1e-12), ours


def test_factor_between_two_units() -> None:
    assert units.factor("kg", "g") == 1000
    assert units.factor("kg/m3", "g/ml") == Decimal("0.001")
    assert units.factor("tbsp-us", "tsp-us") == 3  # three teaspoons, NIST SP 811
    assert units.factor("pint-imp", "fl-oz-imp") == 20  # Weights and Measures Act 1985
    assert units.factor("cup-us", "fl-oz-us") == 8


@pytest.mark.parametrize(("one", "other"), [("g", "ml"), ("pinch", "ml"), ("ml", "ML"), ("", "g")])
def test_factor_refuses_other_dimensions_and_unknown_names(one: str, other: str) -> None:
    with pytest.raises(ValueError):
        units.factor(one, other)


# US quart 946.352946 ml (NIST SP 811) over the number of the disher.
@pytest.mark.parametrize(("number", "ml"), [(16, "59.147"), (60, "15.773"), (30, "31.545"), (8, "118.294")])
def test_disher_is_a_share_of_the_us_quart(number: int, ml: str) -> None:
    assert units.disher(number) == Decimal(ml)


@pytest.mark.parametrize("number", [0, -1, 201])
def test_disher_refuses_other_numbers(number: int) -> None:
    with pytest.raises(ValueError):
        units.disher(number)


def test_spoon_systems_resolve_only_when_named() -> None:
    assert units.resolve_spoon("tbsp", None) is None
    assert units.resolve_spoon("tbsp", "metric") == "tbsp-metric"
    assert units.resolve_spoon("tbsp", "au") == "tbsp-au"
    assert units.resolve_spoon("fl oz", "us-label") == "fl-oz-us-label"
    assert units.resolve_spoon("fl oz", "metric") is None
    for system in units.SPOONS.values():
        assert set(system.values()) <= set(units.UNITS)


def test_every_ambiguous_name_has_candidates_and_advice() -> None:
    bare = {"tsp", "tbsp", "cup", "fl oz", "pint", "oz", "shot", "dash", "drop", "pinch", "scoop", "pump"}
    assert bare <= set(units.AMBIGUOUS)
    for name, entry in units.AMBIGUOUS.items():
        assert entry.candidates and entry.advice, name


def test_reading_amounts_does_not_import_pint() -> None:
    code = (
        "import sys; from specctl.codec import amounts, units;"
        "amounts.parse_amount('1.5 tsp', spoons='us-label'); units.factor('lb', 'g');"
        "sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
