"""Bench amounts to grams, against legal definitions of units and published densities.

Sources: NIST SP 811 (US customary), Weights and Measures Act 1985 (imperial),
21 CFR 101.9(b)(5)(viii) (US label), USDA SR28 portion weights, D. Goff, Dairy
Chemistry and Physics, University of Guelph (dairy), CRC Handbook (sucrose).
"""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from little_book import BOOK, demo, demo_files, ingredient, little, prep

from specctl.analysis.measuring import equivalents_note, solids_of
from specctl.change.facts import ORDER, diff, facts
from specctl.codec.load import load
from specctl.codec.meaning import meaning
from specctl.codec.normalise import Normalised, normalise, written_problems
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import ALL_SIZES
from specctl.domain.amount import Grams

INCH3 = Fraction("25.4") ** 3 / 1000  # ml; the inch is 25.4 mm by definition
US_GALLON = 231 * INCH3
IMPERIAL_GALLON = Fraction("4546.09")

# Every measure of the table with its size in ml from its primary definition.
MEASURES = {
    "tsp-us": US_GALLON / 768,
    "tbsp-us": US_GALLON / 256,
    "fl-oz-us": US_GALLON / 128,
    "cup-us": US_GALLON / 16,
    "pint-us": US_GALLON / 8,
    "quart-us": US_GALLON / 4,
    "tsp-us-label": Fraction(5),
    "tbsp-us-label": Fraction(15),
    "fl-oz-us-label": Fraction(30),
    "cup-us-label": Fraction(240),
    "tsp-metric": Fraction(5),
    "tbsp-metric": Fraction(15),
    "tbsp-au": Fraction(20),
    "cup-metric": Fraction(250),
    "fl-oz-imp": IMPERIAL_GALLON / 160,
    "pint-imp": IMPERIAL_GALLON / 8,
    "measure-uk-25": Fraction(25),
    "measure-uk-35": Fraction(35),
    "ml": Fraction(1),
    "cl": Fraction(10),
    "dl": Fraction(100),
    "l": Fraction(1000),
}
MASSES = {
    "oz-av": Fraction("28.349523125"),  # 1/16 of the pound of 453.59237 g, 1959
    "lb": Fraction("453.59237"),
    "oz-us-label": Fraction(28),
    "kg": Fraction(1000),
    "mg": Fraction(1, 1000),
}


def rounded(value: Fraction) -> Decimal:
    """Half up to 0.01, as a scale's owner would round."""
    return Decimal(int(value * 100 + Fraction(1, 2))) / 100


def run(files: dict[str, bytes], bench: str | None = None) -> Normalised:
    loaded = load(files)
    assert loaded.problems == (), loaded.problems
    return normalise(files, loaded, bench)


def grams_of(files: dict[str, bytes], bench: str | None = None) -> Decimal:
    """What the one line of the little book holds after normalising, read as a book again."""
    result = run(files, bench)
    assert result.problems == (), result.problems
    after = load({**files, **result.files})
    assert after.problems == () and written_problems(after) == []
    assert after.book is not None
    amount = after.book.preps["some"].lines["it"].amounts[ALL_SIZES]
    assert isinstance(amount, Grams)
    return amount.value


def test_the_fixture_of_this_table_is_the_law() -> None:
    """CHECKS: spelled-out decimals of NIST SP 811 and the 1985 Act."""
    assert [str(Decimal(v.numerator) / v.denominator) for v in (MEASURES["tsp-us"], MEASURES["tbsp-us"], MEASURES["fl-oz-us"])] == [
        "4.92892159375",
        "14.78676478125",
        "29.5735295625",
    ]
    assert MEASURES["fl-oz-imp"] == Fraction("28.4130625") and MEASURES["pint-imp"] == Fraction("568.26125")
    assert MEASURES["cup-us"] == Fraction("236.5882365")


@pytest.mark.parametrize("unit", MEASURES)
@pytest.mark.parametrize("number", ["1", "7.5"])
def test_a_measure_of_something_as_dense_as_water(unit: str, number: str) -> None:
    """1 g/ml: the grams are the millilitres of the definition."""
    assert grams_of(little(f"{number} {unit}", "1 g/ml")) == rounded(Fraction(number) * MEASURES[unit])


