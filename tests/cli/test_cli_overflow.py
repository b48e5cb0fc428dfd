"""A drink that fits in one of its cups and overflows in the other: in `check`, in the report and in the picture."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from counter_world import World

CLOUD = "drinks/matcha-cloud.yaml"
WATER = "water: {use: water, amount: {regular: 50 g, large: 60 g}"


def poured(world: World, grams: str) -> None:
    """So much water for the matcha of the regular cup; it holds 390 ml to the rim, the large one 515 ml."""
    world.edit(CLOUD, WATER, f"water: {{use: water, amount: {{regular: {grams} g, large: 60 g}}")


def test_within_its_doubt_it_is_a_warning_the_report_tells_and_draws(world: World, tmp_path: Path) -> None:
    poured(world, "153")
    checked = world.run("check")
    assert "cup-overflow" in checked.both and "size regular" in checked.both and "size large, comes" not in checked.both
    number = world.run("propose", "More water", "--why", "Lighter.", "--json").json["proposal"].split("-")[0]
    shown = world.run("report", number, COLUMNS="120").out
    assert re.search(r"Matcha cloud in four layers, Regular\W+fits → OVERFLOWS", shown) or "fits → OVERFLOWS" in shown
    assert "over the rim" in shown and re.search(r"Before: .* {2,}After: ", shown)
    page = tmp_path / "r.html"
    world.run("report", number, "--as", "html", "--out", page)
    text = page.read_text(encoding="utf-8")
    after = next(svg for svg in re.findall(r"<svg .*?</svg>", text, re.DOTALL) if "After: Matcha" in svg and "Regular" in svg)
    assert "OVERFLOWS: about" in after
    assert not [svg for svg in re.findall(r"<svg .*?</svg>", text, re.DOTALL) if "After: Matcha" in svg and "Large" in svg]


@pytest.mark.parametrize(("columns", "beside"), [("80", False), ("120", True)])
def test_past_its_doubt_it_is_an_error_and_the_report_draws_what_stops_it(world: World, columns: str, *, beside: bool) -> None:
    poured(world, "190")
    assert "error cup-overflow" in world.run("check", code=1, COLUMNS=columns).both
    refused = world.run("propose", "More water", "--why", "Lighter.", code=1)
    assert "has errors" in refused.err
    number = world.run("propose", "More water", "--why", "Lighter.", "--draft", "--json").json["proposal"].split("-")[0]
    told = world.run("report", number, code=1, COLUMNS=columns)
    assert told.out == "", "no report is made of what does not compile"
    assert "error cup-overflow" in told.err and "size regular" in told.err
    assert bool(re.search(r"Before: .* {2,}After: ", told.err)) is beside
    assert "over the rim" in told.err and "OVERFLOWS: about" in told.err and "Estimated" in told.err
    assert "Large" not in told.err, "the large cup stands as it did"
    assert all(len(line) <= int(columns) for line in told.err.splitlines() if "|" in line)
    plain = world.run("report", number, "--json", code=1)
    assert plain.out == "" and "over the rim" not in plain.err


def test_a_report_stopped_by_something_else_draws_nothing(world: World) -> None:
    world.edit(CLOUD, WATER, "water: {use: water, amount: {regular: 50 ml, large: 60 g}")
    name = world.run("propose", "Unweighed", "--why", "A try.", "--draft", "--json").json["proposal"]
    told = world.run("report", name.split("-")[0], code=1)
    assert "Before:" not in told.err and "error" in told.err
