"""500 pairs of edits at once on the demo book: each joins, and means what both edits by hand mean.

The outside judges: the text with both edits made by hand, and `git merge-file`
on the same texts, whose conflicts are the false ones a merge by lines has.
"""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

from edit_pairs import pairs

from specctl.actions.merging import merge_trees
from specctl.change.facts import facts
from specctl.codec.load import read_file
from specctl.codec.meaning import meaning
from specctl.codec.paths import record_at

PAIRS = pairs(500, 20261125)


class Kept:
    """What is parsed once is kept, as a clone keeps it."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], bytes] = {}

    def get(self, namespace: str, key: str) -> bytes | None:
        return self.kept.get((namespace, key))

    def put(self, namespace: str, key: str, value: bytes) -> None:
        self.kept[namespace, key] = value


def test_no_pair_conflicts_and_each_means_both_edits() -> None:
    shelf = Kept()
    for pair in PAIRS:
        base, ours, theirs = ({pair.path: text} for text in (pair.base, pair.ours, pair.theirs))
        merged = merge_trees(base, ours, theirs, shelf)
        assert merged.conflicts == (), pair.path
        if merged.files[pair.path] != pair.both:  # the same bytes mean the same
            assert _facts(pair.path, merged.files[pair.path], shelf) == _facts(pair.path, pair.both, shelf)
        assert _comments(merged.files[pair.path]) == _comments(pair.ours), pair.path


def test_a_merge_by_lines_has_many_false_conflicts(tmp_path: Path) -> None:
    """Without this the pairs above might be too easy to show anything."""
    false = 0
    for pair in PAIRS:
        for name, text in (("base", pair.base), ("ours", pair.ours), ("theirs", pair.theirs)):
            (tmp_path / name).write_bytes(text)
        done = subprocess.run(["git", "merge-file", "-p", "-q", "ours", "base", "theirs"], check=False, cwd=tmp_path, capture_output=True)
        false += done.returncode != 0
    print(f"false conflicts of a merge by lines: {false} of {len(PAIRS)}")
    assert false > 100


def _facts(path: str, text: bytes, shelf: Kept) -> object:
    known = record_at(path)
    assert known is not None
    node, problems = read_file(known[0], path, text, shelf)
    assert node is not None, problems
    return facts(meaning(node))


def _comments(text: bytes) -> list[bytes]:
    return re.findall(rb"(?m)(?:^|\s)#.*$", text)
