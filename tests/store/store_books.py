"""Books in plain git, the outside check of what the store does."""

from __future__ import annotations

import subprocess
from dataclasses import dataclass
from pathlib import Path
from typing import Callable

from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree
from specctl.store.repository import Repository

WHEN = 1_700_000_000  # 2023-11-14, a fixed moment


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


@dataclass(frozen=True)
class Key:
    path: Path
    public: str


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
