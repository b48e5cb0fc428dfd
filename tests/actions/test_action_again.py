"""The same command given again: what an interrupted run left is finished, and nothing is made twice.

Seen from outside by plain git. (tests/faults interrupts each command at every
call; these are the ends that matter, one by one.)
"""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from chain_world import SECOND, World, plain_git

from specctl.errors import Refused

PASTE = ("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 24 g, large: 28 g}")


def old_lock(path: Path) -> Path:
    """A lock file as a git that died a minute ago left it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.touch()
    os.utime(path, (time.time() - 60,) * 2)
    return path


def branches(root: Path) -> list[str]:
    return plain_git(root, "for-each-ref", "--format=%(refname:lstrip=3)", "refs/heads/proposals").split()


def test_the_same_proposal_is_recognised_and_brought_here(world: World) -> None:
    world.edit(*PASTE)
    first = world.propose(4)
    plain_git(world.book, "update-ref", "-d", f"refs/heads/proposals/{first.name}")
    again = world.propose(4.5)
    assert (again.name, again.commit, again.again, first.again) == (first.name, first.commit, True, False)
    assert first.name in branches(world.book)
    assert len(branches(world.origin)) == len(branches(world.book))


def test_other_words_or_other_files_are_another_proposal(world: World) -> None:
    world.edit(*PASTE)
    first = world.propose(4)
    assert world.propose(4.5, "Another title").name != first.name
    world.edit(PASTE[0], PASTE[2], "{regular: 25 g, large: 28 g}")
    assert world.propose(4.5).name not in (first.name, "")


def test_what_is_released_is_not_the_same_proposal(world: World) -> None:
    world.edit(*PASTE)
    first = world.propose(4)
    world.done(first.name, 5)
    world.edit(PASTE[0], PASTE[2], PASTE[1])
    assert not world.propose(6, first.name.split("-", 1)[1]).again


def test_a_release_cut_short_is_finished_by_asking_again(world: World) -> None:
    world.edit(*PASTE)
    name = world.propose(4).name
    world.done(name, 5)
    tag = plain_git(world.book, "rev-parse", "refs/tags/release/2^{commit}")
    for root in (world.book, world.origin):
        plain_git(root, "update-ref", "-d", "refs/tags/release/2")
    with pytest.raises(Refused, match="already released, as release 2"):
        world.release(name, 5.5)
    for root in (world.book, world.origin):
        assert plain_git(root, "rev-parse", "refs/tags/release/2^{commit}") == tag


def test_a_second_author_learns_that_it_is_released(world: World) -> None:
    """Who may not release gets the same answer, and makes no tag."""
    world.edit(*PASTE)
    name = world.propose(4).name
    world.done(name, 5)
    for root in (world.book, world.origin):
        plain_git(root, "update-ref", "-d", "refs/tags/release/2")
    with pytest.raises(Refused, match="already released"):
        world.release(name, 6, SECOND, world.second)


def test_locks_of_a_dead_git_at_an_origin_in_a_folder_do_not_block(world: World) -> None:
    lock = old_lock(world.origin / "refs/heads/main.lock")
    world.edit(*PASTE)
    name = world.propose(4).name
    world.done(name, 5)
    assert not lock.exists()
    assert plain_git(world.origin, "rev-parse", "main") == world.main()


def test_locks_of_a_dead_git_in_the_way_of_a_fetch_do_not_block(world: World) -> None:
    """Found by killing every call in turn: a proposal's remembered tip stayed locked."""
    world.edit(*PASTE)
    name = world.propose(4, clone=world.book).name
    lock = old_lock(world.second / f".git/refs/remotes/origin/proposals/{name}.lock")
    assert world.sign(name, SECOND, 5, clone=world.second)
    assert not lock.exists()
