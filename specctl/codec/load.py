"""A tree of files to a book and its problems.

`load` never raises on what the files hold: every failure is a problem with a
file, a line and a column, and the record it stands in is left out. What a file
reads as depends on its bytes and its kind alone, so it is kept on a shelf by
git blob id; reading a book again costs no YAML and no schema.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any, Protocol

from specctl.codec import decode_goods, decode_people, decode_recipe, decode_world, node, paths
from specctl.codec.cursor import Cursor
from specctl.codec.node import Node
from specctl.domain.book import Book, Settings
from specctl.problem import Place, Problem, errors_of

# Raise when what a file reads as changes: the shelf must not outlive the reader.
READER = "read-9"

_DECODERS: dict[str, Callable[[Cursor, str], Any]] = {
    "book": decode_world.settings,
    "list": decode_world.allergen_list,
    "market": decode_world.market,
    "franchise": decode_world.franchise,
    "site": decode_world.site,
    "tool": decode_world.tool,
    "vessel": decode_world.vessel,
    "scoop-check": decode_world.scoop_check,
    "ingredient": decode_goods.ingredient,
    "price-book": decode_goods.price_book,
    "prep": decode_recipe.prep,
    "drink": decode_recipe.drink,
    "policy": decode_people.policy,
    "signatories": decode_people.signatories,
    "proposal": decode_people.proposal,
}
_FIELD = {
    "list": "lists",
    "market": "markets",
    "franchise": "franchises",
    "site": "sites",
    "tool": "tools",
    "vessel": "vessels",
    "scoop-check": "scoop_checks",
    "ingredient": "ingredients",
    "price-book": "price_books",
    "prep": "preps",
    "drink": "drinks",
    "proposal": "proposals",
}


class Shelf(Protocol):
    """Where read files are kept; losing it costs time only.

    A shelf may have a `memory` (a dict) that this process fills: with trees that
    read without a problem (they hold no path, so any file of these bytes is one)
    and with the records made of them (which know their path).
    """

    def get(self, namespace: str, key: str) -> bytes | None: ...

    def put(self, namespace: str, key: str, value: bytes) -> None: ...


@dataclass(frozen=True, slots=True)
class Loaded:
    """A book (None without a readable book.yaml), its problems, and the tree of each file."""

    book: Book | None
    problems: tuple[Problem, ...]
    nodes: Mapping[str, Node] = field(default_factory=dict)


def load(files: Mapping[str, bytes], shelf: Shelf | None = None) -> Loaded:
    """Read every record of a tree; files that are no records are passed over."""
    problems: list[Problem] = []
    nodes: dict[str, Node] = {}
    records: dict[str, dict[str, Any]] = {name: {} for name in _FIELD.values()}
    single: dict[str, Any] = {}
    broken: set[str] = set()
    for path in sorted(files):
        problem = paths.stray(path)
        if problem:
            problems.append(problem)
        known = paths.record_at(path)
        if known is None:
            continue
        kind, id = known
        tree, found = read_file(kind, path, files[path], shelf)
        if tree is not None and not errors_of(found):
            nodes[path] = tree
            record, decoded = _decoded(kind, id, path, tree, shelf, files[path])
            found = [*found, *decoded]
        problems += found
        if errors_of(found) or tree is None:
            broken.add(f"{kind}/{id}")
        elif kind in _FIELD:
            records[_FIELD[kind]][id] = record
        else:
            single[kind] = record
    settings: Settings | None = single.get("book")
    if settings is None:
        if "book.yaml" not in files:
            problems.append(
                Problem("book-missing", Place("book.yaml"), "there is no book.yaml here", "Run specctl init, or name the book's folder with --book.")
            )
        return Loaded(None, tuple(problems), nodes)
    book = Book(settings, policy=single.get("policy"), signatories=single.get("signatories"), broken=frozenset(broken))
    return Loaded(replace(book, **records), tuple(problems), nodes)


def _decoded(
    kind: str, id: str, path: str, tree: Node, shelf: Shelf | None, data: bytes
) -> tuple[Any, tuple[Problem, ...]]:
    """The record of one tree and what is wrong with its texts; the same bytes at the same path once."""
    memory = getattr(shelf, "memory", {})
    key = ("record", f"{blob_id(data)} {path}")
    if key not in memory:
        problems: list[Problem] = []
        memory[key] = (_DECODERS[kind](Cursor(tree, path, problems), id), tuple(problems))
    return memory[key]  # type: ignore[no-any-return]


def read_file(kind: str, path: str, data: bytes, shelf: Shelf | None) -> tuple[Node | None, list[Problem]]:
    """The tree of one file and what is wrong with its YAML or its shape."""
    key = blob_id(data)
    space = f"{READER}-{kind}"
    memory = getattr(shelf, "memory", {})
    remembered = memory.get((space, key))
    if remembered is not None:
        return remembered, []
    kept = shelf.get(space, key) if shelf is not None else None
    if kept is not None:
        found = _unpack(kept, path)
        if found is not None:
            if not found[1]:
                memory[space, key] = found[0]
            return found
    tree, told = _parsed(kind, path, data)
    problems = list(told)
    if shelf is not None:
        shelf.put(space, key, _pack(tree, problems))
        if tree is not None and not problems:
            memory[space, key] = tree
    return tree, problems


@lru_cache(maxsize=1024)
def _parsed(kind: str, path: str, data: bytes) -> tuple[Node | None, tuple[Problem, ...]]:
    """The same from the bytes alone: the dearest step, so a second clone or a shelf still empty asks once."""
    from specctl.codec import schema, yamltext

    tree, problems = yamltext.read(data, path)
    if tree is not None and not errors_of(problems):
        problems = [*problems, *schema.validate(kind, tree, path)]
    return tree, tuple(problems)


def blob_id(data: bytes) -> str:
    """The id git gives these bytes as a blob."""
    return hashlib.sha1(b"blob %d\0" % len(data) + data).hexdigest()


def _pack(tree: Node | None, problems: list[Problem]) -> bytes:
    rows = [[p.code, p.place.line, p.place.column, p.what, p.todo, p.severity] for p in problems]
    kept = {"node": tree.to_json() if tree else None, "problems": rows}
    return json.dumps(kept, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "surrogatepass")


def _unpack(data: bytes, path: str) -> tuple[Node | None, list[Problem]] | None:
    try:
        kept = json.loads(data)
        tree = node.from_json(kept["node"]) if kept["node"] is not None else None
        problems = [Problem(c, Place(path, line, column), what, todo, severity) for c, line, column, what, todo, severity in kept["problems"]]
    except (ValueError, KeyError, TypeError):
        return None
    return tree, problems
