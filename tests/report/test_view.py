"""Each section of the view, from an impact whose every number is invented."""

from __future__ import annotations

import shlex
from dataclasses import replace
from datetime import datetime, timezone
from decimal import Decimal

import pytest
from make_impact import HOJICHA, HOJICHA_NAME, NOW, chain, hostile, line, move, quiet, rich

from specctl.change.impact import Bought, DocumentAge, Impact, MenuChange, Reason, TextChange, Through
from specctl.report.tables import Command, Listing, Table, texts_of
from specctl.report.view import View, view_of

LABELS = [
    "Decide", "Allergens", "My sites", "At the bar", "Buy and run down", "Money", "Train and replace",
    "Signed and open",
]  # fmt: skip
KEYS = [
    "changes", "allergens", "cups", "sites", "amounts", "method", "buying", "cost", "signing", "files", "unchanged", "about",
    "sign", "check",
]  # fmt: skip


def point(view: View, label: str) -> str:
    return next(p.text for p in view.points if p.label == label)


def body(view: View, key: str) -> str:
    return "\n".join(texts_of(view.section(key).blocks))


def rows(view: View, key: str, start: str) -> list[list[str]]:
    """Rows of the first table whose caption starts so, a text a cell."""
    tables = [b for b in view.section(key).blocks if isinstance(b, Table) and b.caption.startswith(start)]
    return [["; ".join(field.all_lines) for field in row] for row in tables[0].rows]


def listings(view: View, key: str) -> dict[str, tuple[str, ...]]:
    return {b.lead: b.points for b in view.section(key).blocks if isinstance(b, Listing)}


def test_the_page_reads_in_its_order() -> None:
    view = view_of(rich(), now=NOW)
    assert [p.label for p in view.points] == LABELS
    assert [s.key for s in view.sections] == KEYS
    assert {p.section for p in view.points} <= set(KEYS)
    assert "Sites" in [p.label for p in view_of(chain()).points]


def test_same_impact_same_view() -> None:
    assert view_of(rich(), now=NOW) == view_of(rich(), now=NOW)


# asked and starts


def test_the_first_line_says_what_is_asked_by_whom_and_by_when() -> None:
    assert point(view_of(rich(), now=NOW), "Decide") == (
        "Sign or object as franchise manager before Tuesday 1 December 2026 (in 6 days): it starts then at 2 sites; "
        "8 December 2026, 1 site. Do nothing: today's cards stay."
    )
    assert "as franchise manager and head of drinks before" in point(view_of(chain()), "Decide")
    assert "(in 6 days)" not in point(view_of(rich()), "Decide")


@pytest.mark.parametrize("state", ["released", "superseded", "withdrawn"])
def test_nothing_is_asked_when_it_is_over(state: str) -> None:
    view = view_of(rich(state=state))
    assert f"is {state}" in point(view, "Decide")
    assert "specctl sign" not in body(view, "sign")
    assert "Do nothing" not in point(view, "Decide")


def test_a_released_proposal_is_marked_as_its_release() -> None:
    late = datetime(2026, 12, 25, 9, 0, tzinfo=timezone.utc)
    view = view_of(rich(state="released", release=7), now=late)
    assert view.state == "released as release 7"
    assert point(view, "Decide").startswith("Nothing: released as release 7. Started Tuesday 1 December 2026")
    assert rows(view, "allergens", "Great Britain")
    assert "this is how it stood then" in body(view, "signing")
    assert "It is release 7." in body(view, "sign") and rich().digest in body(view, "sign")


def test_a_conflict_is_said_first_and_in_trade_words() -> None:
    view = view_of(rich(conflicts=("drinks/fizz.yaml, layers/base: main now has 20 g, this proposal has 22 g",)))
    assert "CANNOT be released" in point(view, "Decide")
    assert "main now has 20 g" in body(view, "about")
    assert "cannot be signed or released" in body(view, "sign")
    assert "specctl" not in body(view, "sign")


# what changes


def test_each_drink_has_its_sentence_worst_first() -> None:
    found = {s.split(" (drink)")[0]: s for s in listings(view_of(rich()), "changes")["In one sentence each"] if "(drink)" in s}
    words = found[HOJICHA_NAME]
    assert words.startswith(f"{HOJICHA_NAME} (drink): ALLERGENS, options included: REMOVED from the declaration: soya;")
    assert "oat drink, unsweetened 28 g → 34 g; beet sugar, fine not in it → 8 g" in words
    assert "same grams, other tools: roasted tea powder, 1 level × amber scoop, 15 ml → 2 level × plum scoop" in words
    assert "1 amount in its options" in found["Pear and sage fizz"]


