"""A light tree of one YAML file: values, and where each of them stands.

Promises: built only by `yamltext`, free of any library's types, and the same
after a trip through JSON, so it can be kept by blob id. A node does not know
its file; `place(file)` joins the two.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Union

from specctl.problem import Place

MAP = "map"
LIST = "list"
SCALAR = "scalar"

Scalar = Union[str, bool, int, Decimal]
Plain = Union[Scalar, dict[str, Any], list[Any]]
Path = tuple[Union[str, int], ...]


@dataclass(frozen=True, slots=True)
class Item:
    """One entry of a map: its key, where the key stands, its value."""

    key: str
    key_node: Node
    node: Node


@dataclass(frozen=True, slots=True)
class Node:
    """A map, a list or a scalar.

    `line` and `column` count from 1; `start` and `end` are offsets into the
    decoded text, `end` behind the last character that belongs to the value.
    `style` is `block` or `flow` for a map or list; for a scalar it is empty
    when plain, else its quotation mark or block indicator. `items` holds
    `Item`s of a map and `Node`s of a list.
    """

    kind: str
    value: Scalar | None
    line: int
    column: int
    start: int
    end: int
    style: str = ""
    items: tuple[Any, ...] = ()

    def place(self, file: str) -> Place:
        return Place(file, self.line, self.column)

    def get(self, key: str) -> Node | None:
        """The value under a key of a map, or None."""
        item = self.item(key)
        return item.node if item else None

    def item(self, key: str) -> Item | None:
        """The entry under a key of a map, or None."""
        if self.kind == MAP:
            for item in self.items:
                if item.key == key:
                    return item
        return None

    def pairs(self) -> Iterator[tuple[str, Node]]:
        """Keys and values of a map in the order of the file; nothing for another kind."""
        if self.kind == MAP:
            for item in self.items:
                yield item.key, item.node

    def children(self) -> Iterator[tuple[str | int, Node]]:
        """Keys or indices with their nodes, for a map or a list."""
        if self.kind == MAP:
            yield from self.pairs()
        elif self.kind == LIST:
            yield from enumerate(self.items)

    def find(self, path: Path) -> Node | None:
        """The node at a path of keys and indices, or None."""
        here: Node | None = self
        for step in path:
            if here is None:
                return None
            if isinstance(step, int):
                inside = here.kind == LIST and 0 <= step < len(here.items)
                here = here.items[step] if inside else None
            else:
                here = here.get(step)
        return here

    def plain(self) -> Plain:
        """Ordinary dict, list, str, bool, int or Decimal; maps keep their order."""
        if self.kind == MAP:
            return {item.key: item.node.plain() for item in self.items}
        if self.kind == LIST:
            return [node.plain() for node in self.items]
        assert self.value is not None
        return self.value

    def to_json(self) -> list[Any]:
        """Lists, strings and integers only, for a cache."""
        where = [self.line, self.column, self.start, self.end, self.style]
        if self.kind == MAP:
            return ["m", *where, [[i.key_node.to_json(), i.node.to_json()] for i in self.items]]
        if self.kind == LIST:
            return ["l", *where, [n.to_json() for n in self.items]]
        if isinstance(self.value, Decimal):
            return ["d", *where, str(self.value)]
        return ["s", *where, self.value]


def from_json(data: list[Any]) -> Node:
    """The node that `to_json` wrote. ValueError for anything else."""
    try:
        return _node(data)
    except (TypeError, KeyError, IndexError, ArithmeticError, RecursionError) as error:
        raise ValueError("not a stored node") from error


def _node(data: list[Any]) -> Node:
    tag, line, column, start, end, style, rest = data
    if tag == "m":
        items = []
        for key_data, value_data in rest:
            key = _node(key_data)
            if not isinstance(key.value, str):
                raise ValueError("not a stored node")
            items.append(Item(key.value, key, _node(value_data)))
        return Node(MAP, None, line, column, start, end, style, tuple(items))
    if tag == "l":
        return Node(LIST, None, line, column, start, end, style, tuple(map(_node, rest)))
    if tag == "d":
        return Node(SCALAR, Decimal(rest), line, column, start, end, style)
    if tag == "s" and isinstance(rest, str | bool | int):
        return Node(SCALAR, rest, line, column, start, end, style)
    raise ValueError("not a stored node")


def same_meaning(one: Any, other: Any) -> bool:
    """Whether two plain values mean the same: order of maps and lists counts,
    numbers compare by value, a truth value is never a number."""
    if isinstance(one, dict) and isinstance(other, dict):
        return list(one) == list(other) and all(same_meaning(one[k], other[k]) for k in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(same_meaning, one, other))
    if isinstance(one, bool) or isinstance(other, bool):
        return one is other
    if isinstance(one, int | Decimal) and isinstance(other, int | Decimal):
        return one == other
    return type(one) is type(other) and bool(one == other)
