"""Merges a file that one side only wrote over in place, without writing or reading a third text.

The same answer as a merge of all facts, sooner: what one side wrote over goes
into the text of the other, which left it alone, and the comments of both stay.
Where both moved one fact, or both did something else, there is no answer here
and all facts are merged.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

from specctl.codec.leaves import Leaf, Leaves, Path, leaves_of
from specctl.codec.load import Shelf, blob_id, read_file
from specctl.codec.paths import record_at
from specctl.codec.yamlguard import MOST_BYTES

_SPACE = "leaves"


def merge_touches(path: str, texts: tuple[bytes, bytes, bytes], shelf: Shelf | None) -> bytes | None:
    """The merged text of (base, main's, the proposal's), where one side only wrote over scalars; None for no answer."""
    base, ours, theirs = texts
    known = record_at(path)
    if known is None or max(map(len, texts)) > MOST_BYTES:
        return None
    before = _leaves(known[0], path, base, shelf)
    if before is None:
        return None
    mine, other = _over(before, ours), _over(before, theirs)
    if mine is not None and other is not None:
        return _both(before, mine, other)
    if other is not None:
        main = _leaves(known[0], path, ours, shelf)
        return None if main is None else _into(main, before, _told(before, other))
    if mine is not None:
        there = _leaves(known[0], path, theirs, shelf)
        # What comes out is the proposal's text: every comment of main must stand in it.
        if there is not None and not _comments(before) - _comments(there):
            return _into(there, before, mine)
    return None


def _both(before: Leaves, mine: Mapping[Path, Leaf], other: Mapping[Path, Leaf]) -> bytes | None:
    """Main's scalars, and the proposal's where main means what the base does."""
    over = {p: leaf.text for p, leaf in mine.items()}
    for p, leaf in _told(before, other).items():
        here = mine.get(p, before.by_path[p]).meaning
        if here == before.by_path[p].meaning:
            over[p] = leaf.text
        elif here != leaf.meaning:
            return None
    return _bytes(before.with_over(over))


def _into(text: Leaves, before: Leaves, over: Mapping[Path, Leaf]) -> bytes | None:
    """One side's scalars in the text of a side that did something else, where that left each of them alone."""
    for path in over:
        there = text.by_path.get(path)
        if there is None or there.meaning != before.by_path[path].meaning:
            return None
    return _bytes(text.with_over({path: leaf.text for path, leaf in over.items()}))


def _comments(text: Leaves) -> Counter[str]:
    return Counter(line.strip() for line in text.lines if line.lstrip().startswith("#"))


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
