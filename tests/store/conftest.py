"""Real repositories in temporary folders, made by plain git; keys made by plain ssh-keygen."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path
from typing import Callable, Iterator

import pytest

from specctl.store import files, objects, process
from specctl.store.repository import Repository
from store_books import Key, Pair, make_book, plain_git

@pytest.fixture(autouse=True)
def own_world(monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> None:
    """No configuration of the machine takes part."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("HOME", str(home))
    monkeypatch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    monkeypatch.setenv("GIT_CONFIG_NOSYSTEM", "1")


@pytest.fixture(autouse=True)
def quick_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    """No waiting for the disk; that writes are synced is a test of its own."""
    quick = [s for s in process.SETTINGS if not s.startswith("core.fsync")]
    monkeypatch.setattr(process, "SETTINGS", (*quick, "core.fsync=none"))
    monkeypatch.setattr(files.os, "fsync", lambda handle: None)
    monkeypatch.setattr(objects, "SYNCED", False)


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return make_book(tmp_path / "book")


@pytest.fixture(scope="session")
def keys(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Key]:
    """A key pair by name, made once by plain ssh-keygen."""
    folder = tmp_path_factory.mktemp("keys")
    made: dict[str, Key] = {}

    def key(name: str, *how: str) -> Key:
        if name not in made:
            path = folder / name
            kind = how or ("-t", "ed25519")
            subprocess.run(
                ["ssh-keygen", "-q", *kind, "-N", "", "-C", f"{name} at the bench", "-f", str(path)],
                check=True,
                stdin=subprocess.DEVNULL,
            )
            line = path.with_name(name + ".pub").read_text().split()
            made[name] = Key(path, f"{line[0]} {line[1]}")
        return made[name]

    return key


@pytest.fixture
def pair(tmp_path: Path) -> Iterator[Pair]:
    first = make_book(tmp_path / "one")
    origin = tmp_path / "origin.git"
    plain_git(tmp_path, "clone", "-q", "--bare", str(first), str(origin))
    plain_git(origin, "remote", "remove", "origin")
    plain_git(first, "remote", "add", "origin", str(origin))
    plain_git(first, "fetch", "-q")
    plain_git(tmp_path, "clone", "-q", str(origin), str(tmp_path / "two"))
    with Repository.open(first) as one, Repository.open(tmp_path / "two") as two:
        yield Pair(origin, one, two)
