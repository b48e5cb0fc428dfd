"""Killed at every step: the book is as before or as after, and the next command goes on.

The way of the SQLite project's crash tests: die at the first step, check, die
at the second, until the command runs to its end. A step is one child process
or one change of a file by us; the process dies before each (so after the one
before it), with no clean-up.
"""

from __future__ import annotations

import os
import shutil
from pathlib import Path
from typing import Any, Callable

import pygit2  # noqa: F401  once here, not in every child
import pytest
from store_books import change, make_book, plain_git

from specctl.store import files, process
from specctl.store.objects import write_tree
from specctl.store.repository import Repository

KILLED = 99
FILES = {"drinks/fizz.yaml": b"pear, sage\n", "drinks/new.yaml": b"new\n", "old.yaml": None, "z/y.yaml": b"y"}
BEGIN = {"book.yaml": b"name: Tidewick\n", "drinks/fizz.yaml": b"pear\n", "old.yaml": b"k\n"}


def dies_at(step: int, action: Callable[[], Any]) -> bool:
    """Run `action` in a child that dies at its `step`-th step; whether it did."""
    child = os.fork()
    if child == 0:
        code = 1
        try:
            left = step

            def mortal(true: Callable[..., Any]) -> Callable[..., Any]:
                def call(*args: Any, **options: Any) -> Any:
                    nonlocal left
                    left -= 1
                    if left == 0:
                        os._exit(KILLED)
                    return true(*args, **options)

                return call

            process.run = mortal(process.run)
            for name in ("replace", "unlink"):
                setattr(files.os, name, mortal(getattr(files.os, name)))
            action()
            code = 0
        finally:
            os._exit(code)
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    assert code in (0, KILLED), f"step {step} failed by itself"
    return code == KILLED


def move(root: Path) -> None:
    with Repository.open(root) as repository:
        repository.move_main(change(repository, FILES))


def on_disk(root: Path) -> dict[str, bytes]:
    return {
        p.relative_to(root).as_posix(): p.read_bytes()
        for p in root.rglob("*")
        if p.is_file() and ".git" not in p.parts and not p.name.startswith(".specctl-")
    }


AFTER = {path: data for path, data in {**BEGIN, **FILES}.items() if data is not None}


@pytest.mark.parametrize("with_origin", [False, True])
def test_killed_at_every_step(tmp_path: Path, with_origin: bool) -> None:
    master = make_book(tmp_path / "master", BEGIN)
    bare = tmp_path / "bare.git"
    plain_git(tmp_path, "clone", "-q", "--bare", str(master), str(bare))
    plain_git(bare, "remote", "remove", "origin")
    old = plain_git(master, "rev-parse", "main^{tree}")
    new = write_tree(master, old, FILES)
    seen: set[tuple[bool, bool]] = set()
    step, killed = 0, True
    while killed:
        step += 1
        root, origin = tmp_path / "book", tmp_path / "origin.git"
        shutil.copytree(master, root, symlinks=True)
        if with_origin:
            shutil.copytree(bare, origin)
            plain_git(root, "remote", "add", "origin", str(origin))
        killed = dies_at(step, lambda: move(root))
        tree = plain_git(root, "rev-parse", "main^{tree}")
        assert tree in (old, new)
        if with_origin and tree == new:
            assert plain_git(origin, "rev-parse", "main^{tree}") == new
        disk = on_disk(root)
        for path in BEGIN.keys() | AFTER.keys() | disk.keys():
            assert disk.get(path) in (BEGIN.get(path), AFTER.get(path)), "a part of a file"
        with Repository.open(root) as repository:
            told = repository.behind() is not None
        assert disk == (BEGIN if tree == old else AFTER) or told, "main moved, the files did not, nothing says so"
        seen.add((tree == new, disk == AFTER))
        recovers(root, origin if with_origin else None)
        shutil.rmtree(root)
        shutil.rmtree(origin, ignore_errors=True)
    assert {(False, False), (True, False), (True, True)} <= seen


def recovers(root: Path, origin: Path | None) -> None:
    with Repository.open(root) as repository:
        assert repository.catch_up() == ()
        new = repository.move_main(change(repository, {"next.yaml": b"n\n"}))
        assert repository.behind() is None
    assert plain_git(root, "status", "--porcelain") == ""
    if origin is not None:
        assert plain_git(origin, "rev-parse", "main") == new
