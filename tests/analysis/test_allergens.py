"""Allergen facts of a drink: traced, never lost, unknown never read as absent.

What each list holds is checked against the law named beside it; the laws of
tracing are property tests over made-up drinks.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from make import (
    DATED,
    LASTS,
    allergen_list,
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
)

from specctl.analysis.allergens import STRENGTH, facts_of, rows_of
from specctl.analysis.build import STANDARD, Variant, variants
from specctl.analysis.ways import MOST_WAYS
from specctl.codec.load import load
from specctl.resources import demo_book

NORTH = allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), soya=("soya",))
SOUTH = allergen_list("south", milk=("milk",), lupin=("lupin",))
CLEAN = facts(answers_for=("north", "south"))


def substances(found):
    return [fact.substance for fact in found]


def one_line(stated, **more):
    return book(
        NORTH, SOUTH, ingredient("thing", stated, **more), drink("cup", layer("base", line("a", "thing", 10)))
    )


def row_of(made, variant=STANDARD, stocks=None):
    return facts_of(made, made.drinks["cup"], NORTH, variant, stocks)


# --- what a document proves -------------------------------------------------


def test_no_document_leaves_every_listed_substance_unknown():
    row = row_of(one_line(None))
    assert substances(row.unknown) == ["milk", "hazelnut", "almond", "soya"]
    assert (row.contains, row.may_contain, row.absent_until) == ((), (), None)


def test_an_ingredient_that_is_not_in_the_book_is_unknown_too():
    made = book(NORTH, drink("cup", layer("base", line("a", "ghost", 10))))
    assert len(row_of(made).unknown) == 4
    assert row_of(made).unknown[0].paths == ("base/a > ingredient/ghost",)


def test_silence_is_unknown_unless_the_document_answers_for_a_list_that_holds_it():
    row = row_of(one_line(facts(contains=("milk",), answers_for=("south",))))
    assert substances(row.contains) == ["milk"]
    assert substances(row.unknown) == ["hazelnut", "almond", "soya"]
    assert row_of(one_line(CLEAN)).unknown == ()
    assert len(row_of(one_line(facts(answers_for=("nowhere",)))).unknown) == 4


def test_absent_by_name_is_absent():
    row = row_of(one_line(facts(absent=("milk", "hazelnut"))))
    assert substances(row.unknown) == ["almond", "soya"]


def test_a_document_for_another_product_proves_no_absence_and_keeps_what_it_contains():
    stated = facts(contains=("milk",), may_contain=("soya",), answers_for=("north",), product_code="B")
    row = row_of(one_line(stated, product_code="A"))
    assert substances(row.contains) == ["milk"]
    assert substances(row.may_contain) == ["soya"]
    assert substances(row.unknown) == ["hazelnut", "almond"]
    assert row.absent_until is None
    # one that names no product at all proves no absence of this one either
    assert len(row_of(one_line(facts(answers_for=("north",)), product_code="A")).unknown) == 4


def test_contained_and_absent_at_once_counts_as_contained():
    row = row_of(one_line(facts(contains=("milk",), absent=("milk",), answers_for=("north",))))
    assert substances(row.contains) == ["milk"]


def test_contains_beats_may_contain_beats_unknown_and_no_path_is_lost():
    made = book(
        NORTH,
        ingredient("a", facts(contains=("milk",), answers_for=("north",))),
        ingredient("b", facts(may_contain=("milk", "soya"), answers_for=("north",))),
        ingredient("c"),
        drink("cup", layer("base", *(line(k, k, 10) for k in "abc"))),
    )
    row = row_of(made)
    assert row.contains[0].paths == (
        "base/a > ingredient/a",
        "base/b > ingredient/b (may contain)",
        "base/c > ingredient/c (unknown)",
    )
    assert row.may_contain[0].paths == ("base/b > ingredient/b", "base/c > ingredient/c (unknown)")
    assert substances(row.may_contain) == ["soya"]
    assert substances(row.unknown) == ["hazelnut", "almond"]


def test_a_fact_off_the_list_stays_and_says_so():
    row = row_of(one_line(facts(contains=("lupin",), may_contain=("buckwheat",), answers_for=("north",))))
    lupin, buckwheat = row.contains[0], row.may_contain[0]
    assert (lupin.substance, lupin.listed, lupin.group, lupin.name) == ("lupin", False, None, "Lupin")
    assert (buckwheat.listed, buckwheat.name) == (False, "buckwheat")


def test_off_the_list_silence_is_no_finding():
    made = book(
        NORTH,
        ingredient("a", facts(contains=("lupin",), answers_for=("north",))),
        ingredient("b", CLEAN),
        drink("cup", layer("base", line("a", "a", 10), line("b", "b", 10))),
    )
    row = row_of(made)
    assert row.contains[0].paths == ("base/a > ingredient/a",)
    assert row.unknown == ()


def test_a_threshold_never_drops_a_fact():
    """Regulation (EU) 1169/2011 Annex II 12 sets 10 mg/kg; below it is not known here."""
    sulphites = allergen_list("north", sulphites=("sulphites",))
    group = replace(sulphites.groups["sulphites"], threshold="above 10 mg/kg", exempt=("all of it",))
    sulphites = replace(sulphites, groups={"sulphites": group})
    made = book(
        sulphites,
        ingredient("thing", facts(contains=("sulphites",), answers_for=("north",))),
        drink("cup", layer("base", line("a", "thing", "0.01 g"))),
    )
    assert substances(facts_of(made, made.drinks["cup"], sulphites).contains) == ["sulphites"]


def test_a_coarse_name_says_nothing_of_the_finer_ones():
    """EU Annex II lists crustaceans as one; Japan lists shrimp and crab apart
    (Food Labelling Standards, Annexed Table 14): the first cannot answer the second."""
    coarse = allergen_list("eu", crustaceans=("crustaceans", "shrimp", "crab"))
    fine = allergen_list("jp", shrimp=("shrimp",), crab=("crab",))

    def row(stated):
        made = book(coarse, fine, ingredient("p", stated), drink("cup", layer("b", line("a", "p", 5))))
        return facts_of(made, made.drinks["cup"], fine)

    sauce = row(facts(contains=("crustaceans",), answers_for=("eu", "jp")))
    assert substances(sauce.unknown) == ["shrimp", "crab"]
    assert substances(sauce.contains) == ["crustaceans"]
    named = row(facts(contains=("crustaceans", "crab"), absent=("shrimp",), answers_for=("eu",)))
    assert (substances(named.contains), named.unknown) == (["crab", "crustaceans"], ())
    siblings = row(facts(contains=("shrimp",), answers_for=("eu",)))
    assert (substances(siblings.contains), siblings.unknown) == (["shrimp"], ())


# --- tracing -----------------------------------------------------------------


def test_a_path_leads_through_preps_of_preps():
    made = book(
        NORTH,
        ingredient("powder-ness", facts(contains=("milk",), answers_for=("north",))),
        prep("base-mix", 100, line("powder", "powder-ness", 100)),
        prep("oat-foam", 100, line("mix", "base-mix", 100)),
        drink("cup", layer("foam", line("top", "oat-foam", 30))),
    )
    assert row_of(made).contains[0].paths == (
        "foam/top > prep/oat-foam > mix > prep/base-mix > powder > ingredient/powder-ness",
    )


def test_every_way_is_named_where_two_preps_meet():
    made = book(
        NORTH,
        ingredient("milk", facts(contains=("milk",), answers_for=("north",))),
        prep("d", 10, line("m", "milk", 10)),
        prep("b", 10, line("d", "d", 10)),
        prep("c", 10, line("d", "d", 10)),
        prep("a", 20, line("b", "b", 10), line("c", "c", 10)),
        drink("cup", layer("base", line("a", "a", 10))),
    )
    assert len(row_of(made).contains[0].paths) == 2


def test_a_ring_of_preps_ends_and_loses_nothing():
    made = book(
        NORTH,
        ingredient("milk", facts(contains=("milk",))),
        ingredient("soy", facts(contains=("soya",))),
        prep("a", 10, line("b", "b", 5), line("m", "milk", 5)),
        prep("b", 10, line("a", "a", 5), line("s", "soy", 5)),
        drink("cup", layer("base", line("x", "a", 10))),
    )
    row = row_of(made)
    assert substances(row.contains) == ["milk", "soya"]
    assert row.contains[0].paths == (
        "base/x > prep/a > m > ingredient/milk",
        "base/x > prep/a > b > prep/b > s > ingredient/soy (unknown)",
    )


def test_preps_that_fan_out_end_in_time_and_lose_no_ingredient():
    """2^40 ways: all of them cannot be listed, every ingredient line still is."""
    deep = [
        prep(f"p{i}", 10, line("l", f"p{i + 1}", 5), line("r", f"p{i + 1}", 5)) for i in range(40)
    ]
    made = book(
        NORTH,
        ingredient("milk", facts(contains=("milk",))),
        ingredient("nut", facts(may_contain=("hazelnut",))),
        *deep,
        prep("p40", 10, line("m", "milk", 5), line("n", "nut", 5)),
        drink("cup", layer("base", line("x", "p0", 10))),
    )
    row = row_of(made)
    assert substances(row.contains) == ["milk"] and substances(row.may_contain) == ["hazelnut"]
    assert len(row.contains[0].paths) < MOST_WAYS


def test_a_row_is_the_union_over_sizes_and_a_missing_amount_counts_as_in():
    made = book(
        NORTH,
        ingredient("milk", facts(contains=("milk",), answers_for=("north",))),
        ingredient("soy", facts(contains=("soya",), answers_for=("north",))),
        ingredient("nut", facts(contains=("hazelnut",), answers_for=("north",))),
        drink(
            "cup",
            layer(
                "base",
                line("m", "milk", {"small": "none", "large": 10}),
                line("s", "soy", {"small": 10}),
                line("n", "nut", {"small": "none", "large": "none"}),
            ),
            sizes=("small", "large"),
        ),
    )
    assert substances(row_of(made).contains) == ["milk", "soya"]


# --- choices and stand-ins ---------------------------------------------------

SWAP = book(
    NORTH,
    ingredient("milk", facts(contains=("milk",), answers_for=("north",))),
    ingredient("soy", facts(contains=("soya",), answers_for=("north",))),
    ingredient("nut", facts(contains=("hazelnut",), answers_for=("north",))),
    ingredient("milk-holm", facts(contains=("milk",), may_contain=("almond",), answers_for=("north",))),
    drink(
        "cup",
        layer("base", line("m", "milk", 100)),
        options=(
            option(
                "milk",
                choice("soy", change("base/m", use="soy")),
                choice("nutty", change("base/n", use="nut", given=5)),
                choice("black", out("base/m")),
            ),
        ),
        substitutes=(stand_in("holm", "milk", "milk-holm"),),
    ),
)


def test_each_choice_and_stand_in_has_its_own_row():
    rows = {row.choice: row for row in rows_of(SWAP, SWAP.drinks["cup"], NORTH, "gb")}
    assert substances(rows[""].contains) == ["milk"]
    assert substances(rows["milk=soy"].contains) == ["soya"]
    assert substances(rows["milk=nutty"].contains) == ["milk", "hazelnut"]
    assert rows["milk=black"].contains == ()
    assert substances(rows["substitute=holm"].may_contain) == ["almond"]
    assert rows["milk=soy"].status("milk") == "absent"


def test_the_row_of_a_stand_in_holds_what_it_brings_to_a_choice():
    """Only a choice uses the oat drink here; its stand-in brings almond all the same."""
    made = book(
        NORTH,
        *SWAP.ingredients.values(),
        drink(
            "cup",
            layer("base", line("m", "milk", 100)),
            options=(option("milk", choice("soy", change("base/m", use="soy"))),),
            substitutes=(stand_in("other", "soy", "milk-holm"),),
        ),
    )
    row = row_of(made, Variant("substitute=other"))
    assert row.may_contain[0].paths == ("base/m > ingredient/milk-holm",)


def test_a_site_with_a_stand_in_shows_the_facts_of_both():
    row = row_of(SWAP, stocks={"milk": "milk-holm"})
    assert (substances(row.contains), substances(row.may_contain)) == (["milk"], ["almond"])
    unknown = row_of(SWAP, stocks={"milk": "not-in-the-book"})
    assert substances(unknown.unknown) == ["hazelnut", "almond", "soya"]


def test_a_stand_in_counts_inside_preps_too():
    made = book(
        NORTH,
        ingredient("a", CLEAN),
        ingredient("b", facts(contains=("soya",), answers_for=("north",))),
        NORTH,
        SOUTH,
        prep("mix", 10, line("l", "a", 10)),
        drink("cup", layer("base", line("m", "mix", 10))),
    )
    assert row_of(made).contains == ()
    assert substances(row_of(made, stocks={"a": "b"}).contains) == ["soya"]


# --- age ---------------------------------------------------------------------


def test_absences_are_good_until_the_oldest_document_they_rest_on():
    made = book(
        NORTH,
        ingredient("a", facts(answers_for=("north",), dated=DATED)),
        ingredient("b", facts(answers_for=("north",), dated=DATED - timedelta(days=400))),
        drink("cup", layer("base", line("a", "a", 1), line("b", "b", 1))),
    )
    assert row_of(made).absent_until == DATED - timedelta(days=400) + LASTS


def test_a_document_no_absence_rests_on_does_not_age_the_row():
    everything = ("milk", "hazelnut", "almond", "soya")
    made = book(
        NORTH,
        ingredient("a", facts(contains=everything, dated=DATED)),
        ingredient("b", facts(answers_for=("north",), dated=date(2001, 1, 1))),
        drink("cup", layer("base", line("a", "a", 1), line("b", "b", 1))),
    )
    assert row_of(made).absent_until is None


def test_a_date_at_the_end_of_the_calendar_does_not_break_a_row():
    assert row_of(one_line(facts(answers_for=("north",), dated=date.max))).absent_until == date.max


# --- laws --------------------------------------------------------------------

NAMES = ("milk", "hazelnut", "almond", "soya", "lupin", "buckwheat")
some = st.sets(st.sampled_from(NAMES), max_size=3)
statements = st.none() | st.builds(
    lambda contains, may, absent, lists, code: facts(
        contains=tuple(contains),
        may_contain=tuple(may),
        absent=tuple(absent),
        answers_for=tuple(lists),
        product_code=code,
    ),
    some,
    some,
    some,
    st.sets(st.sampled_from(("north", "south"))),
    st.sampled_from(("", "", "X")),
)


@st.composite
def kitchens(draw):
    """A book with a handful of ingredients and preps, a drink, and one line more."""
    stock = [ingredient(f"i{n}", draw(statements)) for n in range(5)]
    ids = [each.id for each in stock]
    preps = []
    for n in range(3):
        used = draw(st.lists(st.sampled_from([*ids, "p0", "p1", "p2"]), min_size=1, max_size=3))
        preps.append(prep(f"p{n}", 100, *(line(f"l{i}", use, 10) for i, use in enumerate(used))))
    ids += [each.id for each in preps]
    used = draw(st.lists(st.sampled_from(ids), min_size=1, max_size=3))
    lines = [line(f"l{i}", use, 10) for i, use in enumerate(used)]
    return [NORTH, SOUTH, *stock, *preps], lines, draw(st.sampled_from(ids))


def strength(row):
    return {
        fact.substance: len(STRENGTH) - at
        for at, found in enumerate((row.contains, row.may_contain, row.unknown))
        for fact in found
    }


def bare(path):
    return path.removesuffix(" (may contain)").removesuffix(" (unknown)")


def paths_of(row):
    return {
        (fact.substance, bare(path))
        for found in (row.contains, row.may_contain, row.unknown)
        for fact in found
        for path in fact.paths
    }


@settings(max_examples=150, deadline=None)
@given(kitchens())
def test_adding_a_line_never_removes_or_weakens_a_fact(kitchen):
    records, lines, more = kitchen
    before = row_of(book(*records, drink("cup", layer("base", *lines))))
    after = row_of(book(*records, drink("cup", layer("base", *lines, line("new", more, 5)))))
    stronger = strength(after)
    assert all(stronger.get(s, 0) >= level for s, level in strength(before).items())
    assert paths_of(before) <= paths_of(after)


@settings(max_examples=80, deadline=None)
@given(kitchens())
def test_adding_an_option_never_changes_another_row(kitchen):
    records, lines, more = kitchen
    plain = book(*records, drink("cup", layer("base", *lines)))
    added = option("extra", choice("more", change("base/new", use=more, given=5)))
    with_it = book(*records, drink("cup", layer("base", *lines), options=(added,)))
    assert row_of(with_it) == row_of(plain)
    asked = row_of(with_it, Variant("extra=more"))
    assert paths_of(row_of(plain)) <= paths_of(asked)


@settings(max_examples=150, deadline=None)
@given(kitchens())
def test_a_listed_substance_is_absent_only_if_every_ingredient_declares_it_so(kitchen):
    """Oracle: a walk of its own over the ingredients, with the rule of the module's promise."""
    records, lines, _ = kitchen
    made = book(*records, drink("cup", layer("base", *lines)))
    reached, waiting = set(), [each.use for each in lines]
    while waiting:
        id = waiting.pop()
        if id not in reached:
            reached.add(id)
            waiting += [each.use for p in made.preps.values() if p.id == id for each in p.all_lines()]
    row = row_of(made)
    for substance in NORTH.substances():
        proofs = []
        for id in reached & set(made.ingredients):
            stated = made.ingredients[id].facts
            proofs.append(
                stated is not None
                and substance not in stated.contains | stated.may_contain
                and stated.product_code == ""
                and (
                    substance in stated.absent
                    or "north" in stated.answers_for
                    or ("south" in stated.answers_for and substance in SOUTH.substances())
                )
            )
        assert (row.status(substance) == "absent") == all(proofs)


