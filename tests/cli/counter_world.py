"""The command line as a person runs it, in a world the demo made once.

`run` calls the very function of the console script with the streams captured;
a few tests start the script itself. Time stands still (SPECCTL_NOW), nothing
of the machine's configuration takes part, and every test has its own copy.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from specctl.cli.main import main
from specctl.store import files, objects, process

NOW = "2026-11-25T12:00:00Z"
AUTHOR, SECOND, SAFETY, BUYER = "isla-varn", "tobin-hale", "maren-oduya", "nell-brandt"
MANAGERS = {"northsands": "wren-castell", "marram": "aoife-tarn", "gull-rock": "dell-okafor"}
EVERYONE = (SAFETY, SECOND, *MANAGERS.values())
SCRIPT = Path(sys.executable).with_name("specctl")
HOJICHA = "drinks/blackcurrant-hojicha.yaml"
FOAM = "{regular: 34 g, large: 46 g}"


def own_machine(patch: pytest.MonkeyPatch, home: Path) -> None:
    patch.setenv("HOME", str(home))
    patch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    patch.setenv("SPECCTL_NOW", NOW)
    for name in (
        "SSH_AUTH_SOCK", "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "SPECCTL_BOOK", "COLUMNS", "LINES",
        "NO_COLOR", "FORCE_COLOR", "XDG_STATE_HOME", "XDG_CACHE_HOME",
    ):  # fmt: skip
        patch.delenv(name, raising=False)
    # No waiting for the disk: that writes are synced is a test of the store's own.
    quick = [s for s in process.SETTINGS if not s.startswith("core.fsync")]
    patch.setattr(process, "SETTINGS", (*quick, "core.fsync=none"))
    patch.setattr(files.os, "fsync", lambda handle: None)
    patch.setattr(objects, "SYNCED", False)


@dataclass(frozen=True)
class Told:
    """What one command gave: its exit code and its two streams."""

    code: int
    out: str
    err: str

    @property
    def both(self) -> str:
        return self.out + self.err

    @property
    def json(self) -> Any:
        return json.loads(self.out)


def run(*words: str | Path, code: int | None = 0, now: str | None = None, stdin: bytes = b"", **env: str) -> Told:
    """One command in this process; `code` is what it must end with (None: whatever)."""
    out = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="")
    err = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", newline="")
    with pytest.MonkeyPatch.context() as patch, contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        for name, value in {**({"SPECCTL_NOW": now} if now else {}), **env}.items():
            patch.setenv(name, value)
        patch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8"))
        ended = main([str(w) for w in words])
        out.flush(), err.flush()
    told = Told(ended, out.buffer.getvalue().decode("utf-8"), err.buffer.getvalue().decode("utf-8"))  # type: ignore[attr-defined]
    assert code is None or ended == code, (words, ended, told.out[-600:], told.err[-3000:])
    assert "Traceback" not in told.err, told.err
    return told


def script(*words: str | Path | bytes, **more: Any) -> subprocess.CompletedProcess[bytes]:
    """The installed console script, as a process of its own."""
    env = {**os.environ, **more.pop("env", {})}
    return subprocess.run([SCRIPT, *words], capture_output=True, env=env, timeout=60, **more)


def git(root: Path, *args: str, ok: bool = True) -> str:
    """git as a person would run it: the outside check of what was made."""
    identity = ["-c", "user.name=Maud Pellow", "-c", "user.email=maud@tidewick.example"]
    done = subprocess.run(["git", *identity, *args], cwd=root, capture_output=True)
    assert not ok or done.returncode == 0, (args, done.stderr)
    return (done.stdout + (b"" if ok else done.stderr)).decode().strip()


@dataclass(frozen=True)
class World:
    """What `specctl demo` leaves: a book, its bare origin, a manager's clone, keys, packs and two sites."""

    root: Path

    @property
    def book(self) -> Path:
        return self.root / "book"

    @property
    def origin(self) -> Path:
        return self.root / "origin.git"

    @property
    def clone(self) -> Path:
        return self.root / "northsands-clone"

    @property
    def packs(self) -> Path:
        return self.root / "packs"

    @property
    def first_root(self) -> Path:
        return self.packs / "metadata" / "1.root.json"

    @property
    def publishing_keys(self) -> Path:
        return self.root / "publishing-keys"

    def key(self, person: str) -> Path:
        return self.root / "keys" / person

    def site(self, site: str) -> Path:
        return self.root / "sites" / site

    def run(self, verb: str, *words: str | Path, **more: Any) -> Told:
        """A command on the author's book."""
        return run(verb, *words, "--book", self.book, **more)

    def edit(self, path: str, before: str, after: str, root: Path | None = None) -> None:
        file = (root or self.book) / path
        text = file.read_bytes().decode("utf-8")
        assert text.count(before) == 1, (path, before, text.count(before))
        file.write_bytes(text.replace(before, after).encode("utf-8"))

    def propose(self, title: str = "A change", *more: str | Path, **how: Any) -> Told:
        return self.run("propose", title, "--why", "It was asked for.", *more, **how)

    def main(self, root: Path | None = None) -> str:
        return git(root or self.book, "rev-parse", "refs/heads/main")

    def as_stands(self) -> tuple[str, ...]:
        """Everything a refused command must leave alone: refs, index and files of the book."""
        refs = git(self.book, "for-each-ref", "--format=%(refname) %(objectname)", "refs/heads", "refs/tags")
        return refs, git(self.book, "status", "--porcelain"), git(self.origin, "for-each-ref")


# Files that are only ever replaced whole: git's objects, kept values, stored entries.
NEVER_WRITTEN_IN_PLACE = ("/.git/objects/", "/origin.git/objects/", "/specctl/cache/", "/entries/")


def _copy(source: str, target: str) -> None:
    """A copy; of what nobody writes in place a second name of the same file, which costs no room."""
    if any(part in source for part in NEVER_WRITTEN_IN_PLACE):
        os.link(source, target)
    else:
        shutil.copy2(source, target)


def copied(made: World, root: Path, *names: str) -> World:
    """A copy of some of a world's folders, its paths turned to where it now is."""
    world = World(root)
    for name in names or ("book", "origin.git", "keys"):
        shutil.copytree(made.root / name, root / name, symlinks=True, copy_function=_copy)
    for clone in (world.book, world.clone):
        if clone.is_dir():
            person = AUTHOR if clone == world.book else MANAGERS["northsands"]
            config = clone / ".git" / "config"
            config.write_text(config.read_text().replace(str(made.root) + "/", str(root) + "/"))
            assert str(world.key(person)) in config.read_text()
    return world


@contextlib.contextmanager
def standing_in(folder: Path) -> Iterator[None]:
    before = Path.cwd()
    os.chdir(folder)
    try:
        yield
    finally:
        os.chdir(before)


def tree_bytes(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def have(*programs: str) -> bool:
    return all(shutil.which(p) for p in programs)
