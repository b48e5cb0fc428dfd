"""Edits of a YAML file as values, and what they mean on plain data.

Promises: an edit names a path of keys and indices and a new value; the meaning
of a sequence of edits is worked out on data alone, so that an edited text can
be held against it. Leaves the text itself to `spans`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from specctl.codec import yamltext
from specctl.codec.emit import Block
from specctl.codec.node import Node, Path, Plain
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


def meaning_after(plain: Plain, edits: Sequence[Edit]) -> Plain:
    """What a file's plain data would be after the edits, worked out without text."""
    root: dict[str, Any] = {"": _copy(plain)}
    for edit in edits:
        match edit:
            case SetScalar(path, value) | ReplaceValue(path, value):
                holder = _holder(root, path)
                holder[path[-1] if path else ""] = value_of(value)
            case InsertKey(path, key, value, after):
                place_key(_reach(root, path), key, value_of(value), after)
            case DeleteKey(path):
                _holder(root, path).pop(path[-1])
            case AddItem(path, value):
                _list(root, path).append(value_of(value))
            case RemoveItem(path, index):
                items = _list(root, path)
                if not 0 <= index < len(items):
                    raise lost((*path, index))
                del items[index]
    result: Plain = root[""]
    return result


def _copy(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _copy(v) for k, v in value.items()}
    return [_copy(v) for v in value] if isinstance(value, list | tuple) else value


def value_of(value: Any) -> Any:
    """The plain data of an edit's value, a `Block` read first."""
    if isinstance(value, Block):
        return tree_of(value.text).plain()
    return _copy(value)


def _reach(root: dict[str, Any], path: Path) -> Any:
    here: Any = root[""]
    for step in path:
        try:
            here = here[step]
        except (KeyError, IndexError, TypeError):
            raise lost(path) from None
    return here


def _list(root: dict[str, Any], path: Path) -> list[Any]:
    found = _reach(root, path)
    if not isinstance(found, list):
        raise lost(path)
    return found


def _holder(root: dict[str, Any], path: Path) -> Any:
    holder = _reach(root, path[:-1]) if path else root
    last = path[-1] if path else ""
    if isinstance(holder, list):
        inside = isinstance(last, int) and 0 <= last < len(holder)
    else:
        inside = isinstance(holder, dict) and last in holder
    if not inside:
        raise lost(path)
    return holder


def place_key(target: Any, key: str, value: Any, after: str | None) -> None:
    """Adds a key to a dict in place; `after` as in `InsertKey`."""
    if not isinstance(target, dict) or key in target or (after and after not in target):
        raise EditRefused(
            f"the key {key[:40]} cannot be added here",
            "It exists already, or its neighbour does not.",
        )
    rest = list(target.items())
    target.clear()
    if after == "":
        target[key] = value
    for name, old in rest:
        target[name] = old
        if name == after:
            target[key] = value
    target.setdefault(key, value)


def lost(path: Path) -> EditRefused:
    """The refusal of a path that leads nowhere."""
    return EditRefused(f"there is no {'/'.join(map(str, path))[:120]} in this text", "Check the path.")


def tree_of(text: str) -> Node:
    """The tree of a text; EditRefused if it has any problem."""
    node, problems = yamltext.read(text.encode("utf-8"), "")
    if node is None or problems:
        first = problems[0]
        raise EditRefused(
            f"the text is not readable (line {first.place.line}: {first.what})", first.todo
        )
    return node
