"""500 pairs of edits at once on the demo book: each joins, and means what both edits by hand mean.

The outside judges: the text with both edits made by hand, and `git merge-file`
on the same texts, whose conflicts are the false ones a merge by lines has.
"""

from __future__ import annotations

import re
import subprocess
from collections import Counter
from pathlib import Path

from edit_pairs import mixed, pairs

from specctl.actions.merging import merge_facts, merge_trees
from specctl.actions.touching import merge_touches
from specctl.change.facts import facts
from specctl.codec import yamltext
from specctl.codec.load import read_file
from specctl.codec.meaning import meaning
from specctl.codec.paths import record_at

PAIRS = pairs(500, 20261125)
MIXED = mixed(80, 20261125)


class Kept:
    """What is parsed once is kept, as a clone keeps it."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], bytes] = {}
        self.memory: dict[tuple[str, str], object] = {}

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
        # The very bytes: so whatever is checked, compiled or signed of one holds for the other.
        assert merged.files[pair.path] == pair.both, pair.path


def test_one_side_alone_is_taken_to_the_letter() -> None:
    """DESIGN section 9: merge(b, x, b) = merge(b, b, x) = merge(b, x, x) = x, layout and comments with it."""
    for pair in MIXED:
        base, other = {pair.path: pair.base}, {pair.path: pair.ours}
        for sides in ((other, base), (base, other), (other, other), (other, {}), ({}, other)):
            merged = merge_trees(base if {} not in sides else {}, *sides)
            assert merged.files == other and merged.conflicts == ()
        for gone in (({}, base), (base, {}), ({}, {})):
            assert merge_trees(base, *gone).files == {}


def test_edits_of_every_kind_join_and_mean_both() -> None:
    shelf, quick = Kept(), 0
    for pair in MIXED:
        merged = merge_trees({pair.path: pair.base}, {pair.path: pair.ours}, {pair.path: pair.theirs}, shelf)
        assert merged.conflicts == (), (pair.path, merged.conflicts)
        text = merged.files[pair.path]
        node, problems = yamltext.read(text, pair.path)
        assert node is not None and not problems
        assert facts(node.plain()) == facts(pair.meant), pair.path  # type: ignore[arg-type]
        assert set(_comments(pair.ours)) & set(_comments(pair.theirs)) <= set(_comments(text)), pair.path
        quick += merge_touches(pair.path, (pair.base, pair.ours, pair.theirs), shelf) is not None
    assert 10 < quick < len(MIXED) - 10, "both roads are taken"


def test_what_was_only_written_over_joins_as_all_facts_do() -> None:
    """The short road and the long one give one answer, whichever side is main."""
    shelf = Kept()
    for pair in [*PAIRS[:30], *MIXED]:
        for ours, theirs in ((pair.ours, pair.theirs), (pair.theirs, pair.ours)):
            short = merge_touches(pair.path, (pair.base, ours, theirs), shelf)
            if short is not None:
                long, conflicts = merge_facts(pair.path, pair.base, ours, theirs, shelf)
                assert long is not None and not conflicts
                assert _facts(pair.path, short, shelf) == _facts(pair.path, long, shelf)
                assert not Counter(_comments(long)) - Counter(_comments(short)), "every comment that all facts keep"


def test_a_side_that_did_more_keeps_its_dispute_and_its_comments() -> None:
    """One side only wrote over an amount; the other moved the same amount, or took a comment out, and brought in a line besides."""
    shelf, seen = Kept(), 0
    for pair in PAIRS:
        if b"\nnote:" in pair.base or b"\n  #" not in pair.base or pair.ours.count(b" g") != pair.base.count(b" g"):
            continue
        more = b"note: Seen at the bench.\n"
        seen += 1
        (moved,) = [n for n, (was, now) in enumerate(zip(pair.base.split(b"\n"), pair.ours.split(b"\n"), strict=True)) if was != now]
        lines = pair.ours.split(b"\n")
        lines[moved] = re.sub(rb"(\d+)((?:\.\d+)? g)", lambda m: b"%d%s" % (int(m[1]) + 17, m[2]), lines[moved])
        apart = b"\n".join(lines) + more
        for ours, theirs in ((pair.ours, apart), (apart, pair.ours)):
            assert merge_trees({pair.path: pair.base}, {pair.path: ours}, {pair.path: theirs}, shelf).conflicts, pair.path
        bare = re.sub(rb"(?m)^ *#.*\n", b"", pair.base) + more
        merged = merge_trees({pair.path: pair.base}, {pair.path: pair.ours}, {pair.path: bare}, shelf)
        assert not merged.conflicts and more in merged.files[pair.path]
        assert not set(_comments(pair.ours)) - set(_comments(merged.files[pair.path])), "main's comments stay"
        if seen == 12:
            break
    assert seen == 12


def test_a_merge_by_lines_has_many_false_conflicts(tmp_path: Path) -> None:
    """Without this the pairs above might be too easy to show anything."""
    false = 0
    some = PAIRS[::4]  # tests/bench runs git on all of them
    for pair in some:
        for name, text in (("base", pair.base), ("ours", pair.ours), ("theirs", pair.theirs)):
            (tmp_path / name).write_bytes(text)
        done = subprocess.run(["git", "merge-file", "-p", "-q", "ours", "base", "theirs"], check=False, cwd=tmp_path, capture_output=True)
        false += done.returncode != 0
    print(f"false conflicts of a merge by lines: {false} of {len(some)}")
    assert false > 25


def _facts(path: str, text: bytes, shelf: Kept) -> object:
    known = record_at(path)
    assert known is not None
    node, problems = read_file(known[0], path, text, shelf)
    assert node is not None, problems
    return facts(meaning(node))


def _comments(text: bytes) -> list[bytes]:
    return re.findall(rb"(?m)(?:^|\s)#.*$", text)
