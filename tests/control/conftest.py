"""The small chain of tests/actions: after release 1, made once a session, copied for each test."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

_NEIGHBOUR = str(Path(__file__).resolve().parent.parent / "actions")
if _NEIGHBOUR not in sys.path:
    sys.path.append(_NEIGHBOUR)

from chain_world import World, begin_world, day, own_machine, plain_git  # noqa: E402


@pytest.fixture(autouse=True)
def own_world(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    own_machine(monkeypatch, tmp_path_factory.mktemp("home"))


@pytest.fixture(scope="session")
def _made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        world = begin_world(tmp_path_factory.mktemp("control"))
        world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
        opened = world.propose(0, "Opening book", start=day(3).date())
        world.done(opened.name, 1)
        plain_git(world.second, "pull", "-q", "--ff-only")
    # Outside: what was switched off for speed must not stay off for the tests after these.
    yield world


@pytest.fixture
def world(_made: World, tmp_path: Path) -> World:
    for name in ("book", "second", "origin.git"):
        shutil.copytree(_made.root / name, tmp_path / name, symlinks=True, copy_function=_copy)
    for clone in (tmp_path / "book", tmp_path / "second"):
        plain_git(clone, "config", "gpg.ssh.allowedSignersFile", str(clone / ".git/specctl/allowed_signers"))
        plain_git(clone, "update-index", "-q", "--refresh")
    return World(tmp_path, _made.keys)


def _copy(source: str, target: str) -> None:
    """Objects and kept bytes are never written in place, so a link will do; all else is copied."""
    if "/objects/" in source or "/specctl/cache/" in source:
        os.link(source, target)
    else:
        shutil.copy2(source, target)
