"""What the demo stands on: people with throw-away keys, a book, a bare origin and a second clone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from specctl import resources
from specctl.actions.source import open_source
from specctl.actions.starting import begin_with, book_header, join
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.codec.rewrite import rewrite
from specctl.errors import Found, Refused
from specctl.store.files import write_atomic
from specctl.store.folder import read_folder
from specctl.store.process import git
from specctl.store.signature import make_key

# What a book must hold before anything can be proposed: settings, lists, and who signs.
FIRST = ("book.yaml", "policy.yaml", "signatories.yaml", "lists/")


@dataclass(frozen=True, slots=True)
class Stage:
    """The folders of one demo."""

    root: Path

    @property
    def book(self) -> Path:
        return self.root / "book"

    @property
    def manager_clone(self) -> Path:
        return self.root / "northsands-clone"

    @property
    def origin(self) -> Path:
        return self.root / "origin.git"

    @property
    def packs(self) -> Path:
        return self.root / "packs"

    @property
    def publishing_keys(self) -> Path:
        return self.root / "publishing-keys"

    @property
    def reports(self) -> Path:
        return self.root / "reports"

    def key(self, person: str) -> Path:
        return self.root / "keys" / person

    def site(self, site: str) -> Path:
        return self.root / "sites" / site


def set_up(root: Path, now: datetime, author: str, manager: str) -> Stage:
    """Make everything but the first proposal. The author's files then hold the whole book."""
    stage = Stage(root)
    if root.exists() and not (root.is_dir() and not any(root.iterdir())):
        raise Refused(f"{root} is not an empty folder", "Name a new folder: specctl demo DIR")
    files = {p: book_header(data, p) for p, data in read_folder(resources.demo_book(), is_readable).items()}
    files["signatories.yaml"] = _with_keys(stage, files)
    first = {p: data for p, data in files.items() if p.startswith(FIRST)}
    begin_with(stage.book, first, stage.key(author), now)
    git(root, ["init", "-q", "--bare", "-b", "main", "origin.git"])
    git(root / "origin.git", ["config", "core.fsync", "all"])
    git(stage.book, ["remote", "add", "origin", str(stage.origin)])
    git(stage.book, ["push", "-q", "origin", "main"])
    git(root, ["clone", "-q", str(stage.origin), stage.manager_clone.name])
    with open_source(stage.manager_clone) as source:
        join(source, stage.key(manager))
    for path, data in files.items():
        if path not in first:
            target = stage.book / path
            target.parent.mkdir(parents=True, exist_ok=True)
            write_atomic(target, data)
    return stage


def _with_keys(stage: Stage, files: dict[str, bytes]) -> bytes:
    """The signatories with a new key for everybody."""
    loaded = load({p: data for p, data in files.items() if p.startswith(FIRST)})
    if loaded.book is None or loaded.book.signatories is None:
        raise Found("the demo book cannot be read", loaded.problems)
    record = loaded.nodes["signatories.yaml"].plain()
    assert isinstance(record, dict)
    stage.key("x").parent.mkdir(parents=True, exist_ok=True)
    for person in loaded.book.signatories.people:
        public = make_key(stage.key(person), f"{person} (demo)")
        record["people"][person]["keys"] = {f"{person}-1": {"public": public}}
    return rewrite(files["signatories.yaml"], record, "signatories.yaml")
