"""Steam and retained water, against exact enthalpies and weighed batches."""

from __future__ import annotations

import CoolProp.CoolProp as coolprop
import pytest
from make import book, ingredient, line, prep

from specctl.analysis.retention import brew_yield, default_retention, measured_retention
from specctl.analysis.steam import BOILING_WATER, DRY_STEAM, steam_uptake


def test_steam_figures_are_those_of_the_reference_library() -> None:
    zero = coolprop.PropsSI("H", "T", 273.16, "P", 101325, "Water")
    for quality, ours in ((1, DRY_STEAM), (0, BOILING_WATER)):
        exact = (coolprop.PropsSI("H", "T", 373.124, "Q", quality, "Water") - zero) / 1000
        assert ours == pytest.approx(exact, rel=1e-4)


def test_milk_from_5_to_65_takes_up_a_tenth() -> None:
    # by hand: 100 g × 3.85 J/(g K) (Geankoplis, whole milk) × 60 K over (2675.4 - 4.19 × 65) J/g = 9.61 g
    assert steam_uptake(100, 3.85, 5, 65, dryness=1.0) == pytest.approx(9.61, rel=0.005)


def test_wet_steam_leaves_more_water() -> None:
    dry = steam_uptake(200, 3.85, 5, 65, dryness=1.0)
    wet = steam_uptake(200, 3.85, 5, 65, dryness=0.85)
    assert dry is not None and wet is not None and wet > dry
    # the milk's heat equals what the steam gives up: energy in is energy out
    gives = BOILING_WATER + 0.85 * (DRY_STEAM - BOILING_WATER) - 4.19 * 65
    assert wet * gives == pytest.approx(200 * 3.85 * 60, rel=1e-9)


def test_steam_at_100_degrees_boils_nothing_and_cools_nothing() -> None:
    assert steam_uptake(100, 3.9, 5, 100) is None and steam_uptake(100, 3.9, 5, 65, dryness=0) is None
    assert steam_uptake(100, 3.9, 65, 60) == 0


def test_a_weighed_batch_says_what_its_leaf_keeps() -> None:
    leaf, water = ingredient("leaf", state="leaf"), ingredient("water")
    brew = prep("brew", 915, line("leaf", "leaf", 30), line("water", "water", 1000))
    kept = measured_retention(book(leaf, water, brew), brew)
    assert kept is not None and kept.measured
    assert kept.ratio == pytest.approx(85 / 30)
    out, doubt = brew_yield(1000, 30, kept)
    assert out == pytest.approx(915) and doubt > 0


def test_nothing_is_kept_where_nothing_is_strained() -> None:
    syrup = prep("syrup", 1000, line("sugar", "sugar", 500), line("water", "water", 500))
    assert measured_retention(book(ingredient("sugar", state="powder"), ingredient("water"), syrup), syrup) is None


def test_defaults_follow_time_and_press_and_state_their_doubt() -> None:
    # common practice, no source: grounds keep about two grams of water for each of their own
    whole, short, pressed = (
        default_retention("grounds"), default_retention("grounds", 30), default_retention("grounds", None, True)
    )
    assert whole is not None and short is not None and pressed is not None
    assert whole.ratio == 2.0 and not whole.measured and whole.doubt > 0.2
    assert short.ratio < whole.ratio and pressed.ratio < whole.ratio
    assert default_retention("gravel") is None
    assert brew_yield(10, 90, whole)[0] == 0
