"""Edits by span: the meaning asked for, and every comment kept."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.codec.emit import Block
from specctl.codec.spans import (
    Edit,
    EditRefused,
    add_item,
    apply,
    delete_key,
    insert_after,
    insert_key,
    meaning_after,
    remove_item,
    replace_value,
    set_scalar,
)
from specctl.codec.yamltext import read

TEXT = """\
# yaml-language-server: $schema=../schema/drink.schema.json
name: Oat
layers:
  base:
    # about base
    amount: 90 ml
    of: "ingredient/oat"
  # about foam
  foam: {of: prep/foam, amount: 30 g}
  # about top
  top:
    amount:
      # by size
      small: 10 ml
      large: 15 ml

# about contains
contains: [milk, soya]
# about equipment
equipment:
  # first
  - blender
  # second
  - shaker
why: >-
  one
  two
# the end
"""


def plain(text: str) -> Any:
    node, problems = read(text.encode(), "x.yaml")
    assert node is not None and not problems
    return node.plain()


def comments(text: str) -> list[str]:
    return [c.strip() for c in re.findall(r"#.*", text)]


def test_normalising_touches_only_its_spans() -> None:
    edits = [
        set_scalar(("layers", "base", "amount"), "92.7 g"),
        insert_after(("layers", "base", "amount"), "written", "90 ml at 1.03 g/ml"),
        set_scalar(("layers", "foam", "amount"), "31 g"),
        insert_after(("layers", "foam", "amount"), "written", "30 ml at 1.03 g/ml"),
        insert_after(("layers", "top", "amount"), "written", {"small": "10 ml at 1 g/ml"}),
    ]
    result = apply(TEXT, edits)
    assert result == (
        TEXT.replace("    amount: 90 ml\n", "    amount: 92.7 g\n    written: 90 ml at 1.03 g/ml\n")
        .replace("amount: 30 g}", "amount: 31 g, written: 30 ml at 1.03 g/ml}")
        .replace("large: 15 ml\n", "large: 15 ml\n    written:\n      small: 10 ml at 1 g/ml\n")
    )


def test_deleting_keeps_the_comment_of_the_next_key() -> None:
    result = apply(TEXT, [delete_key(("layers", "base"))])
    assert "  # about foam\n  foam:" in result and "about base" not in result
    assert comments(result) == [c for c in comments(TEXT) if c != "# about base"]


@pytest.mark.parametrize(
    "edit",
    [
        set_scalar(("name",), "no"),
        set_scalar(("name",), "a # b"),
        set_scalar(("layers", "base", "of"), "ingredient/soya"),
        set_scalar(("why",), "now: this"),
        set_scalar(("equipment", 1), "jug"),
        set_scalar(("contains", 0), "no"),
        set_scalar(("name",), Decimal("1.50")),
        insert_key((), "zed", {"a": ["b", {"c": "d"}]}),
        insert_key((), "first", "1", ""),
        insert_key(("layers",), "over", {"of": "x"}, "base"),
        insert_key(("layers", "foam"), "note", {"a": "b"}, ""),
        insert_key(("layers", "foam"), "note", [1, "a, b"], "of"),
        insert_after(("why",), "more", "x"),
        insert_after(("equipment",), "more", "x"),
        delete_key(("layers", "foam")),
        delete_key(("layers", "foam", "of")),
        delete_key(("layers", "foam", "amount")),
        delete_key(("contains",)),
        delete_key(("layers", "top", "amount")),
        delete_key(("name",)),
        delete_key(("why",)),
        replace_value(("contains",), ["a"]),
        replace_value(("contains",), []),
        replace_value(("contains",), {"a": {"b": 1}}),
        replace_value(("layers", "top", "amount"), "12 ml"),
        replace_value(("layers", "base"), {"amount": "1 g", "lines": {"x": ["y"] * 40}}),
        replace_value(("layers", "foam"), {"a": {"b": "c"}}),
        replace_value(("layers", "foam", "of"), {"a": {"b": "c"}}),
        replace_value(("layers",), Block("# inside\nq:\n  r: s\n")),
        replace_value(("why",), {"a": "b"}),
        replace_value(("equipment", 0), {"a": "b", "c": "d"}),
        add_item(("contains",), "no"),
        add_item(("equipment",), "jug"),
        add_item(("equipment",), {"a": "b", "c": ["d"]}),
        remove_item(("equipment",), 0),
        remove_item(("equipment",), 1),
        remove_item(("contains",), 0),
        remove_item(("contains",), 1),
    ],
    ids=repr,
)
@pytest.mark.parametrize("ending", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_each_edit_means_what_it_says(edit: Edit, ending: str) -> None:
    text = TEXT.replace("\n", ending)
    result = apply(text, [edit])
    wanted = meaning_after(plain(text), [edit])
    assert plain(result) == wanted and list(plain(result)) == list(wanted)
    assert "# the end" in result and "# yaml-language-server" in result
    assert "\n" not in result.replace(ending, "") if ending == "\r\n" else "\r" not in result
    for kept in ("# about foam", "# about top", "# about contains", "# about equipment"):
        if edit.path != ("layers",):
            assert kept in result


def test_emptied_maps_and_lists_can_be_filled_again() -> None:
    edits = [
        remove_item(("equipment",), 0), remove_item(("equipment",), 0), add_item(("equipment",), "jug"),
        delete_key(("layers", "base")), delete_key(("layers", "foam")), delete_key(("layers", "top")),
        insert_key(("layers",), "new", {"of": "x"}),
    ]
    result = plain(apply(TEXT, edits))
    assert result["equipment"] == ["jug"] and result["layers"] == {"new": {"of": "x"}}


def test_edits_that_touch_are_made_in_turn() -> None:
    edits = [insert_after(("name",), "one", 1), insert_after(("name",), "two", 2), delete_key(("name",))]
    assert list(plain(apply(TEXT, edits)))[:2] == ["two", "one"]


def test_text_without_a_last_line_break() -> None:
    assert apply("a: b", [insert_key((), "c", "d")]) == "a: b\nc: d"
    assert apply("a:\n  - b", [add_item(("a",), "c")]) == "a:\n  - b\n  - c"
    assert plain(apply("a: b", [delete_key(("a",))])) == {}


def test_what_was_not_asked_is_never_returned() -> None:
    edit = set_scalar(("name",), "Rye")
    wanted = plain(TEXT)
    with pytest.raises(EditRefused):
        apply(TEXT, [edit], wanted)
    with pytest.raises(EditRefused):
        apply("a: 1\nb: 2\n", [insert_key((), "c", 3)], {"a": 1, "c": 3, "b": 2})
    with pytest.raises(EditRefused):
        apply("a: 1\n", [set_scalar(("a",), True)], {"a": 1})


@pytest.mark.parametrize(
    "edit",
    [
        set_scalar(("nowhere",), "x"),
        set_scalar(("layers",), "x"),
        delete_key(("layers", "nowhere")),
        insert_key((), "name", "twice"),
        insert_key((), "new", "x", "nowhere"),
        insert_key(("name",), "new", "x"),
        add_item(("layers",), "x"),
        remove_item(("contains",), 5),
        remove_item(("contains",), -1),
        replace_value(("contains", 9), "x"),
        set_scalar((), "x"),
    ],
    ids=repr,
)
def test_edits_that_fit_nowhere_are_refused(edit: Edit) -> None:
    with pytest.raises(EditRefused):
        apply(TEXT, [edit])


def test_text_that_cannot_be_read_is_refused() -> None:
    with pytest.raises(EditRefused):
        apply("a: &x b\n", [set_scalar(("a",), "c")])


keys = st.sampled_from(["a", "b", "c", "no", "d e"])
leaves = st.sampled_from(["x", "no", "1:30", "a: b", "- a", "", "30 g"]) | st.integers(-5, 5) | st.booleans()
trees = st.recursive(leaves, lambda t: st.dictionaries(keys, t, min_size=1, max_size=3) | st.lists(t, min_size=1, max_size=3), max_leaves=8)


@st.composite
def commented(draw: Any) -> str:
    """A map of our YAML with own-line comments strewn in."""
    from specctl.codec.emit import write_value

    value = draw(st.dictionaries(keys, trees, min_size=2, max_size=4))
    lines: list[str] = []
    for line in write_value(value).splitlines():
        if draw(st.booleans()):
            lines.append(f"{' ' * (len(line) - len(line.lstrip()))}# c{len(lines)}")
        lines.append(line)
    return "\n".join(lines) + "\n"


@given(commented())
def test_no_edit_changes_no_byte(text: str) -> None:
    assert apply(text, []) == text


@given(commented(), st.data())
@settings(max_examples=200)
def test_any_edit_means_what_the_data_says_and_keeps_outer_comments(text: str, data: Any) -> None:
    before = plain(text)
    key = data.draw(st.sampled_from(list(before)))
    new = data.draw(trees)
    edit = data.draw(
        st.sampled_from(
            [replace_value((key,), new), delete_key((key,)), insert_after((key,), "fresh", new), insert_key((), "fresh", new, "")]
        )
    )
    result = apply(text, [edit])
    wanted = meaning_after(before, [edit])
    assert plain(result) == wanted and list(plain(result)) == list(wanted)
    outer = [line for line in text.splitlines() if line.startswith("# ")]
    assert [line for line in result.splitlines() if line.startswith("# ")] == outer
