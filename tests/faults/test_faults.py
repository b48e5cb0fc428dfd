"""A sample of the fault points of every command that writes; `python tests/faults/every.py` tries them all.

The way of SQLite's tests of input and output errors: let the n-th call fail,
see what is left, and go on. The sample is always the same one, so that a change
that breaks it is the change that is looked at.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from machine import HOWS, KILL, Machine
from power import image
from scenes import VERBS
from trial import Known, attempt

Faults = tuple[Machine, dict[str, Known], Path]


@pytest.mark.parametrize("how", HOWS)
@pytest.mark.parametrize("verb", VERBS)
def test_a_call_fails_and_then_another_during_recovery(faults: Faults, verb: str, how: str) -> None:
    machine, every, folder = faults
    known = every[verb]
    points = known.points[how]
    dice = random.Random(f"{verb} {how}")
    verdict = attempt(machine, known, folder, how, dice.randint(1, points), dice.randint(1, points))
    assert not verdict.faults, str(verdict)
    assert verdict.hit != "none", "the call was really made to fail"


@pytest.mark.parametrize("verb", VERBS)
def test_the_last_call_of_all(faults: Faults, verb: str) -> None:
    """Where most is done and not all: killed there, the next run finishes."""
    machine, every, folder = faults
    verdict = attempt(machine, every[verb], folder, "kill", every[verb].points["kill"])
    assert not verdict.faults, str(verdict)


@pytest.mark.parametrize("verb", VERBS)
def test_the_power_fails(faults: Faults, verb: str) -> None:
    machine, every, folder = faults
    verdict = image(machine, every[verb], folder, random.Random(verb))
    assert not verdict.faults, str(verdict)


def test_there_are_enough_points(faults: Faults) -> None:
    """Six hundred at the least, over seven commands and four faults."""
    _, every, _ = faults
    assert set(every) == set(VERBS)
    assert all(n > 0 for known in every.values() for n in known.points.values())
    assert sum(n for known in every.values() for n in known.points.values()) >= 600


def test_a_kill_is_a_kill(faults: Faults) -> None:
    """The harness itself: what is killed at its first call has changed nothing, and answers nothing."""
    machine, every, folder = faults
    scene = every["release"].scene
    world = scene.copy(folder / "world")
    ran = machine.run(scene.words(world), scene.now, at=1, how=KILL)
    assert ran.code is None and (ran.out, ran.err) == ("", "")
    assert scene.observe(world) == every["release"].before
