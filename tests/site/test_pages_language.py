"""The pages of a site in its market's language: the same cards, the same warnings, other words."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import timedelta
from typing import Any

import made_bundle as made
import pytest

from specctl.actions.publishing import language_key
from specctl.codec.load import load
from specctl.errors import Untrusted
from specctl.report.catalogue import ENGLISH
from specctl.report.tongue import speaking
from specctl.report.words import say
from specctl.resources import demo_book
from specctl.site.bundle import Bundle
from specctl.site.pages import Times, make_pages

FRESH = Times(made.NOW, made.CONFIRMED)
STALE = Times(made.NOW, made.CONFIRMED - timedelta(hours=48))


def pages(language: object = None, times: Times = FRESH) -> dict[str, str]:
    value: dict[str, Any] = made.bundle_value()
    if language is not None:
        value["language"] = language
    return {name: data.decode() for name, data in make_pages(json.dumps(value).encode(), times).items()}


def test_a_german_site_reads_german_and_an_english_one_what_it_always_read() -> None:
    english, german = pages(), pages("de-AT")
    assert english == pages("en-GB") == pages("fr"), "a language without words is told in English"
    for name, text in german.items():
        assert not name.endswith(".html") or '<html lang="de-AT">' in text
        assert text != english[name]
    with speaking("de"):
        caution, cover = say("caution.tell-us"), say("cover.title")
    assert caution in " ".join(german["allergens.txt"].replace("|", " ").split())
    assert cover in pages("de", STALE)["allergens.html"]


# A sentence without a place, long enough to be nobody's drink, that no record of the bundle says itself.
RECORDS = json.dumps(made.bundle_value())
WHOLE = [text for text in ENGLISH.values() if len(text) > 14 and "{" not in text and text not in RECORDS]


def test_no_sentence_of_ours_stays_english() -> None:
    assert len(WHOLE) > 60
    english, german = pages(times=STALE), pages("de", STALE)
    seen = 0
    for text in WHOLE:
        seen += any(text in page for page in english.values())
        assert not any(text in page for page in german.values()), text
    assert seen > 20


@pytest.mark.parametrize("times", [FRESH, STALE])
def test_no_warning_is_lost_on_the_way(times: Times) -> None:
    english, german = pages(times=times), pages("de", times)
    for name in (name for name in english if name.endswith(".html")):
        for mark in ('class="alarm"', 'class="caution"', 'class="cover"', "<li", "<td", "<h3", "<h4", "<strong"):
            assert german[name].count(mark) == english[name].count(mark), (name, mark)


def test_decimals_carry_the_languages_mark() -> None:
    # Unicode CLDR, German: a comma parts a fraction.
    for entry in made.bundle_value()["entries"].values():
        for size in entry["sizes"]:
            grams = size["makes_g"]
            if "." in grams:
                assert f"{grams.replace('.', ',')} g" in pages("de")["cards.txt"] + pages("de")["preps.txt"]
    assert not re.search(r"[0-9]\.[0-9]+ g\b", pages("de")["cards.txt"])


@pytest.mark.parametrize("wrong", [5, "", "de\n", "d", "<b>", "de_DE", "de-" + "x" * 9])
def test_a_bundle_names_a_language_or_is_refused(wrong: object) -> None:
    value: dict[str, Any] = made.bundle_value()
    value["language"] = wrong
    with pytest.raises(Untrusted, match=r"\$\.language"):
        Bundle.parse(json.dumps(value).encode())


@pytest.mark.parametrize(
    ("tag", "told"), [("en-GB", {}), ("EN", {}), ("de-DE", {"language": "de-DE"}), ("ar", {"language": "ar"}), ("not a tag", {})]
)
def test_a_bundle_tells_the_markets_language_where_it_is_not_english(tag: str, told: dict[str, str]) -> None:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in root.rglob("*.yaml")}).book
    assert book is not None
    site = book.sites["saltmarket"]
    markets = {**book.markets, site.market: replace(book.markets[site.market], language=tag)}
    assert language_key(replace(book, markets=markets), site) == told
