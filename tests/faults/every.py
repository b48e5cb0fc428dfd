"""Every fault point of every command, random kills, and power-loss images: by one command, in an hour or so.

    python tests/faults/every.py              all of it
    python tests/faults/every.py --kills 1000 --images 100 --points 0

Each line that is printed is a promise that did not hold; the last line counts
what was tried. The suite itself tries a sample (test_faults.py).
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parent))

from machine import Machine, why_not  # noqa: E402
from power import image  # noqa: E402
from scenes import begin  # noqa: E402
from trial import Known, Verdict, attempt, know  # noqa: E402

import chain_world  # noqa: E402  found by way of scenes


@contextmanager
def prepared(folder: Path) -> Iterator[tuple[Machine, dict[str, Known]]]:
    """The machine and every scene, known; worlds are made with nothing of this computer's settings."""
    (folder / "home").mkdir()
    (folder / "machine").mkdir()
    with pytest.MonkeyPatch.context() as patch:
        chain_world.own_machine(patch, folder / "home")
        scenes = begin(folder)
        with Machine(folder / "machine") as machine:
            yield machine, {verb: know(machine, scene, folder) for verb, scene in scenes.items()}


def place() -> str | None:
    """Memory where there is some: nothing here is a test of the disk."""
    return "/dev/shm" if Path("/dev/shm").is_dir() else None


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--points", type=float, default=1.0, help="share of the fault points to try")
    words.add_argument("--kills", type=int, default=1000)
    words.add_argument("--images", type=int, default=100)
    words.add_argument("--seed", type=int, default=1)
    wish = words.parse_args()
    if (why := why_not()) is not None:
        print(f"nothing was tried: {why}")
        return 2
    began, tried, failed = time.monotonic(), 0, 0
    dice = random.Random(wish.seed)
    with tempfile.TemporaryDirectory(dir=place()) as name, prepared(Path(name)) as (machine, every):
        for verdict in _verdicts(machine, every, Path(name), wish, dice):
            tried += 1
            if verdict.faults:
                failed += 1
                print(verdict, flush=True)
    print(f"{tried} tried, {failed} did not hold, {time.monotonic() - began:.0f} s")
    return 1 if failed else 0


def _verdicts(
    machine: Machine, every: dict[str, Known], folder: Path, wish: argparse.Namespace, dice: random.Random
) -> Iterator[Verdict]:
    for known in every.values():
        for how, points in known.points.items():
            for point in range(1, points + 1):
                if dice.random() < wish.points:
                    # Every other point is followed by a second fault, during recovery.
                    yield attempt(machine, known, folder, how, point, dice.randint(1, points) if point % 2 else 0)
    for _ in range(wish.kills):
        known = dice.choice(list(every.values()))
        calls = known.points["kill"]
        yield attempt(machine, known, folder, "kill", dice.randint(1, calls), dice.randint(1, calls) if dice.random() < 0.5 else 0)
    for number in range(wish.images):
        known = list(every.values())[number % len(every)]
        yield image(machine, known, folder, dice)


if __name__ == "__main__":
    sys.exit(main())
