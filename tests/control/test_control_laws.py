"""Laws of settling and of notices, over made-up records (hypothesis): DESIGN's laws of merges, carried over.

Every settled fact was in an input; taking one side of a conflict never touches
what was not in dispute; a notice reads back as it was written, and any other
bytes are refused with our own word.
"""

from __future__ import annotations

import base64
import json

from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.canonical import canonical
from specctl.change.facts import ORDER, build, facts
from specctl.change.merge import merge
from specctl.change.notice import Notice, Posted, read_posted, reached
from specctl.change.settlement import MAIN, PROPOSAL, settle
from specctl.change.statement import wrap
from specctl.errors import Untrusted

KEYS = st.sampled_from(["a", "b", "c", "layers", "steps"])
LEAF = st.one_of(st.integers(0, 3), st.sampled_from(["1 g", "2 g"]), st.lists(st.sampled_from(["milk", "soya"]), unique=True, max_size=2))
RECORD = st.recursive(LEAF, lambda inner: st.dictionaries(KEYS, inner, max_size=3), max_leaves=8).filter(lambda v: isinstance(v, dict))


@settings(max_examples=300, deadline=None)
@given(RECORD, RECORD, RECORD, st.data())
def test_every_settled_fact_was_in_an_input(base: dict, ours: dict, theirs: dict, data: st.DataObject) -> None:  # type: ignore[type-arg]
    b, o, t = facts(base), facts(ours), facts(theirs)
    conflicts = merge(b, o, t, "f").conflicts
    choices = {c.path: data.draw(st.sampled_from([MAIN, PROPOSAL])) for c in conflicts}
    result = settle(b, o, t, "f", choices)
    for path, value in result.items():
        if path[-1] != ORDER:
            assert any(side.get(path) == value for side in (b, o, t)), path


@settings(max_examples=200, deadline=None)
@given(RECORD, RECORD, RECORD)
def test_one_side_for_all_is_symmetric(base: dict, ours: dict, theirs: dict) -> None:  # type: ignore[type-arg]
    """Main's side of (ours, theirs) is the proposal's side of (theirs, ours): labels do not matter."""
    b, o, t = facts(base), facts(ours), facts(theirs)
    conflicts = merge(b, o, t, "f").conflicts
    one = settle(b, o, t, "f", {c.path: MAIN for c in conflicts})
    two = settle(b, t, o, "f", {c.path: PROPOSAL for c in conflicts})
    assert {p: v for p, v in one.items() if p[-1] != ORDER} == {p: v for p, v in two.items() if p[-1] != ORDER}


@settings(max_examples=200, deadline=None)
@given(RECORD, RECORD)
def test_nothing_in_dispute_nothing_to_choose(base: dict, other: dict) -> None:  # type: ignore[type-arg]
    b, o = facts(base), facts(other)
    assert build(settle(b, b, o, "f", {})) == build(o)


@settings(max_examples=200, deadline=None)
@given(st.text(min_size=1, max_size=60).filter(lambda s: bool(s.strip()) and s.isprintable()), st.text(max_size=20).filter(str.isprintable))
def test_a_notice_reads_back(why: str, lot: str) -> None:
    notice = Notice("tidewick", "ingredient/oat-drink", lot, why, "food-safety", "maren-oduya", "2026-11-07T09:00:00Z")
    posted = Posted(notice, notice.payload, "armour")
    assert read_posted(posted.text()) == posted


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.binary(max_size=200), st.recursive(st.none() | st.integers() | st.text(max_size=5), lambda i: st.lists(i, max_size=3) | st.dictionaries(st.text(max_size=8), i, max_size=3)).map(lambda v: json.dumps(v).encode())))
def test_other_bytes_are_refused_in_our_own_words(payload: bytes) -> None:
    for text in (wrap(payload, "x"), payload.decode("utf-8", "replace"), "specctl statement 1\n" + base64.b64encode(payload).decode()):
        try:
            read_posted(text)
        except Untrusted:
            continue
        raise AssertionError(text)


def line(of: str) -> dict[str, str]:
    return {"of": of}


ITEMS = st.dictionaries(
    st.sampled_from(["drink/a", "drink/b", "prep/p", "prep/q"]),
    st.lists(st.sampled_from(["ingredient/x", "ingredient/y", "prep/p", "prep/q"]), max_size=3),
    max_size=4,
)


@settings(max_examples=300, deadline=None)
@given(ITEMS)
def test_whatever_is_made_from_it_is_reached(items: dict[str, list[str]]) -> None:
    """Beside a plain walk over "uses": rings of preps included, and order plays no part."""
    entries = [
        {"item": item, "name": item, "sizes": [{"layers": [{"lines": [line(of) for of in uses]}]}], "options": [], "substitutes": []}
        for item, uses in items.items()
    ]
    off = {"ingredient/x"}
    for _ in range(6):
        off |= {item for item, uses in items.items() if set(uses) & {o for o in off if not o.startswith("drink/")}}
    assert {r.item for r in reached("ingredient/x", entries)} == off - {"ingredient/x"}
    assert reached("ingredient/x", entries) == reached("ingredient/x", entries[::-1])
    assert canonical([r.as_json() for r in reached("ingredient/x", entries)])
