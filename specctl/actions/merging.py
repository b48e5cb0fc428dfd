"""Merges a proposal onto today's main, file by file, by meaning.

Where only one side moved a file, its bytes are taken as they are. Where both
did, what one wrote over in place goes into the other's text (`touching`); else
their facts are merged and main's text is edited to mean the result, so
comments of main survive. A conflict is data; the file then stands as main has
it, and nothing of a tree with conflicts may be released.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from specctl.actions.touching import merge_touches
from specctl.change.facts import ORDER, Change, Facts, Path, build, diff, facts
from specctl.change.merge import Conflict, merge
from specctl.change.settlement import MAIN, settle
from specctl.codec.load import Shelf, read_file
from specctl.codec.meaning import meaning
from specctl.codec.node import Node
from specctl.codec.paths import is_controlled, record_at
from specctl.codec.rewrite import draft, rewrite
from specctl.errors import Refused, Stop
from specctl.problem import errors_of

Files = Mapping[str, bytes]


@dataclass(frozen=True, slots=True)
class MergedTree:
    """The merged files, the paths that differ from main, and what conflicts."""

    files: dict[str, bytes]
    changed: tuple[str, ...]
    conflicts: tuple[Conflict, ...]


def merge_trees(base: Files, ours: Files, theirs: Files, shelf: Shelf | None = None) -> MergedTree:
    """`ours` is main, `theirs` the proposal, `base` the commit the edit started from."""
    files: dict[str, bytes] = {}
    conflicts: list[Conflict] = []
    for path in sorted(base.keys() | ours.keys() | theirs.keys()):
        b, o, t = base.get(path), ours.get(path), theirs.get(path)
        if o == t or t == b:
            result = o
        elif o == b:
            result = t
        else:
            result, found = _merge_file(path, b, o, t, shelf)
            conflicts += found
        if result is not None:
            files[path] = result
    changed = tuple(sorted(p for p in files.keys() | ours.keys() if files.get(p) != ours.get(p)))
    return MergedTree(files, changed, tuple(conflicts))


def _merge_file(
    path: str, base: bytes | None, ours: bytes | None, theirs: bytes | None, shelf: Shelf | None
) -> tuple[bytes | None, list[Conflict]]:
    if base is not None and ours is not None and theirs is not None:
        quick = merge_touches(path, (base, ours, theirs), shelf)
        if quick is not None:
            return quick, []
    return merge_facts(path, base, ours, theirs, shelf)


def merge_facts(
    path: str, base: bytes | None, ours: bytes | None, theirs: bytes | None, shelf: Shelf | None
) -> tuple[bytes | None, list[Conflict]]:
    """One file merged by all its facts: its bytes, or None where it goes, and what conflicts."""
    nodes = [_node(path, data, shelf) for data in (base, ours, theirs)]
    if not is_controlled(path) or any(data is not None and node is None for data, node in zip((base, ours, theirs), nodes)):
        return ours, [Conflict(path, (), None, None, None)]
    b, o, t = (facts(meaning(node)) if node else {} for node in nodes)
    merged = merge(b, o, t, path)
    if merged.conflicts:
        return ours, list(merged.conflicts)
    if not merged.facts:
        return None, []
    if ours is None:
        return theirs, []
    text = _text(path, ours, merged.facts, (nodes[1], nodes[2]), shelf)
    # The text must mean exactly what was merged; if it cannot be edited so, a person decides.
    if text is None:
        return ours, [Conflict(path, (), None, None, None)]
    return text, []


def settled_file(
    path: str, sides: tuple[bytes | None, bytes | None, bytes | None], choices: Mapping[Path, str], shelf: Shelf | None = None
) -> bytes | None:
    """A file (base, main's, the proposal's) with each conflict taken from the side chosen; None: no file.

    Where the two cannot be joined by meaning the choice is for the whole file.
    Raises Refused where the result cannot be written into the text of either side.
    """
    _, ours, theirs = sides
    if () in choices:
        return ours if choices[()] == MAIN else theirs
    b, o, t = (_node(path, data, shelf) for data in sides)
    base_facts, our_facts, their_facts = (facts(meaning(node)) if node else {} for node in (b, o, t))
    wanted = settle(base_facts, our_facts, their_facts, path, choices)
    if not wanted:
        return None
    for text, nodes in ((ours, (o, t)), (theirs, (t, o))):
        written = _text(path, text, wanted, nodes, shelf) if text is not None else None
        if written is not None:
            return written
    raise Refused(
        f"{path} cannot be written so that it means both what was merged and what was chosen",
        "Bring your files along to main, make the edit there, and propose again: specctl propose --update",
    )


def _text(path: str, text: bytes, wanted: Facts, nodes: tuple[Node | None, Node | None], shelf: Shelf | None) -> bytes | None:
    """The text edited to mean the facts, or None where it cannot be. `nodes`: this side's and the other's."""
    o, t = (facts(meaning(node)) if node else {} for node in nodes)
    target = _as_written(wanted, nodes[0], nodes[1], o, t)
    drafted = draft(text, target, nodes[0]) if nodes[0] is not None else None
    if drafted is not None and _means(path, drafted, wanted, shelf):
        return drafted
    try:
        written = rewrite(text, target, path)
    except Stop:
        return None
    return written if _means(path, written, wanted, shelf) else None


def _means(path: str, text: bytes, wanted: Facts, shelf: Shelf | None) -> bool:
    """Whether a text reads without an error and means these facts and no others."""
    node = _node(path, text, shelf)
    return node is not None and not diff(facts(meaning(node)), wanted)


def _node(path: str, data: bytes | None, shelf: Shelf | None) -> Node | None:
    known = record_at(path)
    if data is None or known is None:
        return None
    node, problems = read_file(known[0], path, data, shelf)
    return None if errors_of(problems) else node


def _as_written(merged: Facts, ours: Node | None, theirs: Node | None, o: Facts, t: Facts) -> Any:
    """The merged meaning with every value as its author wrote it (48 h stays 48 h)."""
    ours_raw = facts(ours.plain()) if ours else {}  # type: ignore[arg-type]
    theirs_raw = facts(theirs.plain()) if theirs else {}  # type: ignore[arg-type]
    written: Facts = {}
    for path, value in merged.items():
        if path[-1] == ORDER:
            written[path] = value
        elif o.get(path) == value and path in ours_raw:
            written[path] = ours_raw[path]
        elif t.get(path) == value and path in theirs_raw:
            written[path] = theirs_raw[path]
        else:
            written[path] = value
    return build(written)


def file_changes(before: Files, after: Files, shelf: Shelf | None = None) -> dict[str, tuple[Change, ...]]:
    """The changed facts of every controlled file that differs."""
    found = {}
    for path in sorted(before.keys() | after.keys()):
        if before.get(path) == after.get(path) or not is_controlled(path):
            continue
        one, two = (_node(path, side.get(path), shelf) for side in (before, after))
        found[path] = diff(
            facts(meaning(one)) if one else {},
            facts(meaning(two)) if two else {},
        )
    return found
