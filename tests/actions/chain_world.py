"""A small real book in real git: signed root on main, a first release, a bare origin and two clones.

Made once, copied for each test. Nothing of the machine's configuration takes
part; every time is fixed; keys are made by the project's own `make_key`, which
runs ssh-keygen.
"""

from __future__ import annotations

import os
import subprocess
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from small_book import small_files

from specctl.actions.case import Case, open_case
from specctl.actions.collecting import Collected, collect
from specctl.actions.judging import Findings, signatories_of
from specctl.actions.proposing import Proposed, ProposeWish, propose
from specctl.actions.releasing import Released, release
from specctl.actions.signing import SignWish, sign_in_clone
from specctl.actions.source import Source, open_source
from specctl.actions.starting import begin_with, join
from specctl.change.policy import may_sign
from specctl.change.statement import Envelope, Statement
from specctl.codec.load import load
from specctl.codec.rewrite import rewrite
from specctl.store import files, objects, process
from specctl.store.signature import make_key
from specctl.store.signature import sign as ssh_sign

START = datetime(2026, 11, 2, 9, 0, tzinfo=timezone.utc)
AUTHOR, SECOND, SAFETY = "isla-varn", "tobin-hale", "maren-oduya"
MANAGERS = {"northsands": "wren-castell", "marram": "aoife-tarn", "gull-rock": "dell-okafor"}
EVERYONE = (SECOND, SAFETY, *MANAGERS.values())


def day(number: float) -> datetime:
    """So many days after the book began."""
    return START + timedelta(days=number)


def own_machine(patch: pytest.MonkeyPatch, home: Path) -> None:
    patch.setenv("HOME", str(home))
    patch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
    patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
    for name in ("SSH_AUTH_SOCK", "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE"):
        patch.delenv(name, raising=False)
    # No waiting for the disk: that writes are synced is a test of the store's own.
    quick = [s for s in process.SETTINGS if not s.startswith("core.fsync")]
    patch.setattr(process, "SETTINGS", (*quick, "core.fsync=none"))
    patch.setattr(files.os, "fsync", lambda handle: None)
    patch.setattr(objects, "SYNCED", False)


def plain_git(root: Path, *args: str, ok: bool = True) -> str:
    """git as a person would run it: the outside check of what was made."""
    identity = ["-c", "user.name=Maud Pellow", "-c", "user.email=maud@tidewick.example"]
    done = subprocess.run(["git", *identity, *args], cwd=root, capture_output=True)
    assert not ok or done.returncode == 0, (args, done.stderr)
    return done.stdout.decode().strip()


def git_says(root: Path, *args: str) -> tuple[int, str]:
    done = subprocess.run(["git", *args], cwd=root, capture_output=True)
    return done.returncode, (done.stdout + done.stderr).decode()


@dataclass(frozen=True)
class World:
    """A bare origin, the author's clone and a second author's; keys by person."""

    root: Path
    keys: Path

    @property
    def origin(self) -> Path:
        return self.root / "origin.git"

    @property
    def book(self) -> Path:
        return self.root / "book"

    @property
    def second(self) -> Path:
        return self.root / "second"

    def key(self, person: str) -> Path:
        return self.keys / person

    def open(self, clone: Path | None = None) -> AbstractContextManager[Source]:
        return open_source(clone or self.book)

    def edit(self, path: str, before: str, after: str, clone: Path | None = None) -> None:
        """An author's edit on disk."""
        file = (clone or self.book) / path
        text = file.read_text(encoding="utf-8")
        assert text.count(before) == 1, (path, before, text.count(before))
        file.write_text(text.replace(before, after), encoding="utf-8")

    def propose(self, at: float, title: str = "A change", clone: Path | None = None, **more: Any) -> Proposed:
        given = {"start": day(at + 7).date(), "key": self.key(AUTHOR)} | more
        with self.open(clone) as source:
            return propose(source, ProposeWish(title, "It was asked for.", day(at), **given))

    def sign(self, name: str, person: str, at: float, clone: Path | None = None, **more: Any) -> tuple[Envelope, ...]:
        given = {"purpose": "signoff"} | more
        with self.open(clone) as source:
            return sign_in_clone(source, name, SignWish(now=day(at), key=self.key(person), **given))

    def collect(self, envelopes: Any, at: float, person: str = AUTHOR, clone: Path | None = None) -> Collected:
        with self.open(clone) as source:
            return collect(source, [("mail", e) for e in envelopes], day(at), self.key(person))

    def signed(self, name: str, at: float, *people: str) -> None:
        """Everybody the policy asks among these people signs, from one look at the case, and it is collected."""
        envelopes = []
        with self.case(name, at) as case:
            known = signatories_of(case).people
            needs = Findings(case).needs
            for person in people or EVERYONE:
                assert person not in case.authors, person
                taken: dict[str, str] = {}
                for need in needs:
                    if may_sign(known[person], need.role, need.scope, known):
                        taken.setdefault(need.scope, need.role)
                for scope, role in taken.items():
                    said = Statement(
                        "signoff", "tidewick", name, scope, case.digests[scope], role, person, day(at).strftime("%Y-%m-%dT%H:%M:%SZ")
                    )
                    envelopes.append(Envelope(said, said.payload, ssh_sign(said.payload, self.key(person), said.namespace)))
        assert self.collect(envelopes, at).refused == ()

    def release(self, name: str, at: float, person: str = AUTHOR, clone: Path | None = None) -> Released:
        with self.open(clone) as source:
            return release(source, name, day(at), self.key(person))

    def done(self, name: str, at: float) -> Released:
        """Signed by all who must, and released."""
        self.signed(name, at)
        return self.release(name, at)

    def case(self, name: str, at: float = 20, clone: Path | None = None) -> CaseAt:
        return CaseAt(self, name, day(at).date(), clone)

    def main(self, clone: Path | None = None) -> str:
        return plain_git(clone or self.book, "rev-parse", "refs/heads/main")

    def on_main(self, path: str, clone: Path | None = None) -> str:
        return plain_git(clone or self.book, "show", f"refs/heads/main:{path}")


@dataclass
class CaseAt:
    """`with world.case(name) as case:` a case whose reader ends with it."""

    world: World
    name: str
    today: date
    clone: Path | None

    def __enter__(self) -> Case:
        self._opened = self.world.open(self.clone)
        return open_case(self._opened.__enter__(), self.name, self.today)

    def __exit__(self, *what: Any) -> None:
        self._opened.__exit__(*what)


def begin_world(root: Path) -> World:
    world = World(root, root / "keys")
    book = small_files()
    loaded = load(book)
    assert loaded.book is not None and loaded.problems == (), loaded.problems
    record: Any = loaded.nodes["signatories.yaml"].plain()
    world.keys.mkdir()
    for person in loaded.book.signatories.people:  # type: ignore[union-attr]
        record["people"][person]["keys"] = {f"{person}-1": {"public": make_key(world.key(person), person)}}
    book["signatories.yaml"] = rewrite(book["signatories.yaml"], record, "signatories.yaml")
    begin_with(world.book, book, world.key(AUTHOR), START)
    plain_git(root, "init", "-q", "--bare", "-b", "main", "origin.git")
    plain_git(world.book, "remote", "add", "origin", "../origin.git")
    plain_git(world.book, "push", "-q", "origin", "main")
    plain_git(root, "clone", "-q", "origin.git", "second")
    plain_git(world.second, "remote", "set-url", "origin", "../origin.git")
    for clone, person in ((world.book, AUTHOR), (world.second, SECOND)):
        plain_git(clone, "config", "user.name", person)
        with open_source(clone) as source:
            join(source, world.key(person))
    return world
