"""A mass in a site's own tools: what is chosen, what it gives, how sure it is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from decimal import ROUND_HALF_UP, ROUND_UP, Context, Decimal as D, localcontext
from fractions import Fraction
from itertools import combinations, product
from math import ceil

import pytest
from hypothesis import given, settings, strategies as st

from specctl.analysis.dose import Bench, void_reason
from specctl.analysis.measuring import Measure, equivalents_note, measure, solids_of
from specctl.domain.amount import Absent, Each, Grams, Tolerance, TopTo, Unweighed
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.place import ScoopCheck
from specctl.domain.recipe import Prep

FIVE = Tolerance(D("0.05"), D("0.05"), True)
TEN = Tolerance(D("0.1"), D("0.1"), True)


def tool(id: str, kind: str, **more: object) -> Tool:
    exact = {key: D(value) if isinstance(value, str) else value for key, value in more.items()}
    return Tool(id=id, name=id.replace("-", " "), kind=kind, **exact)  # type: ignore[arg-type]


def powder(bulk: str | None = "0.56", **more: object) -> Ingredient:
    density = Density(D(bulk), "weighed") if bulk else None
    return Ingredient(
        id="powder", name="Powder", state="powder", storage="ambient",
        product_code="P-1", bulk_density=density, **more,  # type: ignore[arg-type]
    )


def liquid(density: str | None = "1.031", **more: object) -> Ingredient:
    stated = Density(D(density), "stated") if density else None
    return Ingredient(
        id="liquid", name="Liquid", state="liquid", storage="chilled", density=stated, **more,  # type: ignore[arg-type]
    )


def check(item: str, tool: str, mean: str, spread: str, n: int = 10, **more: object) -> ScoopCheck:
    return ScoopCheck(
        id=f"{item}-{tool}", name="", ingredient=item, tool=tool, site="quay", n=n,
        mean=D(mean), spread=D(spread), date=date(2026, 3, 1), who="sam", **more,  # type: ignore[arg-type]
    )


def bench(*tools: Tool, checks: tuple[ScoopCheck, ...] = (), most: int = 6, halves: bool = False) -> Bench:
    return Bench(
        tuple(sorted(tools, key=lambda each: each.id)),
        {(each.ingredient, each.tool): each for each in checks}, most, halves,
    )


def said(found: Measure) -> list[tuple[str, D, str | None]]:
    return [(move.tool, move.times, move.mark) for move in found.moves]


# Scales


def test_a_scale_shows_the_target_rounded_half_up() -> None:
    found = measure(Grams(D("28.5")), FIVE, powder(), bench(tool("scale-1g", "scale", readability="1")))
    assert found.by == "scale" and found.verdict == "within"
    assert said(found) == [("scale-1g", D(1), "29 g")]
    assert (found.gives, found.off) == (D(29), D("0.50"))


def test_the_coarsest_scale_that_serves() -> None:
    fine, coarse = tool("fine", "scale", readability="0.1"), tool("coarse", "scale", readability="1")
    assert said(measure(Grams(D(60)), FIVE, powder(), bench(fine, coarse)))[0][0] == "coarse"
    assert said(measure(Grams(D(6)), FIVE, powder(), bench(fine, coarse)))[0][0] == "fine"


def test_half_a_step_must_fit_the_smaller_side() -> None:
    lopsided = Tolerance(D("0.4"), D(5), False)
    scale = tool("scale", "scale", readability="1")
    assert measure(Grams(D(30)), lopsided, powder(None), bench(scale)).verdict == "no-tool"
    assert measure(Grams(D(30)), Tolerance(D("0.5"), D(5), False), powder(None), bench(scale)).by == "scale"


def test_a_scale_that_may_round_out_of_the_tolerance_says_so() -> None:
    half = Tolerance(D("0.5"), D("0.5"), False)
    coarse, fine = tool("coarse", "scale", readability="1"), tool("fine", "scale", readability="0.1")
    alone = measure(Grams(D("28.4")), half, powder(), bench(coarse))
    assert alone.by == "scale" and "rounds" in (alone.note or "")
    both = measure(Grams(D("28.4")), half, powder(), bench(coarse, fine))
    assert both.moves[0].tool == "fine" and both.note is None


def test_loads_of_a_scale() -> None:
    scale = tool("scale", "scale", readability="0.1", min_load="5", max_load="200")
    assert measure(Grams(D("4.9")), TEN, powder(None), bench(scale)).verdict == "no-tool"
    assert measure(Grams(D(5)), TEN, powder(None), bench(scale)).by == "scale"
    assert measure(Grams(D(201)), TEN, powder(None), bench(scale)).verdict == "no-tool"


# Scoops


def test_scoops_by_bulk_density_are_unproven() -> None:
    # 30 ml at USDA SR28's bulk density of whole milk powder, 0.541 g/ml: 16.23 g
    found = measure(Grams(D("16.5")), FIVE, powder("0.541"), bench(tool("amber", "scoop", volume="30")))
    assert found.by == "tools" and said(found) == [("amber", D(1), None)]
    assert (found.gives, found.off, found.verdict) == (D("16.23"), D("-0.27"), "unproven")
    assert "bulk density" in (found.note or "")


def test_scoops_by_a_check_are_within_when_two_deviations_fit() -> None:
    amber = tool("amber", "scoop", volume="15")
    tight = check("powder", "amber", "8.4", "0.2")
    found = measure(Grams(D("16.8")), FIVE, powder(), bench(amber, checks=(tight,)))
    assert (found.gives, found.verdict, found.note) == (D("16.80"), "within", None)
    # two scoops of spread s and a mean known from ten: sd = s sqrt(2 + 4/10); 0.84 / 2 / 1.549 = 0.271
    assert measure(
        Grams(D("16.8")), FIVE, powder(), bench(amber, checks=(check("powder", "amber", "8.4", "0.271"),))
    ).verdict == "within"
    wide = measure(
        Grams(D("16.8")), FIVE, powder(), bench(amber, checks=(check("powder", "amber", "8.4", "0.272"),))
    )
    assert wide.verdict == "unproven" and "wider" in (wide.note or "")


def test_a_proven_way_goes_before_a_shorter_unproven_one() -> None:
    amber, large = tool("amber", "scoop", volume="15"), tool("large", "scoop", volume="30")
    checked = check("powder", "amber", "8.4", "0.1")
    found = measure(Grams(D("16.8")), FIVE, powder(), bench(amber, large, checks=(checked,)))
    assert said(found) == [("amber", D(2), None)] and found.verdict == "within"


def test_a_void_check_is_named_and_not_used() -> None:
    amber = tool("amber", "scoop", volume="15")
    old = check("powder", "amber", "9.9", "0.1", product_code="P-0")
    found = measure(Grams(D("16.8")), FIVE, powder(), bench(amber, checks=(old,)))
    assert (found.gives, found.verdict) == (D("16.80"), "unproven")
    assert "void" in (found.note or "") and "P-0" in (found.note or "")
    nothing = measure(Grams(D("16.8")), FIVE, powder(None), bench(amber, checks=(old,)))
    assert nothing.verdict == "no-tool"
    assert "void" in (nothing.note or "") and "no bulk density" in (nothing.note or "")


def test_when_a_check_is_void() -> None:
    now = powder("0.56")
    assert void_reason(check("powder", "a", "8", "0.1"), now) is None
    assert void_reason(check("powder", "a", "8", "0.1", product_code="P-1"), now) is None
    assert "P-9" in (void_reason(check("powder", "a", "8", "0.1", product_code="P-9"), now) or "")
    assert void_reason(check("powder", "a", "8", "0.1", bulk_density=D("0.560")), now) is None
    assert "0.55" in (void_reason(check("powder", "a", "8", "0.1", bulk_density=D("0.55")), now) or "")
    assert void_reason(check("powder", "a", "8", "0.1", bulk_density=D("0.56")), powder(None)) is not None
    assert void_reason(check("other", "a", "8", "0.1"), now) is not None


def test_half_scoops_only_where_the_book_allows_them() -> None:
    amber = tool("amber", "scoop", volume="15")
    checked = check("powder", "amber", "8.4", "0.01")
    target = Grams(D("12.6"))
    without = measure(target, FIVE, powder(), bench(amber, checks=(checked,)))
    assert without.verdict == "outside"
    allowed = measure(target, FIVE, powder(), bench(amber, checks=(checked,), halves=True))
    assert said(allowed) == [("amber", D("1.5"), None)]
    assert allowed.verdict == "unproven" and "eye" in (allowed.note or "")


def test_outside_shows_the_nearest() -> None:
    found = measure(Grams(D(20)), FIVE, powder("0.5"), bench(tool("cup", "scoop", volume="30")))
    assert (found.gives, found.off, found.verdict) == (D("15.00"), D("-5.00"), "outside")


def test_the_cap_on_motions() -> None:
    spoon = tool("spoon", "spoon", volume="5")
    assert measure(Grams(D("17.5")), FIVE, powder("0.5"), bench(spoon, most=7)).verdict == "unproven"
    assert measure(Grams(D("17.5")), FIVE, powder("0.5"), bench(spoon, most=6)).verdict == "outside"


# What measures what


@pytest.mark.parametrize("kind", ["jigger", "jug", "pump"])
def test_poured_tools_never_measure_powder(kind: str) -> None:
    poured = tool("it", kind, marks=(D(25),), graduation="10", up_to="100", stroke="8", volume="15")
    found = measure(Grams(D("12.5")), FIVE, powder("0.5"), bench(poured))
    assert found.by == "none" and found.verdict == "no-tool"


@pytest.mark.parametrize("kind", ["scoop", "disher"])
def test_scoops_never_measure_liquids(kind: str) -> None:
    found = measure(Grams(D("30.93")), FIVE, liquid(), bench(tool("it", kind, volume="30")))
    assert found.verdict == "no-tool" and "no tool here" in (found.note or "")


def test_ice_goes_by_the_scoop() -> None:
    ice = Ingredient(
        id="ice", name="Ice", state="ice", storage="frozen", bulk_density=Density(D("0.55"), "weighed")
    )
    found = measure(
        Grams(D(110)), TEN, ice, bench(tool("ice-scoop", "scoop", volume="100"), tool("spoon", "spoon", volume="5"))
    )
    assert said(found) == [("ice-scoop", D(2), None)] and found.verdict == "unproven"
    spoons = bench(tool("spoon", "spoon", volume="100"), tool("disher", "disher", volume="100"))
    assert measure(Grams(D(110)), TEN, ice, spoons).verdict == "no-tool"


def test_a_jug_with_a_stated_error_proves_a_liquid() -> None:
    # 90 ml of whole milk is 92-93 g; "90 g" is about 3 % low (common practice, no source)
    sure, vague = (tool("jug", "jug", graduation="10", up_to="500", error=e) for e in ("0.02", "0.03"))
    found = measure(Grams(D("92.79")), FIVE, liquid(), bench(sure))
    assert said(found) == [("jug", D(1), "90 ml")] and found.verdict == "within"
    assert measure(Grams(D("92.79")), FIVE, liquid(), bench(vague)).verdict == "unproven"
    silent = tool("jug", "jug", graduation="10", up_to="500")
    assert measure(Grams(D("92.79")), FIVE, liquid(), bench(silent)).verdict == "unproven"


def test_a_jug_is_filled_to_its_top_as_often_as_needed() -> None:
    jug = tool("jug", "jug", graduation="50", up_to="500")
    found = measure(Grams(D(1250)), FIVE, liquid("1"), bench(jug))
    assert found.gives == D("1250.00")
    assert sorted(said(found)) == [("jug", D(1), "250 ml"), ("jug", D(2), "500 ml")]


def test_jigger_marks_and_pump_strokes() -> None:
    jigger = tool("jigger", "jigger", marks=(D(25), D(50)))
    assert said(measure(Grams(D(75)), FIVE, liquid("1"), bench(jigger))) == [
        ("jigger", D(1), "25 ml"), ("jigger", D(1), "50 ml"),
    ]
    pump = tool("pump", "pump", stroke="8", error="0.02")
    found = measure(Grams(D("30.4")), TEN, liquid("1.27"), bench(pump))
    assert said(found) == [("pump", D(3), None)] and found.gives == D("30.48")


def test_the_error_of_one_tool_repeats_with_every_pour() -> None:
    # 25 + 50 ml by one jigger of 3 %: 2.25 ml off at one deviation, not the 1.68 of two tools
    jigger = tool("jigger", "jigger", marks=(D(25), D(50)), error="0.03")
    four = Tolerance(D("4"), D("4"), False)
    assert measure(Grams(D(75)), four, liquid("1"), bench(jigger)).verdict == "unproven"
    small = tool("small", "jigger", marks=(D(25),), error="0.03")
    large = tool("large", "jigger", marks=(D(50),), error="0.03")
    assert measure(Grams(D(75)), four, liquid("1"), bench(small, large)).verdict == "within"


def test_nothing_known_means_no_tool() -> None:
    found = measure(Grams(D(30)), FIVE, liquid(None), bench(tool("jug", "jug", graduation="10", up_to="500")))
    assert found.verdict == "no-tool" and "no density" in (found.note or "")
    assert "reads to 3 g" in (found.note or "")
    assert measure(Grams(D(30)), FIVE, liquid(), bench()).verdict == "no-tool"


def test_a_foam_is_never_proven_by_volume() -> None:
    foam = Prep(
        id="foam", name="Foam", lines={}, yields=D(100), keep="at-once",
        overrun=D(1), density=Density(D("1.04"), "weighed"),
    )
    found = measure(
        Grams(D(26)), FIVE, foam, bench(tool("jug", "jug", graduation="10", up_to="200", error="0.001"))
    )
    assert found.gives == D("26.00") and found.verdict == "unproven" and "air" in (found.note or "")


def test_what_is_not_a_mass() -> None:
    assert measure(Each(D(3)), FIVE, powder(), bench()).by == "count"
    assert measure(TopTo(D(15)), FIVE, liquid(), bench()).by == "eye"
    for nothing in (Absent(), Unweighed("2 tsp")):
        with pytest.raises(ValueError):
            measure(nothing, FIVE, powder(), bench())


def test_a_hostile_jug_does_not_run_for_ever() -> None:
    jug = tool("jug", "jug", graduation="0.000000001", up_to="999999999")
    assert measure(Grams(D(30)), FIVE, liquid(), bench(jug)).verdict == "no-tool"


def test_the_ambient_rounding_changes_nothing() -> None:
    tools = bench(
        tool("scale", "scale", readability="0.3", max_load="20"), tool("jug", "jug", graduation="10", up_to="500"),
        tool("spoon", "spoon", volume="4.92892159375"),
    )
    targets = [Grams(D(grams)) for grams in ("5.085", "12.15", "92.79", "33.333")]
    plain = [measure(target, FIVE, liquid("1.0309"), tools) for target in targets]
    with localcontext(Context(prec=50, rounding=ROUND_UP)):
        assert [measure(target, FIVE, liquid("1.0309"), tools) for target in targets] == plain


# Solids


def test_fructose_powder_against_syrup() -> None:
    # common practice, no source: two level teaspoons of fructose powder stand for 14 ml of
    # fructose syrup. Densities and water as stated by the test: powder 0.8 g/ml at 0.2 %
    # water, syrup 1.38 g/ml at 23 %.
    dry = powder("0.8", composition={"water": D("0.2")})
    syrup = liquid("1.38", composition={"water": D(23)})
    assert solids_of(D("8.00"), dry) == D("7.98")
    assert solids_of(D("19.32"), syrup) == D("14.88")
    said = equivalents_note(D("8.00"), dry, D("19.32"), syrup)
    assert said == "8 g Powder holds 7.98 g solids, 19.32 g Liquid 14.88 g (+86 %)"
    assert solids_of(D(8), powder()) is None
    assert equivalents_note(D(8), powder(), D(19), syrup) is None


# The solver against a plain search of everything


CENT = D("0.01")


def every_combination(item: Ingredient, where: Bench) -> Iterator[tuple[int, D, bool, tuple[tuple[object, ...], ...]]]:
    """(motions, exact grams, fits two deviations given room, parts) of all combinations."""
    doses: list[tuple[str, D, D, ScoopCheck | None, D | None, bool]] = []
    for each in where.tools:
        holds = where.checks.get((item.id, each.id))
        if each.kind in ("scoop", "spoon", "disher", "pump") and holds:
            doses.append((each.id, D(0), holds.mean, holds, None, each.kind != "pump"))
            continue
        if item.state == "liquid":
            assert item.density
            factor = item.density.value
            marks: list[D] = []
            if each.kind == "jigger":
                marks = list(each.marks)
            elif each.kind == "jug":
                assert each.graduation and each.up_to
                marks = [each.graduation * k for k in range(1, int(each.up_to / each.graduation) + 1)]
            doses += [(each.id, mark, mark * factor, None, each.error, False) for mark in marks]
            if each.kind in ("pump", "spoon"):
                ml = each.stroke if each.kind == "pump" else each.volume
                assert ml
                doses.append((each.id, D(0), ml * factor, None, each.error, each.kind == "spoon"))
        elif each.kind in ("scoop", "spoon", "disher"):
            assert item.bulk_density and each.volume
            doses.append((each.id, D(0), each.volume * item.bulk_density.value, None, None, True))
    for size in (1, 2):
        for chosen in combinations(doses, size):
            choices = [
                [D(k) / 2 for k in range(1, 2 * where.most_motions + 1)]
                if dose[5] and where.half_scoops
                else [D(k) for k in range(1, where.most_motions + 1)]
                for dose in chosen
            ]
            for times in product(*choices):
                motions = sum(ceil(t) for t in times)
                if motions <= where.most_motions:
                    yield motions, sum((t * dose[2] for t, dose in zip(times, chosen)), D(0)), True, tuple(
                        (dose, t) for t, dose in zip(times, chosen)
                    )


def two_deviations_fit(parts: tuple[tuple[object, ...], ...], room: D) -> bool:
    variance = Fraction(0)
    by_tool: dict[str, Fraction] = {}
    for (id, _, grams, holds, error, _halves), times in parts:  # type: ignore[misc]
        if times != int(times):
            return False
        if holds is not None and holds.n < 5:
            return False
        if holds is not None:
            variance += Fraction(times) * Fraction(holds.spread) ** 2
            variance += (Fraction(times) * Fraction(holds.spread)) ** 2 / holds.n
        elif error is not None:
            by_tool[id] = by_tool.get(id, Fraction(0)) + Fraction(times) * Fraction(grams) * Fraction(error)
        else:
            return False
    variance += sum(each**2 for each in by_tool.values())
    return Fraction(room) >= 0 and Fraction(room) ** 2 >= 4 * variance


def best_key(target: D, tolerance: Tolerance, item: Ingredient, where: Bench) -> tuple[object, ...] | None:
    under, over = tolerance.grams(target)
    keys: list[tuple[object, ...]] = []
    for motions, grams, _, parts in every_combination(item, where):
        off = grams.quantize(CENT, rounding=ROUND_HALF_UP) - target
        if not -under <= off <= over:
            keys.append((2, abs(off), motions))
        elif two_deviations_fit(parts, min(over - off, under + off)):
            keys.append((0, motions, abs(off)))
        else:
            keys.append((1, motions, abs(off)))
    return min(keys) if keys else None


def key_of(found: Measure) -> tuple[object, ...]:
    assert found.off is not None
    motions = sum(ceil(move.times) for move in found.moves)
    if found.verdict == "outside":
        return 2, abs(found.off), motions
    return (0 if found.verdict == "within" else 1), motions, abs(found.off)


small = st.decimals("0.5", "60", places=1)
share = st.sampled_from(["0", "0.005", "0.02", "0.05"]).map(D)
grams = st.decimals("1", "400", places=2)
sides = st.builds(
    Tolerance, st.sampled_from(["0.01", "0.05", "0.1"]).map(D), st.sampled_from(["0.02", "0.05"]).map(D), st.just(True)
)


@st.composite
def powder_benches(draw: st.DrawFn) -> Bench:
    volumes = draw(st.lists(small, min_size=1, max_size=3))
    kinds = draw(st.lists(st.sampled_from(["scoop", "spoon", "disher"]), min_size=3, max_size=3))
    tools = [tool(f"t{i}", kinds[i], volume=volume) for i, volume in enumerate(volumes)]
    checks = tuple(
        check("powder", each.id, str(draw(small)), str(draw(st.decimals("0", "0.6", places=2))), draw(st.integers(2, 30)))
        for each in tools if draw(st.booleans())
    )
    return bench(*tools, checks=checks, most=draw(st.integers(1, 5)), halves=draw(st.booleans()))


@st.composite
def liquid_benches(draw: st.DrawFn) -> Bench:
    tools = [tool("spoon", "spoon", volume=draw(small), error=draw(st.none() | share))]
    if draw(st.booleans()):
        marks = tuple(sorted(draw(st.sets(small, min_size=1, max_size=3))))
        tools.append(tool("jigger", "jigger", marks=marks, error=draw(st.none() | share)))
    if draw(st.booleans()):
        step = draw(st.sampled_from(["5", "10", "12.5", "30"]).map(D))
        tools.append(tool("jug", "jug", graduation=step, up_to=step * draw(st.integers(1, 9)), error=draw(st.none() | share)))
    if draw(st.booleans()):
        tools.append(tool("pump", "pump", stroke=draw(small), error=draw(st.none() | share)))
    return bench(*tools, most=draw(st.integers(1, 4)), halves=draw(st.booleans()))


@settings(max_examples=80, deadline=None)
@given(grams, sides, powder_benches())
def test_powder_optimum_is_exact(target: D, tolerance: Tolerance, where: Bench) -> None:
    found = measure(Grams(target), tolerance, powder("0.563"), where)
    assert key_of(found) == best_key(target, tolerance, powder("0.563"), where)


@settings(max_examples=80, deadline=None)
@given(grams, sides, liquid_benches())
def test_liquid_optimum_is_exact(target: D, tolerance: Tolerance, where: Bench) -> None:
    found = measure(Grams(target), tolerance, liquid("1.0309"), where)
    assert key_of(found) == best_key(target, tolerance, liquid("1.0309"), where)


@settings(max_examples=80, deadline=None)
@given(grams, sides, powder_benches())
def test_the_moves_give_what_they_say(target: D, tolerance: Tolerance, where: Bench) -> None:
    item = powder("0.563")
    found = measure(Grams(target), tolerance, item, where)
    tools = {each.id: each for each in where.tools}
    total = D(0)
    for move in found.moves:
        holds = where.checks.get((item.id, move.tool))
        volume = tools[move.tool].volume
        assert volume
        total += move.times * (holds.mean if holds else volume * D("0.563"))
    assert found.gives == total.quantize(CENT, rounding=ROUND_HALF_UP)
    assert found.off == found.gives - target


def test_ties_go_by_tool_id() -> None:
    twins = bench(tool("b", "scoop", volume="15"), tool("a", "scoop", volume="15"))
    assert said(measure(Grams(D("8.4")), FIVE, powder(), twins)) == [("a", D(1), None)]
    checks = (check("powder", "a", "8.4", "0.01"), check("powder", "b", "8.4", "0.01"))
    proven = bench(tool("b", "scoop", volume="15"), tool("a", "scoop", volume="15"), checks=checks)
    assert said(measure(Grams(D("8.4")), FIVE, powder(), proven)) == [("a", D(1), None)]
