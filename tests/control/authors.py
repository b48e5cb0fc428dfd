"""Several people at once over one bare origin, each in a clone of their own, with the real command line.

    python tests/control/authors.py --seconds 30 --people 8

Everybody proposes, signs and releases as they may, as fast as they can. What a
command acknowledged must be in origin's history afterwards; who lost a race is
told so; audit, fsck and the absence of lock files say that nothing was torn.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

import pytest

_HERE = Path(__file__).resolve().parent
sys.path += [p for p in (str(_HERE.parent / "actions"), str(_HERE)) if p not in sys.path]

from chain_world import AUTHOR, EVERYONE, SECOND, World, begin_world, day, own_machine, plain_git  # noqa: E402
from forge import FROST, PASTE  # noqa: E402

NOW = "2026-11-06T09:00:00Z"
RACES = ("moved", "again", "at work", "first")


@dataclass
class Log:
    """What one person was told: commits and statements acknowledged, races lost, refusals for other reasons."""

    proposals: dict[str, str] = field(default_factory=dict)
    statements: list[str] = field(default_factory=list)
    releases: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    @property
    def acknowledged(self) -> int:
        return len(self.proposals) + len(self.statements) + len(self.releases)


def begin(root: Path, people: int) -> tuple[World, list[tuple[str, Path]]]:
    """A world after its first release, and a clone for each person in turn."""
    with pytest.MonkeyPatch.context() as patch:
        (root / "home").mkdir()
        own_machine(patch, root / "home")
        world = begin_world(root)
        world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
        world.done(world.propose(0, "Opening book", start=day(3).date()).name, 1)
        seats = []
        for number in range(people):
            person = (AUTHOR, *EVERYONE)[number % (len(EVERYONE) + 1)]
            clone = root / f"clone-{number}"
            plain_git(root, "clone", "-q", "origin.git", clone.name)
            plain_git(clone, "remote", "set-url", "origin", "../origin.git")
            seats.append((person, clone))
    return world, seats


def command(world: World, clone: Path, person: str, *words: str) -> tuple[int, str, str]:
    env = {k: v for k, v in os.environ.items() if not k.startswith(("GIT_", "SPECCTL_"))}
    env |= {"SPECCTL_NOW": NOW, "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "HOME": str(world.root / "home")}
    key = [] if words[0] == "proposals" else ["--key", str(world.key(person))]
    done = subprocess.run(
        [sys.executable, "-m", "specctl", *words, "--book", str(clone), "--json", *key], capture_output=True, env=env, timeout=120
    )
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def work(world: World, seat: tuple[str, Path], until: float, most: int, dice: random.Random) -> Log:
    """One person's turn after turn, until the time or the number of turns is up."""
    person, clone = seat
    log = Log()
    for turn in range(most):
        if time.monotonic() > until:
            break
        code, out, err = command(world, clone, person, "proposals", "--fetch")
        listed = json.loads(out)["list"] if code == 0 else []
        open_ones = [p["name"] for p in listed if p["state"] in ("in review", "approved")]
        may = ["propose"] if person in (AUTHOR, SECOND) and len(open_ones) < 6 else []
        may += ["sign"] if open_ones else []
        may += ["release"] if open_ones and person == AUTHOR else []
        if not may:
            continue
        verb = dice.choice(may)
        if verb == "propose":
            text = (clone / FROST).read_text()
            (clone / FROST).write_text(text.replace(PASTE, f"{{regular: {dice.randint(21, 29)} g, large: 28 g}}"))
            words = ["propose", f"Paste {clone.name} {turn}", "--why", "Tried at the bench.", "--start", "2026-11-20"]
        else:
            words = [verb, dice.choice(open_ones)]
        code, out, err = command(world, clone, person, *words)
        if verb == "propose":
            plain_git(clone, "checkout", "-q", "--", ".", ok=False)
        _note(log, verb, code, out, err)
    return log


