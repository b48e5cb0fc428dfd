"""Ice and warmth against exact enthalpies, and the laws every balance keeps."""

from __future__ import annotations

import chemicals
import CoolProp.CoolProp as coolprop
import pytest
from hypothesis import given
from hypothesis import strategies as st

from specctl.analysis.cup import ICE_DENSITY
from specctl.analysis.heat import FUSION, WATER_HEAT, Body, balance, enthalpy, ice_warming, reached

ATMOSPHERE = 101325


def water(celsius: float) -> float:
    """J/g above water at 0 °C: CoolProp (IAPWS-95)."""
    kelvin = max(celsius, 0.01) + 273.15
    zero = coolprop.PropsSI("H", "T", 273.16, "P", ATMOSPHERE, "Water")
    return float(coolprop.PropsSI("H", "T", kelvin, "P", ATMOSPHERE, "Water") - zero) / 1000


# Worked with exact enthalpies (IAPWS-95): grams of 0 °C ice that bring 100 g of water from start to end.
ROWS = [(80.0, 5.0, 88.56), (25.0, 2.0, 28.21), (20.0, 0.0, 25.16)]


@pytest.mark.parametrize(("start", "end", "melts"), ROWS)
def test_all_the_ice_melts_and_the_end_is_as_worked(start: float, end: float, melts: float) -> None:
    found = balance([Body(100, WATER_HEAT, start)], melts)
    taken = (water(start) - water(end)) / (FUSION + water(end)) * 100
    assert taken == pytest.approx(melts, abs=0.02), "the row itself, by the library"
    if end > 0:
        assert found.branch == "all-melted" and found.left == 0 and found.melted == melts
        # 0.5 % of what melted, as a temperature
        again = balance([Body(100, WATER_HEAT, start)], melts * 1.005).celsius
        less = balance([Body(100, WATER_HEAT, start)], melts * 0.995).celsius
        assert again <= end <= less
    else:
        assert found.melted == pytest.approx(melts, rel=0.005)


@pytest.mark.parametrize("start", [5.0, 20.0, 40.0, 60.0, 80.0, 95.0])
def test_some_ice_is_left_and_the_melt_is_exact_within_half_a_percent(start: float) -> None:
    found = balance([Body(100, WATER_HEAT, start)], 500)
    assert found.branch == "ice-left" and found.celsius == 0
    assert found.melted == pytest.approx(water(start) / FUSION * 100, rel=0.005)
    assert found.left == pytest.approx(500 - found.melted)


def test_the_constants_are_those_of_handbooks_and_libraries() -> None:
    # heat of fusion: chemicals (CRC Handbook, J/mol; 18.015 g/mol), within 0.1 % of 333.4 J/g
    assert FUSION == pytest.approx(chemicals.Hfus("7732-18-5") / 18.01528, rel=1e-3)
    # Geankoplis, App. A.4: water 4.185 J/(g K), within 0.5 %
    assert WATER_HEAT == pytest.approx(4.185, rel=0.005)
    # ice 916.7 kg/m³ at 0 °C; the food model (CoolProp) has 916.89
    assert float(ICE_DENSITY) == pytest.approx(0.9167, abs=5e-5)
    food = coolprop.PropsSI("D", "T", 273.15, "P", 1e6, "INCOMP::FoodIce") / 1000
    assert float(ICE_DENSITY) == pytest.approx(food, rel=5e-4)


def test_a_hot_base_nearly_doubles() -> None:
    # 100 g at 80 °C melts 88.56 g on its way to 5 °C and more on its way to 0 °C
    found = balance([Body(100, WATER_HEAT, 80)], 200)
    assert 88.56 < found.melted < 103 and found.branch == "ice-left"


def test_cold_ice_takes_heat_before_it_melts() -> None:
    cold = balance([Body(100, WATER_HEAT, 25)], 500, -18)
    assert cold.melted < balance([Body(100, WATER_HEAT, 25)], 500, 0).melted
    # Geankoplis, App. A.4: ice 1.958 kJ/(kg K), there at about -10 °C mean; the model is 2.01 there
    assert ice_warming(-18) == pytest.approx(18 * 1.958, rel=0.04)
    assert ice_warming(-18) == pytest.approx(
        sum(coolprop.PropsSI("C", "T", 273.15 - step / 100, "P", 1e6, "INCOMP::FoodIce") / 1e5 for step in range(1800)),
        rel=1e-3,
    )


def test_a_cold_base_on_deep_frozen_ice_freezes_a_little() -> None:
    found = balance([Body(50, WATER_HEAT, 1)], 200, -18)
    assert found.branch == "freezes" and found.melted < 0 and found.left > 200 and found.celsius == 0


def test_without_ice_bodies_mix() -> None:
    found = balance([Body(100, WATER_HEAT, 80), Body(100, WATER_HEAT, 20)], 0)
    assert found.celsius == pytest.approx(50) and found.branch == "no-ice" and found.melted == 0


def test_twelve_to_fifteen_seconds_of_shaking_come_near_balance() -> None:
    # bar-science writing, as quoted in the trade: 12-15 s near equilibrium
    assert reached("shake", 12) > 0.9 and reached("shake", 15) > 0.95
    assert reached("shake", 60) > 0.9999
    assert 0.05 < reached("stir", 3) < reached("stir", 60) < 1
    assert reached("shake", None) == reached("shake", 13.5) and reached(None, None) == 1
    short = balance([Body(100, WATER_HEAT, 20)], 150, 0, reached("shake", 3))
    assert short.branch == "short" and 0 < short.celsius < 20


bodies = st.lists(
    st.builds(Body, st.floats(1, 500), st.floats(1.5, 4.3), st.floats(0, 99)), min_size=1, max_size=4
)


@given(bodies, st.floats(0, 800), st.floats(-25, 0), st.floats(0, 1))
def test_mass_and_energy_in_are_mass_and_energy_out(
    given_bodies: list[Body], ice: float, cold: float, share: float
) -> None:
    found = balance(given_bodies, ice, cold, share)
    mass = sum(body.grams for body in given_bodies)
    if found.branch == "freezes" and -found.melted >= mass - 1e-9:
        return  # all of it is ice and colder than 0 °C: outside what is promised
    assert found.left + found.melted == pytest.approx(ice, abs=1e-6)
    capacity = sum(body.grams * body.heat for body in given_bodies)
    after = [Body(1, capacity, found.celsius), Body(max(found.melted, 0), WATER_HEAT, found.celsius)]
    # whatever freezes gives up its heat at 0 °C, where its capacity no longer counts
    left = found.left if found.branch != "no-ice" else 0
    assert enthalpy(after, left, 0) == pytest.approx(enthalpy(given_bodies, ice, cold), abs=1e-5 * (1 + mass * 400))


@given(bodies, st.floats(0, 400), st.floats(-20, 0))
def test_more_ice_never_ends_warmer(given_bodies: list[Body], ice: float, cold: float) -> None:
    assert balance(given_bodies, ice + 10, cold).celsius <= balance(given_bodies, ice, cold).celsius + 1e-9
