"""Densities and specific heats against handbooks and reference libraries."""

from __future__ import annotations

from decimal import Decimal as D

import CoolProp.CoolProp as coolprop
import pytest

from specctl.analysis.density import (
    component_density,
    component_heat,
    composition_density,
    composition_heat,
    dairy_density,
    liquid_density,
    mass_of,
    scoop_density,
    shares,
    solid_density,
    sucrose_density,
    sucrose_warning,
    water_density,
)
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.recipe import Prep

FOODS = {
    "water": "FoodWater",
    "ice": "FoodIce",
    "protein": "FoodProtein",
    "fat": "FoodFat",
    "carbohydrate": "FoodCarbohydrate",
    "fibre": "FoodFiber",
    "ash": "FoodAsh",
}
MPA = 1e6

# USDA National Nutrient Database SR28, grams per 100 g
WHOLE_MILK = {"water": D("88.13"), "protein": D("3.15"), "fat": D("3.25"), "carbohydrate": D("4.80")}
HEAVY_CREAM = {"water": D("57.71"), "protein": D("2.05"), "fat": D("37.0"), "carbohydrate": D("2.79")}
COCOA = {
    "water": D("3.0"), "protein": D("19.6"), "fat": D("13.7"),
    "carbohydrate": D("57.9"), "fibre": D("33.2"),
}


