"""A supplier's facts that change: drinks, sites, printed sheets, and what to do first (common practice, no source)."""

from __future__ import annotations

from dataclasses import replace

from make_impact import NOW, quiet, rich

from specctl.change.impact import Impact
from specctl.report.tables import Listing
from specctl.report.view import view_of
from specctl.report.view_first import blocks

CHANGED = (("ingredients/oat-drink.yaml", "allergens/contains", "oats", "oats, hazelnut"),)


def told(impact: Impact) -> tuple[str, ...]:
    (found,) = blocks(impact)
    assert isinstance(found, Listing) and found.alarm and not found.fold
    return found.points


def test_every_drink_and_site_a_changed_paper_reaches_is_named() -> None:
    impact = rich(file_changes=CHANGED)
    words = " ".join(told(impact))
    assert "oat drink, barista" in words
    for change in impact.allergens:
        assert change.item_name in words
    reached = {site for change in impact.allergens for site in change.sites}
    assert reached and all(impact.names.sites[site] in words or f"all {len(impact.names.sites)} sites" in words for site in reached)


def test_the_packs_come_first_and_more_is_said_before_less() -> None:
    one = rich().allergens[0]
    up, down = replace(one, before=None, after="contains"), replace(one, before="contains", after=None)
    both = told(rich(file_changes=CHANGED, allergens=(up, down)))
    assert both[0].startswith("Look at the packs") and "off sale" in both[1] and "Say nothing less" in both[2]
    assert not any("Say nothing less" in p for p in told(rich(file_changes=CHANGED, allergens=(up,))))
    assert not any("off sale" in p for p in told(rich(file_changes=CHANGED, allergens=(down,))))


def test_nothing_is_told_where_no_paper_changes_or_nothing_is_declared_otherwise() -> None:
    assert blocks(quiet()) == []
    assert blocks(rich(file_changes=CHANGED, allergens=())) == []
    assert blocks(rich(file_changes=(("sites/quay.yaml", "allergens", "", ""), ("ingredients/oat-drink.yaml", "note", "a", "b")))) == []


def test_it_stands_in_the_report() -> None:
    lead = "A supplier's facts change. What to do first"
    view = view_of(rich(file_changes=CHANGED), now=NOW)
    assert any(isinstance(b, Listing) and b.lead == lead for s in view.sections if s.key == "allergens" for b in s.blocks)
