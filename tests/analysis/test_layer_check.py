"""What `check` finds in the cup: each fault alone, its code, its place, its severity."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from make import book, change, choice, drink, ingredient, layer, line, option, prep, site, vessel

from specctl.analysis.cupcheck import check_cups
from specctl.codec.load import load
from specctl.domain.ingredient import Density
from specctl.domain.place import SiteIce
from specctl.domain.recipe import Handling
from specctl.problem import Problem
from specctl.resources import demo_book

TEA = replace(ingredient("tea", storage="chilled", composition={"water": D(100)}), density=Density(D("1.0"), "a test", D(5)))
SYRUP = replace(TEA, id="syrup", name="Syrup", density=Density(D("1.23"), "a test", D(5)))
ICE = ingredient("ice", state="ice", storage="frozen")
CUP = vessel(brimful=400)


def found(made: Any, *more: Any) -> list[tuple[str, str]]:
    records = [each for each in (TEA, SYRUP, ICE, CUP) if each.id not in {one.id for one in more}]
    return [(p.code, p.severity) for p in problems(made, *records, *more)]


def problems(*records: Any) -> list[Problem]:
    return check_cups(book(*records))


def tea(grams: object, **more: Any) -> Any:
    return drink("made", layer("only", line("l", "tea", grams)), **more)


def test_a_cup_that_is_right_has_no_finding() -> None:
    assert found(tea(300)) == []


def test_what_stands_over_the_fill_line_is_a_warning_and_what_overflows_an_error() -> None:
    assert found(tea(385)) == [("cup-over-line", "warning")]
    assert found(tea(450)) == [("cup-overflow", "error")]


def test_a_drink_that_fits_one_cup_and_overflows_the_other_is_caught_at_that_size() -> None:
    made = drink("made", layer("only", line("l", "tea", {"regular": 300, "large": 450})), sizes=("regular", "large"))
    only = problems(TEA, CUP, made)
    assert [p.code for p in only] == ["cup-overflow"]
    assert "size large" in only[0].what and "450 ml" in only[0].what and only[0].place == made.sizes["large"].place


def test_an_option_that_overflows_is_caught_at_its_choice() -> None:
    more = option("extra", choice("shot", change("only/second", "tea", 150)))
    only = problems(TEA, CUP, tea(300, options=(more,)))
    assert [p.code for p in only] == ["cup-overflow"] and "Extra: Shot" in only[0].what
    assert only[0].place == more.choices["shot"].place


def test_a_standard_build_that_overflows_is_told_once_and_not_for_each_choice() -> None:
    more = option("extra", choice("shot", change("only/second", "tea", 10)))
    assert found(tea(450, options=(more,))) == [("cup-overflow", "error")]


def test_melt_water_is_counted() -> None:
    hot = replace(prep("hot", 1000, line("w", "tea", 1000), keep="hot"), served_at=D(80), density=Density(D("0.9718"), "a test", D(80)))
    made = drink("made", replace(layer("only", line("l", "hot", 230), line("i", "ice", 280)), handling=Handling("shake", strained=True)))
    only = problems(TEA, ICE, CUP, hot, made)
    assert [p.code for p in only] == ["cup-overflow"] and "melt water" in only[0].what


def test_a_layer_that_will_mix_is_a_warning_unless_it_is_meant_to() -> None:
    made = drink("made", layer("low", line("l", "tea", 100)), layer("high", line("l", "syrup", 50)))
    only = problems(TEA, SYRUP, CUP, made)
    assert [(p.code, p.severity) for p in only] == [("layer-mixes", "warning")]
    assert "-0.23" in only[0].what and "High > Low" in only[0].todo
    meant = replace(made, layers={**made.layers, "high": replace(made.layers["high"], mixes=True)})
    assert found(meant) == []


@pytest.mark.parametrize(
    ("made", "more", "code"),
    [
        (tea(100), (replace(CUP, brimful=D(0)),), "vessel-no-capacity"),
        (tea(100), (replace(CUP, height=D(0)),), "vessel-no-capacity"),
        (drink("made", layer("only", replace(line("l", "tea", 100), at=D(-5)))), (), "base-below-freezing"),
        (drink("made", layer("only", replace(line("l", "tea", 100), at=D(100)))), (), "base-boils"),
        (drink("made", layer("only", line("l", "tea", 100), replace(line("i", "ice", 50), at=D(2)))), (), "ice-above-freezing"),
        (drink("made", replace(layer("only", line("l", "tea", 100)), handling=Handling("heat", to=D(-1)))), (), "base-below-freezing"),
        (drink("made", replace(layer("only", line("l", "tea", 100)), handling=Handling("steam", to=D(120)))), (), "base-boils"),
        (tea(100), (replace(prep("p", 100, line("w", "tea", 100)), served_at=D(-5), density=Density(D(1), "a test")),), "base-below-freezing"),
        (tea(100), (prep("p", 100, line("w", "tea", 100), overrun=D(11)),), "overrun-range"),
        (tea(100), (replace(site("quay"), ice=SiteIce(D(1))),), "ice-above-freezing"),
    ],
)
def test_what_nobody_can_pour_is_an_error(made: Any, more: tuple[Any, ...], code: str) -> None:
    assert (code, "error") in found(made, *more)


def test_a_syrup_past_saturation_and_a_leaf_that_keeps_nothing_are_warnings() -> None:
    sugar = ingredient("sugar", state="powder", composition={"water": D(0), "carbohydrate": D(100), "sugars": D(100)})
    rich = prep("rich", 1000, line("s", "sugar", 690), line("w", "tea", 310))
    tea_with_sugars = replace(TEA, composition={"water": D(100), "sugars": D(0)})
    assert ("syrup-crystallises", "warning") in found(tea(100), sugar, tea_with_sugars, rich)
    leaf = ingredient("leaf", state="leaf")
    brew = prep("brew", 995, line("l", "leaf", 30), line("w", "tea", 1000))
    assert ("brew-keeps-water", "warning") in found(tea(100), leaf, brew)


def demo_files() -> dict[str, bytes]:
    root = demo_book()
    return {str(path.relative_to(root)): path.read_bytes() for path in sorted(root.rglob("*.yaml"))}


def test_the_demo_book_has_no_error_and_one_honest_warning() -> None:
    loaded = load(demo_files())
    assert loaded.book is not None
    # an almond drink is lighter than the matcha poured on it
    assert [(p.code, "Almond drink" in p.what) for p in check_cups(loaded.book)] == [("layer-mixes", True)]


@pytest.mark.parametrize(
    ("file", "old", "new", "code"),
    [
        ("vessels/cold-cup-390.yaml", "brimful: 390 ml", "brimful: 0 ml", "volume-form"),
        ("vessels/cold-cup-390.yaml", "fill_line: 8 mm", "fill_line: 8 mm\nlid: -3 mm", "length-form"),
        ("vessels/cold-cup-390.yaml", "fill_line: 8 mm", "fill_line: 8 mm\nshape:\n  - {height: 50 mm, holds: 200 ml}\n  - {height: 40 mm, holds: 390 ml}", "vessel-shape"),
        ("vessels/cold-cup-390.yaml", "fill_line: 8 mm", "fill_line: 8 mm\nshape:\n  - {height: 50 mm, holds: 200 ml}\n  - {height: 90 mm, holds: 390 ml}", "vessel-shape"),
        ("preps/salted-oat-foam.yaml", "overrun: 150 %", "overrun: 1001 %", "percent-range"),
        ("sites/harbour-row.yaml", "market: gb", "market: gb\nice: {packing: 0 %}", "ice-packing"),
        ("sites/harbour-row.yaml", "market: gb", "market: gb\nice: {temperature: cold}", "temperature-form"),
        ("drinks/matcha-cloud.yaml", "at: 75 °C", "at: warm", "temperature-form"),
    ],
)
def test_bad_fields_are_refused_with_their_line(file: str, old: str, new: str, code: str) -> None:
    files = demo_files()
    text = files[file].decode()
    assert old in text
    files[file] = text.replace(old, new, 1).encode()
    told = [p for p in load(files).problems if p.code == code]
    assert told and told[0].place.file == file and told[0].place.line > 1 and told[0].todo


def test_new_fields_read_as_written() -> None:
    files = demo_files()
    path = "sites/harbour-row.yaml"
    files[path] = files[path].replace(b"market: gb", "market: gb\nice: {temperature: -2 °C, packing: 50 %, piece: 22 g}".encode(), 1)
    cup = "vessels/cold-cup-390.yaml"
    files[cup] = files[cup].replace(b"fill_line: 8 mm", b"fill_line: 8 mm\nlid: 25 mm\nshape:\n  - {height: 50 mm, holds: 160 ml}\n  - {height: 100 mm, holds: 390 ml}", 1)
    loaded = load(files)
    assert loaded.book is not None and not [p for p in loaded.problems if p.is_error]
    ice = loaded.book.sites["harbour-row"].ice
    assert ice == SiteIce(D(-2), D("0.5"), D(22))
    read = loaded.book.vessels["cold-cup-390"]
    assert read.lid_room == 25 and read.shape == ((D(50), D(160)), (D(100), D(390)))
    handling = loaded.book.drinks["roasted-barley-latte"].layers["milk"].handling
    assert handling == Handling("steam", D(65)) and loaded.book.drinks["roasted-barley-latte"].layers["milk"].mixes