@pytest.mark.parametrize("unit", MASSES)
def test_a_unit_of_mass_needs_no_density(unit: str) -> None:
    assert grams_of(little(f"30 {unit}", None)) == rounded(30 * MASSES[unit])


@pytest.mark.parametrize(
    ("spoons", "spoon", "unit"),
    [
        ("metric", "tsp", "tsp-metric"),
        ("metric", "tbsp", "tbsp-metric"),
        ("metric", "cup", "cup-metric"),
        ("us-customary", "tsp", "tsp-us"),
        ("us-customary", "cup", "cup-us"),
        ("us-label", "cup", "cup-us-label"),
        ("us-label", "tbsp", "tbsp-us-label"),
        ("au", "tbsp", "tbsp-au"),
        ("au", "tsp", "tsp-metric"),
    ],
)
def test_a_bare_spoon_is_the_books_own(spoons: str, spoon: str, unit: str) -> None:
    files = little(f"2 {spoon}", "1 g/ml", spoons=spoons)
    assert grams_of(files) == rounded(2 * MEASURES[unit])
    assert f"written: 2 {unit} at 1 g/ml".encode() in run(files).files["preps/some.yaml"]


@pytest.mark.parametrize("amount", ["2 tsp", "1 tbsp", "1 cup", "1 fl oz", "1 pint", "1 oz", "1 shot", "1 dash", "1 pinch", "1 scoop", "1 pump"])
def test_an_ambiguous_measure_is_refused_with_its_place(amount: str) -> None:
    files = little(amount, "1 g/ml")
    loaded = load(files)
    result = normalise(files, loaded)
    assert result.files == {}
    found = [p for p in (*loaded.problems, *result.problems) if p.is_error]
    assert found and all((p.place.file, p.place.line) == ("preps/some.yaml", 5) and p.place.column >= 24 for p in found)


@pytest.mark.parametrize("amount", ["1,5 ml", "1 1/2 oz-av", "30±5 ml", "1 000 ml", "½ cup-us", "−5 ml", "30 ML", "1 pcs", "NaN ml", "9**9 ml", "1e3 ml"])
def test_what_a_units_library_would_guess_is_refused(amount: str) -> None:
    """Each was seen to give a wrong number without an error when read by a units library."""
    files = little(f'"{amount}"', "1 g/ml")
    loaded = load(files)
    result = normalise(files, loaded)
    assert result.files == {} and [p for p in (*loaded.problems, *result.problems) if p.is_error]


# Portion weights of USDA SR28 as remembered; their densities are the table's of published bulk densities.
PORTIONS = [
    ("granulated sugar", "0.845 g/ml", "1 cup-us", "200"),
    ("icing sugar, unsifted", "0.507 g/ml", "1 cup-us", "120"),
    ("icing sugar, sifted", "0.423 g/ml", "1 cup-us", "100"),
    ("cocoa", "0.364 g/ml", "1 cup-us", "86"),
    ("whole milk powder", "0.541 g/ml", "1 cup-us", "128"),
    ("skim milk powder", "0.507 g/ml", "1 cup-us", "120"),
    ("skim milk powder, instant", "0.287 g/ml", "1 cup-us", "68"),
    ("corn starch", "0.541 g/ml", "1 cup-us", "128"),
    ("tapioca pearl, dry", "0.643 g/ml", "1 cup-us", "152"),
    ("salt", "1.217 g/ml", "1 tsp-us", "6"),
    ("instant coffee", "0.203 g/ml", "1 tsp-us", "1"),
]


@pytest.mark.parametrize(("name", "density", "measure", "portion"), PORTIONS)
def test_powders_weigh_what_food_tables_say(name: str, density: str, measure: str, portion: str) -> None:
    """USDA SR28 portion weight over US customary volume; the density has three digits, so one of its last is allowed."""
    grams = grams_of(little(measure, density, state="powder"))
    volume = MEASURES[measure.split()[1]]
    assert abs(Fraction(grams) - Fraction(portion)) <= volume / 1000 + Fraction(1, 200), name


@pytest.mark.parametrize(("id", "measure", "portion"), [("sugar", "1 cup-us", "200"), ("cocoa", "1 cup-us", "86"), ("skim-milk-powder", "1 cup-us", "68"), ("tapioca-pearl", "1 cup-us", "152"), ("fine-salt", "1 tsp-us", "6")])  # fmt: skip
def test_the_demo_books_powders_do_too(id: str, measure: str, portion: str) -> None:
    files = {"book.yaml": BOOK, f"ingredients/{id}.yaml": demo_files()[f"ingredients/{id}.yaml"], "preps/some.yaml": prep(measure, use=id)}
    volume = MEASURES[measure.split()[1]]
    assert abs(Fraction(grams_of(files)) - Fraction(portion)) <= volume / 1000 + Fraction(1, 200)