def test_another_ingredient_is_named_on_both_sides_in_one_sentence() -> None:
    swap = replace(rich().amounts[4], choice="", choice_name="")
    (words,) = listings(view_of(rich(amounts=(swap,), allergens=(), texts=())), "changes")["In one sentence each"]
    assert words == f"{HOJICHA_NAME} (drink): instead: 40 g of oat drink, unsweetened → 40 g of almond drink."


def test_what_shared_equipment_carries_stands_with_the_allergens_and_is_no_training() -> None:
    carried = TextChange("contact", "drink/a", "A latte", "steam-wand", None, "carries milk (no cleaning rule)", ("quay",))
    view = view_of(rich(texts=(carried, replace(carried, item="drink/b", item_name="B latte"))))
    assert rows(view, "allergens", "What shared equipment") == [
        ["steam-wand", "not shared", "carries milk (no cleaning rule)", "A latte and B latte", "Old Quay"]
    ]
    assert "steam-wand" not in body(view, "method") and "steam-wand" not in point(view, "Train and replace")


def test_sizes_are_told_apart_in_one_sentence() -> None:
    first = rich().amounts[0]
    large = replace(first, size="large", size_name="large", before=Decimal(40), after=Decimal(46), at=())
    (words,) = listings(view_of(rich(amounts=(first, large), allergens=(), texts=())), "changes")["In one sentence each"]
    assert words == f"{HOJICHA_NAME} (drink): oat drink, unsweetened 28 g → 34 g (regular), 40 g → 46 g (large)."


def test_what_is_touched_through_a_prep_alone_is_named_and_not_called_unchanged() -> None:
    cloud = Through("drink/cloud", "Matcha cloud", ("Salted oat foam",))
    view = view_of(rich(through=(cloud,)))
    assert "Matcha cloud (drink): through Salted oat foam" in body(view, "changes")
    assert "made with a prep that changes is not among them" in body(view, "unchanged")


def test_a_drink_whose_cost_alone_moves_is_named() -> None:
    first = replace(rich().costs[0], drink="barley", drink_name="Roasted-barley latte")
    view = view_of(rich(costs=(first,)))
    assert "Only the cost changes: Roasted-barley latte." in body(view, "changes")
    assert "Of these the cost changes: Roasted-barley latte." in body(view, "unchanged")


def test_a_new_drink_has_a_column_a_size_and_folded_tools() -> None:
    first = rich().amounts[0]
    new = replace(first, item="drink/new", item_name="Sage cooler", before=None, before_of=None,
                  at=tuple(replace(a, before=None, before_line=None) for a in first.at))  # fmt: skip
    large = replace(new, size="large", size_name="large", after=Decimal(46))
    said = TextChange("item-new", "drink/new", "Sage cooler", "item", None, "Sage cooler", ("harbour", "quay", "saltmarsh"))
    view = view_of(rich(amounts=(new, large), texts=(said,)))
    assert rows(view, "amounts", "Sage cooler (drink): new at 3 sites") == [["oat drink, unsweetened", "34 g", "46 g"]]
    (tools,) = (b for b in view.section("amounts").blocks if isinstance(b, Table) and b.fold)
    assert tools.caption == "Sage cooler (drink): in each site's own tools" and len(tools.rows) == 4
    assert "1 card NEW: Sage cooler." in point(view, "At the bar")
    # Where one site had it, it is a change like any other.
    other = view_of(rich(amounts=(new, large), texts=(replace(said, sites=("quay",)),)))
    assert not any(isinstance(b, Table) and b.fold for b in other.section("amounts").blocks)


