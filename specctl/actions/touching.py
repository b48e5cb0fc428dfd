"""Merges a file whose proposal only wrote over scalars, without reading the two new texts.

The same answer as a merge of all facts, sooner: what the proposal wrote over
goes into main's text where main left it alone. Where main moved the same fact,
or a side did anything else, there is no answer here and all facts are merged.
"""

from __future__ import annotations

from collections.abc import Mapping

from specctl.codec.leaves import Leaf, Leaves, Path, leaves_of
from specctl.codec.load import Shelf, blob_id, read_file
from specctl.codec.paths import record_at
from specctl.codec.yamlguard import MOST_BYTES

_SPACE = "leaves"


def merge_touches(path: str, texts: tuple[bytes, bytes, bytes], shelf: Shelf | None) -> bytes | None:
    """Main's text with what the proposal wrote over, from (base, main's, the proposal's); None for no answer."""
    base, ours, theirs = texts
    known = record_at(path)
    if known is None or max(map(len, texts)) > MOST_BYTES:
        return None
    before = _leaves(known[0], path, base, shelf)
    other = _over(before, theirs)
    if before is None or other is None:
        return None
    mine = _over(before, ours)
    if mine is None:
        main = _leaves(known[0], path, ours, shelf)
        return None if main is None else _into(main, before, other)
    over = {p: leaf.text for p, leaf in mine.items()}
    for p, leaf in _told(before, other).items():
        ours_there = mine.get(p, before.by_path[p]).meaning
        if ours_there == before.by_path[p].meaning:
            over[p] = leaf.text
        elif ours_there != leaf.meaning:
            return None
    return _bytes(before.with_over(over))


def _into(main: Leaves, before: Leaves, other: Mapping[Path, Leaf]) -> bytes | None:
    """The proposal's scalars in a main that moved otherwise, where main left each of them alone."""
    told = _told(before, other)
    for path in told:
        there = main.by_path.get(path)
        if there is None or there.meaning != before.by_path[path].meaning:
            return None
    return _bytes(main.with_over({path: leaf.text for path, leaf in told.items()}))


def _told(before: Leaves, other: Mapping[Path, Leaf]) -> dict[Path, Leaf]:
    """What was written over to mean something else: `30.0 g` for `30 g` is no change."""
    return {path: leaf for path, leaf in other.items() if leaf.meaning != before.by_path[path].meaning}


def _leaves(kind: str, path: str, text: bytes, shelf: Shelf | None) -> Leaves | None:
    memory = getattr(shelf, "memory", {})
    key = (f"{_SPACE}-{kind}", blob_id(text))
    kept: Leaves | None = memory.get(key)
    if kept is None:
        tree, problems = read_file(kind, path, text, shelf)
        if tree is None or problems:
            return None
        kept = memory[key] = leaves_of(tree, text.decode("utf-8"))
    return kept


def _over(before: Leaves | None, text: bytes) -> dict[Path, Leaf] | None:
    if before is None:
        return None
    try:
        return before.written_over(text.decode("utf-8"))
    except UnicodeDecodeError:
        return None


def _bytes(text: str | None) -> bytes | None:
    """Two sides may each stay below the size of a file and be above it together."""
    data = None if text is None else text.encode("utf-8")
    return data if data is not None and len(data) <= MOST_BYTES else None