@pytest.mark.parametrize(
    ("what", "density", "measure", "grams"),
    [
        # D. Goff, University of Guelph, at 20 °C, and at 4.4 °C for the last.
        ("producer milk", "1.030 g/ml", "100 ml", "103"),
        ("skim milk", "1.033 g/ml", "100 ml", "103.3"),
        ("half and half", "1.020 g/ml", "100 ml", "102"),
        ("light cream", "1.012 g/ml", "100 ml", "101.2"),
        ("heavy cream", "0.994 g/ml", "100 ml", "99.4"),
        ("heavy cream, cold", "1.008 g/ml", "100 ml", "100.8"),
        # CRC Handbook, sucrose in water at 20 °C.
        ("syrup, 50 %", "1.2295 g/ml", "20 ml", "24.59"),
        ("syrup, 60 %", "1.2864 g/ml", "25 ml", "32.16"),
        # IAPWS-95, 20 °C.
        ("water", "0.9982072 g/ml", "250 ml", "249.55"),
        # SR28: a cup of whole milk is 244 g; over 236.588 ml that is 1.0313 g/ml, not 1.017.
        ("whole milk", "1.0313 g/ml", "1 cup-us", "243.99"),
    ],
)
def test_liquids_weigh_what_handbooks_say(what: str, density: str, measure: str, grams: str) -> None:
    assert grams_of(little(measure, density)) == Decimal(grams), what


def test_ninety_millilitres_of_whole_milk_are_92_to_93_grams() -> None:
    """Common practice, no source: it is weighed as about 90 g. The rule of thumb is 3 % low."""
    milk = demo_files()["ingredients/whole-milk.yaml"]
    files = {"book.yaml": BOOK, "ingredients/whole-milk.yaml": milk, "preps/some.yaml": prep("90 ml", use="whole-milk")}
    grams = grams_of(files)
    assert Decimal(92) < grams < Decimal(93)
    assert Decimal("2.5") < (grams - 90) / grams * 100 < Decimal("3.5")
    line = run(files).files["preps/some.yaml"].decode().splitlines()[4]
    assert "amount: 92.97 g" in line and "written: 90 ml at 1.033 g/ml" in line


def test_a_drinks_powder_scoop_is_just_over_a_tablespoon() -> None:
    """Common practice, no source. The demo book's scoop for drinks powder is held against the US tablespoon."""
    book = demo().book
    assert book is not None and book.tools["scoop-amber"].volume is not None
    assert 1 < Fraction(book.tools["scoop-amber"].volume) / MEASURES["tbsp-us"] < Fraction("1.1")


def fructose(name: str, water: str) -> Ingredient:
    return Ingredient(id=name, name=name, state="powder", storage="ambient", composition={"water": Decimal(water)})


def test_two_teaspoons_of_fructose_powder_are_not_fourteen_millilitres_of_syrup() -> None:
    """Common practice, no source: the one is used for the other. Their solids differ by more than half.

    Densities from memory (powder loose 0.8 g/ml, syrup of 77 % solids 1.38 g/ml); the arithmetic is the check.
    """
    powder = grams_of(little("2 tsp-metric", "0.8 g/ml", state="powder"))
    syrup = grams_of(little("14 ml", "1.38 g/ml"))
    assert (powder, syrup) == (Decimal("8"), Decimal("19.32"))
    dry, wet = fructose("fructose powder", "0.2"), fructose("fructose syrup", "23")
    assert solids_of(powder, dry) == Decimal("7.98") and solids_of(syrup, wet) == Decimal("14.88")
    note = equivalents_note(syrup, wet, powder, dry)
    # (7.98 − 14.88) / 14.88 = −46.4 %
    assert note is not None and "14.88 g solids" in note and "7.98 g" in note and "-46 %" in note
    assert equivalents_note(syrup, fructose("unknown", "23"), powder, Ingredient(id="x", name="x", state="powder", storage="ambient")) is None