def test_a_new_drink_s_allergens_stand_by_status_with_every_way_in() -> None:
    base = replace(rich().allergens[1], item="drink/new", item_name="Sage cooler", sites=("quay",))
    others = (
        replace(base, choice="", choice_name=""),
        replace(base, choice="", choice_name="", substance="milk", name="milk", after="unknown"),
        replace(base, choice="", choice_name="", market="us", sites=("saltmarsh",), substance="rye", name="rye", listed=False),
    )
    said = TextChange("item-new", "drink/new", "Sage cooler", "item", None, "Sage cooler", ("quay", "saltmarsh"))
    view = view_of(rich(allergens=(base, *others), texts=(said,)))
    gb, us = "Great Britain (GB): Old Quay", "United States (US): Saltmarsh"
    assert rows(view, "allergens", "New here: what each brings") == [
        ["Sage cooler (drink)", "almond drink", "almond (tree nuts)", "–", "–", gb],
        ["Sage cooler (drink)", "standard build", "almond (tree nuts)", "–", "milk", gb],
        ["Sage cooler (drink)", "standard build", "rye (not on this market's list, shown all the same)", "–", "–", us],
    ]
    ((name, ways),) = rows(view, "allergens", "New here: the ways in")
    for substance in ("almond (tree nuts): ", "milk: ", "rye: "):
        assert substance + base.paths[0] in ways
    assert not [b for b in view.section("allergens").blocks if isinstance(b, Table) and b.caption.startswith("Great")]


def test_what_to_buy_and_run_down_is_told_with_sign_and_unit() -> None:
    bought = (
        Bought("holm", "Foam powder (Holm)", "new", Decimal(2100), "g"),
        Bought("ness", "Foam powder (Ness)", "gone", Decimal(-1800), "g", ("Fizz, large: no sales stated",)),
        Bought("slice", "Lemon slice", "moved", Decimal(-12), "each"),
        Bought("salt", "Fine salt", "new", None, "g"),
    )
    view = view_of(rich(bought=bought))
    assert point(view, "Buy and run down") == (
        "Buy new: 2.1 kg a week of Foam powder (Holm) and Fine salt. Run down: 1.8 kg a week of Foam powder (Ness); "
        "what is left over has no price at hand. "
        "A week: −12 pieces of Lemon slice."
    )
    assert rows(view, "buying", "Ingredients") == [
        ["Fine salt", "NEW: buy it before the start", "cannot be told", ""],
        ["Foam powder (Holm)", "NEW: buy it before the start", "+2100 g", ""],
        ["Foam powder (Ness)", "falls out of use: run it down", "−1800 g", "Fizz, large: no sales stated"],
        ["Lemon slice", "order more or less", "−12 pieces", ""],
    ]


# allergens


def test_every_substance_that_moved_is_named_on_the_first_screen() -> None:
    impact = rich()
    text = point(view_of(impact), "Allergens")
    for change in impact.allergens:
        assert change.name in text
    for words in ("REMOVED from the declaration: soya", "becomes UNKNOWN: hazelnut", "Options included", "Still UNKNOWN: celery"):
        assert words in text
    assert "TOO OLD: beet sugar, fine" in text


def test_an_allergen_row_says_before_after_way_in_and_sites() -> None:
    found = rows(view_of(rich()), "allergens", "Great Britain")
    assert len(found) == 6
    barley = next(r for r in found if r[0].startswith("barley"))
    assert barley[2] == "standard build"
    assert barley[3] == "may contain → CONTAINS; stronger: may contain becomes CONTAINS"
    assert "salted oat foam / foam base / oat drink, barista" in barley[4]
    assert barley[5] == "Harbour Steps, Old Quay"
    assert found[0][0] == "soya" and "REMOVED" in found[0][3]


def test_each_market_has_its_own_table_and_unlisted_substances_stay() -> None:
    found = rows(view_of(rich()), "allergens", "United States")
    assert [r[0].split(";")[0] for r in found] == ["almond (tree nuts)", "barley"]
    assert "not on this market's list; shown all the same" in found[1][0]


def test_choices_with_the_same_change_share_a_row_and_stay_named() -> None:
    almond = next(c for c in rich().allergens if c.choice)
    other = replace(almond, choice="ice=less", choice_name="Ice: less")
    apart = replace(almond, choice="ice=none", choice_name="Ice: none", after="may_contain")
    found = rows(view_of(rich(allergens=(almond, other, apart))), "allergens", "Great Britain")
    assert [(r[2], r[3]) for r in found] == [
        ("Ice: less; almond drink", "not in its documents → CONTAINS; ADDED"),
        ("Ice: none", "not in its documents → may contain; ADDED"),
    ]