@settings(max_examples=80, deadline=None)
@given(kitchens(), st.sampled_from(["i0", "i1", "i2", "i3", "i4"]))
def test_losing_a_document_never_makes_a_substance_absent(kitchen, lost):
    records, lines, _ = kitchen
    made = book(*records, drink("cup", layer("base", *lines)))
    blind = replace(
        made, ingredients={**made.ingredients, lost: replace(made.ingredients[lost], facts=None)}
    )
    before, after = row_of(made), row_of(blind)
    for substance in NORTH.substances():
        if before.status(substance) != "absent":
            assert after.status(substance) != "absent"


# --- the shipped lists, against the law ---------------------------------------


@pytest.fixture(scope="module")
def shipped():
    root = demo_book()
    files = {
        str(path.relative_to(root)): path.read_bytes()
        for path in [root / "book.yaml", *sorted((root / "lists").glob("*.yaml"))]
    }
    loaded = load(files)
    assert loaded.problems == ()
    return loaded.book


def holds(shipped, list_id, substance):
    return shipped.lists[list_id].group_of(substance) is not None


EU, UK, US, CA, AU, JP = "eu-annex-ii", "uk-annex-ii", "us-falcpa", "ca", "au-nz", "jp"


@pytest.mark.parametrize(
    ("list_id", "groups"),
    [
        (EU, 14),  # Regulation (EU) No 1169/2011, Annex II, points 1-14
        (UK, 14),  # the same Annex as retained
        (US, 9),  # FALCPA 2004 (eight) and FASTER Act 2021 (sesame), 21 U.S.C. 321(qq)
        ("codex", 9),  # CXS 1-1985, 4.2.1.4 as revised in 2024, from memory: eight foods and sulphites
        (JP, 8),  # Food Labelling Standards, Annexed Table 14, with walnut
        # Food and Drug Regulations (Canada), B.01.010.1: eggs, milk, mustard, peanuts, crustaceans and molluscs,
        # fish, sesame, soy, sulphites, tree nuts, wheat and triticale (eleven), and gluten sources
        (CA, 12),
        # Standard 1.2.3 and Schedule 9, each named singly: nine nuts, peanut, wheat, gluten, crustacean, mollusc,
        # fish, egg, milk, sesame, soy, lupin, and sulphites at 10 mg/kg or more
        (AU, 21),
    ],
)
def test_how_many_groups_the_law_names(shipped, list_id, groups):
    assert len(shipped.lists[list_id].groups) == groups