def thing(state: str = "liquid", **more: object) -> Ingredient:
    return Ingredient(id="thing", name="Thing", state=state, storage="ambient", **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("celsius", [0.0, 4.4, 20.0, 63.0, 95.0])
@pytest.mark.parametrize("component", sorted(FOODS))
def test_components_match_coolprop(component: str, celsius: float) -> None:
    # oracle: CoolProp, incompressible food components (Choi & Okos 1986, ASHRAE)
    if component == "ice":
        celsius = -celsius / 4
    fluid = f"INCOMP::{FOODS[component]}"
    density = coolprop.PropsSI("D", "T", celsius + 273.15, "P", MPA, fluid) / 1000
    heat = coolprop.PropsSI("C", "T", celsius + 273.15, "P", MPA, fluid) / 1000
    assert component_density(component, celsius) == pytest.approx(density, rel=1e-9)
    assert component_heat(component, celsius) == pytest.approx(heat, rel=1e-9)


def test_components_outside_their_range_are_unknown() -> None:
    # ASHRAE Handbook - Refrigeration: the table holds from -40 to 150 °C
    assert component_density("fat", -40.1) is None
    assert component_density("fat", 150.1) is None
    assert component_heat("water", -0.1) is None
    assert component_density("alcohol", 20) is None


@pytest.mark.parametrize(
    ("composition", "celsius", "model", "measured"),
    [
        # model: CoolProp components; measured: D. Goff, University of Guelph
        (WHOLE_MILK, 20, 1.023, 1.029),
        (HEAVY_CREAM, 20, 0.984, 0.994),
        (HEAVY_CREAM, 4.4, 0.987, 1.008),
    ],
)
def test_composition_density_and_its_known_bias(
    composition: dict[str, D], celsius: float, model: float, measured: float
) -> None:
    found = composition_density(composition, celsius)
    assert found is not None
    assert found.value == pytest.approx(model, abs=0.002)
    assert found.band == 0.02
    assert abs(found.value - measured) < found.band + 0.002


def test_specific_heat_of_whole_milk() -> None:
    # Geankoplis, Transport Processes and Separation Process Principles, App. A.4: 3.85
    assert composition_heat(WHOLE_MILK, 20) == pytest.approx(3.85, rel=0.02)


def test_fibre_inside_carbohydrate_is_not_counted_twice() -> None:
    # USDA SR28 gives carbohydrate by difference, fibre within it; EU labels give them apart
    parts = shares(COCOA)
    assert parts is not None
    assert float(parts["carbohydrate"]) == pytest.approx(0.247, abs=0.001)
    assert float(parts["fibre"]) == pytest.approx(0.332, abs=0.001)
    apart = shares({**COCOA, "carbohydrate": D("24.7")})
    assert apart == parts


def test_sugars_past_carbohydrate_do_not_matter() -> None:
    # USDA SR28, whole milk: sugars 5.05, carbohydrate 4.80 by difference
    assert shares({**WHOLE_MILK, "sugars": D("5.05")}) == shares(WHOLE_MILK)


@pytest.mark.parametrize(
    "composition",
    [
        {},
        {"water": D(40), "fat": D(10)},
        {"water": D(90), "carbohydrate": D(40)},
        {"water": D(90), "alcohol": D(8), "carbohydrate": D(2)},
    ],
)
def test_a_composition_that_does_not_add_up_is_unknown(composition: dict[str, D]) -> None:
    assert composition_density(composition, 20) is None
    assert composition_heat(composition, 20) is None


GOFF = [
    # D. Goff, "Dairy Chemistry and Physics", University of Guelph: fat, solids-not-fat,
    # then kg/l at 4.4, 10, 20 and 38.9 °C
    (4.00, 8.95, (1.035, 1.033, 1.030, 1.023)),
    (0.02, 8.90, (1.036, 1.035, 1.033, 1.026)),
    (12.25, 7.75, (1.027, 1.025, 1.020, 1.010)),
    (20.00, 7.20, (1.021, 1.018, 1.012, 1.000)),
    (36.60, 5.55, (1.008, 1.005, 0.994, 0.978)),
]


@pytest.mark.parametrize(("fat", "solids", "row"), GOFF)
def test_dairy_meets_the_measured_table(fat: float, solids: float, row: tuple[float, ...]) -> None:
    for celsius, measured in zip((4.4, 10, 20, 38.9), row):
        assert dairy_density(fat, solids, celsius) == pytest.approx(measured, rel=0.002)


def test_cream_sinks_cold_and_floats_warm() -> None:
    # the same table: 36.6 % fat against water at 4.4 and 20 °C
    cold, warm = dairy_density(36.6, 5.55, 4.4), dairy_density(36.6, 5.55, 20)
    water_cold, water_warm = water_density(4.4), water_density(20)
    assert cold and warm and water_cold and water_warm
    assert cold > water_cold
    assert warm < water_warm


def test_dairy_is_unknown_where_nothing_was_measured() -> None:
    assert dairy_density(4, 8.95, 60) is None
    assert dairy_density(80, 8.95, 20) is None
    assert dairy_density(4, 20, 20) is None


@pytest.mark.parametrize("celsius", [1, 5, 15, 25, 35, 50, 70, 90, 99])
def test_water_between_the_rows(celsius: float) -> None:
    # oracle: CoolProp, IAPWS-95
    truth = coolprop.PropsSI("D", "T", celsius + 273.15, "P", 101325, "Water") / 1000
    assert water_density(celsius) == pytest.approx(truth, abs=1.1e-5)


@pytest.mark.parametrize(
    ("celsius", "density"),
    # kg/m³ at 101.325 kPa, IAPWS-95, three libraries agreeing to 4 decimals
    [(4, 999.9749), (10, 999.7025), (20, 998.2072), (40, 992.2164), (60, 983.1958), (80, 971.7904), (95, 961.8879)],
)
def test_water_rows_to_a_hundredth(celsius: float, density: float) -> None:
    found = water_density(celsius)
    assert found is not None and found * 1000 == pytest.approx(density, abs=0.01)


@pytest.mark.parametrize(
    ("percent", "density"),
    # CRC Handbook of Chemistry and Physics, sucrose at 20 °C
    [(0, 0.9982), (10, 1.0381), (30, 1.1270), (50, 1.2295), (60, 1.2864), (70, 1.3472)],
)
def test_sucrose_rows(percent: float, density: float) -> None:
    assert sucrose_density(percent) == pytest.approx(density, abs=1e-9)


def test_sucrose_between_the_rows_is_smooth() -> None:
    # density grows ever faster with sugar (the rows themselves: slopes 3.99e-3, 4.45e-3,
    # 5.13e-3, 5.69e-3, 6.08e-3 a per cent); a wild polynomial would break that
    values = [sucrose_density(percent) or 0.0 for percent in range(0, 71)]
    slopes = [after - before for before, after in zip(values, values[1:])]
    assert slopes == sorted(slopes)
    assert sucrose_density(70.5) is None


def test_a_syrup_past_saturation_warns() -> None:
    # saturation of sucrose: 64.2 % at 0 °C, 67.1 % at 20 °C
    assert sucrose_warning(64.2, 0) is None
    assert "crystallise" in (sucrose_warning(64.3, 0) or "")
    assert sucrose_warning(67.1, 20) is None
    assert sucrose_warning(67.2, 20) is not None
    assert sucrose_warning(66.5, 4) is not None


def test_ninety_ml_of_whole_milk() -> None:
    # common practice, no source: bars weigh 90 ml of milk as "90 g", about 3 % low.
    # density: USDA SR28, 244 g to the US cup of 236.588 ml (1.031), and Goff at 4.4 °C
    milk = thing(density=Density(D("1.031"), "USDA SR28: 244 g to 236.588 ml", D(4)))
    grams = mass_of(D(90), milk, bulk=False)
    assert grams == D("92.790")
    assert D("0.025") < (grams - 90) / 90 < D("0.035")
    goff = dairy_density(4.0, 8.95, 4.4)
    assert goff is not None and 92 < 90 * goff < 94


@pytest.mark.parametrize(
    ("bulk", "ml", "grams"),
    [
        # USDA SR28 portion weights over the US cup of 236.5882365 ml (NIST SP 811)
        ("0.845", "236.5882365", 200),  # granulated sugar
        ("0.541", "236.5882365", 128),  # corn starch, whole milk powder
        ("0.364", "236.5882365", 86),  # cocoa
        ("0.287", "236.5882365", 68),  # instant skim milk powder
    ],
)
def test_a_cup_of_powder(bulk: str, ml: str, grams: int) -> None:
    powder = thing("powder", bulk_density=Density(D(bulk), "USDA SR28"))
    found = mass_of(D(ml), powder, bulk=True)
    assert found is not None and abs(found - grams) < D("0.5")


def test_masses_are_exact_products() -> None:
    milk = thing(density=Density(D("1.030000001"), "stated"))
    assert mass_of(D("4.92892159375"), milk, bulk=False) == D("4.92892159375") * D("1.030000001")
    assert mass_of(D(90), thing(), bulk=False) is None
    assert mass_of(D(90), thing("powder"), bulk=True) is None


def test_grain_density_never_fills_a_scoop() -> None:
    sugar = thing("powder", density=Density(D("1.59"), "crystal"))
    assert scoop_density(sugar) is None
    loose = thing("powder", density=Density(D("1.59"), "crystal"), bulk_density=Density(D("0.845"), "loose"))
    assert scoop_density(loose) == Density(D("0.845"), "loose")
    assert mass_of(D(15), loose, bulk=True) == D("12.675")


def test_a_foam_is_lighter_by_its_overrun() -> None:
    # D. Goff, University of Guelph: mix 1090 g/l, 94.6 % overrun, 560 g/l
    foam = Prep(
        id="foam", name="Foam", lines={}, yields=D(100), keep="at-once",
        overrun=D("0.946"), density=Density(D("1.090"), "weighed"),
    )
    found = liquid_density(foam)
    assert found is not None and found.value == D("0.5601")
    flat = Prep(id="flat", name="Flat", lines={}, yields=D(100), keep="chilled", density=foam.density)
    assert liquid_density(flat) == foam.density


def test_grains_of_a_powder_from_its_composition() -> None:
    # oracle: CoolProp, FoodCarbohydrate at 20 °C
    pure = thing("powder", composition={"carbohydrate": D(100)})
    truth = coolprop.PropsSI("D", "T", 293.15, "P", MPA, "INCOMP::FoodCarbohydrate") / 1000
    found = solid_density(pure)
    assert found is not None and float(found) == pytest.approx(truth, abs=6e-5)
    assert solid_density(thing("powder")) is None
