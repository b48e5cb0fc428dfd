"""Mean, spread and chance of generated measures against a seeded simulation of the bench itself.

The simulation knows scoops, lots and hands, and nothing of the formula: a lot's
density or a tool's size is drawn once a dose of the drink and shared by all its
motions, a hand's error is drawn for each motion anew.
"""

from __future__ import annotations

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal as D

import numpy as np
import pytest

from specctl.analysis.dose import Bench
from specctl.analysis.error import chance_inside, spread_of
from specctl.analysis.measuring import Measure, measure
from specctl.domain.amount import Grams, Tolerance
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.place import ScoopCheck

RUNS = 10_000
CASES = 240
# Rosenkranz et al., Front. Nutr. 11:1385496 (2024): mean absolute error 9.0 % powder, 4.4 % liquid;
# a normal law's standard deviation is sqrt(pi / 2) of that
POWDER, LIQUID = 0.090 * math.sqrt(math.pi / 2), 0.044 * math.sqrt(math.pi / 2)


@dataclass(frozen=True, slots=True)
class Case:
    item: Ingredient
    bench: Bench
    target: D
    sides: Tolerance
    found: Measure


def decimal(draw: random.Random, low: float, high: float, places: int) -> D:
    return D(f"{draw.uniform(low, high):.{places}f}")


def cases(draw: random.Random) -> Iterator[Case]:
    """Drawers of checked and unchecked scoops for powders, of jiggers and pumps for liquids."""
    while True:
        tools: list[Tool] = []
        checks: dict[tuple[str, str], ScoopCheck] = {}
        if draw.random() < 0.6:
            item = Ingredient(id="it", name="It", state="powder", storage="ambient",
                              bulk_density=Density(decimal(draw, 0.3, 0.9, 2), "stated"))  # fmt: skip
            for name in "abc"[: draw.randint(1, 3)]:
                volume = decimal(draw, 8, 40, 1)
                tools.append(Tool(id=name, name=name, kind="scoop", volume=volume))
                if draw.random() < 0.7:
                    mean = (volume * item.bulk_density.value * decimal(draw, 0.85, 1.2, 3)).quantize(D("0.001"))
                    checks["it", name] = ScoopCheck(
                        id=f"c-{name}", name="", ingredient="it", tool=name, site="quay", n=draw.randint(3, 12), mean=mean,
                        spread=(mean * decimal(draw, 0.01, 0.08, 3)).quantize(D("0.001")), date=date(2026, 3, 1), who="sam",
                    )  # fmt: skip
        else:
            film = decimal(draw, 0, 0.06, 2) if draw.random() < 0.5 else None
            item = Ingredient(id="it", name="It", state="liquid", storage="ambient", film=film,
                              density=Density(decimal(draw, 0.95, 1.4, 3), "stated"))  # fmt: skip
            for name in "abc"[: draw.randint(1, 3)]:
                error = decimal(draw, 0.01, 0.06, 3) if draw.random() < 0.6 else None
                if draw.random() < 0.5:
                    tools.append(Tool(id=name, name=name, kind="pump", stroke=decimal(draw, 5, 30, 1), error=error))
                else:
                    marks = (D(draw.randint(8, 20)), D(draw.randint(21, 50)))
                    tools.append(Tool(id=name, name=name, kind="jigger", marks=marks, error=error))
        where = Bench(tuple(tools), checks, 6, draw.random() < 0.5)
        target, share = decimal(draw, 12, 90, 1), decimal(draw, 0.04, 0.15, 3)
        sides = Tolerance(share, share, True)
        found = measure(Grams(target), sides, item, where)
        if found.by == "tools":
            yield Case(item, where, target, sides, found)


def simulated(case: Case, rng: np.random.Generator) -> np.ndarray:
    """Grams that land in `RUNS` cups."""
    item, tools = case.item, {tool.id: tool for tool in case.bench.tools}
    poured = item.state == "liquid"
    published = LIQUID if poured else POWDER
    lot = rng.normal(1, published, RUNS)  # of what nobody weighed: how far this lot and this hand are off
    size: dict[str, np.ndarray] = {}
    total = np.zeros(RUNS)
    for move in case.found.moves:
        tool, times = tools[move.tool], float(move.times)
        check = case.bench.checks.get(("it", tool.id))
        if check is not None:
            hand = float(check.spread) if check.n >= 5 else max(float(check.spread), published * float(check.mean))
            if tool.id not in size:
                size[tool.id] = rng.normal(float(check.mean), hand / math.sqrt(check.n), RUNS)
            whole, half = divmod(times, 1)
            for part in (1.0,) * int(whole) + ((half,) if half else ()):
                total += part * size[tool.id] + rng.normal(0, hand, RUNS)
            continue
        density = item.density if poured else item.bulk_density
        assert density is not None
        ml = float(move.mark.split()[0]) if move.mark else float(tool.stroke or tool.volume or 0)
        grams = times * ml * float(density.value)
        if poured and tool.kind == "jigger":
            grams *= 1 - float(item.film or 0)
        if poured and tool.error is not None:
            size.setdefault(tool.id, rng.normal(1, float(tool.error), RUNS))
            total += grams * size[tool.id]
        else:
            total += grams * lot
    return total


def test_mean_spread_and_chance_agree_with_a_simulation_to_its_sampling_error() -> None:
    source, rng = cases(random.Random(20261125)), np.random.default_rng(20261125)
    off: dict[str, list[float]] = {"mean": [], "spread": [], "chance": []}
    shapes = {"several": 0, "halves": 0, "checked": 0, "mixed": 0, "filmed": 0}
    for _ in range(CASES):
        case = next(source)
        grams = simulated(case, rng)
        spread = spread_of(case.found, case.item, case.bench)
        chance = chance_inside(case.target, case.sides, case.found, case.item, case.bench)
        assert spread and chance is not None and case.found.gives is not None
        under, over = (float(side) for side in case.sides.grams(case.target))
        inside = np.mean((grams >= float(case.target) - under) & (grams <= float(case.target) + over))
        # the standard errors of a mean, of a normal law's standard deviation, and of a share
        off["mean"].append((grams.mean() - float(case.found.gives)) / (spread / math.sqrt(RUNS)))
        off["spread"].append((grams.std(ddof=1) - spread) / (spread / math.sqrt(2 * RUNS)))
        off["chance"].append((inside - chance) / math.sqrt(max(chance * (1 - chance), 1 / RUNS) / RUNS))
        checked = {move.tool for move in case.found.moves if ("it", move.tool) in case.bench.checks}
        shapes["several"] += sum(move.times for move in case.found.moves) > 1
        shapes["halves"] += any(move.times % 1 for move in case.found.moves)
        shapes["checked"] += bool(checked)
        shapes["mixed"] += 0 < len(checked) < len({move.tool for move in case.found.moves})
        shapes["filmed"] += bool(case.item.film) and any(move.mark for move in case.found.moves)
    assert all(count >= 10 for count in shapes.values()), shapes
    for what, scores in off.items():
        assert max(map(abs, scores)) < 4.5, what
        # all together: the root mean square of standard scores is 1 +- 1 / sqrt(2 n); three of those
        assert math.sqrt(np.mean(np.square(scores))) == pytest.approx(1, abs=3 / math.sqrt(2 * CASES)), what