@pytest.mark.parametrize(
    ("list_id", "named"),
    [
        # B.01.010.1(1), "food allergen" (a): nine nuts by name, pine nut among them
        (CA, ["almond", "brazil-nut", "cashew", "hazelnut", "macadamia", "pecan", "pine-nut", "pistachio", "walnut"]),
        # Schedule 9: the same nine, each on its own
        (AU, ["almond", "brazil-nut", "cashew", "hazelnut", "macadamia", "pecan", "pine-nut", "pistachio", "walnut"]),
    ],
)
def test_the_nuts_of_canada_and_of_australia_and_new_zealand(shipped, list_id, named):
    held = shipped.lists[list_id]
    groups = {held.group_of(nut).key for nut in named}
    assert len(groups) == (1 if list_id == CA else 9)
    # Other species of walnut stand under walnut; nothing else is a nut there.
    walnuts = {"black-walnut", "california-walnut", "heartnut"}
    assert {s for key in groups for s in held.groups[key].members} == {*named, *walnuts}
    sulphites = held.group_of("sulphites")
    assert (sulphites.limit, sulphites.limit_included) == (10, True)


@pytest.mark.parametrize(
    ("substance", "where", "nowhere"),
    [
        # FDA, Questions and Answers on food allergens, ed. 5 (January 2025), against Annex II 8
        ("pine-nut", [US, CA, AU], [EU, UK, JP]),
        # Annex II 13; FSANZ Standard 1.2.3 and Schedule 9
        ("lupin", [EU, UK, AU], [US, CA, JP]),
        # Food Labelling Standards (Japan), Annexed Table 14
        ("buckwheat", [JP], [EU, UK, US, CA, AU]),
        # Annex II 1 names oats; FALCPA names wheat alone
        ("oats", [EU, UK], [US, JP]),
        ("wheat", [EU, UK, US, CA, AU, JP], []),
        # Annex II 10; Food and Drug Regulations (Canada) B.01.010.1
        ("mustard", [EU, UK, CA], [US, AU, JP]),
        # Annex II 9
        ("celery", [EU, UK], [US, CA, AU, JP]),
        # FDA ed. 5 takes coconut out of the tree nuts; no other list names it
        ("coconut", [], [EU, UK, US, CA, AU, JP]),
        ("molluscs", [EU, UK, CA, AU], [US, JP]),
        ("sesame", [EU, UK, US, CA, AU], [JP]),
        ("sulphites", [EU, UK, CA, AU], [US, JP]),
    ],
)
def test_what_each_market_lists(shipped, substance, where, nowhere):
    assert [id for id in where if not holds(shipped, id, substance)] == []
    assert [id for id in nowhere if holds(shipped, id, substance)] == []


@pytest.mark.parametrize(
    ("list_id", "listed"), [(EU, {"oats", "lupin"}), (US, {"pine-nut"}), (JP, {"buckwheat"})]
)
def test_one_drink_in_three_markets(shipped, list_id, listed):
    """Oats, lupin, pine nut, buckwheat and coconut in one cup: each market lists its own, none is lost."""
    within = ("oats", "lupin", "pine-nut", "buckwheat", "coconut")
    made = replace(
        shipped,
        ingredients={"paste": ingredient("paste", facts(contains=within, answers_for=(EU, US, JP)))},
        drinks={"cup": drink("cup", layer("base", line("a", "paste", 20)))},
    )
    row = facts_of(made, made.drinks["cup"], shipped.lists[list_id])
    assert {fact.substance for fact in row.contains} == set(within)
    assert {fact.substance for fact in row.contains if fact.listed} == listed


def test_every_variant_of_the_shipped_drinks_has_a_row():
    root = demo_book()
    made = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")}).book
    for each in made.drinks.values():
        for market in made.markets.values():
            if each.sold_in(market.id):
                rows = rows_of(made, each, made.lists[market.allergen_list], market.id)
                assert [r.choice for r in rows] == [v.choice for v in variants(each, market.id)]
