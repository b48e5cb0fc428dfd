"""A published folder made by hand with any version, key and expiry, and a killer of writers.

Built on tuf's metadata classes alone, not on the code under test, so that the
reading side is checked against the library and the specification (TUF 1.0).
"""

from __future__ import annotations

import errno
import os
import shutil
from contextlib import contextmanager
from datetime import datetime, timedelta, timezone
from pathlib import Path

from securesystemslib.signer import CryptoSigner
from tuf.api.metadata import MetaFile, Metadata, Role, Root, Snapshot, TargetFile, Targets, Timestamp

from specctl import canonical

NOW = datetime(2026, 3, 1, 5, 0, tzinfo=timezone.utc)
DAY = timedelta(days=1)
SITE = "quay-steps"
OTHER = "lamp-lane"


def entry(item: str = "drink/oat-tide", grams: str = "30", market: str = "gb") -> dict:
    """A small entry; grams tell two versions apart."""
    return {
        "entry": 1,
        "item": item,
        "name": "Oat tide",
        "market": market,
        "list": {"id": "gb-14", "name": "Fourteen", "source": "test"},
        "sizes": [{"key": "one", "name": "One", "vessel": None, "makes_g": grams, "layers": []}],
        "steps": [],
        "options": [],
        "substitutes": [],
        "allergens": [
            {
                "choice": "",
                "name": "standard",
                "contains": [{"substance": "oats", "group": None, "name": "oats", "listed": True,
                              "paths": ["base/oat"]}],
                "may_contain": [],
                "unknown": [],
                "absent_until": None,
            }
        ],
        "hold": None,
        "equipment": [],
        "cautions": [],
        "claims": [],
    }


def bundle(grams: str = "30", site: str = SITE, book: str = "tidewick", main: str = "a") -> dict:
    """A bundle with one drink that is in force since January 2026."""
    made = entry(grams=grams)
    return {
        "bundle": 1,
        "book": book,
        "book_name": "Tidewick",
        "main": main * 40,
        "site": {
            "id": site,
            "name": "Quay Steps",
            "franchise": "northsands",
            "market": "gb",
            "market_name": "Great Britain",
            "time_zone": "Europe/London",
            "day_starts": "04:00",
        },
        "timeline": [["2026-01-05T04:00:00Z", 1, "drink/oat-tide", canonical.digest(made)]],
        "entries": {canonical.digest(made): made},
        "releases": [{"release": 1, "number": 1, "title": "First", "book": book}],
        "statements": [],
    }


def encoded(value: dict) -> bytes:
    return canonical.canonical(value)


class Repository:
    """Holds every file it would serve; `serve` lays them out, for a test to spoil."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.roots = [CryptoSigner.generate_ed25519() for _ in range(3)]
        self.releaser = CryptoSigner.generate_ed25519()
        self.stamper = CryptoSigner.generate_ed25519()
        self.files: dict[str, bytes] = {}
        self.root_version = 0
        self.stamp_version = 0
        self.new_root()

    def new_root(self, signers=None, expires=NOW + 365 * DAY) -> bytes:
        self.root_version += 1
        keys = [*self.roots, self.releaser, self.stamper]
        root = Metadata(
            Root(
                version=self.root_version,
                expires=expires,
                keys={key.public_key.keyid: key.public_key for key in keys},
                roles={
                    "root": Role([key.public_key.keyid for key in self.roots], 2),
                    "targets": Role([self.releaser.public_key.keyid], 1),
                    "snapshot": Role([self.releaser.public_key.keyid], 1),
                    "timestamp": Role([self.stamper.public_key.keyid], 1),
                },
                consistent_snapshot=True,
            )
        )
        for signer in self.roots if signers is None else signers:
            root.sign(signer, append=True)
        data = root.to_bytes()
        self.files[f"metadata/{self.root_version}.root.json"] = data
        return data

    def publish(self, targets, version, now=NOW, *, life=365 * DAY, stamp=None, stamp_life=7 * DAY):
        made = {name: TargetFile.from_data(name, data, ["sha256"]) for name, data in targets.items()}
        for name, file in made.items():
            self.files[f"targets/{file.hashes['sha256']}.{name}"] = targets[name]
        signed = Metadata(Targets(version=version, expires=now + life, targets=made))
        signed.sign(self.releaser)
        data = signed.to_bytes()
        self.files[f"metadata/{version}.targets.json"] = data
        meta = {"targets.json": MetaFile.from_data(version, data, ["sha256"])}
        signed = Metadata(Snapshot(version=version, expires=now + life, meta=meta))
        signed.sign(self.releaser)
        self.files[f"metadata/{version}.snapshot.json"] = signed.to_bytes()
        self.stamp(version, now, stamp, stamp_life)
        self.serve()

    def stamp(self, version, now=NOW, number=None, life=7 * DAY, signer=None) -> None:
        self.stamp_version = self.stamp_version + 1 if number is None else number
        data = self.files[f"metadata/{version}.snapshot.json"]
        meta = MetaFile.from_data(version, data, ["sha256"])
        signed = Metadata(
            Timestamp(version=self.stamp_version, expires=now + life, snapshot_meta=meta)
        )
        signed.sign(signer or self.stamper)
        self.files["metadata/timestamp.json"] = signed.to_bytes()

    def serve(self) -> None:
        if self.folder.exists():
            shutil.rmtree(self.folder)
        for name, data in self.files.items():
            path = self.folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)

    def pin(self, path: Path) -> Path:
        path.write_bytes(self.files["metadata/1.root.json"])
        return path


class Killed(BaseException):
    """The process is gone: nothing catches it, nothing writes after it."""


OPERATIONS = ("open", "fsync", "replace", "rename", "mkdir", "unlink", "remove", "rmdir", "symlink")


@contextmanager
def failing(nth: int, how: str):
    """The nth file operation fails: "kill" for good, "full" for ever, "once" the disk is full.

    A failing sync also tears the file it was asked to keep, as a power cut would.
    Yields a list whose length is the number of operations begun.
    """
    begun: list[str] = []
    real = {name: getattr(os, name) for name in OPERATIONS}

    def wrapped(name):
        def operation(*args, **kwargs):
            begun.append(name)
            if len(begun) == nth or (len(begun) > nth and how != "once"):
                if name == "fsync" and len(begun) == nth and how == "kill":
                    try:
                        os.ftruncate(args[0], os.fstat(args[0]).st_size // 2)
                    except OSError:
                        pass  # a folder
                if how == "kill":
                    raise Killed
                if name not in ("unlink", "remove", "rmdir"):
                    raise OSError(errno.ENOSPC, "No space left on device")
            return real[name](*args, **kwargs)

        return operation

    for name in OPERATIONS:
        setattr(os, name, wrapped(name))
    try:
        yield begun
    finally:
        for name in OPERATIONS:
            setattr(os, name, real[name])
