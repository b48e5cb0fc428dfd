"""Thresholds and exempt forms: a fact stays in its row; only whether a list asks for it is settled.

Sulphites: Regulation (EU) No 1169/2011, Annex II, 12: "more than 10 mg/kg or 10
mg/litre in terms of the total SO2 ... for products as proposed ready for
consumption"; Canada, Food and Drug Regulations, B.01.010.2, and FSANZ Standard
1.2.3: 10 and more. Exempt forms: Annex II, 1(a) and 6(a).
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make import (
    amount,
    book,
    change,
    choice,
    drink,
    facts,
    ingredient,
    layer,
    line,
    option,
    out,
    prep,
    stand_in,
    vessel,
)

from specctl.analysis.allergens import AllergenRow, Fact, facts_of
from specctl.analysis.build import STANDARD, Variant
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.domain.ingredient import AllergenFacts
from specctl.resources import demo_book

EU, US, CA, AU, CODEX = "eu-annex-ii", "us-falcpa", "ca", "au-nz", "codex"
ALL = (EU, "uk-annex-ii", US, CA, AU, CODEX)
GLUCOSE = "wheat based glucose syrups including dextrose"
REFINED = "fully refined soybean oil and fat"


@pytest.fixture(scope="module")
def lists() -> Book:
    root = demo_book()
    files = {str(p.relative_to(root)): p.read_bytes() for p in [root / "book.yaml", *(root / "lists").glob("*.yaml")]}
    made = load(files).book
    assert made is not None
    return made


def sulphited(mg: object = None, **more: object) -> AllergenFacts:
    stated = {} if mg is None else {"sulphites": Decimal(str(mg))}
    return facts(("sulphites",), answers_for=ALL, mg_per_kg=stated, **more)


CLEAN = facts(answers_for=ALL)
WATER = ingredient("water", CLEAN, density="1")


def made(lists: Book, *records: object) -> Book:
    return replace(lists, **{k: v for k, v in vars_of(book(*records, vessel())).items() if v})


def vars_of(small: Book) -> dict[str, object]:
    return {k: getattr(small, k) for k in ("ingredients", "preps", "drinks", "vessels")}


def cup(cordial: object, water: object, **more: object) -> object:
    return drink("cup", layer("base", line("cordial", "cordial", cordial), line("water", "water", water)), **more)


def fact(held: Book, list_id: str, variant: Variant = STANDARD, substance: str = "sulphites", **more: object) -> Fact:
    row: AllergenRow = facts_of(held, held.drinks["cup"], held.lists[list_id], variant, **more)
    return next(f for f in row.contains if f.substance == substance)


@pytest.mark.parametrize(
    ("mg", "asked_by"),
    [
        # 50 g of cordial in 500 g as served: a tenth of what the document states
        ("99.9", ()),
        ("100", (CA, AU, CODEX)),  # 10 mg/kg: at the limit, not above it
        ("100.1", (EU, "uk-annex-ii", CA, AU, CODEX)),
    ],
)
def test_the_boundary_of_sulphites_as_served_and_diluted(lists: Book, mg: str, asked_by: tuple[str, ...]) -> None:
    held = made(lists, ingredient("cordial", sulphited(mg), density="1"), WATER, cup(50, 450))
    for list_id in (EU, "uk-annex-ii", CA, AU, CODEX):
        assert fact(held, list_id).listed is (list_id in asked_by), list_id


def test_what_is_not_asked_for_stays_contained_and_says_why(lists: Book) -> None:
    held = made(lists, ingredient("cordial", sulphited("22"), density="1"), WATER, cup(50, 450))
    (path,) = fact(held, EU).paths
    assert path == "base/cordial > ingredient/cordial (at most 2.2 mg in a kg or l as served; this list asks above 10)"
    assert fact(held, EU).group == "sulphites"
    # CHECKS: sulphites are on no US list of major allergens; the fact is there all the same.
    assert not fact(held, US).listed


def test_the_worst_size_counts_and_ice_dilutes_nothing(lists: Book) -> None:
    cordial = ingredient("cordial", sulphited("100"), density="1")
    ice = ingredient("ice", CLEAN, state="ice", density="0.917")
    two = made(lists, cordial, WATER, cup({"small": 50, "large": 60}, {"small": 450, "large": 500}, sizes=("small", "large")))
    assert fact(two, EU).listed
    iced = drink("cup", layer("base", line("c", "cordial", 50), line("w", "water", 440), line("i", "ice", 1000)))
    assert fact(made(lists, cordial, WATER, ice, iced), EU).listed


def test_a_litre_of_what_is_heavier_than_water_holds_more_than_a_kilogram(lists: Book) -> None:
    # 9.5 mg/kg in a drink of at most 1.2 g/ml may be 11.4 mg in a litre.
    held = made(lists, ingredient("cordial", sulphited("95"), density="1.2"), WATER, cup(50, 450))
    assert fact(held, EU).listed
    lighter = made(lists, ingredient("cordial", sulphited("95"), density="1.05"), WATER, cup(50, 450))
    assert not fact(lighter, EU).listed


def test_each_choice_is_held_against_the_limit_by_itself(lists: Book) -> None:
    held = made(
        lists, ingredient("cordial", sulphited("95"), density="1"), WATER,
        cup(50, 450, options=(option("fizz", choice("none", out("base/water"))), option("more", choice("more", change("base/cordial", None, 60))))),
    )  # fmt: skip
    assert not fact(held, EU).listed
    assert fact(held, EU, Variant("fizz=none", "x")).listed
    assert fact(held, EU, Variant("more=more", "x")).listed


@pytest.mark.parametrize(
    "cordial",
    [
        sulphited(),  # no amount stated
        sulphited("1", product_code="OTHER"),  # the document is for other goods
        facts(("sulphites",), answers_for=ALL, mg_per_kg={"milk": Decimal(1)}),
    ],
)
def test_without_an_amount_by_its_own_document_it_is_declared(lists: Book, cordial: AllergenFacts) -> None:
    held = made(lists, ingredient("cordial", cordial, density="1"), WATER, cup(1, 450))
    assert fact(held, EU).listed and "at most" not in fact(held, EU).paths[0]


def test_a_second_way_in_without_an_amount_is_enough_to_declare_it(lists: Book) -> None:
    weak = ingredient("cordial", sulphited("1"), density="1")
    for other in (
        sulphited(),
        facts(may_contain=("sulphites",), answers_for=ALL),
        None,  # unknown
    ):
        held = made(lists, weak, ingredient("water", other, density="1"), cup(1, 450))
        assert fact(held, EU).listed


def test_a_line_nobody_weighed_a_stand_in_and_a_prep_are_declared(lists: Book) -> None:
    weak = ingredient("cordial", sulphited("1"), density="1")
    assert fact(made(lists, weak, WATER, cup(1, "30 ml")), EU).listed
    swap = cup(1, 450, substitutes=(stand_in("k", "water", "cordial"),))
    held = made(lists, weak, WATER, swap)
    assert not fact(held, EU).listed
    assert fact(held, EU, Variant("substitute=k", "x")).listed
    assert fact(held, EU, stocks={"water": "cordial"}).listed
    mixed = made(lists, weak, WATER, prep("mix", 451, line("c", "cordial", 1), line("w", "water", 450)), cup(1, 1))
    row = facts_of(mixed, mixed.preps["mix"], mixed.lists[EU])
    assert [f.listed for f in row.contains] == [True]


def test_what_goes_in_by_a_prep_is_diluted_by_its_yield(lists: Book) -> None:
    # 100 g of cordial at 500 mg/kg make 1000 g; 100 g of that in 500 g: 10 mg/kg.
    mix = prep("mix", 1000, line("c", "cordial", 100), line("w", "water", 900))
    for stated, listed in (("500", False), ("500.1", True)):
        held = made(
            lists, ingredient("cordial", sulphited(stated), density="1"), WATER, mix,
            drink("cup", layer("base", line("m", "mix", 100), line("w", "water", 400))),
        )  # fmt: skip
        assert fact(held, EU).listed is listed


def test_the_row_lapses_with_the_document_the_amount_rests_on(lists: Book) -> None:
    cordial = sulphited("1", dated=facts().dated.replace(year=2025))
    held = made(lists, ingredient("cordial", cordial, density="1"), ingredient("water", CLEAN, density="1"), cup(1, 450))
    row = facts_of(held, held.drinks["cup"], held.lists[EU])
    assert row.absent_until == cordial.trusted_until(held.settings.documents_last)


@pytest.mark.parametrize(
    ("substance", "form", "spared_by"),
    [
        ("wheat", GLUCOSE, (EU, "uk-annex-ii")),
        ("soya", REFINED, (EU, "uk-annex-ii")),
        ("soya", "highly refined oil", (US,)),  # 21 U.S.C. 321(qq)(2)(A), from memory
        ("soya", "a refined oil, surely", ()),
    ],
)
def test_a_form_is_exempt_only_where_the_list_names_it(lists: Book, substance: str, form: str, spared_by: tuple[str, ...]) -> None:
    thing = facts((substance,), answers_for=ALL, forms={substance: (form,)})
    held = made(lists, ingredient("thing", thing), drink("cup", layer("base", line("a", "thing", 10))))
    for list_id in (EU, "uk-annex-ii", US):
        told = fact(held, list_id, substance=substance)
        assert told.listed is (list_id not in spared_by)
        assert (f"exempt form by its document: {form}" in told.paths[0]) is (list_id in spared_by)


@pytest.mark.parametrize(
    "thing",
    [
        facts(("wheat",), answers_for=ALL),  # does not declare the form
        facts(("wheat",), answers_for=ALL, forms={"wheat": (GLUCOSE,)}, product_code="OTHER"),
        facts(("wheat",), answers_for=ALL, forms={"soya": (GLUCOSE,)}),
    ],
)
def test_a_form_nobody_declared_is_none(lists: Book, thing: AllergenFacts) -> None:
    held = made(lists, ingredient("thing", thing), drink("cup", layer("base", line("a", "thing", 10))))
    assert fact(held, EU, substance="wheat").listed


def test_flour_beside_glucose_syrup_is_wheat(lists: Book) -> None:
    syrup = ingredient("syrup", facts(("wheat",), answers_for=ALL, forms={"wheat": (GLUCOSE,)}))
    flour = ingredient("flour", facts(("wheat",), answers_for=ALL))
    held = made(lists, syrup, flour, drink("cup", layer("base", line("a", "syrup", 10), line("b", "flour", 1))))
    assert fact(held, EU, substance="wheat").listed


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.tuples(st.integers(1, 400), st.one_of(st.none(), st.integers(0, 300))), min_size=1, max_size=4),
    st.integers(0, 500),
    st.integers(0, 300),
)
def test_more_of_it_never_makes_it_less_declared(pours: list[tuple[int, int | None]], water: int, more: int) -> None:
    """Law: the substance is always in the row, and a line that brings more of it never unlists it."""
    root = demo_book()
    lists = load({str(p.relative_to(root)): p.read_bytes() for p in [root / "book.yaml", root / "lists" / f"{EU}.yaml"]}).book
    assert lists is not None

    def row(extra: int | None) -> Fact:
        each = [*pours, *([(10, extra)] if extra is not None else [])]
        goods = [ingredient(f"c{i}", sulphited(mg), density="1") for i, (_, mg) in enumerate(each)]
        lines_ = [line(f"l{i}", f"c{i}", grams) for i, (grams, _) in enumerate(each)]
        poured = [line("w", "water", amount(water))] if water else []
        return fact(made(lists, *goods, WATER, drink("cup", layer("base", *lines_, *poured))), EU)

    before = row(None)
    worst = max((mg for _, mg in pours if mg is not None), default=0)
    if before.listed:
        assert row(worst + more).listed
