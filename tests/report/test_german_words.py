"""What the German page must say of allergens: the law's names, the same weight, and never that something is free of one.

Names of groups: Regulation (EU) No 1169/2011, Annex II, German text (OJ L 304,
22.11.2011, p. 18), where each point names "… und daraus gewonnene Erzeugnisse"
besides; from memory of that text.
"""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest
from make_impact import NOW, chain, quiet, rich
from report.words_catalogue import REPORT, read

from specctl import resources
from specctl.change.impact import Impact
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.domain.place import AllergenList
from specctl.report.allergen_words import NAMES, allergen_word
from specctl.report.tables import Cell, Listing, Note, Table
from specctl.report.tongue import speaking
from specctl.report.view import View, view_of
from specctl.report.words import fact_words, status_words
from specctl.store.folder import read_folder

ANNEX_II = {
    "Cereals containing gluten": "Glutenhaltiges Getreide",
    "Crustaceans": "Krebstiere",
    "Eggs": "Eier",
    "Fish": "Fische",
    "Peanuts": "Erdnüsse",
    "Soybeans": "Sojabohnen",
    "Milk (including lactose)": "Milch (einschließlich Laktose)",
    "Nuts": "Schalenfrüchte",
    "Celery": "Sellerie",
    "Mustard": "Senf",
    "Sesame seeds": "Sesamsamen",
    "Sulphur dioxide and sulphites": "Schwefeldioxid und Sulphite",
    "Lupin": "Lupinen",
    "Molluscs": "Weichtiere",
}
# Cereals and nuts the Annex names one by one.
MEMBERS = {
    "wheat": "Weizen", "rye": "Roggen", "barley": "Gerste", "oats": "Hafer",
    "almond": "Mandeln", "hazelnut": "Haselnüsse", "walnut": "Walnüsse", "cashew": "Kaschunüsse", "pecan": "Pecannüsse",
    "Brazil nut": "Paranüsse", "pistachio": "Pistazien", "macadamia (Queensland nut)": "Macadamia- oder Queenslandnüsse",
}  # fmt: skip


def lists() -> dict[str, AllergenList]:
    book = load(read_folder(resources.demo_book(), is_readable)).book
    assert book is not None
    return dict(book.lists)


def test_every_name_of_the_lists_that_ship_is_known() -> None:
    found = lists()
    assert len(found) > 5
    names = {name for each in found.values() for group in each.groups.values() for name in (group.name, *group.members.values())}
    assert names <= NAMES
    with speaking("de"):
        assert {name for name in names if allergen_word(name) == name} <= {"Gluten", "triticale"}


def test_the_groups_of_the_european_list_are_called_as_the_law_calls_them() -> None:
    annex = lists()["eu-annex-ii"]
    assert {group.name for group in annex.groups.values()} == set(ANNEX_II)
    assert set(MEMBERS) <= {name for group in annex.groups.values() for name in group.members.values()}
    with speaking("de"):
        for english, german in {**ANNEX_II, **MEMBERS}.items():
            assert allergen_word(english) == german
        barley = {"name": "barley", "group": "cereals-gluten"}
        assert fact_words(barley, {"cereals-gluten": "Cereals containing gluten"}) == "Gerste (Glutenhaltiges Getreide)"


def test_a_name_of_the_books_own_wins_and_no_other_text_is_taken_for_one() -> None:
    with speaking("de"):
        for own in ("Haselnuss (Lambertsnuss)", "lait", "oat drink", "Drinks unchanged", ""):
            assert allergen_word(own) == own


def test_nothing_is_said_to_be_free_from_or_safe() -> None:
    promise = re.compile(r"\bfrei von\b|\b\w+frei\b|\bohne Allergene?\b|\bunbedenklich|\bsicher\b", re.IGNORECASE)
    assert promise.search("laktosefrei") and promise.search("frei von Nüssen")
    for message in read("de"):
        for form in (message.string,) if isinstance(message.string, str) else message.string:
            assert not promise.search(form), form
    with speaking("de"):
        assert status_words("unknown").startswith("UNBEKANNT") and "nachfragen" in status_words("unknown")
        assert status_words("absent") == "in den Dokumenten nicht genannt"


def weight(view: View) -> list[object]:
    """What is marked as alarming, and what may be closed, in reading order."""
    found: list[object] = [(point.section, point.alarm) for point in view.points]
    for section in view.sections:
        found.append((section.key, section.alarm, len(section.blocks)))
        for block in section.blocks:
            match block:
                case Note(_text, alarm):
                    found.append(("note", alarm))
                case Listing(_lead, points, alarm, fold):
                    found.append(("listing", len(points), alarm, fold))
                case Table(_caption, columns, rows, fold):
                    found.append(("table", [c.number for c in columns], [[_cell(c) for c in row] for row in rows], fold))
    return found


def _cell(cell: Cell) -> tuple[int, int, bool]:
    return len(cell.lines), len(cell.quiet), cell.alarm


@pytest.mark.parametrize("impact", [rich(), chain(), quiet()], ids=["rich", "chain", "quiet"])
def test_the_german_page_warns_of_the_same_at_the_same_place(impact: Impact) -> None:
    english = view_of(impact, now=NOW)
    with speaking("de"):
        german = view_of(impact, now=NOW)
        caution = "Das örtliche Recht und die für Lebensmittelsicherheit verantwortliche Person gehen allem auf dieser Seite vor."
        assert sum(caution in text for text in german.texts()) == sum("Local law and your food-safety lead" in t for t in english.texts())
    assert weight(german) == weight(english)
    # A word in capitals is one that must not be overlooked.
    for one, other in zip(english.points, german.points, strict=True):
        assert len(re.findall(r"\b[A-Z]{4,}\b", one.text)) <= len(re.findall(r"\b[A-ZÄÖÜ]{4,}\b", other.text)), other.text


@pytest.mark.parametrize("path", sorted(REPORT.rglob("*.py")), ids=lambda path: path.stem)
def test_the_underscore_is_no_other_name_where_it_says_words(path: Path) -> None:
    """In a function that binds it, `_("...")` would call whatever was thrown away."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    said = any(isinstance(n, ast.ImportFrom) and n.module == "specctl.report.tongue" and "_" in [a.name for a in n.names] for n in ast.walk(tree))
    bound = [n.lineno for n in ast.walk(tree) if isinstance(n, ast.Name) and n.id == "_" and isinstance(n.ctx, ast.Store)]
    assert not (said and bound), bound
