"""500 merges in one process against 500 runs of `git merge-file` on the same texts, in one run on one machine.

A merge is the whole way: three texts in, one text with its comments or what is
in dispute out. Bases are on the clone's shelf, as after any `check`; what is
timed is `merge_trees`, the same call that proposals, collisions and the merge
driver make. Cold, every base is read from its YAML first. Edits of every kind
need the YAML and the schema of the new texts: they are told, with no claim.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest

_NEIGHBOUR = str(Path(__file__).resolve().parent.parent / "change")
if _NEIGHBOUR not in sys.path:
    sys.path.append(_NEIGHBOUR)

from edit_pairs import mixed, pairs  # noqa: E402

from specctl.actions.merging import merge_trees  # noqa: E402
from specctl.codec.load import read_file  # noqa: E402
from specctl.codec.paths import record_at  # noqa: E402
from specctl.store.cache import Cache  # noqa: E402


def by_lines(edits: Sequence[Any], folder: Path) -> tuple[float, int]:
    """Seconds of so many runs of git, and how many found a conflict."""
    for number, pair in enumerate(edits):
        for name in ("base", "ours", "theirs"):
            (folder / f"{number}-{name}").write_bytes(getattr(pair, name))
    began = time.perf_counter()
    codes = [
        subprocess.run(["git", "merge-file", "-p", "-q", f"{n}-ours", f"{n}-base", f"{n}-theirs"], check=False, cwd=folder, capture_output=True).returncode
        for n in range(len(edits))
    ]
    return time.perf_counter() - began, sum(code != 0 for code in codes)


def by_meaning(edits: Sequence[Any], shelf: Cache) -> tuple[float, int]:
    """Seconds of so many merges, and how many found a conflict."""
    began = time.perf_counter()
    found = [merge_trees({p.path: p.base}, {p.path: p.ours}, {p.path: p.theirs}, shelf) for p in edits]
    return time.perf_counter() - began, sum(bool(merged.conflicts) for merged in found)


@pytest.mark.bench
def test_500_merges_against_500_runs_of_git(tmp_path: Path, record_property: Callable[[str, object], None]) -> None:
    edits = pairs(500, 20261125)
    (tmp_path / "texts").mkdir()
    cold, _ = by_meaning(edits, Cache(tmp_path / "cold"))
    known = Cache(tmp_path / "known")
    for path, base in {p.path: p.base for p in edits}.items():
        kind = record_at(path)
        assert kind is not None
        read_file(kind[0], path, base, known)
    # A new process over a clone's own shelf: what was read is on disk, and in no memory.
    ours, false = by_meaning(edits, Cache(tmp_path / "known"))
    lines, conflicts = by_lines(edits, tmp_path / "texts")
    some = mixed(40, 3)
    every, _ = by_meaning(some, Cache(tmp_path / "every"))
    # Main and a proposal have both been checked before they meet: their texts are read already.
    read = Cache(tmp_path / "read")
    for one in some:
        kind = record_at(one.path)
        assert kind is not None
        for text in (one.base, one.ours, one.theirs):
            read_file(kind[0], one.path, text, read)
    checked, false_of_every = by_meaning(some, read)
    words = (
        f"500 merges {ours * 1000:.0f} ms, {cold * 1000:.0f} ms with every base read first; "
        f"500 runs of git merge-file {lines * 1000:.0f} ms with {conflicts} false conflicts: "
        f"{lines / ours:.0f} times faster, {lines / cold:.1f} cold; "
        f"edits of every kind {checked / len(some) * 1000:.1f} ms each, {every / len(some) * 1000:.1f} ms where nothing was read before, git {lines / len(edits) * 1000:.1f} ms"
    )
    record_property("merge", words)
    print(words)
    assert false == false_of_every == 0 and conflicts > 100
    assert ours < lines / 10
    assert cold < lines / 2