def test_the_way_in_is_told_in_the_names_people_know() -> None:
    impact = rich()
    names = replace(
        impact.names,
        items={"prep/salted-oat-foam": "Salted oat foam", "ingredient/foam-powder-holm": "Foam powder (Holm)"},
        layers={f"{HOJICHA} foam": "Oat foam on top"},
    )
    paths = (
        "foam/oat > prep/salted-oat-foam > powder > ingredient/foam-powder-holm",
        "foam/rose > ingredient/rose-petal (unknown)",
        "An odd path, as it was written",
    )
    drink = replace(impact.allergens[0], paths=paths)
    prep = replace(drink, item="prep/salted-oat-foam", paths=("mix/powder > ingredient/foam-powder-holm",))
    found = rows(view_of(rich(names=names, allergens=(drink, prep))), "allergens", "Great Britain")
    assert [r[4] for r in found] == [
        "layer Oat foam on top > Salted oat foam (prep) > powder > Foam powder (Holm); "
        "layer Oat foam on top > rose petal (unknown); An odd path, as it was written",
        "powder > Foam powder (Holm)",
    ]


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("contains", "unknown", "CONTAINS → UNKNOWN — ask before answering; becomes UNKNOWN, declared before"),
        ("may_contain", "unknown", "may contain → UNKNOWN — ask before answering; becomes UNKNOWN, declared before"),
        (None, "unknown", "not in its documents → UNKNOWN — ask before answering; becomes UNKNOWN"),
        ("unknown", None, "UNKNOWN — ask before answering → not in its documents; was UNKNOWN, now said not to be in it"),
    ],
)
def test_unknown_is_said_whichever_side_it_stands_on(before: str | None, after: str | None, words: str) -> None:
    change = replace(rich().allergens[0], before=before, after=after)
    view = view_of(rich(allergens=(change,)))
    assert rows(view, "allergens", "Great Britain")[0][3] == words
    assert "UNKNOWN" in point(view, "Allergens")


def test_many_unknown_are_counted_first_and_all_named_below() -> None:
    many = tuple(("Pear and sage fizz", choice, f"substance {n}", "gb") for choice in ("A", "B") for n in range(20))
    view = view_of(rich(cover=replace(rich().cover, still_unknown=many)))
    assert "Still UNKNOWN: 20 allergens in Pear and sage fizz." in point(view, "Allergens")
    found = rows(view, "allergens", "UNKNOWN before and after")
    assert len(found) == 1 and found[0][1] == "A; B"
    assert all(f"substance {n}" in found[0][3] for n in range(20))


def test_a_released_proposal_does_not_pretend_that_nothing_changed() -> None:
    view = view_of(replace(quiet(), state="released"))
    text = "\n".join(view.texts())
    assert "Nothing is left to compare" in text
    assert "unchanged" not in text and "No difference" not in text


def test_with_every_signature_in_it_may_be_released_without_the_reader() -> None:
    signed = tuple(replace(s, met_by="Anso Reed", stale="") for s in rich().signings)
    text = point(view_of(rich(signings=signed)), "Decide")
    assert "it can be released without you" in text and "Do nothing" not in text


def test_a_drink_no_longer_served_is_not_called_a_removed_declaration() -> None:
    gone = TextChange("item-gone", HOJICHA, "x", "item", "x", None, ("harbour", "quay"))
    soya = next(c for c in rich().allergens if c.name == "soya")
    at_more = replace(soya, sites=("harbour", "quay", "saltmarsh"))
    ended = body(view_of(rich(texts=(gone,), allergens=(soya,))), "allergens")
    assert "no longer served there" in ended and "REMOVED" not in ended
    assert "REMOVED" in body(view_of(rich(texts=(gone,), allergens=(at_more,))), "allergens")


def test_silence_says_what_was_and_was_not_compared() -> None:
    view = view_of(quiet())
    text = point(view, "Allergens") + body(view, "allergens")
    assert "24 rows" in text and "not a promise" in text
    assert "What was not covered" in text
    assert "Unknown before and after: no such row among those compared" in text
    for bare in ("no allergen change", "free from", "allergen-free", "is safe"):
        assert bare not in text.lower()


def test_nothing_compared_is_no_answer() -> None:
    impact = replace(quiet(), cover=replace(quiet().cover, items=0, rows=0, documents=()))
    view = view_of(impact)
    assert point(view, "Allergens").startswith("Nothing was compared: ask before answering.")
    assert "No supplier's document" in body(view, "allergens")
    assert view.section("allergens").alarm


