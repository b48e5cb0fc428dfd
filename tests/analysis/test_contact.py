"""Shared equipment: what is carried, what lowers a warning, and that nothing gets lost.

The rule is Codex CXC 80-2020 (cross-contact and validated cleaning); the cases
are of our own making, each worked out by hand.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial

import make
from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.analysis.allergens import AllergenRow, facts_of
from specctl.analysis.build import STANDARD, Variant, variants
from specctl.analysis.cleanrule import check_cleaning
from specctl.analysis.contact import Kitchen
from specctl.domain.book import Book
from specctl.domain.cleaning import Cleaning
from specctl.domain.place import Site
from specctl.domain.recipe import Step

NORTH = make.allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), oats=("oats",))
ALL = ("north",)
TODAY = date(2026, 6, 1)


def uses(*equipment: str) -> tuple[Step, ...]:
    return (Step("work", "Work it.", None, equipment),)


def steps(*equipment: str) -> dict[str, Step]:
    return {step.key: step for step in uses(*equipment)}


def stated(id: str, *contains: str, may: tuple[str, ...] = ()) -> object:
    return make.ingredient(id, make.facts(contains, may, answers_for=ALL))


def cup(id: str, *used: str, equipment: tuple[str, ...] = (), **more: object) -> object:
    made = [make.line(f"line-{n}", use, 30) for n, use in enumerate(used)]
    return make.drink(id, make.layer("cup", *made), steps=uses(*equipment), **more)


def world(*records: object, **sites: Site) -> Book:
    return make.book(NORTH, make.market(), make.franchise(), make.site("pier"), *sites.values(), *records)


def kitchen(book: Book, site: Site | None = None) -> Kitchen:
    here = site or book.sites["pier"]
    return Kitchen(book, here, NORTH, lambda recipe, variant: facts_of(book, recipe, NORTH, variant, here.stocks))


def row(book: Book, id: str, site: Site | None = None, variant: Variant = STANDARD) -> AllergenRow:
    return kitchen(book, site).row(book.drinks[id], variant)


def cleaned(book: Book, equipment: str, method: str, document: str = "Swab record 4", dated: date | None = date(2026, 2, 1)) -> Site:
    rule = Cleaning(equipment, method, document, dated)
    return replace(book.sites["pier"], cleaning={equipment: rule}, equipment=frozenset({equipment}))


SHAKER = world(
    stated("cream", "milk"),
    stated("paste", "hazelnut", may=("almond",)),
    stated("water"),
    cup("creamy", "cream", equipment=("shaker",)),
    cup("nutty", "paste", equipment=("shaker", "blender")),
    cup("plain", "water", equipment=("shaker",)),
    cup("apart", "water", equipment=("spoon",)),
)


def test_what_goes_through_one_shaker_may_be_in_everything_made_with_it() -> None:
    plain = row(SHAKER, "plain")
    assert [(f.substance, f.paths) for f in plain.may_contain] == [
        ("milk", ("shared shaker: Creamy contains Milk",)),
        ("hazelnut", ("shared shaker: Nutty contains Hazelnut",)),
        ("almond", ("shared shaker: Nutty may contain Almond",)),
    ]
    assert not plain.contains
    assert row(SHAKER, "apart").may_contain == ()


def test_a_fact_never_gets_weaker_and_its_own_way_stays() -> None:
    nutty = row(SHAKER, "nutty")
    assert [f.substance for f in nutty.contains] == ["hazelnut"]
    assert nutty.contains[0].paths == ("cup/line-0 > ingredient/paste",)
    almond = next(f for f in nutty.may_contain if f.substance == "almond")
    assert almond.paths[0] == "cup/line-0 > ingredient/paste"


def test_what_nobody_answers_for_becomes_may_contain_and_keeps_its_own_way() -> None:
    book = world(
        make.ingredient("mystery"), stated("cream", "milk"),
        cup("creamy", "cream", equipment=("shaker",)), cup("open", "mystery", equipment=("shaker",)),
    )
    milk = next(f for f in row(book, "open").may_contain if f.substance == "milk")
    assert milk.paths == ("shared shaker: Creamy contains Milk", "cup/line-0 > ingredient/mystery (unknown)")
    assert {f.substance for f in row(book, "open").unknown} == {"hazelnut", "almond", "oats"}
    # Not carried into the row of the other, and named beside the equipment.
    assert row(book, "creamy").unknown == ()
    assert kitchen(book).shared(book.drinks["creamy"])[0].unanswered == ("Open",)


def test_a_prep_carries_its_equipment_into_every_drink_it_goes_into() -> None:
    book = world(
        stated("cream", "milk"), stated("oat-drink", "oats"), stated("water"),
        make.prep("cream-foam", 30, make.line("cream", "cream", 30), steps=steps("foam-whip")),
        make.prep("oat-foam", 30, make.line("oat", "oat-drink", 30), steps=steps("foam-whip")),
        cup("oaty", "oat-foam"), cup("creamy", "cream-foam"), cup("plain", "water"),
    )
    oaty = row(book, "oaty")
    assert [(f.substance, f.paths) for f in oaty.may_contain] == [
        ("milk", ("shared foam-whip: Cream foam contains Milk",))
    ]
    assert kitchen(book).row(book.preps["oat-foam"]).status("milk") == "may contain"
    assert row(book, "plain").may_contain == ()


def test_a_choice_and_a_stand_in_count_for_everybody_who_shares() -> None:
    asked = make.option("extra", make.choice("nuts", make.change("cup/nuts", "paste", 5)))
    swap = make.stand_in("other", "water", "cream")
    book = world(
        stated("cream", "milk"), stated("paste", "hazelnut"), stated("water"),
        cup("asked", "water", equipment=("shaker",), options=(asked,), substitutes=(swap,)),
        cup("plain", "water", equipment=("shaker",)),
    )
    assert {f.substance for f in row(book, "plain").may_contain} == {"hazelnut", "milk"}
    own = row(book, "asked").may_contain
    assert {f.substance for f in own} == {"hazelnut", "milk"}
    assert all("made with another choice" in f.paths[0] for f in own)


def test_a_drink_not_served_here_leaves_nothing_here() -> None:
    site = replace(SHAKER.sites["pier"], not_served=frozenset({"nutty"}))
    assert {f.substance for f in row(SHAKER, "plain", site).may_contain} == {"milk"}
    assert {f.substance for f in row(SHAKER, "plain").may_contain} == {"milk", "hazelnut", "almond"}


def test_a_rinse_and_a_wipe_clear_nothing_even_with_a_paper() -> None:
    for method in ("rinse", "wipe"):
        assert row(SHAKER, "plain", cleaned(SHAKER, "shaker", method)) == row(SHAKER, "plain")


def test_a_wash_without_a_dated_paper_clears_nothing() -> None:
    for document, dated in (("", date(2026, 2, 1)), ("Swab record 4", None)):
        site = cleaned(SHAKER, "shaker", "wash", document, dated)
        assert row(SHAKER, "plain", site) == row(SHAKER, "plain")
        assert [p.code for p in check_cleaning(replace(SHAKER, sites={"pier": site}), TODAY)] == ["cleaning-lowers-nothing"]


def test_an_evidenced_wash_lowers_the_warning_until_its_paper_is_too_old() -> None:
    for method in ("wash", "machine-wash", "kept-apart"):
        site = cleaned(SHAKER, "shaker", method)
        plain = row(SHAKER, "plain", site)
        assert plain.may_contain == ()
        # Documents last 730 days here; the water's own is of 10 January.
        assert plain.absent_until == date(2028, 1, 10)
        late = cleaned(SHAKER, "shaker", method, dated=date(2025, 2, 1))
        assert row(SHAKER, "plain", late).absent_until == date(2027, 2, 1)
        assert kitchen(SHAKER, site).shared(SHAKER.drinks["plain"])[0].lowered


def test_a_cleaning_rule_never_lowers_what_is_in_the_cup() -> None:
    site = cleaned(SHAKER, "shaker", "wash")
    assert row(SHAKER, "nutty", site).status("hazelnut") == "contains"
    assert row(SHAKER, "nutty", site).status("almond") == "may contain"


def test_findings_on_cleaning_rules() -> None:
    def codes(site: Site) -> list[str]:
        return [p.code for p in check_cleaning(replace(SHAKER, sites={"pier": site}), TODAY)]

    assert codes(cleaned(SHAKER, "shaker", "wash")) == []
    assert codes(cleaned(SHAKER, "shaker", "rinse")) == ["cleaning-lowers-nothing"]
    assert codes(cleaned(SHAKER, "shaker", "wash", dated=date(2020, 1, 1))) == ["cleaning-document-old"]
    stranger = replace(cleaned(SHAKER, "shaker", "wash"), equipment=frozenset())
    assert codes(stranger) == ["cleaning-unknown-equipment"]


SUBSTANCES = ("milk", "hazelnut", "almond", "oats")
GEAR = ("shaker", "blender", "spoon")
statement = st.tuples(st.sets(st.sampled_from(SUBSTANCES)), st.sets(st.sampled_from(SUBSTANCES)))
recipe = st.tuples(st.lists(st.integers(0, 3), min_size=1, max_size=3), st.sets(st.sampled_from(GEAR)))


def built(statements: list[tuple[set[str], set[str]]], recipes: list[tuple[list[int], set[str]]]) -> Book:
    made = [stated(f"in-{n}", *sorted(c), may=tuple(sorted(m - c))) for n, (c, m) in enumerate(statements)]
    cups = [
        cup(f"cup-{n}", *(f"in-{i}" for i in dict.fromkeys(uses_)), equipment=tuple(sorted(gear)))
        for n, (uses_, gear) in enumerate(recipes)
    ]
    return world(*made, *cups)


@settings(max_examples=60, deadline=None)
@given(st.lists(statement, min_size=4, max_size=4), st.lists(recipe, min_size=1, max_size=4))
def test_the_matrix_is_the_union_over_ways_in_and_shared_equipment(
    statements: list[tuple[set[str], set[str]]], recipes: list[tuple[list[int], set[str]]]
) -> None:
    book = built(statements, recipes)
    inside = [{s for i in used for s in statements[i][0] | statements[i][1]} for used, _ in recipes]
    for n, (used, gear) in enumerate(recipes):
        shown = row(book, f"cup-{n}")
        told = {f.substance for f in (*shown.contains, *shown.may_contain)}
        expected = set(inside[n])
        for m, (_, other) in enumerate(recipes):
            if gear & other:
                expected |= inside[m]
        assert told == expected
        assert {f.substance for f in shown.contains} == {s for i in used for s in statements[i][0]}
        assert all(f.paths for f in (*shown.contains, *shown.may_contain))


@settings(max_examples=60, deadline=None)
@given(st.lists(statement, min_size=4, max_size=4), st.lists(recipe, min_size=1, max_size=4), st.integers(0, 3), st.integers(0, 3))
def test_adding_an_ingredient_anywhere_never_removes_or_weakens_a_fact(
    statements: list[tuple[set[str], set[str]]], recipes: list[tuple[list[int], set[str]]], which: int, added: int
) -> None:
    before = built(statements, recipes)
    which %= len(recipes)
    more = [(([*used, added]) if n == which else used, gear) for n, (used, gear) in enumerate(recipes)]
    after = built(statements, more)
    order = ("absent", "unknown", "may contain", "contains")
    for n in range(len(recipes)):
        was, now = row(before, f"cup-{n}"), row(after, f"cup-{n}")
        for substance in SUBSTANCES:
            assert order.index(now.status(substance)) >= order.index(was.status(substance))


def test_every_variant_has_a_row_that_holds_at_least_its_own_facts() -> None:
    asked = make.option("extra", make.choice("nuts", make.change("cup/nuts", "paste", 5)))
    book = world(
        stated("cream", "milk"), stated("paste", "hazelnut"), stated("water"),
        cup("asked", "water", equipment=("shaker",), options=(asked,)), cup("creamy", "cream", equipment=("shaker",)),
    )
    here = kitchen(book)
    own = partial(facts_of, book, book.drinks["asked"], NORTH)
    for variant in variants(book.drinks["asked"], None, book):
        base, joined = own(variant), here.row(book.drinks["asked"], variant)
        for substance in SUBSTANCES:
            if base.status(substance) != "absent":
                assert joined.status(substance) in (base.status(substance), "contains", "may contain")
