"""Twenty roads by which an allergen leaves what sites are told; every one asks food-safety and is classed by the entries.

Each edit is made in the demo's own records, as an author would make it, and the
case is judged whole; what an author calls the change plays no part. The
allergens are read by hand from the records: the frost holds hazelnut paste and
milk, its oat choice oats; the fizz's pear chip sulphites.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from chain_world import World, plain_git
from forge import FIZZ, FROST

from specctl.actions.judging import Findings
from specctl.codec import yamltext
from specctl.codec.rewrite import rewrite

PASTE_LINE = "      paste: {use: hazelnut-paste, amount: {regular: 20 g, large: 28 g}}\n"
NUT, OAT, CHIP = (f"ingredients/{n}.yaml" for n in ("hazelnut-paste", "oat-drink", "pear-chip"))
SKERRY = "substitutes:\n  skerry: {for: oat-drink, with: oat-drink-skerry, ratio: 1, markets: [ie]}\n"
OAT_CHOICE = "      oat:\n        name: Oat drink\n        lines:\n          frost/milk: {use: oat-drink, amount: {regular: 110 g, large: 149 g}}\n        note: The milk powder stays, and with it milk.\n"

Edit = Callable[[Path], None]


def swap(path: str, before: str, after: str) -> Edit:
    def edit(book: Path) -> None:
        text = (book / path).read_text(encoding="utf-8")
        assert before in text, (path, before)
        (book / path).write_text(text.replace(before, after), encoding="utf-8")

    return edit


def all_of(*edits: Edit) -> Edit:
    def edit(book: Path) -> None:
        for one in edits:
            one(book)

    return edit


def renamed(old: str, new: str, *more: Edit) -> Edit:
    def edit(book: Path) -> None:
        (book / old).rename(book / new)
        for one in more:
            one(book)

    return edit


def new_paste(book: Path) -> None:
    """A 'house' paste: the same file under another id, its nuts left out, used in the old one's place."""
    text = (book / NUT).read_text(encoding="utf-8").replace("contains: [hazelnut]", "contains: []").replace("name: Hazelnut paste", "name: House paste")
    (book / "ingredients/house-paste.yaml").write_text(text, encoding="utf-8")
    swap(FROST, "use: hazelnut-paste", "use: house-paste")(book)
    for price in (book / "prices").glob("*/price-book.yaml"):
        data = price.read_text(encoding="utf-8")
        if "hazelnut-paste:" in data:
            price.write_text(data.replace("hazelnut-paste:", "house-paste:"), encoding="utf-8")


def without_menu(book: Path) -> None:
    (book / FROST).unlink()
    for price in (book / "prices").glob("*/price-book.yaml"):
        tree, _ = yamltext.read(price.read_bytes(), price.name)
        assert tree is not None
        record: Any = tree.plain()
        for part in ("menu", "cups_a_week"):
            record[part].pop("hazelnut-frost", None)
        price.write_bytes(rewrite(price.read_bytes(), record, price.name))


ROADS: dict[str, Edit] = {
    "the line left out": swap(FROST, PASTE_LINE, ""),
    "another ingredient in its place": swap(FROST, "use: hazelnut-paste", "use: sugar-syrup"),
    "a lost list item": swap(NUT, "contains: [hazelnut]", "contains: []"),
    "contains becomes may contain": swap(NUT, "contains: [hazelnut]\n  may_contain: [almond, cashew, walnut]", "contains: []\n  may_contain: [almond, cashew, walnut, hazelnut]"),
    "may contain shortened": swap(NUT, "may_contain: [almond, cashew, walnut]", "may_contain: [almond, cashew]"),
    "another supplier's paper": all_of(
        swap(NUT, "supplier: Ashlar Nut Company", "supplier: Fenwick Mill"), swap(NUT, "ASH-3120", "FEN-7000"), swap(NUT, "contains: [hazelnut]", "contains: []")
    ),
    "the same goods under a new name": new_paste,
    "the paper answers for fewer lists and drops it": swap(NUT, "contains: [hazelnut]\n  may_contain: [almond, cashew, walnut]\n  answers_for: [eu-annex-ii, uk-annex-ii, us-falcpa]", "contains: []\n  answers_for: [eu-annex-ii]"),
    "a choice dropped": swap(FROST, OAT_CHOICE, "      none-yet:\n        name: No milk\n        lines:\n          frost/milk: none\n"),
    "the goods of a choice swapped": swap(FROST, "frost/milk: {use: oat-drink,", "frost/milk: {use: water,"),
    "the stand-in dropped": swap(FROST, SKERRY, ""),
    "the stand-in for fewer markets": swap(FROST, "markets: [ie]", "markets: [us]"),
    "a may-contain of the oats lost": swap(OAT, "  may_contain: [barley]\n", ""),
    "the oats lost": swap(OAT, "contains: [oats]", "contains: []"),
    "sulphites of the chip lost": swap(CHIP, "sulphites", "celery"),
    "the garnish choice left out": swap(FIZZ, "          garnish/chip: {use: pear-chip, amount: 1 each}\n", "          garnish/leaf: none\n"),
    "the drink taken away while it is served": without_menu,
    "the milk powder called something else": swap(FROST, "powder: {use: skim-milk-powder,", "powder: {use: sugar-syrup,"),
    "the milk of the powder lost": swap("ingredients/skim-milk-powder.yaml", "contains: [milk]", "contains: []"),
    "a word the market's list no longer has": swap("lists/uk-annex-ii.yaml", "      hazelnut:", "      hazelnut-old:"),
}


def judged(world: World, edit: Edit) -> Findings:
    edit(world.book)
    name = world.propose(5, "Tidier wording", draft=True).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    with world.case(name, 6) as case:
        findings = Findings(case)
        _ = findings.hits, findings.needs
        return findings


def test_there_are_twenty() -> None:
    assert len(ROADS) == 20


@pytest.mark.parametrize("road", ROADS)
def test_a_disguised_removal_asks_for_food_safety_and_is_a_removal(world: World, road: str) -> None:
    found = judged(world, ROADS[road])
    assert "declaration-down" in {h.change for h in found.hits}, {(h.change, h.because) for h in found.hits}
    needs = {(n.role, n.scope) for n in found.needs}
    assert {("food-safety", "chain"), ("drinks", "chain")} <= needs
    assert any(role == "franchise-manager" for role, _ in needs)