def test_documents_carry_their_dates_and_missing_ones_are_no_old_ones() -> None:
    missing = DocumentAge("tea", "roasted tea powder", "no document", "", "", True)
    impact = rich(cover=replace(rich().cover, documents=(*rich().cover.documents, missing)))
    found = rows(view_of(impact, now=NOW), "allergens", "Documents missing")
    assert ["roasted tea powder", "no document", "no date", "never", "NO DATED DOCUMENT: everything reads as UNKNOWN"] in found
    sugar = next(r for r in found if r[0].startswith("beet sugar"))
    # 1 June 2024 to 25 November 2026: 907 days, by the calendar.
    assert sugar[2:] == ["1 June 2024; 907 days old", "1 June 2026", "TOO OLD: what it does not name reads as UNKNOWN"]
    # 3 February 2025 to 25 November 2026: 660 days, by the calendar.
    assert (
        "3 documents, the oldest in date 660 days old; TOO OLD: beet sugar, fine; MISSING: roasted tea powder."
    ) in point(view_of(impact, now=NOW), "Allergens")


def test_what_is_unknown_before_and_after_is_listed() -> None:
    assert rows(view_of(rich()), "allergens", "UNKNOWN before and after") == [
        ["Pear and sage fizz", "standard build", "Great Britain (GB)", "celery"]
    ]


@pytest.mark.parametrize("impact", [rich(), chain(), quiet(), hostile()])
def test_nothing_about_allergens_may_fold(impact: Impact) -> None:
    blocks = view_of(impact).section("allergens").blocks
    assert not any(isinstance(b, Listing) and b.fold for b in blocks)


# amounts


def test_a_change_of_grams_has_sign_unit_and_base() -> None:
    oat = [r for r in rows(view_of(rich()), "amounts", "Blackcurrant") if r[0].startswith("oat drink")]
    assert oat[0][1] == "28 g → 34 g, +6 g, +21.4 %"
    assert oat[0][2:4] == ["Old Quay", "28 g on the bench scale, 1 g → 34 g on the bench scale, 1 g"]
    assert oat[1][2:4] == ["Harbour Steps, Saltmarsh", "2 level × amber scoop, 15 ml, as before"]
    assert oat[1][4].startswith("OUTSIDE tolerance, gives 28.8 g, 5.2 g under; before: within tolerance")


def test_same_grams_other_tools_lead() -> None:
    view = view_of(rich())
    tables = [b for b in view.section("amounts").blocks if isinstance(b, Table)]
    assert tables[0].caption.startswith("Same grams, other tools")
    assert "6.5 g, unchanged" in [line for f in tables[0].rows[0] for line in f.all_lines]
    only = tuple(c for c in rich().amounts if c.same_grams)
    assert "same grams, in tools: roasted tea powder, 1 level × amber scoop → 2 level × plum scoop (Harbour Steps)" in point(
        view_of(rich(amounts=only)), "At the bar"
    )


def test_what_cannot_be_measured_is_called_out() -> None:
    view = view_of(rich())
    listing = view.section("amounts").blocks[0]
    assert isinstance(listing, Listing) and len(listing.points) == 2
    assert "OUTSIDE tolerance, gives 28.8 g, 5.2 g under" in listing.points[0] + listing.points[1]
    assert "2 amounts CANNOT be measured within tolerance at every site" in point(view, "At the bar")


def test_new_gone_and_swapped_lines_say_so() -> None:
    text = body(view_of(rich()), "amounts")
    assert "not in it → 8 g, +8 g" in text
    assert "20 g → left out, −20 g" in text
    assert "another ingredient: oat drink, unsweetened → almond drink" in text


def test_a_line_without_grams_is_still_there() -> None:
    ruled = {**line("", [], by="eye"), "rule": "top to 15 mm below rim"}
    counted = {**line("3.6", [], by="count"), "each": "3"}
    first = rich().amounts[0]
    change = replace(first, before=None, at=(replace(first.at[0], before_line=ruled, after_line=counted),))
    text = body(view_of(rich(amounts=(replace(change, after=Decimal("3.6")),))), "amounts")
    assert "top to 15 mm below the rim → 3 pieces (3.6 g)" in text
    assert "not in it" not in text


