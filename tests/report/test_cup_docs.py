"""The table of model against measurement in the docs is what the code says today."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from decimal import Decimal as D
from pathlib import Path

from specctl.analysis.density import (
    COMPOSITION_BAND,
    composition_density,
    dairy_density,
    sucrose_density,
    water_density,
)
from specctl.analysis.heat import FUSION, WATER_HEAT, Body, balance

PAGE = Path(__file__).resolve().parents[2] / "DEVELOPERS.md"
FROM, TO = "<!-- model against measurement: written by `python tests/report/test_cup_docs.py --write` -->\n", "<!-- end -->\n"

# D. Goff, "Dairy Chemistry and Physics", University of Guelph: fat %, solids-not-fat %, °C to kg/l
GOFF = {
    "producer milk": (4.00, 8.95, {4.4: 1.035, 10: 1.033, 20: 1.030, 38.9: 1.023}),
    "skim milk": (0.02, 8.90, {4.4: 1.036, 10: 1.035, 20: 1.033, 38.9: 1.026}),
    "half and half": (12.25, 7.75, {4.4: 1.027, 10: 1.025, 20: 1.020, 38.9: 1.010}),
    "light cream": (20.00, 7.20, {4.4: 1.021, 10: 1.018, 20: 1.012, 38.9: 1.000}),
    "heavy cream": (36.60, 5.55, {4.4: 1.008, 10: 1.005, 20: 0.994, 38.9: 0.978}),
}
# CRC Handbook, concentrative properties, sucrose in water at 20 °C
SUCROSE = {10: 1.0381, 30: 1.1270, 50: 1.2295, 60: 1.2864, 70: 1.3472}
# IAPWS-95 at 101.325 kPa
WATER = {4: 0.9999749, 20: 0.9982072, 60: 0.9831958, 95: 0.9618879}
# USDA SR28 composition, against whole milk and heavy cream measured at 20 °C
MODEL = {
    "whole milk, by composition": ({"water": "88.13", "protein": "3.15", "fat": "3.25", "carbohydrate": "4.80"}, 1.029),
    "heavy cream, by composition": ({"water": "57.71", "protein": "2.05", "fat": "37.0", "carbohydrate": "2.79"}, 0.994),
}
# Grams of 0 °C ice that 100 g of water melt, with exact enthalpies (IAPWS-95)
MELTS = {(80, 5): 88.56, (25, 2): 28.21, (20, 0): 25.16}


def rows() -> Iterator[tuple[str, float, float, str]]:
    """What, measured, computed, unit."""
    for celsius, measured in WATER.items():
        yield f"water, {celsius} °C", measured, water_density(celsius) or 0, "g/ml"
    for name, (fat, solids, at) in GOFF.items():
        for celsius, measured in at.items():
            yield f"{name}, {celsius:g} °C, dairy formula", measured, dairy_density(fat, solids, celsius) or 0, "g/ml"
    for percent, measured in SUCROSE.items():
        yield f"sucrose {percent} %, 20 °C, sugar table", measured, sucrose_density(percent) or 0, "g/ml"
    for name, (given, measured) in MODEL.items():
        found = composition_density({key: D(value) for key, value in given.items()}, 20)
        yield f"{name}, 20 °C, ±{COMPOSITION_BAND:g}", measured, found.value if found else 0, "g/ml"
    for (start, end), measured in MELTS.items():
        gives = WATER_HEAT * (start - end)
        yield f"ice melted by 100 g water, {start} to {end} °C", measured, 100 * gives / (FUSION + WATER_HEAT * end), "g"


def _shown(value: float, unit: str) -> str:
    return f"{value:.4f} {unit}" if unit == "g/ml" else f"{value:.2f} {unit}"


def table() -> str:
    lines = ["| what | measured | computed | error |", "|---|---|---|---|"]
    for what, measured, computed, unit in rows():
        lines.append(f"| {what} | {_shown(measured, unit)} | {_shown(computed, unit)} | {(computed / measured - 1) * 100:+.2f} % |")
    return "\n".join(lines)


def test_the_table_is_what_the_code_says() -> None:
    inside = PAGE.read_text(encoding="utf-8").split(FROM)[1].split(TO)[0]
    assert inside.strip() == table().strip(), "run: python tests/report/test_cup_docs.py --write"


def test_every_row_is_as_near_as_the_page_promises() -> None:
    for what, measured, computed, _ in rows():
        if "by composition" in what:
            assert abs(computed - measured) <= COMPOSITION_BAND, what
        else:
            assert abs(computed / measured - 1) <= 0.005, what


def test_the_rows_of_ice_are_the_balance_itself() -> None:
    for (start, end), grams in MELTS.items():
        if end:
            assert abs(balance([Body(100, WATER_HEAT, start)], grams).celsius - end) < 0.5
        else:
            assert abs(balance([Body(100, WATER_HEAT, start)], 500).melted / grams - 1) < 0.005


if __name__ == "__main__" and "--write" in sys.argv:
    before, rest = PAGE.read_text(encoding="utf-8").split(FROM)
    PAGE.write_text(before + FROM + table() + "\n" + TO + rest.split(TO)[1], encoding="utf-8")
