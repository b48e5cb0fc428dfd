"""Edits a YAML text by span, so that comments and layout survive.

Promises: `apply` changes only the spans an edit names, reads the result again
and compares its meaning (order of keys included) with what was asked; if that
differs in anything, it stops and nothing is returned. Own-line comments stay,
also the one behind a deleted key that belongs to the next. Leaves the choice
of edits to its callers, and writing files to `store`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from specctl.codec import emit
from specctl.codec.edits import (
    AddItem,
    DeleteKey,
    Edit,
    EditRefused,
    InsertKey,
    RemoveItem,
    ReplaceValue,
    SetScalar,
    add_item,
    delete_key,
    insert_after,
    insert_key,
    lost,
    meaning_after,
    place_key,
    remove_item,
    replace_value,
    set_scalar,
    tree_of,
    value_of,
)
from specctl.codec.emit import Block, write_value
from specctl.codec.node import LIST, MAP, SCALAR, Item, Node, Path, Plain, same_meaning

__all__ = [
    "Block", "Edit", "EditRefused", "add_item", "apply", "delete_key", "insert_after",
    "insert_key", "made_at_once", "meaning_after", "remove_item", "replace_value", "set_scalar", "write_value",
]

_Change = tuple[int, int, str]


def apply(text: str, edits: Sequence[Edit], expected: Plain | None = None) -> str:
    """The text with all edits made, one after the other.

    `expected` is the plain meaning the result must have; without it the
    meaning is worked out on the plain data of the text. EditRefused if the
    text cannot be read, a path does not exist, or the result means anything
    else.
    """
    tree = tree_of(text)
    if not edits and expected is None:
        return text
    if expected is None:
        expected = meaning_after(tree.plain(), edits)
    result = made_at_once(text, tree, edits) if len(edits) > 1 else None
    if result is not None and _means(result, expected):
        return result
    result = _in_turn(text, tree, edits)
    if not _means(result, expected):
        raise EditRefused(
            "the edited text would not mean what was asked; it was left as it is",
            "Make this edit by hand.",
        )
    return result


def _means(text: str, expected: Plain) -> bool:
    try:
        return same_meaning(tree_of(text).plain(), expected)
    except EditRefused:
        return False


def made_at_once(text: str, tree: Node, edits: Sequence[Edit]) -> str | None:
    """All edits on the spans of the one text, or None where they touch each other. What it means is not looked at."""
    try:
        changes = [_change(text, tree, edit) for edit in edits]
    except EditRefused:
        return None
    changes.sort(key=lambda c: c[:2])
    if any(one[1] > other[0] for one, other in zip(changes, changes[1:], strict=False)):
        return None
    for start, end, new in reversed(changes):
        text = text[:start] + _ended(new, text) + text[end:]
    return text


def _in_turn(text: str, tree: Node, edits: Sequence[Edit]) -> str:
    for number, edit in enumerate(edits):
        if number:
            tree = tree_of(text)
        start, end, new = _change(text, tree, edit)
        text = text[:start] + _ended(new, text) + text[end:]
    return text


def _ended(new: str, text: str) -> str:
    """New text with the line ends of the text it goes into."""
    return new.replace("\r\n", "\n").replace("\n", "\r\n") if "\r\n" in text else new


def _change(text: str, tree: Node, edit: Edit) -> _Change:
    match edit:
        case SetScalar(path, value):
            return _set_scalar(_need(tree, path, SCALAR), value)
        case ReplaceValue(path, value):
            return _replace(text, tree, path, value)
        case InsertKey(path, key, value, after):
            return _insert_key(text, tree, path, (key, value, after))
        case DeleteKey(path):
            return _delete(text, tree, path)
        case AddItem(path, value):
            return _add(text, tree, path, value)
        case RemoveItem(path, index):
            return _remove(text, tree, path, index)


def _need(tree: Node, path: Path, kind: str | None = None) -> Node:
    node = tree.find(path)
    if node is None or (kind is not None and node.kind != kind):
        raise lost(path)
    return node


def _in_flow(tree: Node, path: Path) -> bool:
    """Whether what lies inside the node at a path is written in flow style."""
    here = tree
    if here.style == "flow":
        return True
    for step in path:
        found = here.find((step,))
        if found is None:
            raise lost(path)
        here = found
        if here.kind != SCALAR and here.style == "flow":
            return True
    return False


def _set_scalar(node: Node, value: Any) -> _Change:
    new = emit.write_flow(value)
    if isinstance(value, str) and node.style in ('"', "'") and not new.startswith('"'):
        new = emit.quote(value)
    return node.start, node.end, new


def _replace(text: str, tree: Node, path: Path, value: Any) -> _Change:
    node = _need(tree, path)
    if _in_flow(tree, path[:-1]) if path else False:
        return node.start, node.end, emit.write_flow(value_of(value))
    was_block = node.kind != SCALAR and node.style == "block"
    becomes_block = emit.is_block(value)
    if not path or isinstance(path[-1], int) or (was_block and becomes_block):
        indent = node.column - 1
        if not becomes_block:
            return node.start, node.end, emit.write_flow(value_of(value))
        return node.start, node.end, write_value(value, indent).strip("\n").lstrip(" ")
    item = _item(tree, path)
    if not was_block and not becomes_block:
        return node.start, node.end, emit.write_flow(value_of(value))
    if becomes_block:
        new = ":\n" + write_value(value, item.key_node.column + 1).rstrip("\n")
    else:
        new = ": " + emit.write_flow(value_of(value))
    return item.key_node.end, node.end, new


def _item(tree: Node, path: Path) -> Item:
    parent = tree.find(path[:-1])
    item = parent.item(str(path[-1])) if parent is not None and path else None
    if item is None:
        raise lost(path)
    return item


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _line_start(text: str, at: int) -> int:
    return text.rfind("\n", 0, at) + 1


def _insert_key(text: str, tree: Node, path: Path, what: tuple[str, Any, str | None]) -> _Change:
    key, value, after = what
    target = _need(tree, path, MAP)
    place_key(dict.fromkeys(i.key for i in target.items), key, None, after)
    if not target.items:
        parent_flow = _in_flow(tree, path[:-1]) if path else False
        if parent_flow:
            return target.start, target.end, emit.write_flow({key: value_of(value)})
        if not path:
            return target.start, target.end, emit.write_entry(key, value, 0).rstrip("\n")
        return _replace(text, tree, path, Block(emit.write_entry(key, value, 0)))
    if target.style == "flow":
        entry = f"{emit.write_flow(key)}: {emit.write_flow(value_of(value))}"
        if after == "":
            first = target.items[0].key_node.start
            return first, first, entry + ", "
        at = (target.items[-1] if after is None else target.item(after)).node.end
        return at, at, ", " + entry
    indent = target.items[0].key_node.column - 1
    entry = emit.write_entry(key, value, indent)
    if after == "":
        at = target.items[0].key_node.start
        return at, at, entry.lstrip(" ") + " " * indent
    before = target.items[-1] if after is None else target.item(after)
    at = _line_end(text, max(before.node.end - 1, before.key_node.end))
    if at == len(text) and not text.endswith("\n"):
        return at, at, "\n" + entry.rstrip("\n")
    return at, at, entry


def _delete(text: str, tree: Node, path: Path) -> _Change:
    if not path:
        raise lost(path)
    parent = _need(tree, path[:-1], MAP)
    item = _item(tree, path)
    names = [i.key for i in parent.items]
    place = names.index(item.key)
    if len(names) == 1:
        return parent.start, parent.end, "{}"
    if parent.style == "flow":
        if place + 1 < len(names):
            return item.key_node.start, parent.items[place + 1].key_node.start, ""
        return parent.items[place - 1].node.end, item.node.end, ""
    start = _line_start(text, item.key_node.start)
    if text[start : item.key_node.start].strip():
        return item.key_node.start, parent.items[place + 1].key_node.start, ""
    return start, _line_end(text, max(item.node.end - 1, item.key_node.end)), ""


def _add(text: str, tree: Node, path: Path, value: Any) -> _Change:
    target = _need(tree, path, LIST)
    if target.style == "flow":
        new = emit.write_flow(value_of(value))
        if not target.items:
            return target.start, target.end, f"[{new}]"
        at = target.items[-1].end
        return at, at, ", " + new
    indent = target.column - 1
    entry = write_value([Block(value.text) if isinstance(value, Block) else value], indent, flow_lists=False)
    at = _line_end(text, max(target.items[-1].end - 1, 0))
    if at == len(text) and not text.endswith("\n"):
        return at, at, "\n" + entry.rstrip("\n")
    return at, at, entry


def _remove(text: str, tree: Node, path: Path, index: int) -> _Change:
    target = _need(tree, path, LIST)
    if not 0 <= index < len(target.items):
        raise lost((*path, index))
    if len(target.items) == 1:
        return target.start, target.end, "[]"
    node = target.items[index]
    if target.style == "flow":
        if index + 1 < len(target.items):
            return node.start, target.items[index + 1].start, ""
        return target.items[index - 1].end, node.end, ""
    dash = text.rfind("-", 0, node.start)
    start = _line_start(text, dash)
    if text[start:dash].strip():
        raise EditRefused("the first item of a list in a list", "Make this edit by hand.")
    return start, _line_end(text, max(node.end - 1, dash)), ""
