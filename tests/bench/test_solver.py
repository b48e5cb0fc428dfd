"""The solver against a plain search of everything, in one run on one machine."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from decimal import Decimal as D
from itertools import combinations

import pytest

from specctl.analysis.dose import Bench, doses_for
from specctl.analysis.measuring import measure
from specctl.domain.amount import Grams, Tolerance
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient

TARGETS, PROFILES, SAMPLE = 600, 50, 30
TEN = Tolerance(D("0.1"), D("0.1"), True)
POWDER = Ingredient(id="powder", name="Powder", state="powder", storage="ambient", bulk_density=Density(D("0.563"), "made up"))
LIQUID = Ingredient(id="liquid", name="Liquid", state="liquid", storage="chilled", density=Density(D("1.0309"), "made up"))


def profiles(draw: random.Random) -> list[Bench]:
    """Drawers of 6 to 12 level tools, a jigger of eight lines, a jug and a pump, as a counter has them."""
    found = []
    for _ in range(PROFILES):
        tools = [
            Tool(id=f"scoop-{i:02}", name=f"s{i}", kind=draw.choice(("scoop", "spoon", "disher")), volume=D(draw.randint(10, 1200)) / 10)
            for i in range(draw.randint(6, 12))
        ]
        marks = tuple(sorted({D(draw.randint(2, 24) * 5) / 2 for _ in range(8)}))
        tools += [
            Tool(id="jigger", name="jigger", kind="jigger", marks=marks, error=D("0.02")),
            Tool(id="jug", name="jug", kind="jug", graduation=D(10), up_to=D(500), error=D("0.02")),
            Tool(id="pump", name="pump", kind="pump", stroke=D(draw.randint(50, 300)) / 10, error=D("0.04")),
        ]
        found.append(Bench(tuple(sorted(tools, key=lambda t: t.id)), {}, 6, False))
    return found


def plain_search(target: D, item: Ingredient, bench: Bench) -> tuple[int, int, int]:
    """(2 outside, 1 unproven or 0 proven; motions; bias), by trying every combination in whole numbers."""
    doses = doses_for(item, bench, target + TEN.grams(target)[1]).doses
    scale = 10**10
    weights = [int(dose.grams * scale) for dose in doses]
    wanted, side = int(target * 100), int(TEN.grams(target)[1] * 100)
    best = (3, 0, 0)
    nearest = (10**18, 0)

    def judge(parts: tuple[tuple[int, int], ...]) -> None:
        nonlocal best, nearest
        motions = sum(n for _, n in parts)
        mass = sum(weights[i] * n for i, n in parts)
        off = (mass * 200 + scale) // (2 * scale) - wanted
        if abs(off) > side:
            nearest = min(nearest, (abs(off), motions))
            return
        shared: dict[str, float] = {}
        known = all(doses[i].error is not None for i, _ in parts)
        if known:
            for i, n in parts:
                id = doses[i].tool.id
                shared[id] = shared.get(id, 0.0) + weights[i] * n * float(doses[i].error or 0) / scale * 100
        room = side - abs(off)
        proven = known and room * room >= 4 * sum(s * s for s in shared.values())
        best = min(best, (0 if proven else 1, motions, abs(off)))

    for i in range(len(doses)):
        for n in range(1, 7):
            judge(((i, n),))
    for i, j in combinations(range(len(doses)), 2):
        for n in range(1, 6):
            for m in range(1, 7 - n):
                judge(((i, n), (j, m)))
    return best if best[0] < 3 else (2, nearest[1], nearest[0])


def key_of(target: D, item: Ingredient, bench: Bench) -> tuple[int, int, int]:
    found = measure(Grams(target), TEN, item, bench)
    assert found.off is not None
    motions = int(sum(move.times for move in found.moves))
    return ("within", "unproven", "outside").index(found.verdict), motions, abs(int(found.off * 100))


@pytest.mark.bench
def test_the_solver_takes_at_most_an_eighth_of_a_plain_search() -> None:
    draw = random.Random(6)
    benches = profiles(draw)
    targets = [(D(draw.randint(100, 30000)) / 100, draw.choice((POWDER, LIQUID))) for _ in range(TARGETS)]
    start = time.perf_counter()
    for bench in benches:
        for target, item in targets:
            measure(Grams(target), TEN, item, bench)
    ours = time.perf_counter() - start
    # The plain search runs on a sample spread over targets and profiles, and is scaled up.
    sample = [(benches[k % PROFILES], *targets[draw.randrange(TARGETS)]) for k in range(SAMPLE)]
    start = time.perf_counter()
    plain = [plain_search(target, item, bench) for bench, target, item in sample]
    theirs = (time.perf_counter() - start) * TARGETS * PROFILES / SAMPLE
    assert plain == [key_of(target, item, bench) for bench, target, item in sample]
    ratio = ours / theirs
    print(f"solver {ours:.1f} s for {TARGETS} x {PROFILES}, plain search about {theirs:.0f} s: ratio {ratio:.4f}")
    assert ratio <= 1 / 8


def test_no_numeric_library_is_loaded() -> None:
    code = "import sys, specctl.analysis.measuring, specctl.analysis.remedy, specctl.cli.bench_commands; print('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
