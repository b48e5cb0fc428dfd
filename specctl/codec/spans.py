"""Edits a YAML text by span, so that comments and layout survive.

Promises: `apply` changes only the spans an edit names, reads the result again
and compares its meaning (order of keys included) with what was asked; if that
differs in anything, it stops and nothing is returned. Own-line comments stay,
also the one behind a deleted key that belongs to the next. Leaves the choice
of edits to its callers, and writing files to `store`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from specctl.codec import emit, yamltext
from specctl.codec.node import LIST, MAP, SCALAR, Item, Node, Path, Plain, same_meaning
from specctl.codec.emit import Block, write_value
from specctl.errors import Refused


class EditRefused(Refused):
    """An edit would not mean what was asked; the text is unchanged."""


@dataclass(frozen=True, slots=True)
class SetScalar:
    """Gives the scalar at a path another scalar value."""

    path: Path
    value: Any


@dataclass(frozen=True, slots=True)
class ReplaceValue:
    """Gives a path another value of any shape."""

    path: Path
    value: Any


@dataclass(frozen=True, slots=True)
class InsertKey:
    """Adds a key to the map at a path: behind `after`, first if `after` is empty
    text, last if it is None."""

    path: Path
    key: str
    value: Any
    after: str | None = None


@dataclass(frozen=True, slots=True)
class DeleteKey:
    """Removes the entry at a path from its map."""

    path: Path


@dataclass(frozen=True, slots=True)
class AddItem:
    """Adds a value at the end of the list at a path."""

    path: Path
    value: Any


@dataclass(frozen=True, slots=True)
class RemoveItem:
    """Removes an item from the list at a path, by its index."""

    path: Path
    index: int


Edit = SetScalar | ReplaceValue | InsertKey | DeleteKey | AddItem | RemoveItem
_Change = tuple[int, int, str]


def set_scalar(path: Path, value: Any) -> Edit:
    """Gives the scalar at a path another scalar value."""
    return SetScalar(path, value)


def insert_after(path: Path, key: str, value: Any) -> Edit:
    """Adds a key directly behind the entry at a path, in the same map."""
    return InsertKey(path[:-1], key, value, str(path[-1]))


def insert_key(path: Path, key: str, value: Any, after: str | None = None) -> Edit:
    """Adds a key to the map at a path; see `InsertKey`."""
    return InsertKey(path, key, value, after)


def delete_key(path: Path) -> Edit:
    """Removes the entry at a path from its map."""
    return DeleteKey(path)


def replace_value(path: Path, value: Any) -> Edit:
    """Gives a path another value: plain data, or a `Block` of text."""
    return ReplaceValue(path, value)


def add_item(path: Path, value: Any) -> Edit:
    """Adds a value at the end of the list at a path."""
    return AddItem(path, value)


def remove_item(path: Path, index: int) -> Edit:
    """Removes an item from the list at a path."""
    return RemoveItem(path, index)


def apply(text: str, edits: Sequence[Edit], expected: Plain | None = None) -> str:
    """The text with all edits made, one after the other.

    `expected` is the plain meaning the result must have; without it the
    meaning is worked out on the plain data of the text. EditRefused if the
    text cannot be read, a path does not exist, or the result means anything
    else.
    """
    tree = _tree(text)
    if expected is None:
        expected = meaning_after(tree.plain(), edits)
    newline = "\r\n" if "\r\n" in text else "\n"
    result = text
    for number, edit in enumerate(edits):
        if number:
            tree = _tree(result)
        start, end, new = _change(result, tree, edit)
        if newline != "\n":
            new = new.replace("\r\n", "\n").replace("\n", newline)
        result = result[:start] + new + result[end:]
    if not edits:
        return text
    if not same_meaning(_tree(result).plain(), expected):
        raise EditRefused(
            "the edited text would not mean what was asked; it was left as it is",
            "Make this edit by hand.",
        )
    return result


def meaning_after(plain: Plain, edits: Sequence[Edit]) -> Plain:
    """What a file's plain data would be after the edits, worked out without text."""
    root: dict[str, Any] = {"": _copy(plain)}
    for edit in edits:
        match edit:
            case SetScalar(path, value) | ReplaceValue(path, value):
                holder = _holder(root, path)
                holder[path[-1] if path else ""] = _value_of(value)
            case InsertKey(path, key, value, after):
                _insert(_reach(root, path), key, _value_of(value), after)
            case DeleteKey(path):
                _holder(root, path).pop(path[-1])
            case AddItem(path, value):
                _reach(root, path).append(_value_of(value))
            case RemoveItem(path, index):
                del _reach(root, path)[index]
    result: Plain = root[""]
    return result


def _copy(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _copy(v) for k, v in value.items()}
    return [_copy(v) for v in value] if isinstance(value, list | tuple) else value