def test_comments_and_untouched_bytes_survive() -> None:
    files = little("90 ml", "1.033 g/ml")
    before = files["preps/some.yaml"].decode().splitlines(keepends=True)
    after = run(files).files["preps/some.yaml"].decode().splitlines(keepends=True)
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        ("  it: {use: something, amount: 90 ml}\n", "  it: {use: something, amount: 92.97 g, written: 90 ml at 1.033 g/ml}\n")
    ]


def test_block_style_and_crlf_survive() -> None:
    text = "name: Some prep\nlines:\n  it:\n    use: something\n    # by eye it is less\n    amount: 90 ml\n    # ten to the litre\n    tolerance: 5 %\nsteps:\n  stir:\n    do: Stir.\nyields: 1 kg\nkeep: chilled\nhold: 24 h\n"
    for ends in ("\n", "\r\n"):
        files = {**little("1 g", "1.033 g/ml"), "preps/some.yaml": text.replace("\n", ends).encode()}
        after = run(files).files["preps/some.yaml"].decode()
        assert after == text.replace("amount: 90 ml\n", "amount: 92.97 g\n    written: 90 ml at 1.033 g/ml\n").replace("\n", ends)


amounts = st.builds(
    lambda n, u: f"{n} {u}",
    st.decimals("0.1", "500", places=1).map(lambda d: f"{d.normalize():f}"),
    st.sampled_from([*MEASURES, *[m for m in MASSES if m != "mg"], "g"]),
)


@given(amounts, st.decimals("0.2", "1.5", places=3).map(lambda d: f"{d.normalize():f} g/ml"))
def test_it_is_idempotent_and_agrees_with_itself(amount: str, density: str) -> None:
    files = little(amount, density)
    result = run(files)
    assert result.problems == ()
    once = {**files, **result.files}
    loaded = load(once)
    assert loaded.problems == () and written_problems(loaded) == []
    again = normalise(once, loaded)
    assert again.files == {} and again.changes == () and again.problems == ()


def test_the_demo_book_is_normalised() -> None:
    assert normalise(dict(demo_files()), demo()).files == {}


@pytest.mark.parametrize("amount", ["30 g", "0.03 kg", "30.0 g", "30000 mg"])
def test_equal_values_are_one_fact_and_normalise_to_one_text(amount: str) -> None:
    one, other = little("30 g", None), little(amount, None)
    result = run(other)
    after = {**other, **result.files}
    assert grams_of(other) == Decimal(30)
    nodes = [load(f).nodes["preps/some.yaml"] for f in (one, after)]
    moved = diff(facts(meaning(nodes[0])), facts(meaning(nodes[1])))
    assert [c for c in moved if c.path[-1] not in ("written", ORDER)] == []


@pytest.mark.parametrize(
    ("more", "code"),
    [
        (", written: 90 ml at 1.033 g/ml", None),
        (", written: 80 ml at 1.033 g/ml", "written-disagrees"),
        (", written: 90 ml at 1.03 g/ml", "written-disagrees"),
        (", written: 90 ml", "written-form"),
        (", written: 90 ml at 5 g each", "written-form"),
    ],
)
def test_a_written_form_that_disagrees_is_a_problem_at_its_place(more: str, code: str | None) -> None:
    """Grams win; the form is what a person must correct."""
    files = little("92.97 g", "1.033 g/ml", more=more)
    loaded = load(files)
    found = [p for p in (*loaded.problems, *written_problems(loaded))]
    assert [p.code for p in found] == ([code] if code else [])
    column = files["preps/some.yaml"].decode().splitlines()[4].find(more.removeprefix(", written: ")) + 1
    assert [(p.place.file, p.place.line) for p in found] == [("preps/some.yaml", 5)] * len(found)
    assert all(p.place.column >= column for p in found)
    assert normalise(files, loaded).files == {}, "normalise never overrules grams"


def test_a_missing_density_is_a_problem_at_the_amount() -> None:
    files = little("90 ml", None)
    (problem,) = run(files).problems
    assert (problem.code, problem.place.line, problem.place.column) == ("density-missing", 5, len("  it: {use: something, amount: ") + 1)


def test_less_than_a_hundredth_of_a_gram_is_refused() -> None:
    (problem,) = run(little("0.004 ml", "1 g/ml")).problems
    assert problem.code == "amount-too-small"