def test_a_tolerance_that_moves_is_shown() -> None:
    first = rich().amounts[0]
    wide = {**line("28", [move("s", "scale", mark="28 g")], by="scale"), "tolerance": {"minus": "1", "plus": "3"}}
    tight = line("28", [move("s", "scale", mark="28 g")], by="scale")
    at = replace(first.at[0], before_line=tight, after_line=wide)
    text = body(view_of(rich(amounts=(replace(first, after=Decimal(28), at=(at,)),))), "amounts")
    assert "tolerance: ±2 g → −1 g, +3 g" in text


# method, sites


def test_method_changes_stand_before_and_after() -> None:
    view = view_of(rich())
    assert rows(view, "method", "Method")[0][1:4] == ["step foam", "Blend 10 s.", "Blend 20 s, rest 5 s."]
    assert rows(view, "method", "Hold time")[0][1:4] == ["all of it", "4 h", "2 h"]
    assert rows(view, "method", "Equipment")[0][2:4] == ["not there", "blender"]
    assert point(view, "Train and replace") == (
        "Everybody at 3 sites: 1 method, 1 hold time and 1 equipment, the new amounts, what to say of allergens; "
        "print 3 cards, 1 of them new. Till, menu board, delivery listing: change them too, allergens included."
    )


def test_how_long_absence_may_be_said_stands_with_the_allergens() -> None:
    view = view_of(rich())
    assert "absences trusted until 2026-06-01" in body(view, "allergens")
    assert "absences trusted" not in body(view, "method")


def test_sites_that_cannot_follow_are_named_with_what_they_lack() -> None:
    view = view_of(rich())
    assert point(view, "My sites").startswith("2 of 3 sites touched can follow; 1 CANNOT")
    assert "Saltmarsh (a blender and a scoop for 8 g of beet sugar)" in point(view, "My sites")
    assert [r[3] for r in rows(view, "sites", "Not able")] == ["NEW with this proposal", "stands today already"]


# cost


def test_cost_shows_both_effects_that_add_up() -> None:
    view = view_of(rich())
    row = rows(view, "cost", "Northsands, prices of 1 November 2026")[0]
    assert row[1] == "GBP 0.413 → GBP 0.446; +GBP 0.033, +8.0 %"
    assert row[2:4] == ["+GBP 0.011", "+GBP 0.022"]
    assert row[4] == "menu GBP 3.80; margin GBP 2.754 → GBP 2.721, −GBP 0.033; 86.9 % → 85.9 %, −1.0 points"
    assert row[5] == "+GBP 21.21; on GBP 264.32, +8.0 %; 640 cups a week"
    parts = rows(view, "cost", "Northsands: what moved")
    assert [p[1:] for p in parts] == [
        ["oat drink, unsweetened", "+GBP 0.011", "+GBP 0.014"],
        ["beet sugar, fine", "GBP 0.000", "+GBP 0.008"],
    ]


def test_an_effect_too_small_to_show_is_named_all_the_same() -> None:
    first = rich().costs[0]
    salt = replace(first.ingredients[0], name="fine salt", price_effect=Decimal(0), recipe_effect=Decimal("0.000"))
    view = view_of(rich(costs=(replace(first, ingredients=(*first.ingredients, salt)),)))
    assert len(rows(view, "cost", "Northsands: what moved")) == 2
    assert "each by less than this page's last decimal: fine salt." in body(view, "cost")


def test_the_span_of_cups_is_told_from_least_to_most() -> None:
    first = rich().costs[0]
    less = replace(first, drink_name="Sea tea", after=Decimal("0.410"))
    text = point(view_of(rich(costs=(first, less))), "Money")
    assert "A cup −GBP 0.003 to +GBP 0.033 on GBP 0.413." in text
    assert text.startswith("A week +GBP 42.42 on GBP 528.64 (+8.0 %).")


def test_a_missing_price_is_named_and_no_number_stands_in() -> None:
    view = view_of(rich())
    assert "Pear and sage fizz, large: almond drink" in body(view, "cost")
    assert "1 drink size CANNOT be told, prices missing" in point(view, "Money")
    assert rows(view, "cost", "Northsands, prices")[1][1] == "GBP 0.512 → cannot be told; missing: almond drink"


