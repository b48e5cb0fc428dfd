"""What stands in a cup: heights, ice, foam, filling rules."""

from __future__ import annotations

import math
from decimal import ROUND_DOWN, Context, Decimal as D, localcontext

import pytest
from hypothesis import given, settings, strategies as st

from specctl.analysis.cup import (
    Unknown,
    compile_top_to,
    fill,
    fits,
    foam_volume,
    height_at,
    ice_displacement,
    layer_tops,
    layer_volumes,
    line_volume,
    overrun_of,
    top_to_grams,
    top_up_grams,
    volume_at,
)
from specctl.domain.amount import Absent, Amount, Each, Grams, TopTo, Unweighed
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.recipe import Line, Prep


def vessel(**more: str) -> Vessel:
    given = {"brimful": "400", "height": "140", "fill_line": "10", **more}
    return Vessel(id="cup", name="Cup", kind="cup", **{k: D(v) for k, v in given.items()})  # type: ignore[arg-type]


def thing(state: str, density: str | None = None, **more: object) -> Ingredient:
    stated = Density(D(density), "stated") if density else None
    return Ingredient(id=state, name=state.title(), state=state, storage="chilled", density=stated, **more)  # type: ignore[arg-type]


def line(key: str, amount: Amount, item: Ingredient | Prep) -> tuple[Line, Amount, Ingredient | Prep]:
    return Line(key, item.id, {"": amount}), amount, item


WATER = thing("liquid", "1")
MILK = thing("liquid", "1.0313")
ICE = thing("ice")
TAPERED = vessel(rim="90", base="60")
STRAIGHT = vessel()


# Shape


def frustum_ml(rim: float, base: float, height: float) -> float:
    """V = pi h (R² + R r + r²) / 3, diameters and height in mm."""
    big, small = rim / 2, base / 2
    return math.pi * height * (big * big + big * small + small * small) / 3 / 1000


def test_a_frustum_by_the_textbook() -> None:
    # geometry: a cup whose stated capacity is exactly that of its frustum
    brimful = frustum_ml(90, 60, 140)
    cup = vessel(rim="90", base="60", brimful=f"{brimful:.6f}")
    for below in (0, 10, 70, 139):
        there = 60 + 30 * (140 - below) / 140
        assert float(volume_at(cup, D(below))) == pytest.approx(frustum_ml(there, 60, 140 - below), abs=0.006)


def test_a_straight_cup_is_proportional() -> None:
    assert volume_at(STRAIGHT, D(0)) == 400
    assert volume_at(STRAIGHT, D(70)) == 200
    assert volume_at(STRAIGHT, D(140)) == 0
    assert height_at(STRAIGHT, D(100)) == 35


def test_the_top_of_a_tapered_cup_holds_more() -> None:
    assert volume_at(TAPERED, D(0)) - volume_at(TAPERED, D(10)) > D(400) * 10 / 140
    assert volume_at(TAPERED, D(0)) == 400


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 40000), st.sampled_from([STRAIGHT, TAPERED]))
def test_height_and_volume_are_inverse(hundredths: int, cup: Vessel) -> None:
    ml = D(hundredths) / 100
    height = height_at(cup, ml)
    # 0.01 mm is at most 0.05 ml in these cups, and half of that is the nearest
    assert abs(volume_at(cup, cup.height - height) - ml) <= D("0.03")


def test_fill_line() -> None:
    assert fits(STRAIGHT, D("371.42"))
    assert not fits(STRAIGHT, D("371.43"))


# Volumes


def test_volume_of_a_line() -> None:
    assert line_volume(Grams(D("92.79")), thing("liquid", "1.031")) == 90
    assert line_volume(Absent(), WATER) == 0
    assert line_volume(Each(D(2)), thing("piece", "0.9", each=D(9))) == 20
    assert line_volume(Grams(D("91.67")), ICE) == 100


