"""A report over many drinks and sites: how much is compiled, how large its pages are, and how long it takes beside a peer.

    pytest tests/bench/test_report_pages_speed.py -m bench -s

prints seconds and the peak of memory; `SPECCTL_WIDE="500 2000 30 10"` (drinks,
sites, franchises, menus) sets the size. Seconds are printed and never asserted.
"""

from __future__ import annotations

import json
import os
import re
import resource
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from time import perf_counter

import pytest
from bench_world import timed
from wide_book import NOW, Size, Wide, build, unsynced

from specctl.actions.reporting import impact_of
from specctl.change import compiled
from specctl.report.pages_folder import MOST, Report, render_report
from specctl.report.view import view_of

SMALL = Size(drinks=28, sites=60, franchises=6, menus=2)
# Four templates of the six have no scoop check here: each market's two counters, for each menu.
PROFILES = 6 * SMALL.menus
PAGE = 200_000  # a small limit, so that a small report is one of linked pages
MOST_RATIO = 60  # times json.loads of the release record and the entries; a quiet machine gives about a third


# A child counts what its parent held as its own peak, so a small one stands between.
_LAUNCHER = (
    "import resource, subprocess, sys; subprocess.run(sys.argv[1:], check=True); "
    "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
)


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Wide]:
    root = tmp_path_factory.mktemp("wide")
    with unsynced(root):
        yield build(root, SMALL)


def written(wide: Wide, most: int = MOST) -> Report:
    with wide.case() as case:
        return render_report(view_of(impact_of(case), now=NOW), most=most)


def test_it_compiles_once_a_profile_and_nothing_a_second_time(small: Wide, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counts of calls, no clock: sixty sites of twelve profiles cost twelve profiles' work, and the next report none."""
    calls: list[tuple[object, str]] = []
    real = compiled.compile_entry
    monkeypatch.setattr(compiled, "compile_entry", lambda memo, profile, item: calls.append((profile, item)) or real(memo, profile, item))
    written(small)
    assert calls and len({profile for profile, _ in calls}) <= PROFILES
    assert len(calls) == len(set(calls))
    calls.clear()
    written(small)
    assert calls == []


def test_every_drink_is_told_on_pages_within_the_limit(small: Wide) -> None:
    report = written(small, PAGE)
    assert len(report.others) > 3
    assert max(len(page) for page in (report.first, *report.others.values())) <= PAGE
    with small.case() as case:
        names = {drink.name for drink in case.book.drinks.values()}
    amounts = b"".join(data for name, data in report.others.items() if name.startswith("amounts")).decode()
    amounts = re.sub("<[^>]*>", "", amounts)
    assert len(names) == SMALL.drinks
    assert all(name in amounts for name in names)


@pytest.mark.bench
def test_a_report_beside_reading_what_it_is_made_from(tmp_path: Path) -> None:
    size = Size(*map(int, os.environ.get("SPECCTL_WIDE", "28 60 6 2").split()))
    with unsynced(tmp_path):
        wide = build(tmp_path, size)
        cold = timed(lambda: written(wide))
        steps: dict[str, float] = {}
        with wide.case() as case:
            begun = perf_counter()
            impact = impact_of(case)
            steps["compare"] = perf_counter() - begun
            text = json.dumps([list(case.compiled.entries.values()), case.ledger.releases[0].as_json()])
        steps["word"] = timed(lambda: view_of(impact, now=NOW))
        view = view_of(impact, now=NOW)
        steps["write"] = timed(lambda: render_report(view))
        peer = timed(lambda: json.loads(text))
    warm = sum(steps.values())
    report = render_report(view)
    pages = [report.first, *report.others.values()]
    print(f"\n{size}: {len(impact.effect.rows)} rows, {len(pages)} pages, {sum(map(len, pages)) / 1e6:.1f} MB")
    print(f"  first {cold:.1f} s, again {warm:.2f} s ({', '.join(f'{name} {s:.2f}' for name, s in steps.items())})")
    print(f"  {warm / peer:.1f} times json.loads of what it rests on; peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB with the building")
    assert warm / peer < MOST_RATIO
    assert max(map(len, pages)) <= MOST


@pytest.mark.bench
def test_a_report_asked_again_beside_one_made(tmp_path: Path) -> None:
    """The command itself, as a process: made once, then answered from what was kept."""
    size = Size(*map(int, os.environ.get("SPECCTL_WIDE", "28 60 6 2").split()))
    with unsynced(tmp_path):
        wide = build(tmp_path, size)
    command = [sys.executable, "-m", "specctl", "report", "2", "--book", str(wide.book), "--as", "html", "--out", str(tmp_path / "r.html")]
    turns = []
    for _ in range(2):
        begun = perf_counter()
        told = subprocess.run([sys.executable, "-c", _LAUNCHER, *command], env={**os.environ, "SPECCTL_NOW": "2026-11-25T12:00:00Z"}, capture_output=True)
        assert told.returncode == 0, told.stderr
        turns.append((perf_counter() - begun, int(told.stdout) / 1024))
    (cold, cold_mb), (warm, warm_mb) = turns
    print(f"\n{size}: made in {cold:.1f} s and {cold_mb:.0f} MB, asked again {warm:.2f} s and {warm_mb:.0f} MB")
    assert warm < cold / 4