def test_a_menu_price_is_told_though_no_cost_moves() -> None:
    up = MenuChange("northsands", "GBP", "steamer", "Black sesame steamer", "mug", "Mug", Decimal("4.35"), Decimal("4.60"), Decimal("0.208"))
    first = replace(up, drink="fizz", drink_name="Pear fizz", before=None, net=None)
    view = view_of(rich(costs=(), menu=(up, first)))
    assert point(view, "Money").startswith(
        "No cost at hand moves. Menu price: Black sesame steamer, Mug +GBP 0.25 and Pear fizz, Mug new, GBP 4.60."
    )
    assert rows(view, "cost", "Menu prices") == [
        ["Black sesame steamer, Mug", "GBP 4.35 → GBP 4.60; +GBP 0.25, +5.7 %", "+GBP 0.208 a cup"],
        ["Pear fizz, Mug", "none stated → GBP 4.60", "cannot be told"],
    ]


def test_a_new_drink_is_no_missing_price() -> None:
    new = replace(
        rich().costs[0], before=None, price_effect=None, recipe_effect=None, ingredients=(), week=None,
        margin_before=None, margin_share_before=None,
    )  # fmt: skip
    view = view_of(rich(costs=(new,)))
    row = rows(view, "cost", "Northsands")[0]
    assert row[1] == "not served before → GBP 0.446"
    assert row[4].endswith("margin not served before → GBP 2.721, 85.9 %")
    assert "cannot be told" not in body(view, "cost").lower()
    assert "New: Blackcurrant hojicha under salted oat foam, regular GBP 0.446 a cup." in point(view, "Money")


def test_without_a_price_book_nothing_is_said_about_cost() -> None:
    view = view_of(replace(quiet(), price_books=()))
    assert "No price book is at hand" in point(view, "Money")
    assert "No price book is at hand" in body(view, "cost")


def test_franchises_never_share_a_sum() -> None:
    text = point(view_of(chain()), "Money")
    assert "Marram: a week +EUR 21.21 on EUR 264.32, a cup at most +EUR 0.033, margin −1.0 points at worst." in text
    assert "Northsands: a week +GBP 21.21 on GBP 264.32, a cup at most +GBP 0.033" in text


# signing, files, not affected, about, sign


def test_who_signs_why_and_what_is_open() -> None:
    view = view_of(rich())
    found = rows(view, "signing", "Signatures")
    assert found == [
        ["food safety", "the whole chain", "signed by Anso Reed", "Anso Reed"],
        ["franchise manager", "Northsands", "open", "Bryn Tarn and Cato Wick"],
        ["head of drinks", "the whole chain", "STALE: sign again; line foam/oat moved since it was signed", "Dune Marl"],
    ]
    for signing in rich().signings:
        assert signing.digest in body(view, "signing")
    text = point(view, "Signed and open")
    assert text == (
        "Food safety: signed by Anso Reed. Franchise manager: OPEN. Head of drinks: STALE, sign again. "
        "No tasting record. 1 objection OPEN: Bryn Tarn."
    )
    assert rows(view, "signing", "Objections")[0] == [
        "Bryn Tarn; franchise manager, Northsands", "24 November 2026, 16:20 UTC", "Saltmarsh has no blender.", "OPEN",
    ]  # fmt: skip


def test_why_is_told_in_the_policy_s_words_class_by_class() -> None:
    amounts = tuple(f"an amount changes in drink {n}" for n in range(9))
    reasons = (
        Reason("amount", "The dose is the drink.", amounts),
        Reason("hold", "", ("Salted oat foam: hold changes",)),
    )
    drinks = replace(rich().signings[2], because=(*amounts, "said by no class"), reasons=reasons)
    why = listings(view_of(rich(signings=(drinks,))), "signing")["Why head of drinks signs for the whole chain"]
    assert why == (
        "An amount changes. The dose is the drink. Here: an amount changes in drink 0; drink 1; drink 2; drink 3; "
        "drink 4; 4 more of this kind.",
        "A hold time or storage changes. Here: Salted oat foam: hold changes.",
        "said by no class",
    )


def test_facts_about_allergens_never_fold_and_spans_are_told_in_hours() -> None:
    changes = (
        ("ingredients/oat.yaml", "allergens/contains", "", "lupin"), ("ingredients/oat.yaml", "note", "a", "b"),
        ("lists/gb.yaml", "groups/milk/name", "milk", "Milk"), ("preps/foam.yaml", "hold", "7200 s", "5400 s"),
    )  # fmt: skip
    view = view_of(rich(file_changes=changes))
    tables = {b.caption: b.fold for b in view.section("files").blocks if isinstance(b, Table)}
    assert tables == {"Facts about allergens that differ, file by file": False, "Facts that differ, file by file": True}
    assert [r[1] for r in rows(view, "files", "Facts about")] == ["allergens/contains", "groups/milk/name"]
    assert rows(view, "files", "Facts that")[1][2:] == ["2 hours", "90 minutes"]