def tooled(amount: str, density: str = "0.845 g/ml", volume: str = "1 tsp-us", check: bytes | None = None) -> dict[str, bytes]:
    files = little(amount, density, state="powder")
    files["tools/scoop-amber.yaml"] = f"name: Amber\nkind: scoop\nvolume: {volume}\n".encode()
    if check is not None:
        files |= {
            "scoop-checks/some.yaml": check,
            "sites/quay.yaml": demo_files()["sites/northsands-quay.yaml"],
            "sites/pier.yaml": demo_files()["sites/lantern-pier.yaml"],
        }
    return files


@pytest.mark.parametrize("volume", ["1 tsp-us", "4.928921594 ml", "5 ml", "16.2 ml"])
@pytest.mark.parametrize("density", ["0.845 g/ml", "0.123456789 g/ml"])
def test_a_dose_of_a_tool_is_its_volume_at_the_bulk_density(volume: str, density: str) -> None:
    """And what is written down reads back: a factor of more digits than the grammar takes would not."""
    number, _, unit = volume.partition(" ")
    exact = 2 * Fraction(number) * MEASURES[unit] * Fraction(density.split()[0])
    assert abs(Fraction(grams_of(tooled("2 scoop-amber", density, volume))) - exact) <= Fraction("0.0051")


CHECK = b"ingredient: something\ntool: scoop-amber\nsite: quay\nweighings: 8\nmean: 4.6 g\nspread: 0.2 g\ndate: 2026-09-08\nwho: Ada Quill\n"


def test_the_benchs_own_scoop_check_counts_before_the_density() -> None:
    files = tooled("2 scoop-amber", check=CHECK)
    loaded = load(files)
    at_bench = normalise(files, loaded, "quay")
    elsewhere = normalise(files, loaded, "pier")
    assert b"amount: 9.2 g, written: 2 scoop-amber at 4.6 g each" in at_bench.files["preps/some.yaml"]
    assert b"amount: 8.33 g" in elsewhere.files["preps/some.yaml"]  # 2 x 4.92892 ml x 0.845 g/ml


def test_from_then_on_the_scoop_may_change_and_the_spec_does_not() -> None:
    files = tooled("2 scoop-amber")
    files |= run(files).files
    before = files["preps/some.yaml"]
    files["tools/scoop-amber.yaml"] = b"name: Amber\nkind: scoop\nvolume: 20 ml\n"
    files["ingredients/something.yaml"] = ingredient("0.6 g/ml", state="powder")
    assert run(files).files == {} and files["preps/some.yaml"] == before
    assert written_problems(load(files)) == []


def test_sizes_and_options_are_normalised_each_by_themselves() -> None:
    drink = b"""\
name: Some drink
sizes:
  small: {name: Small, vessel: cup}
  large: {name: Large, vessel: cup}
layers:
  base:
    name: Base
    lines:
      it: {use: something, amount: {small: 100 ml, large: 150 g}}
      also: {use: something, amount: 10 g}
steps:
  pour:
    do: Pour.
    layer: base
options:
  more:
    name: More
    choices:
      much:
        name: Much more
        lines:
          base/it: {amount: {small: 130 ml, large: 180 ml}}
          base/also: {amount: 20 ml}
served: cold
"""
    files = {**little("1 g", "1.1 g/ml"), "drinks/some.yaml": drink, "vessels/cup.yaml": demo_files()["vessels/cold-cup-390.yaml"]}
    result = run(files)
    assert result.problems == ()
    text = result.files["drinks/some.yaml"].decode()
    assert "amount: {small: 110 g, large: 150 g}, written: {small: 100 ml at 1.1 g/ml}" in text
    assert "amount: {small: 143 g, large: 198 g}, written: {small: 130 ml at 1.1 g/ml, large: 180 ml at 1.1 g/ml}" in text
    assert "base/also: {amount: 22 g, written: 20 ml at 1.1 g/ml}" in text
    after = load({**files, **result.files})
    assert after.problems == () and written_problems(after) == []


def test_rounding_is_half_up() -> None:
    """0.125 g and 0.375 g at the third digit: half to even would give 0.12 and 0.38."""
    assert grams_of(little("0.125 ml", "1 g/ml")) == Decimal("0.13")
    assert Decimal("0.125").quantize(Decimal("0.01"), rounding=ROUND_HALF_UP) == Decimal("0.13")