@pytest.mark.parametrize(
    ("amount", "item"),
    [
        (Grams(D(30)), thing("liquid")),
        (Grams(D(30)), thing("powder", bulk_density=Density(D("0.5"), "loose"))),
        (Each(D(2)), thing("piece", "0.9")),
        (Unweighed("2 tsp"), WATER),
        (TopTo(D(10)), WATER),
    ],
)
def test_a_volume_that_is_not_known_says_why(amount: Amount, item: Ingredient) -> None:
    found = line_volume(amount, item)
    assert isinstance(found, Unknown) and found.why


def test_a_powder_takes_the_room_of_its_grains() -> None:
    # sucrose crystal 1.59 g/ml; dissolved, CRC Handbook: 50 % syrup 1.2295 g/ml, so 100 g sugar
    # in 100 g water take 162.7 ml, 62.5 of them the sugar's: 1.60 g/ml
    sugar = thing("powder", composition={"carbohydrate": D(100)})
    found = line_volume(Grams(D(100)), sugar)
    assert isinstance(found, D)
    assert found == pytest.approx(D(200) / D("1.2295") - 100 / D("0.9982"), abs=D("0.7"))


def test_layers() -> None:
    found = layer_volumes(
        {
            "base": [line("a", Grams(D(50)), WATER), line("b", Grams(D("103.13")), MILK)],
            "top": [line("c", Grams(D(5)), thing("liquid"))],
        }
    )
    assert found["base"] == 150
    assert isinstance(found["top"], Unknown) and "c" in found["top"].why
    assert layer_tops([D(100), D(100)], STRAIGHT) == (D(35), D(70))


# Ice


def test_floating_ice_by_archimedes() -> None:
    # 100 g in 1.0313 g/ml displace 96.96 ml and end 3.05 ml higher when melted
    found = ice_displacement(D(100), D(300), D("1.0313"))
    assert found.floats and found.displaces == D("96.96")
    assert found.melted - found.displaces == pytest.approx(D("3.05"), abs=D("0.011"))


def test_ice_in_water_melts_without_a_change_of_level() -> None:
    found = ice_displacement(D(100), D(300), D("0.99984"))
    assert found.floats and found.displaces == found.melted


def test_packed_ice_rests_and_displaces_itself() -> None:
    # 0.9167 g/ml at 0 °C (IAPWS-06)
    found = ice_displacement(D("183.34"), D(50), D(1))
    assert not found.floats and found.displaces == 200


def test_ice_sinks_in_what_is_lighter_than_ice() -> None:
    assert not ice_displacement(D(100), D(900), D("0.8")).floats


def test_packing_decides_whether_ice_is_carried() -> None:
    tight, loose = D("0.9"), D("0.4")
    assert ice_displacement(D(100), D(100), D(1), tight).floats
    assert not ice_displacement(D(100), D(100), D(1), loose).floats


# Foam


def test_overrun_by_the_textbook() -> None:
    # D. Goff, University of Guelph: mix 1090 g/l, aerated 560 g/l: 94.6 %
    assert overrun_of(D("1.090"), D("0.560")) == D("0.946")
    assert foam_volume(D(100), D("0.946")) == D("194.6")
    # by weight of a fixed cup: (W_mix - W_foam) / W_foam, the same share; 100 ml cups of both
    assert overrun_of(D("109.0"), D("56.0")) == ((D("109.0") - D("56.0")) / D("56.0")).quantize(D("0.001")) == D("0.946")


def test_a_foam_takes_its_aerated_volume() -> None:
    foam = Prep(
        id="foam", name="Foam", lines={}, yields=D(100), keep="at-once",
        overrun=D(1), density=Density(D("1.04"), "weighed"),
    )
    assert line_volume(Grams(D(26)), foam) == 50


# Filling rules


def test_top_to_is_whole_grams_half_up() -> None:
    assert compile_top_to(D(70), STRAIGHT, [D(50)], D("1.03")) == 155  # 154.5
    assert compile_top_to(D(70), STRAIGHT, [D(50), D("49.9")], D(1)) == 100  # 100.1


