"""Real repositories in temporary folders, made by plain git; keys made by plain ssh-keygen."""

from __future__ import annotations

import os
import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Callable, Iterator

import pytest

from specctl.store import files, objects, process
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree
from specctl.store.repository import Repository

WHEN = 1_700_000_000  # 2023-11-14, a fixed moment


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


def plain_git(root: Path, *args: str, input: bytes | None = None, ok: bool = True) -> str:
    """git as a person would run it, the outside check of what we do."""
    identity = ["-c", "user.name=Maud Pellow", "-c", "user.email=maud@tidewick.example"]
    done = subprocess.run(["git", *identity, *args], cwd=root, input=input, capture_output=True)
    if ok:
        assert done.returncode == 0, (args, done.stderr)
    return done.stdout.decode().strip()


def make_book(folder: Path, files: dict[str, bytes] | None = None) -> Path:
    """A repository with one plain commit on main."""
    folder.mkdir()
    plain_git(folder, "init", "-q", "-b", "main")
    for path, data in (files or {"book.yaml": b"name: Tidewick\n", "drinks/fizz.yaml": b"pear\n"}).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_bytes(data)
    plain_git(folder, "add", "-A")
    plain_git(folder, "commit", "-q", "-m", "Begin")
    return folder


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return make_book(tmp_path / "book")


@dataclass(frozen=True)
class Key:
    path: Path
    public: str


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


def change(
    repository: Repository, changes: dict[str, bytes | None], key: Key | None = None, message: str = "A change"
) -> Callable[[str | None], str]:
    """A builder for `move_main`."""

    def build(tip: str | None) -> str:
        base = repository.reader.commit(tip).tree if tip else None
        tree = write_tree(repository.root, base, changes)
        parents = (tip,) if tip else ()
        wish = CommitWish(tree, parents, message, "Maud Pellow", "maud@tidewick.example", WHEN, key and key.path)
        return make_commit(repository.root, wish)

    return build


@dataclass(frozen=True)
class Pair:
    """A bare origin and two clones."""

    origin: Path
    one: Repository
    two: Repository


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
