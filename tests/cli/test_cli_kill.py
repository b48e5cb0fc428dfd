"""SIGKILL at any moment: the book is as it was or as it should be, and the next command succeeds.

Twelve kills in all, three a verb, spread over the time an unkilled run took in
this very test. (Every single step is killed in tests/store and tests/actions;
this holds the real program, started by its script, to the same.)
"""

from __future__ import annotations

import random
import signal
import subprocess
import time
from pathlib import Path

import pytest
from counter_world import EVERYONE, FOAM, HOJICHA, SCRIPT, SECOND, World, copied, git, own_machine

KILLS = 3


@pytest.fixture(scope="module")
def edited(played: tuple[World, object], tmp_path_factory: pytest.TempPathFactory) -> World:
    made = copied(played[0], tmp_path_factory.mktemp("edited"))
    made.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    return made


@pytest.fixture(scope="module")
def signed(with_open: World, tmp_path_factory: pytest.TempPathFactory) -> World:
    """Proposal 4 with every signature but one collected, the last in a file; and all of them, to be released."""
    made = copied(with_open, tmp_path_factory.mktemp("signed"))
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        for person in EVERYONE:
            told = made.run("sign", "4", "--key", made.key(person), "--out", made.root / "keys" / f"{person}.statement", code=None)
            assert told.code == 0 or "no signature" in told.err
        made.run("collect", *sorted((made.root / "keys").glob("*.statement")))
    return made


def states(world: World) -> dict[str, str]:
    """Refs by name, here and at origin, without what a fetch remembers."""
    found = {}
    for where, root in (("book", world.book), ("origin", world.origin)):
        for line in git(root, "for-each-ref", "--format=%(refname) %(objectname)", "refs/heads", "refs/tags").splitlines():
            name, oid = line.split()
            found[f"{where} {name}"] = oid
    return found


VERBS = {
    "propose": ("propose", "Firmer foam", "--why", "It sinks."),
    "sign": ("sign", "4", "--key", "KEY"),
    "collect": ("collect", "STATEMENT"),
    "release": ("release", "4"),
}


@pytest.mark.parametrize("verb", VERBS)
def test_killed_at_any_moment(verb: str, request: pytest.FixtureRequest, tmp_path: Path) -> None:
    made: World = request.getfixturevalue({"propose": "edited", "release": "signed"}.get(verb, "with_open"))
    dice = random.Random(verb)  # the same moments each time, as shares of the whole
    whole = _ends_by_itself(verb, made, tmp_path / "whole")
    died = 0
    for number in range(KILLS):
        root = tmp_path / str(number)
        root.mkdir()
        world = copied(made, root)
        words = _words(verb, world)
        before, tree = states(world), git(world.book, "status", "--porcelain")
        child = subprocess.Popen([SCRIPT, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        moment = whole * (number + dice.random()) / KILLS
        try:
            child.wait(moment)
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL)
            died += 1
        child.wait()
        after = states(world)
        assert before.items() <= after.items() or verb != "propose", "a proposal moves nothing that was there"
        assert all(git(world.book, "cat-file", "-t", oid) in ("commit", "tag") for name, oid in after.items() if name.startswith("book"))
        assert git(world.origin, "fsck", "--strict", "--no-dangling", "--connectivity-only") == ""
        edits = git(world.book, "diff", "--name-only", "HEAD", "--", "drinks", "preps", "sites", "prices")
        assert edits in ("", HOJICHA), (tree, edits)
        # The next command, whatever came before it.
        again = world.run(*words[:-2], code=None)
        done = again.code == 0 or "released" in again.err
        if verb == "propose" and not done:
            assert "4-" in "".join(after), again.err
        else:
            assert done, again.err
        git(world.book, "verify-commit", "main")
        assert git(world.book, "fsck", "--strict", "--no-dangling") == ""
        assert not [p for p in (world.book / ".git").rglob("*.lock")], "no lock is left after the next command"
    assert died, "at least one run was really killed"


def _words(verb: str, world: World) -> list[str]:
    words = [str(world.key(SECOND)) if w == "KEY" else str(world.root / "keys" / "s.statement") if w == "STATEMENT" else w for w in VERBS[verb]]
    if verb == "collect":
        world.run("sign", "4", "--key", world.key(SECOND), "--out", words[1])
    return [*words, "--book", str(world.book)]


def _ends_by_itself(verb: str, made: World, root: Path) -> float:
    """Seconds one whole run takes here and now; what it made is what a later one must make."""
    root.mkdir()
    world = copied(made, root)
    words = _words(verb, world)
    began = time.monotonic()
    done = subprocess.run([SCRIPT, *words], capture_output=True)
    assert done.returncode == 0, done.stderr
    return time.monotonic() - began