def test_top_to_without_an_answer_says_why() -> None:
    for others, density, mm in (
        ([D(50), Unknown("syrup: no density")], D(1), D(15)),
        ([D(50)], None, D(15)),
        ([D(390)], D(1), D(15)),
        ([D(50)], D(1), D(140)),
    ):
        found = compile_top_to(mm, STRAIGHT, others, density)
        assert isinstance(found, Unknown) and found.why
    # deeper than the cup is said as such, not as "already full"
    deep = compile_top_to(D(140), STRAIGHT, [D(50)], D(1))
    assert isinstance(deep, Unknown) and "140 mm deep" in deep.why


def test_the_ambient_rounding_changes_nothing() -> None:
    cup = vessel(rim="90", base="61", brimful="419")
    args = D("13"), cup, [D("33.33")], D("1.0313")
    before = compile_top_to(*args), height_at(cup, D("200.01"))
    with localcontext(Context(prec=9, rounding=ROUND_DOWN)):
        assert (compile_top_to(*args), height_at(cup, D("200.01"))) == before


def test_a_rule_over_ice() -> None:
    # 400 ml straight cup to 14 mm below the rim: 360 ml; 60 g syrup of 1.2 g/ml is 50 ml
    lines = [
        line("syrup", Grams(D(60)), thing("liquid", "1.2")),
        line("ice", Grams(D(100)), ICE),
        line("fizz", TopTo(D(14)), WATER),
    ]
    grams = top_to_grams(lines, STRAIGHT)["fizz"]
    assert isinstance(grams, D)
    # by hand: x + 50 + 100 / ((60 + x) / (50 + x)) = 360
    x = float(grams)
    assert x + 50 + 100 * (50 + x) / (60 + x) == pytest.approx(360, abs=1.0)
    found = fill(lines, STRAIGHT)
    assert found.verdict == "fits" and found.total_ml == pytest.approx(D(360), abs=D(1))


def test_a_rule_beside_an_unknown_volume_is_unknown() -> None:
    lines = [line("mystery", Grams(D(20)), thing("piece")), line("fizz", TopTo(D(14)), WATER)]
    found = top_to_grams(lines, STRAIGHT)["fizz"]
    assert isinstance(found, Unknown) and "mystery" in found.why


def test_two_rules_in_one_cup_are_unknown() -> None:
    lines = [line("a", TopTo(D(30)), WATER), line("b", TopTo(D(10)), MILK)]
    assert all(isinstance(each, Unknown) for each in top_to_grams(lines, STRAIGHT).values())
    assert top_to_grams([line("a", Grams(D(3)), WATER)], STRAIGHT) == {}


def test_a_rule_may_be_named_by_its_path() -> None:
    assert top_to_grams([("mid/fizz", TopTo(D(70)), WATER)], STRAIGHT) == {"mid/fizz": D(200)}


def test_top_up_takes_the_same_room() -> None:
    assert top_up_grams(D("96.96"), D("1.031")) == D("99.97")


# Fill


def test_fill_fits_and_over() -> None:
    some = fill([line("milk", Grams(D("206.26")), MILK)], STRAIGHT)
    assert (some.total_ml, some.free_mm, some.verdict) == (D(200), D(70), "fits")
    assert fill([line("milk", Grams(D(390)), MILK)], STRAIGHT).verdict == "over"
    assert fill([line("water", TopTo(D(5)), WATER)], STRAIGHT).verdict == "over"


def test_fill_unknown_is_unknown_unless_already_over() -> None:
    mystery = line("mystery", Grams(D(20)), thing("liquid"))
    found = fill([line("milk", Grams(D(200)), MILK), mystery], STRAIGHT)
    assert (found.total_ml, found.verdict) == (None, "unknown")
    assert found.missing and "mystery" in found.missing[0]
    assert fill([line("milk", Grams(D(500)), MILK), mystery], STRAIGHT).verdict == "over"


def test_two_halves_that_fit_may_not_fit_together() -> None:
    half = line("a", Grams(D(200)), WATER)
    other = line("b", Grams(D(180)), WATER)
    assert fill([half], STRAIGHT).verdict == fill([other], STRAIGHT).verdict == "fits"
    assert fill([half, other], STRAIGHT).verdict == "over"
