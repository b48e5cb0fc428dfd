"""Laws of the three-way merge, then the cases that hurt somebody when a merge guesses."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import settings as examples
from hypothesis import strategies as st
from make_records import SUBSTANCES, records, threes

from specctl.change.facts import MAP, ORDER, SET, build, diff, facts
from specctl.change.merge import Merged, merge, merge_order

FILE = "drinks/some.yaml"
Three = tuple[dict[str, Any], dict[str, Any], dict[str, Any]]


def joined(base: Any, ours: Any, theirs: Any) -> Merged:
    return merge(facts(base), facts(ours), facts(theirs), FILE)


@given(records, records)
def test_one_side_alone_wins(base: dict[str, Any], other: dict[str, Any]) -> None:
    for merged in (joined(base, other, base), joined(base, base, other), joined(base, other, other)):
        assert merged.conflicts == ()
        assert diff(merged.facts, facts(other)) == ()


@given(threes())
@examples(max_examples=150)
def test_it_is_symmetric_but_for_labels(three: Three) -> None:
    base, ours, theirs = three
    one, two = joined(base, ours, theirs), joined(base, theirs, ours)
    assert diff(one.facts, two.facts) == ()
    assert [(c.path, c.base, c.ours, c.theirs) for c in one.conflicts] == [
        (c.path, c.base, c.theirs, c.ours) for c in two.conflicts
    ]


@given(threes())
@examples(max_examples=150)
def test_every_merged_value_was_in_an_input(three: Three) -> None:
    sides = [facts(side) for side in three]
    for path, value in joined(*three).facts.items():
        if path[-1] == ORDER:
            known = {key for side in sides for key in side.get(path, ())}  # type: ignore[union-attr]
            assert set(value) <= known  # type: ignore[arg-type]
        else:
            assert any(path in side and side[path] == value for side in sides), path


@given(threes())
@examples(max_examples=150)
def test_what_one_side_did_and_the_other_left_alone_is_done(three: Three) -> None:
    """No fact is lost or kept by accident: each follows the one side that moved it, or is a conflict."""
    base, ours, theirs = (facts(side) for side in three)
    merged = merge(base, ours, theirs, FILE)
    if merged.conflicts:
        return
    for path in base.keys() | ours.keys() | theirs.keys():
        if path[-1] == ORDER:
            continue
        b, o, t = (side.get(path) for side in (base, ours, theirs))
        mover = t if diff({path: b} if b is not None else {}, {path: o} if o is not None else {}) == () else o
        assert merged.facts.get(path) == mover, path


@given(threes())
@examples(max_examples=150)
def test_a_clean_merge_is_a_record(three: Three) -> None:
    """Nothing hangs in the air: the facts of what is built are the merged facts."""
    merged = joined(*three)
    if not merged.conflicts and merged.facts:
        assert diff(facts(build(merged.facts)), merged.facts) == ()


@given(threes())
@example(({"foam": {}}, {"foam": "30 g"}, {"foam": "12 g"}))
@example(({"foam": {"milk": "1 g"}}, {}, {"foam": {"milk": "2 g"}}))
@examples(max_examples=150)
def test_whatever_both_moved_apart_is_named_with_all_three_values(three: Three) -> None:
    """A conflict is complete: no dispute without one, none that is not one, each value as its side has it."""
    base, ours, theirs = (facts(side) for side in three)
    found = merge(base, ours, theirs, FILE).conflicts
    for c in found:
        assert c.file == FILE
        assert [repr(v) for v in (c.base, c.ours, c.theirs)] == [repr(side.get(c.path)) for side in (base, ours, theirs)]
    named = {c.path for c in found}
    assert len(named) == len(found), "one fact, one conflict"
    for path in base.keys() | ours.keys() | theirs.keys():
        b, o, t = ({path: side[path]} if path in side else {} for side in (base, ours, theirs))
        if path[-1] != ORDER and diff(b, o) and diff(b, t) and diff(o, t):
            assert path in named, path
    held = merge(base, ours, theirs, FILE).facts
    for path, keys in held.items():
        if path[-1] == ORDER:
            assert all(any(p[: len(path)] == (*path[:-1], key) for p in held) for key in keys), "an order names what is there"  # type: ignore[union-attr]
    mine, other = ({c.path for c in diff(base, side)} for side in (ours, theirs))
    assert not named or mine and other, "a dispute takes two"


@given(threes())
@examples(max_examples=150)
def test_merged_once_more_is_as_merged(three: Three) -> None:
    """What came of a proposal holds it whole: merging it again, or main again, moves nothing and disputes nothing."""
    base, ours, theirs = (facts(side) for side in three)
    merged = merge(base, ours, theirs, FILE)
    if merged.conflicts:
        return
    for side in (ours, theirs):
        for pair in ((merged.facts, side), (side, merged.facts)):
            again = merge(base, *pair, FILE)
            assert again.conflicts == () and diff(again.facts, merged.facts) == ()


@given(threes(), st.sampled_from(["note", "shot", "zest"]))
@examples(max_examples=80)
def test_what_nobody_touches_bears_on_nothing(three: Three, key: str) -> None:
    """A part all three have alike changes neither what is merged nor what is in dispute elsewhere."""
    here = [{"part": side, "aside": {}} for side in three]
    there = [{"part": side, "aside": {key: {"amount": "1 g"}}} for side in three]
    one, two = joined(*here), joined(*there)
    aside = ("aside",)
    assert one.conflicts == two.conflicts
    assert diff({p: v for p, v in one.facts.items() if p[:1] != aside}, {p: v for p, v in two.facts.items() if p[:1] != aside}) == ()


# Allergen facts: a status is where a substance stands.
statuses = st.fixed_dictionaries(
    {}, optional={s: st.sampled_from(["contains", "may_contain", "absent"]) for s in SUBSTANCES}
)


def declared(status: dict[str, str]) -> dict[str, Any]:
    return {
        "allergens": {
            where: sorted(s for s, at in status.items() if at == where) for where in ("contains", "may_contain", "absent")
        }
    }


@given(statuses, statuses, statuses)
@examples(max_examples=150)
def test_no_allergen_fact_disappears_by_itself(b: dict[str, str], o: dict[str, str], t: dict[str, str]) -> None:
    """Gone only where one side removed it and the other left it alone."""
    merged = joined(declared(b), declared(o), declared(t))
    kept = build(merged.facts)["allergens"]
    for where in ("contains", "may_contain"):
        for substance in SUBSTANCES:
            told = [side.get(substance) == where for side in (b, o, t)]
            if any(told) and substance not in kept[where] and not merged.conflicts:
                assert told[0] and told[1] != told[2] or told == [True, False, False], (substance, where, told)
            if told[0] and told[1] and told[2]:
                assert substance in kept[where]
            if not told[0] and (told[1] or told[2]):
                assert substance in kept[where], "an addition was dropped"


def _drink(**lines: str) -> dict[str, Any]:
    return {"layers": {"nut": {"name": "Nut", "lines": {k: {"use": k.split("-2")[0], "amount": v} for k, v in lines.items()}}}}


def test_two_who_add_the_same_hazelnut_add_it_once() -> None:
    """Two text merges that each add 5 ml of hazelnut join into a double dose; by key it is one line."""
    base, added = _drink(milk="200 g"), _drink(milk="200 g", hazelnut="5.5 g")
    merged = joined(base, added, added)
    assert not merged.conflicts
    assert build(merged.facts) == added


def test_two_doses_of_hazelnut_under_one_key_are_a_conflict() -> None:
    merged = joined(_drink(milk="200 g"), _drink(milk="200 g", hazelnut="5.5 g"), _drink(milk="200 g", hazelnut="6 g"))
    (conflict,) = merged.conflicts
    assert (conflict.path[-2:], conflict.base, conflict.ours, conflict.theirs) == (("hazelnut", "amount"), None, "5.5 g", "6 g")


def test_two_doses_under_two_keys_are_both_there_to_be_judged_again() -> None:
    """The merge cannot know they are one wish: both stay, so the effect differs from what either signed."""
    merged = joined(
        _drink(milk="200 g"), _drink(milk="200 g", hazelnut="5.5 g"), _drink(milk="200 g", **{"hazelnut-2": "5.5 g"})
    )
    assert list(build(merged.facts)["layers"]["nut"]["lines"]) == ["milk", "hazelnut", "hazelnut-2"]


def _layers(*keys: str) -> dict[str, Any]:
    return {"layers": {key: {"name": key} for key in keys}}


def test_one_layer_added_twice_is_there_once() -> None:
    merged = joined(_layers("tea"), _layers("tea", "foam"), _layers("tea", "foam"))
    assert not merged.conflicts and list(build(merged.facts)["layers"]) == ["tea", "foam"]


def test_two_layers_in_one_place_are_a_conflict() -> None:
    """Their order is what goes in the cup; no merge may choose it."""
    (conflict,) = joined(_layers("tea"), _layers("tea", "foam"), _layers("tea", "cream")).conflicts
    assert conflict.path == ("layers", ORDER)


def test_two_layers_in_two_places_interleave() -> None:
    merged = joined(_layers("tea", "milk"), _layers("tea", "jelly", "milk"), _layers("tea", "milk", "foam"))
    assert not merged.conflicts
    assert list(build(merged.facts)["layers"]) == ["tea", "jelly", "milk", "foam"]


def test_a_layer_put_where_another_was_taken_away_stays_there() -> None:
    merged = joined(_layers("tea", "milk", "ice"), _layers("tea", "cream", "ice"), _layers("tea", "milk", "ice", "foam"))
    assert not merged.conflicts
    assert list(build(merged.facts)["layers"]) == ["tea", "cream", "ice", "foam"]


def test_one_layer_put_in_two_places_is_a_conflict() -> None:
    (conflict,) = joined(_layers("tea", "milk"), _layers("tea", "foam", "milk"), _layers("tea", "milk", "foam")).conflicts
    assert conflict.path == ("layers", ORDER)


def test_an_order_moved_in_a_layer_the_other_side_deleted_is_a_conflict() -> None:
    base = {"layers": {"foam": {"lines": {"oat": {"use": "oat"}, "salt": {"use": "salt"}}}}}
    moved = {"layers": {"foam": {"lines": {"salt": {"use": "salt"}, "oat": {"use": "oat"}}}}}
    assert joined(base, {"layers": {}}, moved).conflicts
    assert joined(base, moved, {"layers": {}}).conflicts


@pytest.mark.parametrize(
    ("base", "ours", "theirs"),
    [
        ({}, {"amount": "30 g"}, {"amount": {"regular": "30 g"}}),
        ({"amount": "30 g"}, {"amount": {"regular": "30 g"}}, {}),
        ({"parts": ["oat"]}, {"parts": "oat"}, {"parts": {"oat": "1 g"}}),
    ],
)
def test_two_kinds_of_thing_under_one_key_are_a_conflict(base: Any, ours: Any, theirs: Any) -> None:
    assert joined(base, ours, theirs).conflicts
    assert joined(base, theirs, ours).conflicts


def test_two_rearrangements_are_a_conflict() -> None:
    (conflict,) = joined(_layers("a", "b", "c"), _layers("b", "a", "c"), _layers("a", "c", "b")).conflicts
    assert conflict.path == ("layers", ORDER)


def test_a_rearrangement_and_an_added_layer_agree() -> None:
    merged = joined(_layers("a", "b"), _layers("b", "a"), _layers("a", "b", "c"))
    assert not merged.conflicts
    assert set(build(merged.facts)["layers"]) == {"a", "b", "c"}
    assert list(build(merged.facts)["layers"])[:1] == ["b"]


FOAM = {"layers": {"tea": {"name": "Tea"}, "foam": {"name": "Foam", "parts": ["oat"], "lines": {"oat": {"amount": "40 g"}}}}}


def _foam(**more: Any) -> dict[str, Any]:
    return {"layers": {"tea": {"name": "Tea"}, "foam": {**FOAM["layers"]["foam"], **more}}}


@pytest.mark.parametrize(
    "edit",
    [
        pytest.param(_foam(name="Salted foam"), id="a text changed"),
        pytest.param(_foam(note="Gently"), id="a text added"),
        pytest.param(_foam(parts=["oat", "salt"]), id="a member added"),
        pytest.param(_foam(lines={"oat": {"amount": "45 g"}}), id="an amount changed"),
        pytest.param(_foam(lines={"oat": {"amount": "40 g"}, "salt": {"amount": "1 g"}}), id="a line added"),
    ],
)
@pytest.mark.parametrize("deleted", [_layers("tea"), {}], ids=["the layer", "the whole file"])
def test_deletion_against_edit_is_a_conflict(edit: dict[str, Any], deleted: dict[str, Any]) -> None:
    gone = {"layers": {"tea": {"name": "Tea"}}} if deleted else None
    theirs = facts(gone) if gone else {}
    for ours, others in ((facts(edit), theirs), (theirs, facts(edit))):
        assert merge(facts(FOAM), ours, others, FILE).conflicts


def test_a_fact_added_to_a_file_the_other_side_deleted_is_a_conflict() -> None:
    base = {"name": "Foam"}
    assert merge(facts(base), {}, facts({"name": "Foam", "note": "new"}), FILE).conflicts


def test_a_member_added_to_a_list_the_other_side_deleted_is_a_conflict() -> None:
    base = {"allergens": {"document": "1", "may_contain": ["almond"]}}
    without = {"allergens": {"document": "1"}}
    more = {"allergens": {"document": "1", "may_contain": ["almond", "cashew"]}}
    assert joined(base, without, more).conflicts
    assert joined(base, more, without).conflicts


def test_a_switch_against_a_number_is_a_conflict() -> None:
    """True == 1 in Python; the two sides still said different things."""
    assert joined({"draft": False}, {"draft": True}, {"draft": 1}).conflicts


def test_a_conflict_keeps_what_was_and_names_all_three() -> None:
    merged = joined({"amount": "30 g"}, {"amount": "32 g"}, {"amount": "28 g"})
    (conflict,) = merged.conflicts
    assert (conflict.file, conflict.base, conflict.ours, conflict.theirs) == (FILE, "30 g", "32 g", "28 g")
    assert merged.facts[("amount",)] == "30 g"


orders = st.lists(st.sampled_from("abcdef"), unique=True).map(tuple)


@given(orders, orders, orders, st.booleans())
def test_an_order_is_one_value(base: tuple[str, ...], ours: tuple[str, ...], theirs: tuple[str, ...], strict: bool) -> None:
    """Merging orders gives one order of known keys without repeats, the same from both sides, or none."""
    order = merge_order(base, ours, theirs, strict=strict)
    assert order == merge_order(base, theirs, ours, strict=strict)
    if order is not None:
        assert len(set(order)) == len(order)
        assert set(ours) & set(theirs) <= set(order) <= set(ours) | set(theirs)


def test_markers_are_facts() -> None:
    assert {p[-1] for p in facts({"a": {"b": []}})} == {MAP, ORDER, SET}
