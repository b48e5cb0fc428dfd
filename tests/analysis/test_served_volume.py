"""What figures by 100 ml are by: all that is consumed as served, pearls too; ice left over not."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal as D

import pytest
from make import book, drink, ingredient, layer, line, vessel

from specctl.analysis.cupcheck import cups_of
from specctl.analysis.matter import Larder
from specctl.analysis.nourishing import servings_of
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.domain.ingredient import Density
from specctl.resources import demo_book


def demo() -> Book:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}).book
    assert book is not None
    return book


def test_pearls_count_in_the_volume_as_their_grams_count_in_the_figures() -> None:
    tidewick = demo()
    drink, site = tidewick.drinks["pearl-milk-tea"], tidewick.sites["harbour-row"]
    (serving,) = servings_of(tidewick, drink, site, asked=False)
    cup = next(iter(cups_of(Larder(tidewick, site.ice), drink)))
    state = cup.state
    # mass over density, by hand: 90 g of pearls by the density the book states for them
    pearls = tidewick.item("cooked-pearls")
    assert pearls is not None and pearls.density is not None
    alone = 90 / float(pearls.density.value)
    poured = state.drinkable_ml
    assert poured is not None and state.ice is not None and state.ice.left > 1
    others = sum(each.ml or 0.0 for each in state.layers[1:]) + 20 / 1.23
    assert poured == pytest.approx(alone + others, rel=0.005), "syrup of equal weights: 1.23 g/ml (CRC Handbook, 50 %)"
    assert serving.nutrition.volume_ml == D(round(poured))
    figure, per = serving.nutrition.figures["carbohydrate"], serving.nutrition.per_100_ml("carbohydrate")
    assert per is not None and float(per.amount) == pytest.approx(float(figure.amount) * 100 / poured, rel=0.005)


def test_pieces_in_a_layer_of_their_own_count_too() -> None:
    # mass over density, by hand: 56.5 g of 1.13 g/ml are 50 ml, beside 200 ml of water-like tea
    tea = replace(ingredient("tea", storage="chilled", composition={"water": D(100)}), density=Density(D(1), "a test", D(5)))
    pearls = ingredient("pearls", state="piece", density="1.13")
    made = drink("made", layer("low", line("p", "pearls", "56.5")), layer("high", line("l", "tea", 200)))
    cup = next(iter(cups_of(Larder(book(tea, pearls, vessel(brimful=450), made)), made))).state
    assert [each.kind for each in cup.layers] == ["pieces", "liquid"]
    assert cup.drinkable_ml == pytest.approx(250, abs=0.1)


def test_a_site_and_a_cup_agree_on_every_drink_of_the_demo() -> None:
    tidewick = demo()
    site = tidewick.sites["harbour-row"]
    assert not site.stocks and site.ice is None, "the standard build, so that both speak of one cup"
    larder = Larder(tidewick, site.ice)
    compared = 0
    for drink in tidewick.served_at(site):
        volumes = {each.size: each.state.drinkable_ml for each in cups_of(larder, drink) if each.variant.is_standard}
        for serving in servings_of(tidewick, drink, site, asked=False):
            told, worked = serving.nutrition.volume_ml, volumes[serving.size]
            assert (told is None) == (worked is None)
            if told is not None and worked is not None:
                assert told == round(worked)
                compared += 1
    assert compared > 5
