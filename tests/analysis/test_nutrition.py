"""Nutrition against the law's factors and rounding, and laws of sums.

Factors: Regulation (EU) No 1169/2011, Annex XIV, read in a quoted copy; the
worked sums below are arithmetic from them. Rounding: 21 CFR 101.9(c) and FDA
labelling guide, appendix H. Compositions: USDA SR28.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import make
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.analysis.bands import caffeine_band, sugar_band
from specctl.analysis.nourishing import Serving, servings_of
from specctl.analysis.nutrition import KEYS, nutrition_of, per_100_g
from specctl.analysis.rounding import eu_rounded, half_up, us_rounded
from specctl.domain.book import Book
from specctl.domain.ingredient import Density
from specctl.domain.recipe import Handling


def d(text: str) -> Decimal:
    return Decimal(text)


def composed(id: str, advisories: tuple[str, ...] = (), **parts: str) -> object:
    return make.ingredient(id, composition={k: d(v) for k, v in parts.items()}, advisories=advisories)


def energy(**parts: str) -> tuple[Fraction, Fraction]:
    values, _ = per_100_g({k: d(v) for k, v in parts.items()})
    return values["energy_kj"], values["energy_kcal"]


@pytest.mark.parametrize(
    ("parts", "kj", "kcal"),
    [
        # whole milk and condensed milk of USDA SR28, by the EU's factors
        ({"carbohydrate": "4.80", "protein": "3.15", "fat": "3.25"}, "255.40", "61.05"),
        ({"carbohydrate": "54.4", "protein": "7.91", "fat": "8.7"}, "1381.17", "327.54"),
        # 10 g each of polyol, alcohol, organic acid, fibre, erythritol
        ({"polyols": "10", "alcohol": "10", "organic_acids": "10", "fibre": "10", "erythritol": "10"}, "600", "144"),
    ],
)
def test_energy_by_annex_xiv(parts: dict[str, str], kj: str, kcal: str) -> None:
    assert energy(**parts) == (Fraction(kj), Fraction(kcal))


@pytest.mark.parametrize(
    ("part", "kj", "kcal"),
    [
        ("carbohydrate", "17", "4"), ("protein", "17", "4"), ("fat", "37", "9"), ("alcohol", "29", "7"),
        ("organic_acids", "13", "3"), ("fibre", "8", "2"), ("polyols", "10", "2.4"), ("erythritol", "0", "0"),
    ],
)  # fmt: skip
def test_each_factor(part: str, kj: str, kcal: str) -> None:
    assert energy(**{part: "1"}) == (Fraction(kj), Fraction(kcal))


def test_kj_and_kcal_are_never_converted_into_each_other() -> None:
    kj, kcal = energy(carbohydrate="4.80", protein="3.15", fat="3.25")
    assert kj != kcal * Fraction("4.184") and kj != kcal * Fraction("4.1868")
    assert abs(kj / kcal - Fraction("4.184")) < Fraction("0.01")


def test_polyols_stand_inside_carbohydrate_and_are_counted_once() -> None:
    assert energy(carbohydrate="10", polyols="10") == (Fraction(100), Fraction(24))
    assert energy(carbohydrate="10", erythritol="10") == (0, 0)


def test_carbohydrate_by_difference_gives_up_its_fibre() -> None:
    # Cocoa, USDA SR28: 57.9 g by difference, 33.2 of it fibre.
    values, _ = per_100_g({k: d(v) for k, v in {
        "water": "3.0", "protein": "19.6", "fat": "13.7", "carbohydrate": "57.9", "sugars": "1.75", "fibre": "33.2",
    }.items()})  # fmt: skip
    assert values["carbohydrate"] == Fraction("24.7")
    assert values["energy_kcal"] == 4 * Fraction("24.7") + 4 * Fraction("19.6") + 9 * Fraction("13.7") + 2 * Fraction("33.2")


def test_salt_is_sodium_times_two_and_a_half() -> None:
    assert per_100_g({"sodium": d("0.04")})[0]["salt"] == Fraction("0.1")
    # Stated salt is not overwritten.
    assert per_100_g({"sodium": d("0.04"), "salt": d("0.2")})[0]["salt"] == Fraction("0.2")


def test_us_energy_by_general_factors_has_no_kj_and_says_its_method() -> None:
    book = make.book(composed("milk", water="88.13", protein="3.15", fat="3.25", carbohydrate="4.80"))
    found = nutrition_of(book, [("milk", d("100"))], "us")
    assert found.figures["energy_kcal"].amount == 4 * Fraction("3.15") + 4 * Fraction("4.80") + 9 * Fraction("3.25")
    assert found.figures["energy_kj"].at_least
    assert "101.9" in found.method and "Annex XIV" in nutrition_of(book, []).method


def milk_book() -> Book:
    return make.book(
        composed("milk", water="88.13", protein="3.15", fat="3.25", carbohydrate="4.80", sugars="5.05", saturates="1.9", salt="0.1"),
        composed("water", water="100"),
        make.ingredient("leaf", state="leaf", advisories=("caffeine",)),
        make.ingredient("mystery"),
        composed("sugar", water="0.02", protein="0", fat="0", carbohydrate="99.98", sugars="99.8"),
        make.prep("syrup", 150, make.line("s", "sugar", 100), make.line("w", "water", 100)),
        make.prep("tea", 90, make.line("l", "leaf", 2), make.line("w", "water", 100)),
        make.prep("measured", 90, make.line("l", "leaf", 2), composition={
            "water": d("99.7"), "protein": d("0"), "fat": d("0"), "carbohydrate": d("0.3"), "caffeine_mg": d("20"),
        }),
    )  # fmt: skip


def test_a_prep_brings_what_went_into_it_by_its_yield() -> None:
    # 100 g of sugar in 150 g of syrup: 30 g hold 20 g of sugar, and boiling it down loses none.
    found = nutrition_of(milk_book(), [("syrup", d("30"))])
    assert found.figures["sugars"].amount == Fraction("99.8") / 5


def test_a_missing_value_makes_a_lower_bound_and_is_named() -> None:
    found = nutrition_of(milk_book(), [("milk", d("100")), ("mystery", d("5"))])
    assert found.figures["fat"].amount == Fraction("3.25")
    assert found.figures["fat"].missing == ("Mystery",)
    assert all(found.figures[key].at_least for key in KEYS)
    whole = nutrition_of(milk_book(), [("milk", d("100")), ("water", d("50"))])
    assert not any(whole.figures[key].at_least for key in ("energy_kj", "fat", "sugars", "fibre", "salt"))
    assert nutrition_of(milk_book(), [("milk", None)]).figures["fat"].at_least


def test_energy_of_a_composition_with_a_gap_is_told_and_is_a_lower_bound() -> None:
    # Condensed milk of USDA SR28 states no ash and no fibre: its parts make 98.17 g.
    book = make.book(composed("condensed", water="27.16", protein="7.91", fat="8.70", carbohydrate="54.4"))
    energy_kj = nutrition_of(book, [("condensed", d("100"))]).figures["energy_kj"]
    assert (energy_kj.amount, energy_kj.missing) == (Fraction("1381.17"), ("Condensed",))


def test_what_passes_from_a_leaf_is_not_known_unless_the_brew_was_measured() -> None:
    assert nutrition_of(milk_book(), [("tea", d("90"))]).figures["caffeine_mg"].missing == ("Leaf",)
    measured = nutrition_of(milk_book(), [("measured", d("200"))])
    assert measured.figures["caffeine_mg"].amount == 40 and not measured.figures["caffeine_mg"].at_least


def test_per_100_ml_is_by_the_volume_in_the_cup() -> None:
    found = nutrition_of(milk_book(), [("milk", d("100"))], volume_ml=d("250"))
    figure = found.per_100_ml("fat")
    assert figure is not None and figure.amount == Fraction("1.3")
    assert nutrition_of(milk_book(), [("milk", d("100"))]).per_100_ml("fat") is None


def served(ice: object, at: str = "20") -> Serving:
    """100 g of sweetened water stirred with ice of 0 °C until the two come to rest."""
    poured = replace(make.line("w", "sweet", 100), at=d(at))
    cold = make.line("i", "ice", ice)
    base = replace(make.layer("base", poured, cold), handling=Handling("shake", seconds=60))
    goods = (
        replace(make.ingredient("sweet", composition={"water": d("100"), "sugars": d("10"), "carbohydrate": d("10")}), density=Density(d("0.9982"), "IAPWS-95", d("20"))),
        make.ingredient("ice", state="ice", storage="frozen", composition={"water": d("100"), "sugars": d("0"), "carbohydrate": d("0")}),
    )
    made = make.drink("cup", base)
    held = make.book(make.market(), make.franchise(), make.site("pier"), make.vessel(), make.scale(), *goods, made)
    (found,) = servings_of(held, made, held.sites["pier"])
    return found


def test_melt_water_thins_100_ml_and_leaves_the_serving_as_it_is() -> None:
    """100 g of water at 20 °C melts 25.16 g of ice at 0 °C (exact enthalpies, IAPWS-95), constant cp within 0.5 %;
    a gram of water at 0 °C is 1.0002 ml, so 100.2 ml without ice are 125.2 ml with it."""
    iced, plain = served(200), served("none")
    assert plain.melt_g == 0 and iced.melt_g == pytest.approx(d("25"), abs=d("0.5"))
    for key in ("sugars", "carbohydrate"):
        assert iced.nutrition.figures[key].amount == plain.nutrition.figures[key].amount == 10
        thin, full = iced.nutrition.per_100_ml(key), plain.nutrition.per_100_ml(key)
        assert thin is not None and full is not None and thin.amount < full.amount
        assert float(thin.amount / full.amount) == pytest.approx(100.2 / 125.2, rel=0.01)
    # Already at 0 °C nothing melts, and ice that is left over is not drunk.
    assert served(200, "0").nutrition.per_100_ml("sugars") == served("none", "0").nutrition.per_100_ml("sugars")


grams = st.decimals(min_value=1, max_value=500, places=1)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(("milk", "water", "sugar", "syrup", "mystery", "tea")), grams), max_size=5), grams)
def test_sums_are_linear_and_unknown_spreads(lines: list[tuple[str, Decimal]], more: Decimal) -> None:
    book = milk_book()
    one = nutrition_of(book, lines)
    two = nutrition_of(book, [(use, amount * 2) for use, amount in lines])
    with_more = nutrition_of(book, [*lines, ("mystery", more)])
    for key in KEYS:
        assert two.figures[key].amount == 2 * one.figures[key].amount
        assert with_more.figures[key].at_least and with_more.figures[key].amount == one.figures[key].amount
        apart = sum((nutrition_of(book, [line]).figures[key].amount for line in lines), Fraction(0))
        assert apart == one.figures[key].amount


@pytest.mark.parametrize(
    ("key", "value", "shown"),
    [
        # 21 CFR 101.9(c)(1): calories
        ("energy_kcal", "4.99", "0"), ("energy_kcal", "5", "5"), ("energy_kcal", "47.5", "50"), ("energy_kcal", "50", "50"),
        ("energy_kcal", "50.01", "50"), ("energy_kcal", "55", "60"), ("energy_kcal", "54.99", "50"),
        # (c)(2): fat; a half of a half goes up
        ("fat", "0.49", "0"), ("fat", "0.5", "0.5"), ("fat", "2.25", "2.5"), ("fat", "3.25", "3.5"), ("fat", "2.24", "2"),
        ("fat", "4.99", "5"), ("fat", "5", "5"), ("fat", "5.5", "6"), ("saturates", "2.25", "2.5"),
        # (c)(4): sodium
        ("sodium_mg", "4.9", "0"), ("sodium_mg", "5", "5"), ("sodium_mg", "7.5", "10"), ("sodium_mg", "140", "140"),
        ("sodium_mg", "140.1", "140"), ("sodium_mg", "145", "150"),
        # (c)(6), (7): carbohydrate, fibre, sugars, protein
        ("carbohydrate", "0.49", "0"), ("carbohydrate", "0.5", "less than 1"), ("sugars", "0.99", "less than 1"),
        ("sugars", "1", "1"), ("fibre", "1.5", "2"), ("protein", "2.5", "3"), ("protein", "2.49", "2"),
    ],
)  # fmt: skip
def test_us_rounding(key: str, value: str, shown: str) -> None:
    assert us_rounded(key, d(value)) == shown


@pytest.mark.parametrize(
    ("key", "value", "shown"),
    [
        # EU guidance of December 2012, from memory: a soft check
        ("energy_kj", "255.40", "255"), ("energy_kcal", "61.5", "62"), ("fat", "3.25", "3.3"), ("fat", "10.5", "11"),
        ("fat", "0.5", "<0.5"), ("saturates", "0.1", "<0.1"), ("salt", "0.0125", "<0.01"), ("salt", "0.045", "0.05"), ("salt", "1.25", "1.3"),
    ],
)  # fmt: skip
def test_eu_rounding(key: str, value: str, shown: str) -> None:
    assert eu_rounded(key, d(value)) == shown


def test_halves_go_up_and_not_to_even() -> None:
    assert [half_up(d(x), "0.5") for x in ("2.25", "3.25")] == [d("2.5"), d("3.5")]
    assert half_up(d("0.5")) == 1 and half_up(d("2.5")) == 3


def test_caffeine_band_is_above_150_mg_a_litre_not_at_it() -> None:
    # Regulation (EU) No 1169/2011, Annex III, 4.1
    assert caffeine_band(d("150")).band == "150 mg/l or less"
    assert caffeine_band(d("150.01")).band == "above 150 mg/l"
    assert caffeine_band(d("150"), at_least=True).band == "unknown"
    assert caffeine_band(d("151"), at_least=True).band == "above 150 mg/l"
    assert caffeine_band(None).band == "unknown"
    assert "coffee or tea" in caffeine_band(None).scope


def test_sugar_bands_begin_at_5_and_at_8() -> None:
    # United Kingdom soft drinks levy
    assert [sugar_band(d(x)).band for x in ("4.99", "5", "7.99", "8")] == [
        "under 5 g in 100 ml", "5 g to under 8 g in 100 ml", "5 g to under 8 g in 100 ml", "8 g in 100 ml or more",
    ]  # fmt: skip
    assert sugar_band(d("1"), at_least=True).band == "unknown"
    assert "packaged drinks" in sugar_band(None).scope
