"""A hostile host before a site that has verified cards: one attack through the command line, refused, then a good update.

The folder is made with tuf's metadata classes alone (tests/site/simulated.py), so
whatever the host serves is built by the library and the specification (The
Update Framework 1.0), not by the code under test.
"""

from __future__ import annotations

import copy
import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from counter_world import run, tree_bytes
from securesystemslib.formats import encode_canonical
from securesystemslib.signer import CryptoSigner
from simulated import DAY, NOW, SITE, Repository, bundle, encoded
from tuf.api.metadata import MetaFile, TargetFile

NAME = f"{SITE}.json"
OLD, GOOD, LATER = (encoded(bundle(grams)) for grams in ("30", "31", "32"))
ROLES = ("root", "timestamp", "snapshot", "targets")


class Hostile:
    """A published folder with all its keys, and a site that pulled publication 1000, then 2000."""

    def __init__(self, place: Path) -> None:
        self.place = place
        self.repo = Repository(place / "folder")
        self.address: str | None = None
        self.repo.pin(place / "root.json")

    def begin(self) -> Hostile:
        self.repo.publish({NAME: OLD}, 1000)
        self.pull("--root", self.place / "root.json")
        self.first_files = dict(self.repo.files)
        self.repo.publish({NAME: GOOD}, 2000)
        self.pull()
        self.kept_keys = vars(self.repo).copy()
        return self

    def copied(self, place: Path) -> Hostile:
        """The same at another place: keys shared, files and state its own."""
        new = copy.copy(self)
        new.place = place
        new.repo = self._honest(place / "folder")
        shutil.copytree(self.state, place / "state")
        shutil.copy(self.place / "root.json", place / "root.json")
        new.repo.serve()
        return new

    def _honest(self, folder: Path) -> Repository:
        repo = copy.copy(self.repo)
        vars(repo).update(self.kept_keys)
        repo.folder, repo.files, repo.roots = folder, dict(self.kept_keys["files"]), list(self.kept_keys["roots"])
        return repo

    @property
    def state(self) -> Path:
        return self.place / "state"

    @property
    def folder(self) -> Path:
        return self.repo.folder

    def file(self, role: str, version: int = 3000) -> Path:
        return self.folder / "metadata" / (f"{role}.json" if role == "timestamp" else f"{version}.{role}.json")

    def target(self, data: bytes) -> Path:
        (found,) = [p for p in (self.folder / "targets").iterdir() if p.read_bytes() == data]
        return found

    def pull(self, *more: Any, now: datetime = NOW, code: int = 0) -> Any:
        stamp = now.strftime("%Y-%m-%dT%H:%M:%SZ")
        return run("pull", self.address or self.folder, "--site", SITE, "--state", self.state, *more, code=code, now=stamp)

    def card(self, now: datetime = NOW) -> str:
        """The grams of the one card, as `specctl card` tells it."""
        stamp = now.strftime("%Y-%m-%dT%H:%M:%SZ")
        told = run("card", "--state", self.state, "--json", now=stamp).json
        return str(told["entries"][0]["sizes"][0]["makes_g"])

    def kept(self) -> dict[str, bytes]:
        """All but the mark of what was seen, which a refusal raises, and pages, which show their age."""
        return {n: d for n, d in tree_bytes(self.state).items() if n != "highwater.json" and not n.startswith("pages/")}

    def later(self, version: int = 3000, **more: Any) -> None:
        """The next publication, as it would be served."""
        self.repo.publish({NAME: LATER}, version, **more)

    def honest(self, now: datetime = NOW) -> None:
        """The honest publisher again, with keys and roots as the site knew them, after all that was seen."""
        self.repo = self._honest(self.folder)
        self.repo.stamp_version = 50
        self.repo.publish({NAME: LATER}, 9000, now)

    def resigned(self, path: Path, change: Callable[[dict[str, Any]], None], *signers: CryptoSigner) -> None:
        """The file altered in what is signed, and signed again by these keys."""
        raw = json.loads(path.read_bytes())
        change(raw["signed"])
        told = encode_canonical(raw["signed"])
        assert told is not None
        signatures = [signer.sign(told.encode()).to_dict() for signer in signers]
        path.write_text(json.dumps({"signed": raw["signed"], "signatures": signatures}))

    def rechained(self, role: str, change: Callable[[dict[str, Any]], None], version: int = 3000) -> None:
        """`role` altered by the thief of all online keys, and whatever names it made to fit again."""
        repo = self.repo
        self.resigned(self.file(role, version), change, repo.stamper if role == "timestamp" else repo.releaser)
        if role == "targets":
            data = self.file(role, version).read_bytes()
            named = MetaFile.from_data(version, data, ["sha256"]).to_dict() | {"version": json.loads(data)["signed"]["version"]}
            self.rechained("snapshot", lambda s: s["meta"].update({"targets.json": named}), version)
        elif role == "snapshot":
            data = self.file(role, version).read_bytes()
            named = MetaFile.from_data(version, data, ["sha256"]).to_dict() | {"version": json.loads(data)["signed"]["version"]}
            self.rechained("timestamp", lambda s: s["meta"].update({"snapshot.json": named}), version)


Spoil = Callable[[Hostile], None]


@dataclass(frozen=True)
class Case:
    """What the host does, the words of the refusal, the time of the pull, how head office sets it right, what went before."""

    spoil: Spoil
    words: str
    now: datetime = NOW
    mend: Callable[[Hostile], None] | None = None
    before: Callable[[Hostile], None] | None = None


def attack(site: Hostile, case: Case) -> None:
    """The attack is refused and changes nothing; the old card opens; the honest update is installed."""
    if case.before is not None:
        case.before(site)
    before = site.kept()
    case.spoil(site)
    told = site.pull(now=case.now, code=1)
    said = " ".join(told.err.split())
    assert case.words in said, said
    assert "the last verified cards stay, not confirmed since 2026-03-01 05:00 UTC" in said
    assert site.kept() == before
    assert site.card(case.now) == "31"
    if case.mend is None:
        site.honest(case.now)
    else:
        case.mend(site)
    site.pull(now=case.now)
    assert site.card(case.now) == "32"


def target_row(**more: Any) -> Callable[[dict[str, Any]], None]:
    """The signed list names this site's file with something else."""

    def change(signed: dict[str, Any]) -> None:
        signed["targets"][NAME].update(more)

    return change


def signed_as(name: str, data: bytes) -> dict[str, Any]:
    return TargetFile.from_data(name, data, ["sha256"]).to_dict()


__all__ = ["DAY", "GOOD", "LATER", "NAME", "NOW", "OLD", "ROLES", "Case", "Hostile", "attack"]