def _note(log: Log, verb: str, code: int, out: str, err: str) -> None:
    if code == 0:
        told = json.loads(out)
        if verb == "propose":
            log.proposals[told["proposal"]] = told["commit"]
        elif verb == "sign":
            log.statements += [f"statements/{s['proposal']}/{s['digest']}.statement" for s in told["statements"]]
        else:
            log.releases.append(told["commit"])
    elif code == 1 and err.strip():
        (log.lost if any(word in err for word in RACES) else log.refused).append(err.strip())
    else:
        log.wrong.append(f"{verb} ended with {code}: {err.strip()[:400]}")


def together(root: Path, people: int, seconds: float, most: int, seed: int = 1) -> tuple[World, list[Log]]:
    world, seats = begin(root, people)
    until = time.monotonic() + seconds
    with ThreadPoolExecutor(people) as pool:
        runs = [pool.submit(work, world, seat, until, most, random.Random(f"{seed} {n}")) for n, seat in enumerate(seats)]
        return world, [run.result() for run in runs]


def faults(world: World, logs: list[Log]) -> list[str]:
    """Everything that is not as it was acknowledged, in words."""
    found = [w for log in logs for w in log.wrong]
    origin = world.origin
    main = plain_git(origin, "rev-parse", "main")
    on_main = set(plain_git(origin, "ls-tree", "-r", "--name-only", "main").splitlines())
    for log in logs:
        for name, commit in log.proposals.items():
            tip = plain_git(origin, "rev-parse", "--verify", "--quiet", f"refs/heads/proposals/{name}", ok=False)
            if commit != tip and not _is_ancestor(origin, commit, tip or main):
                found.append(f"proposal {name} was acknowledged and is not at origin")
        found += [f"{path} was acknowledged and is not on main" for path in log.statements if path not in on_main]
        found += [f"release {c} was acknowledged and is not on main" for c in log.releases if not _is_ancestor(origin, c, main)]
    said = plain_git(origin, "fsck", "--strict", "--no-dangling", "--no-progress")
    found += [f"git fsck: {said}"] if said else []
    fresh = world.root / "fresh"
    plain_git(world.root, "clone", "-q", "origin.git", fresh.name)
    code, out, err = command_without_key(fresh)
    found += [] if code == 0 else [f"audit: {out[-500:]} {err[-500:]}"]
    locks = [str(p) for p in world.root.rglob("*.lock") if p.name != "lock"]
    return found + [f"locks left: {locks}"] * bool(locks)


def command_without_key(clone: Path) -> tuple[int, str, str]:
    done = subprocess.run(
        [sys.executable, "-m", "specctl", "audit", "--book", str(clone)], capture_output=True, env={**os.environ, "SPECCTL_NOW": NOW}
    )
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def _is_ancestor(root: Path, older: str, newer: str) -> bool:
    return subprocess.run(["git", "merge-base", "--is-ancestor", older, newer], cwd=root, capture_output=True).returncode == 0


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__)
    words.add_argument("--seconds", type=float, default=30)
    words.add_argument("--people", type=int, default=8)
    words.add_argument("--seed", type=int, default=1)
    wish = words.parse_args()
    with tempfile.TemporaryDirectory(dir="/dev/shm" if Path("/dev/shm").is_dir() else None) as name:
        world, logs = together(Path(name), wish.people, wish.seconds, 10_000, wish.seed)
        found = faults(world, logs)
        for each in sorted({w for log in logs for w in log.lost}):
            print(f"lost a race: {each[:160]}")
        for each in sorted({w[:90] for log in logs for w in log.refused}):
            print(f"refused: {each}")
        print("\n".join(found))
        print(
            f"{wish.people} people, {wish.seconds:g} s: {sum(log.acknowledged for log in logs)} acknowledged "
            f"({sum(len(log.proposals) for log in logs)} proposals, {sum(len(log.statements) for log in logs)} statements, "
            f"{sum(len(log.releases) for log in logs)} releases), {sum(len(log.lost) for log in logs)} races lost, "
            f"{sum(len(log.refused) for log in logs)} refused otherwise, {len(found)} faults"
        )
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
