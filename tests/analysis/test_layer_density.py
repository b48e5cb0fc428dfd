"""Which density is believed: measured first, then formula, table, parts, model; each with its doubt."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest
from make import book, facts, ingredient, line, prep

from specctl.analysis.density_choice import (
    DensityChoice,
    NoDensity,
    choose_density,
    heat_of,
    sugars_of,
    syrup_warning,
)
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.recipe import Prep

# USDA SR28, grams per 100 g
WHOLE = {"water": D("88.13"), "protein": D("3.15"), "fat": D("3.25"), "carbohydrate": D("4.80")}
WATER = {"water": D(100)}


def chosen(item: Ingredient | Prep, celsius: float, *others: Ingredient | Prep) -> DensityChoice:
    found = choose_density(book(item, *others), item, celsius)
    assert isinstance(found, DensityChoice), found
    return found


def test_a_measured_value_comes_first_and_says_where_it_was_measured() -> None:
    milk = ingredient("milk", facts(contains=("milk",)), composition=WHOLE)
    found = chosen(replace(milk, density=Density(D("1.033"), "a test", D("4.4"))), 4.4)
    assert found.value == pytest.approx(1.033) and found.band == 0.003 and "stated at 4.4" in found.why


@pytest.mark.parametrize(("celsius", "measured"), [(10, 1.033), (20, 1.030), (38.9, 1.023)])
def test_a_measured_value_moves_to_another_temperature_within_its_band(celsius: float, measured: float) -> None:
    # D. Goff, University of Guelph, producer milk of 4.00 % fat: 1.035 at 4.4 °C
    milk = ingredient("milk", facts(contains=("milk",)), composition=WHOLE)
    found = chosen(replace(milk, density=Density(D("1.035"), "a test", D("4.4"))), celsius)
    assert found.band > 0.003, "the further moved, the wider"
    assert found.value == pytest.approx(measured, abs=found.band)


GOFF = [
    (4.00, 8.95, {4.4: 1.035, 10: 1.033, 20: 1.030, 38.9: 1.023}),
    (0.02, 8.90, {4.4: 1.036, 10: 1.035, 20: 1.033, 38.9: 1.026}),
    (12.25, 7.75, {4.4: 1.027, 10: 1.025, 20: 1.020, 38.9: 1.010}),
    (20.00, 7.20, {4.4: 1.021, 10: 1.018, 20: 1.012, 38.9: 1.000}),
    (36.60, 5.55, {4.4: 1.008, 10: 1.005, 20: 0.994, 38.9: 0.978}),
]


@pytest.mark.parametrize(("fat", "solids", "rows"), GOFF)
def test_without_a_measured_value_the_dairy_formula_meets_the_table(
    fat: float, solids: float, rows: dict[float, float]
) -> None:
    # D. Goff, "Dairy Chemistry and Physics", University of Guelph
    dairy = ingredient(
        "dairy", facts(contains=("milk",)),
        composition={"water": D(str(100 - fat - solids)), "fat": D(str(fat)), "carbohydrate": D(str(solids))},
    )
    for celsius, measured in rows.items():
        found = chosen(dairy, celsius)
        assert "dairy" in found.why
        assert found.value == pytest.approx(measured, rel=0.005)


def test_cream_is_heavier_than_water_in_the_fridge_and_lighter_on_the_bench() -> None:
    cream = ingredient("cream", facts(contains=("milk",)), composition={"water": D("57.85"), "fat": D("36.6"), "carbohydrate": D("5.55")})
    water = ingredient("water", composition=WATER)
    assert chosen(cream, 4.4).value > chosen(water, 4.4).value
    assert chosen(cream, 20).value < chosen(water, 20).value


@pytest.mark.parametrize(("percent", "density"), [(10, 1.0381), (30, 1.1270), (50, 1.2295), (60, 1.2864), (70, 1.3472)])
def test_a_sugar_solution_is_read_from_the_table(percent: int, density: float) -> None:
    # CRC Handbook, concentrative properties of aqueous solutions, sucrose at 20 °C
    syrup = ingredient("syrup", composition={"water": D(100 - percent), "carbohydrate": D(percent), "sugars": D(percent)})
    found = chosen(syrup, 20)
    assert found.value == pytest.approx(density, abs=0.0005) and "sugar table" in found.why
    # saturation 67.1 % at 20 °C
    assert (found.warning is not None) == (percent > 67)


def test_past_the_table_the_model_answers_with_its_band() -> None:
    thick = ingredient("thick", composition={"water": D(25), "carbohydrate": D(75), "sugars": D(75)})
    assert chosen(thick, 20).band == 0.02


def test_a_composition_alone_has_two_hundredths_of_doubt_and_that_covers_its_known_bias() -> None:
    # the model gives whole milk 1.023 at 20 °C where 1.029 is measured
    found = chosen(ingredient("drink", composition=WHOLE), 20)
    assert found.band == 0.02 and abs(found.value - 1.029) < found.band and "model" in found.why


def test_a_prep_without_a_density_rests_on_its_parts() -> None:
    parts = ingredient("sugar", state="powder", composition={"water": D(0), "carbohydrate": D(100), "sugars": D(100)}), ingredient("water", composition=WATER)
    syrup = prep("syrup", 1000, line("sugar", "sugar", 500), line("water", "water", 500))
    found = chosen(syrup, 20, *parts)
    assert found.value == pytest.approx(1.2295, abs=0.0005)
    rich = prep("rich", 1000, line("sugar", "sugar", 690), line("water", "water", 310))
    assert "crystallise" in (syrup_warning(book(rich, *parts), rich, 5) or "")
    assert syrup_warning(book(syrup, *parts), syrup, 5) is None
    assert sugars_of(book(syrup, *parts), syrup) == pytest.approx(0.5)


def test_unknown_stays_unknown() -> None:
    blank = ingredient("blank")
    found = choose_density(book(blank), blank, 5)
    assert isinstance(found, NoDensity) and "Blank" in found.why
    assert sugars_of(book(blank), blank) is None


def test_a_foam_is_its_mix_over_one_and_a_tenth_in_doubt() -> None:
    # University of Guelph: 94.6 % overrun, mix 1.090, foam 0.560
    foam = prep("foam", 100, line("mix", "mix", 100), overrun=D("0.946"), density=Density(D("1.090"), "a test", D(5)))
    found = chosen(foam, 5, ingredient("mix"))
    assert found.value == pytest.approx(0.560, abs=0.0005)
    assert found.band == pytest.approx(0.056, abs=1e-4) and "drainage is not modelled" in found.why


def test_a_prep_inside_itself_is_unknown_and_ends() -> None:
    one, two = prep("one", 10, line("a", "two", 10)), prep("two", 10, line("a", "one", 10))
    assert isinstance(choose_density(book(one, two), one, 5), NoDensity)


def test_specific_heat_of_milk_is_near_the_measured() -> None:
    # Geankoplis, App. A.4: whole milk 3.85 kJ/(kg K)
    milk = ingredient("milk", composition=WHOLE)
    assert heat_of(book(milk), milk) == pytest.approx(3.85, rel=0.02)
    blank = ingredient("blank")
    assert heat_of(book(blank), blank) == 4.19
