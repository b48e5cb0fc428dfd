"""One fault at one point of one command: what must hold at once, and after the command is run again.

At once: everything a run acknowledged is there; every value is that of before or
that of after; main here is never ahead of origin's; a refusal has words. Then,
by the same command without a fault: the state an undisturbed run leaves, with
no lock left behind and nothing git's own check complains of.
"""

from __future__ import annotations

import os
import time
from dataclasses import dataclass, field
from pathlib import Path

from machine import HOWS, Machine, Ran
from scenes import Scene, State, git_says

# A command that went through all the same says so when it is given again.
DONE = {"release": "is already released", "settle": "does not conflict with main"}
POWER = "power fails"


@dataclass
class Verdict:
    """What did not hold, in words; empty when all did."""

    verb: str
    how: str
    point: int
    again: int = 0
    hit: str = ""
    faults: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        return f"{self.verb}, {self.how} at call {self.point} ({self.hit}), then at {self.again}: " + "; ".join(self.faults)


@dataclass(frozen=True)
class Known:
    """A scene and what it looks like before and after an undisturbed run, with the number of points of each fault."""

    scene: Scene
    before: State
    after: State
    points: dict[str, int]


def know(machine: Machine, scene: Scene, folder: Path) -> Known:
    world = scene.copy(folder / f"{scene.verb}-whole")
    before = scene.observe(world)
    ran = machine.run(scene.words(world), scene.now)
    assert ran.code == 0, (scene.verb, ran)
    points = {}
    for name, how in HOWS.items():
        # A fault that never comes counts the calls it could have met.
        counted = machine.run(scene.words(scene.copy(folder / "count")), scene.now, at=10**9, how=how)
        points[name] = counted.calls
    return Known(scene, before, scene.observe(world), points)


def attempt(machine: Machine, known: Known, folder: Path, how: str, point: int, again: int = 0) -> Verdict:
    """The command with its call `point` failing; with `again`, the first recovery fails at that call too."""
    scene = known.scene
    verdict = Verdict(scene.verb, how, point, again)
    world = scene.copy(folder / "world")
    ran = machine.run(scene.words(world), scene.now, at=point, how=HOWS[how])
    verdict.hit = ran.hit
    _at_once(known, scene.observe(world), ran, verdict)
    if again:
        _a_minute_later(world)
        second = machine.run(scene.words(world), scene.now, at=again, how=HOWS[how])
        _at_once(known, scene.observe(world), second, verdict)
    return _recover(machine, known, world, verdict)


def recovered(machine: Machine, known: Known, world: Path, verdict: Verdict, *, acknowledged: bool) -> Verdict:
    """A world in which the command ended somehow, perhaps acknowledged; then the command again."""
    _at_once(known, known.scene.observe(world), Ran(0 if acknowledged else None, "", "", 0, ""), verdict)
    return _recover(machine, known, world, verdict)


def _recover(machine: Machine, known: Known, world: Path, verdict: Verdict) -> Verdict:
    scene = known.scene
    _a_minute_later(world)
    last = machine.run(scene.words(world), scene.now)
    if last.code != 0 and DONE.get(scene.verb, "\0") not in last.err:
        verdict.faults.append(f"the next run ended with {last.code}: {last.err.strip()[:300]}")
    left = [k for k in different(known.after, scene.observe(world)) if not _follows(k, scene.observe(world), known)]
    if left:
        verdict.faults.append(f"after the next run differs: {left}")
    _tidy(scene, world, last.code == 0, verdict)
    return verdict


def _follows(key: str, now: State, known: Known) -> bool:
    """A proposal's branch here may be behind origin's: every command reads the later of the two."""
    there = key.replace("book ", "origin.git ", 1)
    return key.startswith("book refs/heads/proposals/") and now.get(there) == known.after.get(there)


def _a_minute_later(world: Path) -> None:
    """Nobody runs a command again within the second: a lock file of a dead git is old by then."""
    for lock in world.rglob("*.lock"):
        os.utime(lock, (time.time() - 60,) * 2)


def _at_once(known: Known, now: State, ran: Ran, verdict: Verdict) -> None:
    before, after = known.before, known.after
    lost = different(after, now) if ran.code == 0 else []
    if verdict.how == POWER:
        # What origin's own git did last, no command here can sync; a tag there only repeats a commit of main.
        lost = [k for k in lost if not k.startswith("origin.git refs/tags/")]
    if lost:
        verdict.faults.append(f"acknowledged, but differs: {lost}")
    if ran.code not in (None, 0, 1):
        verdict.faults.append(f"ended with {ran.code}: {ran.err.strip()[:300]}")
    if ran.code == 1 and not ran.err.strip():
        verdict.faults.append("refused without a word")
    mixed = [k for k in before.keys() | after.keys() | now.keys() if now.get(k) not in (before.get(k), after.get(k))]
    if mixed:
        verdict.faults.append(f"neither before nor after: {mixed}")
    mains = [now.get(f"{where} refs/heads/main") for where in ("book", "origin.git")]
    moved = before.get("book refs/heads/main") != after.get("book refs/heads/main")
    if moved and mains[0] == after.get("book refs/heads/main") and mains[1] != mains[0]:
        verdict.faults.append("main here is ahead of origin's")


def _tidy(scene: Scene, world: Path, wrote: bool, verdict: Verdict) -> None:
    # A command that has nothing to do takes no lock, and clears none away; one at origin goes when a push meets it.
    locks = [str(p.relative_to(world)) for p in (world / "book").rglob("*.lock")] if wrote else []
    if locks:
        verdict.faults.append(f"locks left behind: {locks}")
    if scene.verb in ("publish", "pull"):
        return
    for where in ("book", "origin.git"):
        code, said = git_says(world / where, "fsck", "--strict", "--no-dangling", "--no-progress")
        if code or said:
            verdict.faults.append(f"git fsck of {where}: {said[:200]}")


def different(wanted: State, found: State) -> list[str]:
    return sorted(k for k in wanted.keys() | found.keys() if wanted.get(k) != found.get(k))