def _value_of(value: Any) -> Any:
    if isinstance(value, Block):
        return _tree(value.text).plain()
    return _copy(value)


def _reach(root: dict[str, Any], path: Path) -> Any:
    here: Any = root[""]
    for step in path:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            raise _lost(path) from None
    return here


def _holder(root: dict[str, Any], path: Path) -> Any:
    holder = _reach(root, path[:-1]) if path else root
    last = path[-1] if path else ""
    inside = last in holder if isinstance(holder, dict) else isinstance(holder, list) and isinstance(last, int) and 0 <= last < len(holder)
    if not inside:
        raise _lost(path)
    return holder


def _insert(target: Any, key: str, value: Any, after: str | None) -> None:
    if not isinstance(target, dict) or key in target or (after and after not in target):
        raise EditRefused(f"the key {key[:40]} cannot be added here", "It exists already, or its neighbour does not.")
    rest = list(target.items())
    target.clear()
    if after == "":
        target[key] = value
    for name, old in rest:
        target[name] = old
        if name == after:
            target[key] = value
    target.setdefault(key, value)


def _lost(path: Path) -> EditRefused:
    return EditRefused(f"there is no {'/'.join(map(str, path))[:120]} in this text", "Check the path.")


def _tree(text: str) -> Node:
    node, problems = yamltext.read(text.encode("utf-8"), "")
    if node is None or problems:
        first = problems[0]
        raise EditRefused(
            f"the text is not readable (line {first.place.line}: {first.what})", first.todo
        )
    return node


def _change(text: str, tree: Node, edit: Edit) -> _Change:
    match edit:
        case SetScalar(path, value):
            return _set_scalar(_need(tree, path, SCALAR), path, tree, value)
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
        raise _lost(path)
    return node


def _in_flow(tree: Node, path: Path) -> bool:
    """Whether what lies inside the node at a path is written in flow style."""
    here = tree
    if here.style == "flow":
        return True
    for step in path:
        found = here.find((step,))
        if found is None:
            raise _lost(path)
        here = found
        if here.kind != SCALAR and here.style == "flow":
            return True
    return False


def _set_scalar(node: Node, path: Path, tree: Node, value: Any) -> _Change:
    new = emit.write_flow(value)
    if isinstance(value, str) and node.style in ('"', "'") and not new.startswith('"'):
        new = emit.quote(value)
    if node.style in ("|", ">"):
        # A block scalar's end was trimmed; the line break after it stays.
        return node.start, node.end, new
    return node.start, node.end, new


def _replace(text: str, tree: Node, path: Path, value: Any) -> _Change:
    node = _need(tree, path)
    if _in_flow(tree, path[:-1]) if path else False:
        return node.start, node.end, emit.write_flow(_value_of(value))
    was_block = node.kind != SCALAR and node.style == "block"
    becomes_block = emit.is_block(value)
    if not path or isinstance(path[-1], int) or (was_block and becomes_block):
        indent = node.column - 1
        if not becomes_block:
            return node.start, node.end, emit.write_flow(_value_of(value))
        return node.start, node.end, write_value(value, indent).strip("\n").lstrip(" ")
    item = _item(tree, path)
    if not was_block and not becomes_block:
        return node.start, node.end, emit.write_flow(_value_of(value))
    if becomes_block:
        new = ":\n" + write_value(value, item.key_node.column + 1).rstrip("\n")
    else:
        new = ": " + emit.write_flow(_value_of(value))
    return item.key_node.end, node.end, new


def _item(tree: Node, path: Path) -> Item:
    parent = tree.find(path[:-1])
    item = parent.item(str(path[-1])) if parent is not None and path else None
    if item is None:
        raise _lost(path)
    return item


def _line_end(text: str, at: int) -> int:
    end = text.find("\n", at)
    return len(text) if end < 0 else end + 1


def _line_start(text: str, at: int) -> int:
    return text.rfind("\n", 0, at) + 1


def _insert_key(text: str, tree: Node, path: Path, what: tuple[str, Any, str | None]) -> _Change:
    key, value, after = what
    target = _need(tree, path, MAP)
    _insert(dict.fromkeys(i.key for i in target.items), key, None, after)
    if not target.items:
        parent_flow = _in_flow(tree, path[:-1]) if path else False
        if parent_flow:
            return target.start, target.end, emit.write_flow({key: _value_of(value)})
        if not path:
            return target.start, target.end, emit.write_entry(key, value, 0).rstrip("\n")
        return _replace(text, tree, path, Block(emit.write_entry(key, value, 0)))
    if target.style == "flow":
        entry = f"{emit.write_flow(key)}: {emit.write_flow(_value_of(value))}"
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
        raise _lost(path)
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
        new = emit.write_flow(_value_of(value))
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
        raise _lost((*path, index))
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
