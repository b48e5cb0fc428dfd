"""What a report shows of a released proposal, through preps, and what it makes a franchise buy."""

from __future__ import annotations

import json
import re
from decimal import Decimal

import pytest
from chain_world import World

from specctl.actions.reporting import impact_of
from specctl.change.impact import Impact
from specctl.report.json import report_json

FROST = "drinks/hazelnut-frost.yaml"
PASTE, MORE_PASTE = "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}"
SCOPES = ("chain", "franchise/northsands", "franchise/marram", "franchise/gull-rock")


def shown(world: World, name: str, scope: str = "chain") -> Impact:
    with world.case(name) as case:
        return impact_of(case, scope)


@pytest.fixture
def more_paste(world: World) -> str:
    world.edit(FROST, PASTE, MORE_PASTE)
    return world.propose(5, "More paste").name


def test_a_released_proposal_shows_what_was_released(world: World, more_paste: str) -> None:
    before = {scope: shown(world, more_paste, scope) for scope in SCOPES}
    done = world.done(more_paste, 6)
    # A later release of the same line is no part of it.
    world.edit(FROST, MORE_PASTE, "{regular: 24 g, large: 33 g}")
    world.done(world.propose(7, "Still more paste").name, 8)
    for scope, was in before.items():
        now = shown(world, more_paste, scope)
        assert (now.state, now.release) == ("released", done.release.number)
        assert now.digest == was.digest
        for part in ("amounts", "allergens", "texts", "costs", "file_changes", "untouched", "bought"):
            assert getattr(now, part) == getattr(was, part), part
        assert all(s.met_by for s in now.signings)


def test_where_the_effect_no_longer_comes_out_nothing_is_passed_off_as_it(
    world: World, more_paste: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    world.done(more_paste, 6)
    monkeypatch.setattr("specctl.change.effect.Effect.digest", property(lambda effect: "0" * 64))
    now = shown(world, more_paste)
    assert (now.state, now.release, now.amounts) == ("released", None, ())


def test_what_is_made_with_a_changed_prep_is_named_and_not_called_unchanged(world: World) -> None:
    world.edit("preps/espresso.yaml", "use: coffee-beans, amount: 18 g", "use: coffee-beans, amount: 19 g")
    now = shown(world, world.propose(5, "A stronger shot").name)
    assert {r.item for r in now.effect.rows} == {"prep/espresso"}
    assert [(t.item, t.preps) for t in now.through] == [("drink/hazelnut-frost", ("Short coffee shot",))]
    assert now.untouched.drink_names == ("Pear with sage, sparkling",)
    assert (now.untouched.drinks, now.untouched.drinks_total) == (1, 2)


def test_the_paste_of_a_week_is_grams_times_stated_cups(world: World, more_paste: str) -> None:
    """By hand, from the price book: cups a site times sites, 2 g a regular and 3 g a large cup."""
    for franchise in ("northsands", "marram"):
        now = shown(world, more_paste, f"franchise/{franchise}")
        with world.case(more_paste) as case:
            cups = case.book.price_books[franchise].cups_a_week["hazelnut-frost"]
            sites = sum(1 for s in case.book.sites.values() if s.franchise == franchise)
        (paste,) = [b for b in now.bought if b.ingredient == "hazelnut-paste"]
        assert (paste.way, paste.unit, paste.week) == ("moved", "g", Decimal(sites * (2 * cups["regular"] + 3 * cups["large"])))


def test_an_ingredient_that_takes_the_place_of_another_is_bought_and_the_other_run_down(world: World) -> None:
    world.edit(FROST, "use: hazelnut-paste", "use: oat-drink-skerry")
    name = world.propose(5, "Without nuts", evidence="The paste leaves the recipe; checked at the bench.").name
    # The oat drink is a stand-in of this drink already, so it is no new thing to buy.
    assert {b.ingredient: b.way for b in shown(world, name).bought} == {"oat-drink-skerry": "moved", "hazelnut-paste": "gone"}
    world.done(name, 6)
    world.edit(FROST, "use: oat-drink-skerry, amount: {regular: 20", "use: hazelnut-paste, amount: {regular: 20")
    back = shown(world, world.propose(7, "With nuts again").name)
    assert {b.ingredient: b.way for b in back.bought} == {"oat-drink-skerry": "moved", "hazelnut-paste": "new"}


def test_allergen_paths_are_named_and_names_stay_in_scope(world: World) -> None:
    world.edit("ingredients/hazelnut-paste.yaml", "contains: [hazelnut", "contains: [lupin, hazelnut")
    name = world.propose(5, "Lupin in the paste").name
    now = shown(world, name, "franchise/marram")
    assert now.names.items["ingredient/hazelnut-paste"] == "Hazelnut paste, unsweetened"
    assert all(key.split(" ")[0] in {"drink/hazelnut-frost"} for key in now.names.layers)
    text = json.dumps(report_json(now)).lower()
    for other in ("northsands", "gull-rock", "harbour-row", "breakwater", "gbp", "usd"):
        assert other not in text
    assert {r.change for s in now.signings for r in s.reasons} & {"declaration-up", "allergen-in"}


def test_a_menu_price_alone_is_told_to_its_own_franchise(world: World) -> None:
    """5.00 to 5.36 with 20 % tax in the price leaves 0.30 more: (5.36 - 5.00) / 1.2."""
    path = "prices/northsands/price-book.yaml"
    text = (world.book / path).read_text(encoding="utf-8")
    menu = text.index("hazelnut-frost:", text.index("menu:"))
    was = re.search(r"regular: ([0-9.]+) GBP", text[menu:])
    assert was is not None
    old = Decimal(was[1])
    new = old + Decimal("0.36")
    (world.book / path).write_text(text[:menu] + text[menu:].replace(was[0], f"regular: {new} GBP", 1), encoding="utf-8")
    name = world.propose(5, "Dearer frost").name
    now = shown(world, name, "franchise/northsands")
    assert [(m.drink, m.size, m.before, m.after, m.net) for m in now.menu] == [("hazelnut-frost", "regular", old, new, Decimal("0.300"))]
    assert now.costs == ()
    assert shown(world, name, "franchise/marram").menu == ()
    assert len(shown(world, name).menu) == 1
