"""A batch of a prep: its volume after overrun, and the height its foam gives in straight and tapered cups."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from decimal import Decimal as D
from typing import Any

import pytest
from make import book, drink, ingredient, layer, line, prep, vessel
from typer.testing import CliRunner

from specctl.analysis.batch_yield import BatchYield, batch_yield
from specctl.analysis.matter import Larder
from specctl.cli.main import app
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Density
from specctl.report.batch_words import batch_lines
from specctl.report.clean import columns
from specctl.resources import demo_book

TEA = replace(ingredient("tea", storage="chilled", composition={"water": D(100)}), density=Density(D("1.0"), "a test", D(5)))
STRAIGHT = replace(vessel(brimful=400), height=D(100), rim=None, base=None)  # 4 ml a mm


def foam(overrun: str | None, density: str | None = "1.090") -> Any:
    made = prep("foam", 1000, line("m", "tea", 1000), overrun=None if overrun is None else D(overrun))
    return replace(made, served_at=D(5), density=None if density is None else Density(D(density), "a test", D(5)))


def made(foamed: Any, into: Vessel = STRAIGHT, grams: object = 28) -> BatchYield:
    of = drink("made", layer("low", line("l", "tea", 200)), layer("top", line("f", "foam", grams)))
    here = book(TEA, foamed, into, of)
    return batch_yield(Larder(here), foamed, here.drinks.values())


def test_the_worked_overrun_of_the_textbook() -> None:
    # D. Goff, University of Guelph: mix of 1090 g/l, aerated to 560 g/l: an overrun of 94.6 %
    batch = made(foam("0.946"))
    assert batch.ml is not None and batch.flat_ml is not None
    assert 1000 / batch.ml == pytest.approx(0.560, abs=0.0005)
    assert batch.flat_ml == pytest.approx(1000 / 1.090, rel=1e-4), "the density of a foam is kept to 0.0001 g/ml"
    assert batch.ml / batch.flat_ml == pytest.approx(1.946)
    # V_foam is what the same mass of 560 g/l takes: 28 g are 50 ml, 12.5 mm at 4 ml a mm
    (portion,) = batch.portions
    assert portion.mm == pytest.approx(12.5, abs=0.02) and portion.portions == 35


def test_in_a_tapered_cup_by_geometry() -> None:
    cup = replace(vessel(brimful=400), height=D(100), rim=D(90), base=D(60))
    (portion,) = made(foam("0.946"), cup).portions

    def ml(height: float) -> float:
        # frustum, pi h (R² + R r + r²) / 3, brought to the stated capacity
        def raw(h: float) -> float:
            here = 30 + 15 * h / 100
            return math.pi * h * (here * here + 30 * here + 900) / 3

        return 400 * raw(height) / raw(100)

    assert portion.mm is not None
    low = next(step / 100 for step in range(10001) if ml(step / 100) >= 200)
    assert ml(low + portion.mm) == pytest.approx(250, abs=0.2)


def test_a_taller_foam_by_as_much_as_its_overrun() -> None:
    heights = [made(foam(share)).portions[0].mm for share in ("0.5", "1", "2")]
    assert None not in heights
    flat = heights[0] / 1.5  # type: ignore[operator]
    assert heights == [pytest.approx(flat * factor, rel=1e-3) for factor in (1.5, 2, 3)]


def test_what_holds_no_air_has_no_height_and_what_has_no_density_no_volume() -> None:
    flat = made(foam(None))
    assert flat.ml == flat.flat_ml and flat.portions[0].mm is None
    bare = prep("foam", 1000, line("m", "unknown-thing", 1000))
    none = batch_yield(Larder(book(TEA, bare, STRAIGHT)), bare, ())
    assert none.ml is None and none.why
    assert "not known" in " ".join(batch_lines(none, 80))


@pytest.mark.parametrize("width", [40, 80, 120])
def test_show_tells_the_batch_of_a_prep_within_the_width(width: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    done = CliRunner().invoke(app, ["show", "salted-oat-foam", "--book", str(demo_book())], standalone_mode=False)
    part = done.stdout[done.stdout.index("One batch, estimated") :]
    assert all(columns(each) <= width for each in part.splitlines())
    told = " ".join(part.split())
    # 272 g / 1.06 g/ml = 256.6 ml, times 2.5 for 150 %
    assert "272 g: 257 ml before air, about 642 ml ± 64 ml with an overrun of 150 %." in told
    assert "mm high" in told and "not modelled" in told


def test_show_gives_the_batch_as_json_and_none_for_a_drink() -> None:
    def batch(id: str) -> Any:
        return json.loads(CliRunner().invoke(app, ["show", id, "--json", "--book", str(demo_book())], standalone_mode=False).stdout)["batch"]

    told = batch("salted-oat-foam")
    assert (told["grams"], told["overrun"], told["ml"]) == ("272", "1.5", 641.5)
    assert {(each["drink"], each["size"]) for each in told["portions"]} >= {("blackcurrant-hojicha", "regular"), ("matcha-cloud", "large")}
    assert all(each["mm"] > 5 for each in told["portions"])
    assert batch("matcha-cloud") is None