def test_a_hold_is_told_in_hours_and_minutes() -> None:
    held = replace(rich().texts[1], before="chilled, 2 h. its own hold time", after="chilled, 1.5 h. its own hold time")
    assert rows(view_of(rich(texts=(held,))), "method", "Hold")[0][2:4] == [
        "chilled, 2 hours (its own hold time)", "chilled, 1 hour 30 minutes (its own hold time)",
    ]  # fmt: skip


def test_all_sites_of_the_scope_are_told_as_all() -> None:
    every = ("harbour", "quay", "saltmarsh", "lightvessel")
    held = replace(rich().texts[1], sites=every)
    assert rows(view_of(rich(texts=(held,))), "method", "Hold")[0][4] == "all 4 sites"
    more = replace(rich().names, sites={**rich().names.sites, "wharf": "Gull Wharf"})
    assert rows(view_of(rich(texts=(held,), names=more)), "method", "Hold")[0][4] == "Harbour Steps, Lightvessel, Old Quay, Saltmarsh"


def test_other_controlled_files_are_listed_fact_by_fact() -> None:
    changes = (("a.yaml", "code", "OD-3", "OB-14"), ("b.yaml", "comments only", "", ""), ("c.yaml", "note", "", "new"))
    assert rows(view_of(rich(file_changes=changes)), "files", "Facts") == [
        ["a.yaml", "code", "OD-3", "OB-14"],
        ["b.yaml", "comments only", "no fact differs", "no fact differs"],
        ["c.yaml", "note", "not there", "new"],
    ]


def test_what_is_not_affected_is_counted_and_named() -> None:
    text = body(view_of(rich()), "unchanged")
    assert "9 drinks, 6 preps and 1 site unchanged" in text
    assert "9 of 12" in text and "Roasted-barley latte" in text and "Lightvessel" in text


def test_the_page_says_what_it_rests_on() -> None:
    impact = rich()
    text = body(view_of(impact), "about")
    for value in (impact.proposal, impact.digest, impact.main, impact.tip, impact.price_books[0][1], "1 November 2026", impact.effect.scope):
        assert value in text
    for caution in ("Local law", "licensed practice", "Equipment and work surfaces are shared", "does not approve a price", "Rounding:"):
        assert caution in text


def test_it_ends_with_the_lines_to_type() -> None:
    view = view_of(rich())
    assert [s.key for s in view.sections[-2:]] == ["sign", "check"]
    text = body(view, "sign")
    assert "specctl sign 12-oat-foam --role franchise-manager --scope franchise/northsands" in text
    assert 'specctl object 12-oat-foam --role franchise-manager --scope franchise/northsands --note "why"' in text
    assert rich().digest in text
    assert "specctl sign REPORT.json --role franchise-manager --person YOUR-ID" in text
    for words in ("--role head-of-drinks --scope chain", "--role franchise-manager --scope franchise/northsands"):
        assert words in body(view_of(chain()), "sign")
    assert "REPORT.json --role franchise-manager" not in body(view_of(chain()), "sign")


@pytest.mark.parametrize("impact", [rich(), chain()])
def test_the_commands_are_ones_the_tool_takes(impact: Impact) -> None:
    from typer.main import get_command

    from specctl.cli.main import app

    verbs = get_command(app).commands  # type: ignore[attr-defined]
    for block in view_of(impact).section("sign").blocks:
        if isinstance(block, Command):
            _, verb, *words = shlex.split(block.text)
            verbs[verb].make_context(verb, words)


def test_a_hostile_name_cannot_leave_its_place_in_a_command() -> None:
    impact = rich(proposal="12-x; rm -rf $HOME")
    assert "specctl sign '12-x; rm -rf $HOME' --role" in body(view_of(impact), "sign")


def test_what_is_removed_names_the_way_it_came_by() -> None:
    found = rows(view_of(rich()), "allergens", "Great Britain")
    assert found[0][0] == "soya" and found[0][4].startswith("it came by:; ")
    assert not any(r[4].startswith("it came by") for r in found[1:])
