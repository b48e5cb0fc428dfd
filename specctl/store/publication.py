"""What a published folder says now, checked before anything is built upon it.

Reads the chain of roots and what the newest timestamp leads to. A part that is
altered, or signed by nobody the roots ever named, is damage and raised as
such: continuing from its numbers would carry a stranger's numbers to every
site under our own signature.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from specctl.errors import Damaged, Refused
from specctl.store import published
from specctl.store.published import METADATA, TARGETS

if TYPE_CHECKING:
    from tuf.api.metadata import Metadata, Root, Snapshot, Targets, Timestamp


@dataclass(frozen=True, slots=True)
class Current:
    """What the timestamp of a folder leads to, and whether today's root vouches for it."""

    timestamp: Metadata[Timestamp]
    snapshot: Metadata[Snapshot]
    targets: Metadata[Targets]
    stamp_holds: bool
    release_holds: bool


def roots_of(folder: Path) -> list[Metadata[Root]]:
    """Every root from the first on, each vouched for by the one before and by itself."""
    from tuf.api.metadata import Root

    chain: list[Metadata[Root]] = []
    while data := published.read(folder / METADATA / f"{len(chain) + 1}.root.json"):
        root = _parsed(data, Root, f"{len(chain) + 1}.root.json")
        before = chain[-1].signed if chain else root.signed
        if root.signed.version != len(chain) + 1 or len(root.signed.roles["root"].keyids) != 3:
            raise _damaged(f"{len(chain) + 1}.root.json")
        if not (vouches(before, "root", root) and vouches(root.signed, "root", root)):
            raise Damaged(
                f"{len(chain) + 1}.root.json is not signed by enough root keys",
                "Put back a good copy of the published folder.",
            )
        chain.append(root)
    if not chain:
        raise Refused(f"{folder} has no root yet", "Start it as a published folder first.")
    return chain


def usable_root(roots: list[Metadata[Root]], now: datetime) -> Root:
    """The newest root. Raises Refused once it has expired: no site would follow it."""
    root = roots[-1].signed
    if root.is_expired(now):
        raise Refused(
            f"the root of this folder expired on {root.expires:%Y-%m-%d}; sites refuse all of it",
            "Renew the root with two of its three keys, then publish again.",
        )
    return root


def current_of(folder: Path, roots: list[Metadata[Root]]) -> Current | None:
    """What the timestamp leads to; None before a first publish. Raises Damaged."""
    from tuf.api.metadata import Snapshot, Targets, Timestamp

    data = published.read(folder / METADATA / "timestamp.json")
    if data is None:
        return None
    timestamp = _parsed(data, Timestamp, "timestamp.json")
    number = timestamp.signed.snapshot_meta.version
    snapshot = _leaf(folder, f"{number}.snapshot.json", Snapshot, timestamp.signed.snapshot_meta)
    meta = snapshot.signed.meta.get("targets.json")
    if meta is None:
        raise _damaged("snapshot.json")
    targets = _leaf(folder, f"{meta.version}.targets.json", Targets, meta)
    parts = {"timestamp": timestamp, "snapshot": snapshot, "targets": targets}
    for role, part in parts.items():
        if not any(vouches(root.signed, role, part) for root in roots):
            raise _damaged(f"{role}.json")
    newest = roots[-1].signed
    return Current(
        timestamp,
        snapshot,
        targets,
        stamp_holds=vouches(newest, "timestamp", timestamp),
        release_holds=vouches(newest, "snapshot", snapshot)
        and vouches(newest, "targets", targets),
    )


def _leaf(folder: Path, name: str, kind: type, meta: Any) -> Metadata[Any]:
    from tuf.api.exceptions import LengthOrHashMismatchError

    data = published.read(folder / METADATA / name)
    if data is None:
        raise _damaged(name)
    try:
        meta.verify_length_and_hashes(data)
    except LengthOrHashMismatchError:
        raise _damaged(name) from None
    return _parsed(data, kind, name)


def _parsed(data: bytes, kind: type, name: str) -> Metadata[Any]:
    from tuf.api.exceptions import RepositoryError
    from tuf.api.metadata import Metadata

    try:
        parsed: Metadata[Any] = Metadata.from_bytes(data)
    except RepositoryError:
        raise _damaged(name) from None
    if not isinstance(parsed.signed, kind):
        raise _damaged(name)
    return parsed


def _damaged(name: str) -> Damaged:
    return Damaged(
        f"{name} of the published folder is missing, altered, or signed by nobody it trusts",
        "Put back a good copy of the folder; or, if its numbers cannot be trusted any more, "
        "renew the root with new keys, remove metadata/timestamp.json and publish again.",
    )


def vouches(root: Root, role: str, part: Metadata[Any]) -> bool:
    """Whether enough of the keys that `root` names for `role` signed `part`."""
    from tuf.api.exceptions import RepositoryError

    try:
        root.verify_delegate(role, part.signed_bytes, part.signatures)
    except RepositoryError:
        return False
    return True


def names_of(targets: Targets) -> set[str]:
    """The files, by path in the folder, that a reader of this publication may fetch."""
    files = {
        f"{TARGETS}/{file.hashes['sha256']}.{name}" for name, file in targets.targets.items()
    }
    number = targets.version
    return files | {f"{METADATA}/{number}.targets.json", f"{METADATA}/{number}.snapshot.json"}
