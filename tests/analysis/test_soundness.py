"""A sound book has no findings; each fault, made alone, gives its own finding and no other.

One book is sound, every case spoils one thing in it. The codes are what readers
of `check --json` rely on.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from make import (
    DATED,
    LASTS,
    TODAY,
    Each,
    Grams,
    Volume,
    allergen_list,
    book,
    change,
    choice,
    d,
    drink,
    facts,
    franchise,
    ingredient,
    layer,
    line,
    market,
    option,
    out,
    prep,
    price_book,
    scale,
    site,
    stand_in,
    vessel,
)

from specctl.analysis.soundness import check_book
from specctl.codec.load import load
from specctl.domain.amount import Tolerance
from specctl.domain.equipment import Tool
from specctl.domain.people import Person, Policy, Proposal, Rule, Signatories, Wave
from specctl.domain.place import ScoopCheck
from specctl.domain.recipe import Step
from specctl.problem import NOWHERE, Place, in_order
from specctl.resources import demo_book

KG = Grams(d(1000))
NORTH = allergen_list("north", milk=("milk",), nuts=("hazelnut", "almond"), crustaceans=("shrimp",))
CLEAN = facts(answers_for=("north",))
STEPS = (Step("pour", "Pour.", layer="base", equipment=("kettle",), place=Place("drinks/tea.yaml", 9, 3)),)


def tea(**more):
    lines = more.pop("lines", (line("brew", "brew", {"small": 100, "large": 150}), line("milk", "milk", 30)))
    given = {
        "sizes": ("small", "large"),
        "steps": STEPS,
        "options": (
            option("milk", choice("oat", change("base/milk", use="oat")), choice("black", out("base/milk"))),
        ),
        "substitutes": (stand_in("holm", "milk", "milk-holm"),),
        **more,
    }
    return drink("tea", layer("base", *lines), **given)


def quay(**more):
    return site("quay", **{"equipment": ("kettle",), "stocks": {"milk": "milk-holm"}, **more})


def sound_records(**more):
    return [
        NORTH,
        market(),
        franchise(),
        more.get("site", quay()),
        scale(),
        vessel(),
        ingredient("leaf", CLEAN, packs={"kg": KG}),
        ingredient("water", CLEAN, packs={"l": Volume(d(1000))}, density=1),
        ingredient("oat", CLEAN, packs={"kg": KG}),
        more.get("milk", ingredient("milk", facts(("milk",), answers_for=("north",)), packs={"kg": KG})),
        ingredient("milk-holm", facts(("milk",), answers_for=("north",)), packs={"kg": KG}),
        more.get("brew", prep("brew", 900, line("leaf", "leaf", 20), line("water", "water", 1000))),
        more.get("drink", tea()),
        more.get("prices", prices()),
    ]


def prices(**more):
    packs = {id: ("kg", 1) for id in ("leaf", "oat", "milk", "milk-holm")} | {"water": ("l", "0.01")}
    packs |= more.pop("packs", {})
    menu = more.pop("menu", {"tea": {"small": 3, "large": 4}})
    return price_book({k: v for k, v in packs.items() if v is not None}, menu, **more)


def sound(claims=None, extra=(), **more):
    return book(*sound_records(**more), *extra, claims=claims)


def found(made, today=TODAY):
    return [(p.code, p.severity) for p in check_book(made, today)]


def test_a_sound_book_has_no_findings():
    assert check_book(sound(), TODAY) == []


def person(id, *roles, **more):
    return Person(id, id.title(), frozenset(roles), place=Place("signatories.yaml", 4, 3), **more)


def with_people(*people, signs=("drinks",)):
    policy = Policy({"amount": Rule("amount", tuple(signs), "why")}, otherwise=("drinks",))
    return replace(sound(), policy=policy, signatories=Signatories({p.id: p for p in people}))


def with_check(**more):
    given = {"ingredient": "leaf", "tool": "scale", "site": "quay", **more}
    check = ScoopCheck(
        id="c", name="c", place=Place("scoop-checks/c.yaml", 1, 1), n=10, mean=d(2), spread=d("0.1"),
        date=DATED, who="Ines", **given,
    )
    return replace(sound(), scoop_checks={"c": check})


def with_proposal(*waves):
    made = Proposal("1-x", "X", "why", DATED, {w.key: w for w in waves}, place=Place("proposals/1-x.yaml", 2, 1))
    return replace(sound(), proposals={"1-x": made})


def milk(**more):
    return ingredient("milk", more.pop("stated", facts(("milk",), answers_for=("north",))), packs={"kg": KG}, **more)


def brew(*lines, **more):
    return prep("brew", more.pop("yields", 900), *lines, **more)


LEAF, WATER = line("leaf", "leaf", 20), line("water", "water", 1000)
MILK = line("milk", "milk", 30)
BREW = line("brew", "brew", 100)

CASES = {
    # names that name nothing
    "line uses nothing": (lambda: sound(drink=tea(lines=(BREW, MILK, line("x", "ghost", 1)))), "item-unknown"),
    "prep uses nothing": (lambda: sound(brew=brew(LEAF, WATER, line("x", "ghost", 1))), "item-unknown"),
    "a size's vessel": (lambda: replace(sound(), vessels={}), "vessel-unknown", 2),
    "a prep's vessel": (lambda: sound(brew=brew(LEAF, WATER, vessel="ghost")), "vessel-unknown"),
    "a site's tool": (
        lambda: sound(site=quay(tools={"scale": 1, "ghost": 1})),
        "tool-unknown",
    ),
    "a site's vessel": (
        lambda: sound(site=quay(vessels=("cup", "ghost"))),
        "vessel-unknown",
    ),
    "a site's franchise": (lambda: sound(extra=(site("far", franchise="ghost", equipment=("kettle",)),)), "franchise-unknown"),
    "a site's market": (lambda: sound(extra=(site("far", market="ghost", equipment=("kettle",)),)), "market-unknown"),
    "a drink a site does not serve": (
        lambda: sound(site=quay(not_served=("ghost",))),
        "drink-unknown",
    ),
    "a drink's market": (lambda: sound(drink=tea(markets=frozenset(["gb", "ghost"]))), "market-unknown"),
    "a market's list": (lambda: sound(extra=(market("ie", currency="EUR", allergen_list="ghost"),)), "list-unknown"),
    "a document's list": (
        lambda: sound(milk=milk(stated=facts(("milk",), answers_for=("north", "ghost")))),
        "list-unknown",
    ),
    "a priced pack": (lambda: sound(prices=prices(packs={"oat": ("sack", 1)})), "pack-unknown"),
    "a priced ingredient": (lambda: sound(prices=prices(packs={"ghost": ("kg", 1)})), "ingredient-unknown"),
    "a menu's drink": (
        lambda: sound(prices=prices(menu={"tea": {"small": 3, "large": 4}, "ghost": {"small": 1}})),
        "drink-unknown",
    ),
    "a menu's size": (
        lambda: sound(prices=prices(menu={"tea": {"small": 3, "large": 4, "huge": 9}})),
        "size-unknown",
    ),
    "stated cups": (lambda: sound(prices=prices(cups={"tea": {"huge": 9}})), "size-unknown"),
    "a price book's franchise": (
        lambda: sound(extra=(price_book({}, franchise="ghost"),)),
        "franchise-unknown",
    ),
    "a step's layer": (
        lambda: sound(drink=tea(steps=(replace(STEPS[0], layer="ghost"),))),
        "layer-unknown",
    ),
    "a claim": (lambda: sound(drink=tea(claims=("ghost",))), "claim-unknown"),
    "a claim an ingredient rules out": (
        lambda: sound(milk=milk(contradicts=frozenset(["ghost"]))),
        "claim-unknown",
    ),
    "a choice's item": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("base/milk", use="ghost"))),))),
        "item-unknown",
    ),
    "a choice's line": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("base/mulk", given=2))),))),
        "option-path-unknown",
    ),
    "a line left out that is not there": (
        lambda: sound(drink=tea(options=(option("o", choice("c", out("base/mulk"))),))),
        "option-path-unknown",
    ),
    "a choice's layer": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("top/milk", use="milk", given=2))),))),
        "layer-unknown",
    ),
    "a top-up line": (
        lambda: sound(
            drink=tea(options=(option("o", choice("c", out("base/milk"), top_up="base/ghost")),))
        ),
        "option-path-unknown",
    ),
    "a substitute": (
        lambda: sound(drink=tea(substitutes=(stand_in("holm", "milk", "milk-holm"), stand_in("s", "milk", "ghost")))),
        "item-unknown",
    ),
    "a substitute's market": (
        lambda: sound(
            drink=tea(substitutes=(stand_in("holm", "milk", "milk-holm", markets=("gb", "ghost")),))
        ),
        "market-unknown",
    ),
    "a scoop check's item": (lambda: with_check(ingredient="ghost"), "item-unknown"),
    "a scoop check's tool": (lambda: with_check(tool="ghost"), "tool-unknown"),
    "a scoop check's site": (lambda: with_check(site="ghost"), "site-unknown"),
    "a role nobody holds": (
        lambda: with_people(person("isla", "drinks"), signs=("drinks", "food-safety")),
        "role-unheld",
    ),
    "a franchise nobody manages": (
        lambda: with_people(person("isla", "drinks", "franchise-manager"), signs=("franchise-manager",)),
        "role-unheld",
    ),
    "a deputy for nobody": (
        lambda: with_people(person("isla", "drinks", deputy_for=frozenset(["ghost"]))),
        "person-unknown",
    ),
    "a person's franchise": (
        lambda: with_people(person("isla", "drinks", franchises=frozenset(["ghost"]))),
        "franchise-unknown",
    ),
    "a wave's site": (lambda: with_proposal(Wave("a", DATED, ("quay", "ghost"))), "site-unknown"),
    "a site in two waves": (
        lambda: with_proposal(Wave("a", DATED, ("quay",)), Wave("b", DATED, ("quay",))),
        "wave-site-twice",
    ),
    "two waves that both take the rest": (
        lambda: with_proposal(Wave("a", DATED, None), Wave("b", DATED, None)),
        "wave-rest-twice",
    ),
    # ids and rings
    "one id twice": (lambda: sound(extra=(ingredient("brew", CLEAN, packs={"kg": KG}),), prices=prices(packs={"brew": ("kg", 1)})), "id-twice"),
    "a ring of preps": (
        lambda: sound(extra=(prep("a", 5, line("b", "b", 10)), prep("b", 5, line("a", "a", 10)))),
        "prep-cycle",
    ),
    # allergen documents
    "a substance no list knows": (
        lambda: sound(milk=milk(stated=facts(("milk",), absent=("hazelnuts",), answers_for=("north",)))),
        "allergen-unknown-name",
    ),
    "a claim that forbids what no list knows": (
        lambda: sound(claims={"no-nuts": ("hazlenut",)}),
        "allergen-unknown-name",
    ),
    "contained and absent": (
        lambda: sound(milk=milk(stated=facts(("milk",), absent=("milk",), answers_for=("north",)))),
        "allergen-contradiction",
    ),
    "a document for another product": (
        lambda: sound(milk=milk(stated=facts(("milk",), answers_for=("north",), product_code="B"), product_code="A")),
        "allergen-document-product",
    ),
    "a document from the future": (
        lambda: sound(milk=milk(stated=facts(("milk",), answers_for=("north",), dated=TODAY + timedelta(1)))),
        "allergen-document-ahead",
    ),
    "no document": (lambda: sound(milk=milk(stated=None)), "allergen-document-missing"),
    # amounts
    "an amount not weighed": (lambda: sound(drink=tea(lines=(BREW, line("milk", "milk", "90 ml")))), "amount-unweighed"),
    "an amount missing at a size": (
        lambda: sound(drink=tea(lines=(BREW, line("milk", "milk", {"small": 30})))),
        "line-amount-missing",
    ),
    "a choice's amount missing at a size": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("base/milk", given={"small": 9}))),))),
        "option-amount-missing",
    ),
    "a new line of a choice with no amount": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("base/new", use="milk"))),))),
        "option-amount-missing",
    ),
    "a choice that changes nothing": (
        lambda: sound(drink=tea(options=(option("o", choice("c", change("base/milk"))),))),
        "option-changes-nothing",
    ),
    "an amount for a size nobody defines": (
        lambda: sound(drink=tea(lines=(BREW, line("milk", "milk", {"small": 30, "large": 30, "huge": 40})))),
        "size-unknown",
    ),
    "a prep with sizes": (
        lambda: sound(brew=brew(line("leaf", "leaf", {"": 20, "large": 30}), WATER)),
        "size-unknown",
    ),
    "a tolerance of nothing": (
        lambda: sound(
            drink=tea(lines=(BREW, line("milk", "milk", 30, tolerance=Tolerance(d(0), d(0), relative=False))))
        ),
        "tolerance-zero",
    ),
    "a tolerance that comes to nothing": (
        lambda: sound(drink=tea(lines=(BREW, line("milk", "milk", "0.05")))),
        "tolerance-zero",
    ),
    "a yield of more than goes in": (lambda: sound(brew=brew(LEAF, WATER, yields="1020.01")), "yield-more-than-lines"),
    "a batch nobody drinks": (lambda: sound(brew=brew(LEAF, WATER, discard=d(1))), "prep-serves-nothing"),
    "a batch filled to a line": (lambda: sound(brew=brew(LEAF, line("water", "water", "top 20"))), "rule-in-prep"),
    # claims
    "a claim the facts contradict": (
        lambda: sound(claims={"no-milk": ("milk",)}, drink=tea(claims=("no-milk",))),
        "claim-contradicted",
    ),
    # prices
    "a price missing": (lambda: sound(prices=prices(packs={"oat": None})), "price-missing"),
    "the stand-in's price missing": (lambda: sound(prices=prices(packs={"milk-holm": None})), "price-missing"),
    "a menu price missing": (lambda: sound(prices=prices(menu={"tea": {"small": 3}})), "menu-price-missing"),
    "no price book": (lambda: replace(sound(), price_books={}), "price-book-missing"),
    "another currency": (lambda: sound(prices=prices(currency="EUR")), "currency-differs"),
    "a pack in ml without density": (
        lambda: sound(milk=ingredient("milk", CLEAN, packs={"kg": Volume(d(1000))})),
        "density-missing",
    ),
    "a pack of pieces used by the gram": (
        lambda: sound(milk=ingredient("milk", CLEAN, packs={"kg": Each(d(12))})),
        "piece-mass-missing",
    ),
    # what a site can make
    "a vessel a site lacks": (
        lambda: sound(extra=(vessel("mug"),), brew=brew(LEAF, WATER, vessel="mug")),
        "site-cannot-make",
    ),
    "equipment a site lacks": (lambda: sound(site=quay(equipment=())), "site-cannot-make"),
    "a stand-in no drink allows": (
        lambda: sound(site=quay(stocks={"milk": "oat"})),
        "stock-not-allowed",
    ),
}
WARNINGS = {
    "allergen-document-ahead",
    "allergen-document-missing",
    "allergen-document-old",
    "allergen-document-product",
    "claim-broken-by-choice",
    "claim-unsupported",
    "menu-price-missing",
    "option-changes-nothing",
    "price-book-missing",
    "price-missing",
    "site-cannot-make",
}


@pytest.mark.parametrize("name", CASES)
def test_one_fault_one_finding(name):
    make_it, code, *times = CASES[name]
    problems = check_book(make_it(), TODAY)
    assert [p.code for p in problems] == [code] * (times[0] if times else 1)
    for problem in problems:
        assert problem.place != NOWHERE and problem.place.file
        assert problem.what and problem.todo
        assert problem.severity == ("warning" if code in WARNINGS else "error")


def test_a_near_name_is_offered():
    made = CASES["a substance no list knows"][0]()
    (problem,) = check_book(made, TODAY)
    assert "Did you mean hazelnut?" in problem.todo


def test_a_ring_names_all_of_it_and_stands_on_its_line():
    made = sound(
        extra=(
            prep("c", 5, line("x", "a", 10, file="preps/c.yaml", at=4)),
            prep("a", 5, line("x", "b", 10, file="preps/a.yaml", at=7)),
            prep("b", 5, line("x", "c", 10, file="preps/b.yaml", at=4)),
        )
    )
    (problem,) = check_book(made, TODAY)
    assert "a > b > c > a" in problem.what
    assert problem.place == Place("preps/a.yaml", 7, 1)


def test_a_prep_of_itself_is_a_ring_and_two_rings_are_two_findings():
    made = sound(
        extra=(
            prep("self", 5, line("x", "self", 10)),
            prep("a", 5, line("x", "b", 10)),
            prep("b", 5, line("x", "a", 5), line("y", "c", 5)),
            prep("c", 5, line("x", "b", 10)),
        )
    )
    assert found(made) == [("prep-cycle", "error")] * 3


def test_a_chain_of_a_few_thousand_preps_is_no_trouble():
    deep = [prep(f"p{i}", 10, line("l", f"p{i + 1}", 10)) for i in range(3000)]
    end = prep("p3000", 10, line("l", "leaf", 10))
    assert found(sound(extra=(*deep, end))) == []


# --- age of documents ----------------------------------------------------------


@pytest.mark.parametrize(("day", "codes"), [(-1, []), (0, ["allergen-document-old"]), (1, ["allergen-document-old"])])
def test_a_document_is_old_from_its_first_untrusted_day(day, codes):
    made = sound(milk=milk(stated=facts(("milk",), answers_for=("north",), dated=date(2025, 1, 1))))
    today = date(2025, 1, 1) + LASTS + timedelta(day)
    others = [c for c, _ in found(made, today) if c.startswith("allergen") ]
    expected = codes if today < DATED + LASTS else codes + ["allergen-document-old"]
    assert others == expected


# --- claims --------------------------------------------------------------------


def claimed(*claims, **more):
    return [
        (p.code, p.severity, p.what)
        for p in check_book(sound(claims={"no-milk": ("milk",), "no-nuts": ("hazelnut", "almond"), "plant": ()}, **more), TODAY)
    ]


BLACK = (BREW, line("oat", "oat", 30))


def test_a_claim_borne_out_by_every_document_is_no_finding():
    black = tea(lines=BLACK, options=(), substitutes=(), claims=("no-milk", "no-nuts"))
    assert claimed(drink=black, site=quay(stocks={})) == []


def test_an_unknown_or_possible_allergen_does_not_bear_a_claim_out():
    for stated, word in [(facts(may_contain=("almond",), answers_for=("north",)), "possibly"), (facts(), "unknown")]:
        made = sound(milk=milk(stated=stated), claims={"no-nuts": ("almond",)}, drink=tea(claims=("no-nuts",)))
        (problem,) = [p for p in check_book(made, TODAY) if p.code.startswith("claim")]
        assert (problem.code, problem.severity) == ("claim-unsupported", "warning")
        assert word in problem.what and "base/milk > ingredient/milk" in problem.what


def test_a_choice_that_breaks_a_claim_is_a_warning_that_names_it():
    black = tea(
        lines=BLACK,
        substitutes=(),
        options=(option("milk", choice("whole", change("base/oat", use="milk"))),),
        claims=("no-milk",),
    )
    ((code, severity, what),) = claimed(drink=black, site=quay(stocks={}))
    assert (code, severity) == ("claim-broken-by-choice", "warning")
    assert "Milk: Whole" in what


def test_a_stand_in_that_breaks_a_claim_is_an_error():
    black = tea(lines=BLACK, options=(), substitutes=(stand_in("s", "oat", "milk"),), claims=("no-milk",))
    ((code, severity, _),) = claimed(drink=black, site=quay(stocks={}))
    assert (code, severity) == ("claim-contradicted", "error")


def test_a_stand_in_only_a_choice_would_use_is_a_warning():
    black = tea(
        lines=BLACK[:1] + (line("leaf", "leaf", 1),),
        options=(option("milk", choice("oat", change("base/oat", use="oat", given=5))),),
        substitutes=(stand_in("s", "oat", "milk"),),
        claims=("no-milk",),
    )
    ((code, severity, what),) = claimed(drink=black, site=quay(stocks={}))
    assert (code, severity) == ("claim-broken-by-choice", "warning")
    assert "Milk in place of Oat" in what and "base/oat > ingredient/milk" in what


def test_an_ingredient_can_rule_a_claim_out_whatever_its_allergens():
    made = sound(
        claims={"plant": ()},
        drink=tea(claims=("plant",)),
        milk=milk(contradicts=frozenset(["plant"])),
    )
    (problem,) = check_book(made, TODAY)
    assert problem.code == "claim-contradicted" and "rules it out" in problem.what


def test_a_claim_reaches_through_preps_and_past_the_markets_list():
    """Lupin is on no list of this market (US FALCPA does not name it): the claim still counts."""
    made = sound(
        extra=(allergen_list("south", lupin=("lupin",)), ingredient("flour", facts(("lupin",), answers_for=("north",)), packs={"kg": KG})),
        claims={"no-lupin": ("lupin",)},
        brew=brew(LEAF, WATER, line("f", "flour", 1)),
        prices=prices(packs={"flour": ("kg", 1)}),
        drink=tea(claims=("no-lupin",)),
    )
    (problem,) = check_book(made, TODAY)
    assert "brew > leaf" not in problem.what
    assert "base/brew > prep/brew > f > ingredient/flour" in problem.what


# --- measuring at a site ----------------------------------------------------------


def scoop(volume=15):
    return Tool(id="scoop", name="Scoop", place=Place("tools/scoop.yaml", 1, 1), kind="scoop", volume=d(volume))


def by_scoop(powder, given, **more):
    """A counter with one 15 ml scoop and a drink of one powder."""
    one = drink("tea", layer("base", line("powder", "powder", given, file="drinks/tea.yaml", at=12)), sizes=("small", "large"))
    return book(
        NORTH, market(), franchise(), scoop(), vessel(), powder, one,
        price_book({"powder": ("kg", 1)}, {"tea": {"small": 3, "large": 4}}),
        site("quay", tools={"scoop": 1}), site("pier", tools={"scoop": 1}), **more,
    )


def test_a_scoop_that_cannot_come_near_is_told_once_with_its_sites_and_sizes():
    powder = ingredient("powder", CLEAN, packs={"kg": KG}, state="powder", bulk_density="0.5")
    assert found(by_scoop(powder, "15 g")) == []  # two scoops of 7.5 g
    (problem,) = check_book(by_scoop(powder, "11 g"), TODAY)
    assert problem.code == "site-cannot-make" and problem.place == Place("drinks/tea.yaml", 12, 1)
    assert "'Pier', 'Quay'" in problem.what and "size small, large" in problem.what
    assert "11 g of 'Powder'" in problem.what


def test_a_scoop_needs_a_density_or_a_weighing():
    powder = ingredient("powder", CLEAN, packs={"kg": KG}, state="powder")
    (problem,) = check_book(by_scoop(powder, "15 g"), TODAY)
    assert (problem.code, problem.place.file) == ("density-missing", "ingredients/powder.yaml")
    assert "'Pier', 'Quay'" in problem.what


def test_a_counter_without_a_tool_for_it_is_told():
    made = sound(site=quay(tools={"scoop": 1}), extra=(scoop(),))
    codes = {p.code for p in check_book(made, TODAY)}
    assert codes == {"site-cannot-make"}


def test_a_drink_a_site_does_not_serve_asks_nothing_of_it():
    assert found(sound(extra=(site("bare", tools={}, vessels=(), not_served=("tea",)),))) == []


# --- what cannot be read is not blamed on its users ---------------------------------


def test_users_of_a_broken_record_are_not_blamed():
    whole = sound()
    without = {
        "ingredient/oat": replace(whole, ingredients={k: v for k, v in whole.ingredients.items() if k != "oat"}),
        "prep/brew": replace(whole, preps={}),
        "vessel/cup": replace(whole, vessels={}),
        "market/gb": replace(whole, markets={}),
        "price-book/marram": replace(whole, price_books={}),
        "franchise/marram": replace(whole, franchises={}),
        "list/north": replace(whole, lists={}),
        "drink/tea": replace(whole, drinks={}),
        "tool/scale": replace(whole, tools={**whole.tools, "other": scale("other")}),
    }
    del without["tool/scale"]
    for broken, made in without.items():
        assert check_book(replace(made, broken=frozenset([broken])), TODAY) == [], broken
    assert check_book(without["ingredient/oat"], TODAY) != []


# --- one list -------------------------------------------------------------------------


def test_findings_come_once_and_in_the_order_of_places():
    made = sound(drink=tea(lines=(line("a", "ghost", "90 ml", file="drinks/tea.yaml", at=5),), options=(), substitutes=()))
    problems = check_book(made, TODAY)
    assert problems == in_order(problems)
    assert len({(p.place, p.code, p.what) for p in problems}) == len(problems)


def test_a_price_never_stands_in_a_finding():
    """Another franchise's price must not reach an error message made for this one."""
    canary = "73.19"
    made = sound(prices=prices(packs={"oat": ("sack", canary), "ghost": ("kg", canary), "leaf": None}, menu={"tea": {"small": canary}}))
    problems = check_book(made, TODAY)
    assert len(problems) == 4
    assert not any(canary in f"{p.what} {p.todo}" for p in problems)


def test_the_shipped_book_has_no_errors():
    root = demo_book()
    loaded = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")})
    assert loaded.problems == ()
    assert [p for p in check_book(loaded.book, date(2026, 11, 25)) if p.is_error] == []
