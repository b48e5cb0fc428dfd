"""Records as plain meaning, and what authors do to them, for the laws of change."""

from __future__ import annotations

import copy
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

KEYS = ("foam", "milk", "shot", "ice", "syrup", "layers", "steps", "note")
SUBSTANCES = ("milk", "hazelnut", "almond", "soya", "oats")

keys = st.sampled_from(KEYS)
scalars = st.one_of(
    st.sampled_from(["30 g", "12 g", "oat-drink", "", "no"]),
    st.integers(0, 2),
    st.booleans(),
    st.sampled_from([Decimal("0"), Decimal("1"), Decimal("2.5")]),
)
# A list of a record is a set; its plain form stands sorted.
sets = st.lists(st.sampled_from(SUBSTANCES), unique=True, max_size=3).map(sorted)
values = st.recursive(
    st.one_of(scalars, sets), lambda inner: st.dictionaries(keys, inner, max_size=4), max_leaves=8
)
records = st.dictionaries(keys, values, max_size=5)


@st.composite
def edited(draw: st.DrawFn, record: dict[str, Any]) -> dict[str, Any]:
    """The record after up to three edits of the kinds authors make."""
    after = copy.deepcopy(record)
    for _ in range(draw(st.integers(0, 3))):
        places = list(_maps(after))
        here = draw(st.sampled_from(places))
        kind = draw(st.sampled_from(["set", "add", "remove", "order", "member"]))
        if kind == "set" and here:
            here[draw(st.sampled_from(sorted(here)))] = draw(values)
        elif kind == "add":
            here[draw(keys)] = draw(values)
        elif kind == "remove" and here:
            del here[draw(st.sampled_from(sorted(here)))]
        elif kind == "order" and len(here) > 1:
            moved = draw(st.sampled_from(sorted(here)))
            here[moved] = here.pop(moved)
        elif kind == "member":
            for held in here.values():
                if isinstance(held, list):
                    name = draw(st.sampled_from(SUBSTANCES))
                    held.remove(name) if name in held else held.append(name)
                    held.sort()
    return after


def _maps(value: Any) -> list[dict[str, Any]]:
    if not isinstance(value, dict):
        return []
    return [value, *(found for inner in value.values() for found in _maps(inner))]


@st.composite
def threes(draw: st.DrawFn) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """A base and two descendants."""
    base = draw(records)
    return base, draw(edited(base)), draw(edited(base))
