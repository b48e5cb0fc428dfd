"""A cup built layer by layer: heights, ice, melt water, verdicts, and the laws they keep."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from make import book, drink, ingredient, layer, line, prep, vessel

from specctl.analysis.cup_state import CupState
from specctl.analysis.cupcheck import cups_of
from specctl.analysis.layering import Portion, build_cup
from specctl.analysis.matter import Larder
from specctl.analysis.pour import LEAST_GAP, meet
from specctl.analysis.vessel import held_to, hollow_of
from specctl.codec.load import load
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Density
from specctl.domain.place import SiteIce
from specctl.domain.recipe import Drink, Handling
from specctl.resources import demo_book

WATER = {"water": D(100)}


def liquid(id: str, density: object, at: object = 5, **more: Any) -> Any:
    made = ingredient(id, storage=more.pop("storage", "chilled"), composition=more.pop("composition", WATER), **more)
    return replace(made, density=Density(D(str(density)), "a test", D(str(at))))


MILK, SYRUP, TEA = liquid("milk", "1.033"), liquid("syrup", "1.23"), liquid("tea", "1.0")
ICE = ingredient("ice", state="ice", storage="frozen")
HOT = replace(prep("hot", 1000, line("w", "tea", 1000), keep="hot"), served_at=D(80), density=Density(D("0.9718"), "a test", D(80)))
FOAM = replace(prep("foam", 100, line("w", "milk", 100), overrun=D("1.5")), served_at=D(5), density=Density(D("1.06"), "a test", D(5)))
CUP = vessel(brimful=400)


def cup(made: Drink, *more: Any, into: Vessel = CUP, ice: SiteIce | None = None) -> CupState:
    larder = Larder(book(MILK, SYRUP, TEA, ICE, HOT, FOAM, made, into, *more), ice)
    return next(iter(cups_of(larder, made))).state


def layered(*rows: tuple[str, str, object], **handled: Handling) -> Drink:
    """Layers by key, each one line: (layer, item, grams)."""
    layers = [replace(layer(key, line("l", use, grams)), handling=handled.get(key)) for key, use, grams in rows]
    return drink("made", *layers)


def test_two_layers_stand_on_one_another_with_their_gap() -> None:
    state = cup(layered(("low", "syrup", 40), ("high", "tea", 100)))
    low, high = state.layers
    assert low.ml == pytest.approx(40 / 1.23, rel=1e-3) and low.bottom == 0
    assert high.bottom == low.top and state.meetings[0].verdict == "stays"
    assert state.meetings[0].gap == pytest.approx(0.23, abs=1e-3)
    assert state.better_order is None and state.room == "fits"


def test_light_below_heavy_will_mix_and_the_order_is_told() -> None:
    state = cup(layered(("low", "tea", 100), ("high", "syrup", 40)))
    assert state.meetings[0].verdict == "mixes" and state.better_order == ("high", "low")


def test_between_the_two_it_is_marginal() -> None:
    assert meet("a", "b", LEAST_GAP + 0.01, 0.009).verdict == "stays"
    assert meet("a", "b", LEAST_GAP + 0.01, 0.011).verdict == "marginal"
    assert meet("a", "b", -0.02, 0.03).verdict == "marginal"
    assert meet("a", "b", -0.02, 0.02).verdict == "mixes"
    assert meet("a", "b", None, 0.02).verdict == "unknown"


def test_no_verdict_without_a_temperature() -> None:
    lost = replace(HOT, id="lost", name="Lost", served_at=None)
    state = cup(layered(("low", "syrup", 40), ("high", "lost", 100)), lost)
    assert state.meetings[0].verdict == "unknown" and state.layers[1].density is None
    assert "no temperature" in state.layers[1].why[0]


def test_floating_ice_in_the_worked_row() -> None:
    # Archimedes: 100 g in a liquid of 1.0313 g/ml displaces 96.96 ml
    heavy = liquid("heavy", "1.0313", 0, storage="chilled")
    made = drink("made", layer("only", replace(line("l", "heavy", 300), at=D(0)), line("i", "ice", 100)))
    state = cup(made, heavy, into=vessel(brimful=600))
    assert state.ice is not None and state.ice.floats and state.ice.melted == pytest.approx(0)
    assert state.ice.displaces == pytest.approx(96.96, abs=0.03)


def test_little_liquid_leaves_the_ice_on_the_bottom() -> None:
    made = drink("made", layer("only", replace(line("l", "tea", 20), at=D(0)), line("i", "ice", 100)))
    state = cup(made)
    assert state.ice is not None and not state.ice.floats
    assert state.ice.displaces == pytest.approx(100 / 0.9167, rel=1e-4)


def test_ice_sinks_in_what_is_lighter_than_ice() -> None:
    spirit = liquid("spirit", "0.80", 0)
    made = drink("made", layer("only", replace(line("l", "spirit", 300), at=D(0)), line("i", "ice", 50)))
    state = cup(made, spirit, into=vessel(brimful=600))
    assert state.ice is not None and not state.ice.floats
    assert state.ice.displaces == pytest.approx(50 / 0.9167, rel=1e-4)


def test_a_hot_base_shaken_over_ice_overflows_where_the_naive_sum_fits() -> None:
    made = drink("made", replace(layer("only", line("l", "hot", 200), line("i", "ice", 250)), handling=Handling("shake", seconds=15, strained=True)))
    state = cup(made, into=vessel(brimful=360))
    assert state.naive_ml is not None and state.naive_ml < 250, "the liquid alone would fit"
    assert state.room == "overflows" and state.known_ml > 360
    assert state.ice is not None and state.ice.strained > 0 and state.ice.left == 0
    assert state.dilution > 0.4


def test_strained_ice_is_left_behind_and_kept_ice_stays() -> None:
    def shaken(strained: bool) -> CupState:
        return cup(drink("made", replace(layer("only", line("l", "tea", 150), line("i", "ice", 120)), handling=Handling("shake", strained=strained))))

    out, kept = shaken(True), shaken(False)
    assert out.ice is not None and kept.ice is not None
    assert out.ice.left == 0 and out.ice.strained > 100 and kept.ice.left > 100
    assert kept.known_ml > out.known_ml + 90


def test_hot_over_the_ice_of_the_layer_below_melts_it() -> None:
    made = drink("made", layer("low", line("l", "milk", 100), line("i", "ice", 65)), layer("high", line("l", "hot", 50)))
    state = cup(made)
    assert state.ice is not None and state.ice.melted > 50
    assert state.layer("high") is not None and (state.layer("high").water or 0) > 40  # type: ignore[union-attr]


def test_colder_site_ice_melts_less() -> None:
    made = drink("made", layer("only", line("l", "tea", 200), line("i", "ice", 150)))
    warm, cold = cup(made), cup(made, ice=SiteIce(D("-15")))
    assert warm.ice is not None and cold.ice is not None and cold.ice.melted < warm.ice.melted
    packed = cup(made, ice=SiteIce(packing=D("0.3")))
    assert packed.ice is not None and packed.ice.packing == 0.3


def test_steamed_milk_takes_up_water_and_air() -> None:
    plain = cup(layered(("only", "milk", 150)))
    steamed = cup(layered(("only", "milk", 150), only=Handling("steam", to=D(65))))
    airy = cup(layered(("only", "milk", 150), only=Handling("steam", to=D(65), overrun=D("0.2"))))
    assert steamed.layers[0].celsius == pytest.approx(65)
    assert steamed.layers[0].water == pytest.approx(16, abs=1.5)
    assert plain.known_ml < steamed.known_ml < airy.known_ml
    assert (airy.layers[0].band or 0) > (steamed.layers[0].band or 0)


def test_layers_meant_to_mix_are_one() -> None:
    made = layered(("low", "hot", 100), ("high", "milk", 100))
    made = replace(made, layers={**made.layers, "high": replace(made.layers["high"], mixes=True)})
    state = cup(made)
    assert len(state.layers) == 1 and state.layers[0].joined == ("high",) and not state.meetings
    assert state.layers[0].celsius == pytest.approx(42.5, abs=1)


def test_three_thin_layers_in_a_wide_cup_are_told() -> None:
    wide = replace(vessel("wide", 900), rim=D(140), base=D(140), height=D(60))
    made = layered(("a", "syrup", 40), ("b", "milk", 40), ("c", "tea", 40))
    made = replace(made, sizes={key: replace(size, vessel="wide") for key, size in made.sizes.items()})
    assert cup(made, wide, into=wide).thin == ("a", "b", "c")


def test_over_the_line_and_over_the_rim_are_two_things() -> None:
    assert cup(layered(("only", "tea", 300))).room == "fits"
    assert cup(layered(("only", "tea", 380))).room == "over-line"
    over = cup(layered(("only", "tea", 420)))
    assert over.room == "overflows" and over.level_mm == 120


def test_what_is_known_can_overflow_though_something_is_not_known() -> None:
    blank = ingredient("blank")
    made = layered(("a", "tea", 500), ("b", "blank", 10))
    state = cup(made, blank)
    assert state.room == "overflows" and state.rest_ml is None and "Blank" in state.missing[0]
    assert cup(layered(("a", "tea", 50), ("b", "blank", 10)), blank).room == "unknown"


amounts = st.floats(0.5, 200)


@given(amounts, amounts, amounts, st.floats(0, 200), st.sampled_from([None, "shake", "stir", "blend", "steam", "heat"]), st.booleans())
def test_mass_in_is_mass_out(a: float, b: float, c: float, ice: float, by: str | None, strained: bool) -> None:
    handling = Handling(by, strained=strained and by in ("shake", "stir")) if by else None
    made = drink(
        "made", layer("low", line("l", "syrup", 1)),
        replace(layer("mid", line("l", "hot", 1), line("i", "ice", 1)), handling=handling), layer("top", line("l", "foam", 1)),
    )
    larder = Larder(book(MILK, SYRUP, TEA, ICE, HOT, FOAM, made, CUP), SiteIce(D("-10")))
    portions = [Portion("low/l", "low", "syrup", a), Portion("mid/l", "mid", "hot", b), Portion("mid/i", "mid", "ice", ice), Portion("top/l", "top", "foam", c)]
    state = build_cup(larder, made, CUP, portions)
    assert state is not None
    assert state.mass_out == pytest.approx(state.mass_in, rel=1e-9)
    if not ice:
        # no ice: the volumes of the layers add up to the level, with no contraction counted
        assert state.rest_ml == pytest.approx(sum(each.ml or 0 for each in state.layers))
    tops = [each.top for each in state.layers]
    # heights are worked out to a hundredth of a millimetre
    assert all(b >= a - 0.02 for a, b in zip(tops, tops[1:]) if a is not None and b is not None)


SHAPES = [
    vessel(brimful=450),
    replace(vessel(brimful=373), rim=D(60), base=D(60)),
    replace(vessel(brimful=300), rim=None, base=None),
    replace(vessel(brimful=400), shape=((D(30), D(60)), (D(80), D(250)), (D(120), D(400)))),
]


@pytest.mark.parametrize("shape", SHAPES)
@given(st.floats(0, 460), st.floats(0, 50))
def test_height_is_monotone_in_volume_and_inverse_to_it(shape: Vessel, ml: float, more: float) -> None:
    hollow = hollow_of(shape)
    assert hollow is not None
    assert hollow.height(ml) <= hollow.height(ml + more) + 1e-9
    if ml < hollow.brimful:
        assert hollow.held(hollow.height(ml)) == pytest.approx(ml, abs=1e-6)


@pytest.mark.parametrize("shape", SHAPES)
def test_the_estimate_stands_as_high_as_the_exact_arithmetic(shape: Vessel) -> None:
    hollow = hollow_of(shape)
    assert hollow is not None
    for mm in range(0, 121, 7):
        assert hollow.held(mm) == pytest.approx(float(held_to(shape, Fraction(mm))), abs=1e-6)


def demo() -> Any:
    root = demo_book()
    loaded = load({str(path.relative_to(root)): path.read_bytes() for path in sorted(root.rglob("*.yaml"))})
    assert loaded.book is not None
    return loaded.book


def verdicts(state: CupState) -> list[str]:
    return [meeting.verdict for meeting in state.meetings]


@pytest.mark.parametrize(
    ("id", "wanted"),
    [
        ("blackcurrant-hojicha", ["stays", "stays"]),
        ("cardamom-cold-brew", ["stays", "stays"]),
        ("matcha-cloud", ["stays", "stays", "stays"]),
        ("orange-hojicha-cooler", ["stays"]),
        ("pear-sage-fizz", ["stays", "stays"]),
        ("elderflower-pear-spritz", ["stays", "stays"]),
        ("pearl-milk-tea", ["stays", "stays"]),
        ("harbour-mocha", []),
        ("roasted-barley-latte", []),
    ],
)
def test_the_layered_drinks_of_the_demo_book_stay(id: str, wanted: list[str]) -> None:
    larder = Larder(demo())
    for made in cups_of(larder, larder.book.drinks[id]):
        if made.variant.is_standard:
            assert made.state.room == "fits" and not made.state.missing
            assert verdicts(made.state) == wanted


def test_more_of_one_powder_turns_a_verdict_to_marginal_and_then_to_mixing() -> None:
    book_ = demo()
    cloud, larder = book_.drinks["matcha-cloud"], Larder(book_)
    found = []
    for grams in (3, 5, 12):  # the spec says 3 g of matcha in the upper layer
        portions = [
            Portion("vanilla/syrup", "vanilla", "vanilla-syrup", 20.58),
            Portion("milk/ice", "milk", "ice", 65), Portion("milk/milk", "milk", "oat-drink", 97.85),
            Portion("matcha/powder", "matcha", "matcha", grams), Portion("matcha/water", "matcha", "water", 50, 75),
        ]
        state = build_cup(larder, cloud, book_.vessels["cold-cup-390"], portions)
        assert state is not None
        found.append(state.meetings[1].verdict)
    assert found == ["stays", "marginal", "mixes"]


def test_a_choice_is_computed_with_its_own_top_up() -> None:
    larder = Larder(demo())
    cups = {(each.variant.choice, each.size): each.state for each in cups_of(larder, larder.book.drinks["blackcurrant-hojicha"])}
    no_ice, standard = cups["ice=no-ice", "regular"], cups["", "regular"]
    assert no_ice.ice is None and no_ice.room == "fits"
    assert no_ice.known_ml == pytest.approx(standard.known_ml, abs=12), "the brew takes the room of the ice's own volume"
    assert no_ice.dilution == 0 < standard.dilution
