"""Laws of facts and diff. They are this project's own; JSON Patch (RFC 6902) asks the same of a patch:
applied to the first document it gives the second."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

from hypothesis import given
from make_records import edited, records
from hypothesis import strategies as st

from specctl.canonical import canonical
from specctl.change.facts import ORDER, apply, as_rows, build, diff, facts

pairs = records.flatmap(lambda one: st.tuples(st.just(one), st.one_of(edited(one), records)))


def same(a: Any, b: Any) -> bool:
    """Equal, key order and the types of switches and numbers included."""
    if isinstance(a, dict) and isinstance(b, dict):
        return list(a) == list(b) and all(same(a[k], b[k]) for k in a)
    if isinstance(a, list) and isinstance(b, list):
        return len(a) == len(b) and all(map(same, a, b))
    return isinstance(a, bool) == isinstance(b, bool) and a == b


@given(records)
def test_nothing_differs_from_itself(record: dict[str, Any]) -> None:
    assert diff(facts(record), facts(record)) == ()


@given(pairs)
def test_a_diff_applied_gives_the_other(pair: tuple[dict[str, Any], dict[str, Any]]) -> None:
    one, two = map(facts, pair)
    assert same(build(apply(diff(one, two), one)), pair[1])


@given(records)
def test_facts_hold_the_whole_record(record: dict[str, Any]) -> None:
    assert same(build(facts(record)), record)


@given(pairs)
def test_a_diff_is_empty_only_for_the_same_record(pair: tuple[dict[str, Any], dict[str, Any]]) -> None:
    assert (diff(facts(pair[0]), facts(pair[1])) == ()) == same(*pair)


@given(pairs)
def test_rows_of_a_diff_are_canonical_and_tell_changes_apart(pair: tuple[dict[str, Any], dict[str, Any]]) -> None:
    """What people sign is made of these rows: they must be JSON, and never equal for two changes."""
    one, two = map(facts, pair)
    there, back = diff(one, two), diff(two, one)
    assert json.loads(canonical(as_rows(there))) == as_rows(there)
    assert (canonical(as_rows(there)) == canonical(as_rows(back))) == (not there)


def test_position_is_no_identity() -> None:
    """A layer put in front moves no fact of the others: one order, and the new layer's own facts."""
    before = {"layers": {"tea": {"amount": "100 g"}, "foam": {"amount": "40 g"}}}
    after = {"layers": {"milk": {"amount": "30 g"}, **before["layers"]}}
    moved = [c.path for c in diff(facts(before), facts(after)) if c.before is not None]
    assert moved == [("layers", ORDER)]


def test_a_member_is_a_fact_of_its_own() -> None:
    before, after = {"contains": ["milk"]}, {"contains": ["hazelnut", "milk"]}
    (change,) = diff(facts(before), facts(after))
    assert (change.path[-1], change.added) == ("hazelnut", True)


def test_order_in_a_set_is_no_fact() -> None:
    assert facts({"contains": ["milk", "soya"]}) == facts({"contains": ["soya", "milk"]})


def test_a_switch_is_no_number() -> None:
    """True == 1 in Python; in a record one is a switch."""
    (change,) = diff(facts({"draft": True}), facts({"draft": 1}))
    assert change.after == 1


def test_equal_decimals_are_no_change() -> None:
    assert diff(facts({"share": Decimal("2.50")}), facts({"share": Decimal("2.5")})) == ()
