"""How long a report of the demo book takes. Run: pytest tests/bench -m bench -s

Warm is the second run on: files read, checked and compiled before are kept
inside git's folder. Cold is the first report in a fresh clone, with an empty
cache. The goal, a report under a second on the machine it was set on, is
printed as what the run took; the assertions are ratios.
"""

from __future__ import annotations

import shutil
import subprocess
from statistics import median

import pytest

from bench_world import EMPTY, SCRIPT, Bench, in_turn

WARM_MOST = 150  # times an empty Python; a quiet machine gives about 60
COLD_MOST = 40  # times warm; it reads, checks and compiles a whole book twice


@pytest.mark.bench
def test_a_report_on_the_demo_book(bench: Bench) -> None:
    cache = bench.book / ".git" / "specctl" / "cache"
    words = {
        "terminal": (SCRIPT, "report", "2", "--book", bench.book),
        "html": (SCRIPT, "report", "2", "--as", "html", "--book", bench.book),
    }
    bench.seconds(words["terminal"])  # compiles modules, which the cold run is not about
    shutil.rmtree(cache)
    cold = bench.seconds(words["terminal"])
    took: dict[str, list[float]] = {name: [] for name in words}

    def run(name: str) -> float:
        took[name].append(bench.seconds(words[name]))
        return took[name][-1]

    acts = {name: (lambda name=name: run(name)) for name in words}
    acts["git reads the same files"] = lambda: _git_reads(bench)
    found = in_turn({"python -c pass": lambda: bench.seconds(EMPTY), **acts}, "python -c pass", rounds=5)
    print("\nreport of a proposal on the demo book, times `python -c pass` in the same run (goal: under 1 s):")
    for name, ratio in found.items():
        print(f"  {name:<26} {ratio:6.1f}" + (f"   {median(took[name]):.2f} s warm" if name in took else ""))
    print(f"  cold: {cold:.2f} s, {cold / median(took['terminal']):.1f} times warm")
    assert max(found["terminal"], found["html"]) < WARM_MOST
    assert cold < COLD_MOST * median(took["terminal"])


def _git_reads(bench: Bench) -> float:
    """The peer of the reading side: every object of both commits through one git."""
    listed = subprocess.run(
        ["git", "-C", str(bench.book), "rev-list", "--objects", "--no-object-names", "main", "proposals/2-thicker-oat-foam"],
        capture_output=True, check=True,
    ).stdout  # fmt: skip
    ids = bench.book / ".git" / "bench-objects"
    ids.write_bytes(listed)
    return bench.seconds(("sh", "-c", f'git -C "{bench.book}" cat-file --batch < "{ids}"'))
