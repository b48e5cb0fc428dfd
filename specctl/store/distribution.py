"""Writes a published folder that any static host can serve and any site can verify.

The folder is a repository of The Update Framework (specification 1.0): root
signed by two of three keys kept offline, targets and snapshot by the
releaser's key, timestamp by an unattended key. This module knows bytes by
name; what they mean is its caller's.

Promises: private keys never lie in a book or in the folder that is served;
versions come from the caller's main and never go back; the timestamp is
written last, so for a reader the folder is as before or as after, wherever
the writer was killed. Files of the publication before stay for readers who
are in the middle of it, until the next one.

Left to others: what a target holds, and carrying the folder to its host.
tuf and securesystemslib are imported late: they cost more than most commands.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any

from specctl.errors import LostRace, Refused, Stop
from specctl.store import published
from specctl.store.keys import KEYS, ROOT_KEYS, apart, make_keys, signer
from specctl.store.publication import Current, current_of, names_of, roots_of, usable_root, vouches
from specctl.store.published import METADATA, TARGETS

if TYPE_CHECKING:
    from securesystemslib.signer import CryptoSigner
    from tuf.api.metadata import Root, Snapshot, Targets, Timestamp

ROOT_THRESHOLD = 2
YEAR = timedelta(days=365)
TIMESTAMP_LIFE = timedelta(days=7)
RENEW_BEFORE = timedelta(days=30)
# A field of our own in the root; the specification (section 4) leaves room for it.
TRUST_FIELD = "x-specctl-trust"
# Room for re-signing at one commit of main: its number times this.
STEP = 1000

__all__ = ["Published", "Stamp", "make_keys", "publish", "refresh", "renew_root", "start"]

_TARGET = re.compile(r"[a-z0-9-]+\.json")


@dataclass(frozen=True, slots=True)
class Stamp:
    """Version and expiry (UTC) of one signed role."""

    version: int
    expires: datetime


@dataclass(frozen=True, slots=True)
class Published:
    """What a folder says after a write; `targets` to `timestamp` are None before a first publish."""

    root: Stamp
    targets: Stamp | None
    snapshot: Stamp | None
    timestamp: Stamp | None
    warnings: tuple[str, ...] = ()


def start(folder: Path, keys: Path, now: datetime, trust: str | None = None) -> None:
    """Writes the first root, valid a year, into a folder that has none.

    `metadata/1.root.json` is what a site is given by hand before its first pull.
    `trust` names who may sign what is published: the digest stands in every root,
    beside the keys, and a site goes by the root it was given.
    """
    from tuf.api.metadata import Metadata, Role, Root

    apart(folder, keys)
    signers = {name: signer(keys, name) for name in KEYS}
    public = {name: held.public_key for name, held in signers.items()}
    if len({key.keyid for key in public.values()}) != len(KEYS):
        raise Refused("two of the keys are the same key", "Make each key anew with its own name.")
    try:
        (folder / METADATA).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Stop(f"could not make {folder}: {error.strerror}", "Check its rights.") from None
    with published.locked(folder):
        if any((folder / METADATA).glob("*.json")):
            raise Refused(
                "this folder is already a published folder",
                "Publish into it, renew its root, or name an empty folder.",
            )
        root = Metadata(
            Root(
                version=1,
                expires=_utc(now) + YEAR,
                keys={key.keyid: key for key in public.values()},
                roles={
                    "root": Role([public[name].keyid for name in ROOT_KEYS], ROOT_THRESHOLD),
                    "targets": Role([public["releaser"].keyid], 1),
                    "snapshot": Role([public["releaser"].keyid], 1),
                    "timestamp": Role([public["timestamp"].keyid], 1),
                },
                consistent_snapshot=True,
                unrecognized_fields={} if trust is None else {TRUST_FIELD: trust},
            )
        )
        for name in ROOT_KEYS:
            root.sign(signers[name], append=True)
        published.write(folder / METADATA / "1.root.json", root.to_bytes())


def publish(
    folder: Path, keys: Path, targets: Mapping[str, bytes], version: int, now: datetime
) -> Published:
    """Makes `targets` (bytes by file name) what the folder says.

    `version` is the count of main's first-parent commits times 1000. The same
    content at the same main renews the timestamp alone; other content, an
    expiry within 30 days or a changed key takes the next number within the
    thousand. Raises LostRace if the folder is ahead, Refused where a rule says
    no; a raise leaves readers with what was published before.
    """
    from tuf.api.metadata import MetaFile, Metadata, Snapshot, TargetFile, Targets

    if version < STEP or version % STEP:
        raise ValueError(f"a version is a positive multiple of {STEP}, not {version}")
    for name in targets:
        if not _TARGET.fullmatch(name):
            raise Refused(f"{name!r} is no name for a published file", "Use [a-z0-9-] and .json.")
    apart(folder, keys)
    releaser, stamper = signer(keys, "releaser"), signer(keys, "timestamp")
    now = _utc(now)
    with published.locked(folder):
        roots = roots_of(folder)
        root = usable_root(roots, now)
        _named(root, "targets", releaser)
        _named(root, "timestamp", stamper)
        current = current_of(folder, roots)
        files = {
            name: TargetFile.from_data(name, data, ["sha256"]) for name, data in targets.items()
        }
        good = current is not None and _still_good(current, files, version, now)
        number = current.targets.signed.version if good else _next_version(current, version)
        for name, file in sorted(files.items()):
            path = folder / TARGETS / f"{file.hashes['sha256']}.{name}"
            if published.read(path) != targets[name]:
                published.write(path, targets[name])
        if good:
            stamped = _write_timestamp(folder, stamper, current, None, now)
            return _said(root, current.targets.signed, current.snapshot.signed, stamped, now)
        signed_targets = Metadata(Targets(version=number, expires=now + YEAR, targets=files))
        signed_targets.sign(releaser)
        targets_data = signed_targets.to_bytes()
        published.write(folder / METADATA / f"{number}.targets.json", targets_data)
        meta = {"targets.json": MetaFile.from_data(number, targets_data, ["sha256"])}
        snapshot = Metadata(Snapshot(version=number, expires=now + YEAR, meta=meta))
        snapshot.sign(releaser)
        snapshot_data = snapshot.to_bytes()
        published.write(folder / METADATA / f"{number}.snapshot.json", snapshot_data)
        stamp = MetaFile.from_data(number, snapshot_data, ["sha256"])
        stamped = _write_timestamp(folder, stamper, current, stamp, now)
        kept = names_of(signed_targets.signed)
        published.sweep(folder, kept | (names_of(current.targets.signed) if current else set()))
        return _said(root, signed_targets.signed, snapshot.signed, stamped, now)


def refresh(folder: Path, keys: Path, now: datetime) -> Published:
    """Renews the timestamp alone, for 7 days; needs only the timestamp key.

    Raises Refused when there is nothing to stamp, or when the releaser's key
    changed and nothing was published since.
    """
    apart(folder, keys)
    stamper = signer(keys, "timestamp")
    now = _utc(now)
    with published.locked(folder):
        roots = roots_of(folder)
        root = usable_root(roots, now)
        _named(root, "timestamp", stamper)
        current = current_of(folder, roots)
        if current is None or not current.release_holds:
            raise Refused("there is nothing to renew in this folder", "Publish into it first.")
        stamped = _write_timestamp(folder, stamper, current, None, now)
        return _said(root, current.targets.signed, current.snapshot.signed, stamped, now)


def renew_root(folder: Path, keys: Path, now: datetime) -> Published:
    """Writes the next root, valid a year, signed by two of the old and two of the new keys.

    A key file that differs from the root's key of that name takes its place;
    a file that is not at hand leaves it. What the old releaser signed is never
    signed again here, since that key may have been stolen: publish from main.
    """
    from tuf.api.metadata import Key, Metadata, Role, Root

    apart(folder, keys)
    at_hand = {name: signer(keys, name) for name in KEYS if (keys / f"{name}.pem").exists()}
    now = _utc(now)
    with published.locked(folder):
        roots = roots_of(folder)
        old = roots[-1].signed
        held = dict(zip(ROOT_KEYS, old.roles["root"].keyids, strict=True))  # as start() wrote them
        held["releaser"] = old.roles["targets"].keyids[0]
        held["timestamp"] = old.roles["timestamp"].keyids[0]
        public: dict[str, Key] = {name: old.keys[keyid] for name, keyid in held.items()}
        public |= {name: ours.public_key for name, ours in at_hand.items()}
        roles = {
            "root": Role([public[name].keyid for name in ROOT_KEYS], ROOT_THRESHOLD),
            "targets": Role([public["releaser"].keyid], 1),
            "snapshot": Role([public["releaser"].keyid], 1),
            "timestamp": Role([public["timestamp"].keyid], 1),
        }
        new: Metadata[Root] = Metadata(
            Root(
                version=old.version + 1,
                expires=now + YEAR,
                keys={key.keyid: key for key in public.values()},
                roles=roles,
                consistent_snapshot=True,
                unrecognized_fields={k: v for k, v in old.unrecognized_fields.items() if k == TRUST_FIELD},
            )
        )
        for name in ROOT_KEYS:
            if name in at_hand:
                new.sign(at_hand[name], append=True)
        if not (vouches(old, "root", new) and vouches(new.signed, "root", new)):
            raise Refused(
                "a root needs two of the three old root keys and two of the new",
                f"Bring the key files together; at hand are: {', '.join(sorted(at_hand))}.",
            )
        published.write(folder / METADATA / f"{new.signed.version}.root.json", new.to_bytes())
        current = current_of(folder, [*roots, new])
        changed = tuple(
            f"the {name} key changed: sites keep their last cards until you publish again"
            for name in ("releaser", "timestamp")
            if public[name].keyid != held[name]
        )
        if current is None:
            return Published(_stamp(new.signed), None, None, None, changed)
        signed = (current.targets.signed, current.snapshot.signed, current.timestamp.signed)
        return _said(new.signed, *signed, now, changed)


def _named(root: Root, role: str, ours: CryptoSigner) -> None:
    if ours.public_key.keyid not in root.roles[role].keyids:
        raise Refused(
            f"the root of this folder does not name this key for its {role}",
            "Use the folder's own keys, or renew the root with the new key beside two root keys.",
        )


def _still_good(
    current: Current, files: Mapping[str, Any], version: int, now: datetime
) -> bool:
    targets, snapshot = current.targets.signed, current.snapshot.signed
    return (
        current.release_holds
        and targets.version // STEP == version // STEP
        and targets.targets == files
        and min(targets.expires, snapshot.expires) - now >= RENEW_BEFORE
    )


def _next_version(current: Current | None, version: int) -> int:
    if current is None:
        return version
    latest = max(current.targets.signed.version, current.snapshot.signed.version)
    if latest // STEP > version // STEP:
        raise LostRace(
            f"the folder is ahead: it holds commit {latest // STEP} of main, "
            f"this book stands at {version // STEP}",
            "Bring this book up to its origin, then publish again.",
        )
    if latest < version:
        return version
    if (latest + 1) // STEP > version // STEP:
        raise Refused(
            f"commit {version // STEP} of main was published {STEP} times",
            "Publish again after the next commit to main.",
        )
    return latest + 1


def _write_timestamp(
    folder: Path, stamper: CryptoSigner, current: Current | None, meta: Any, now: datetime
) -> Timestamp:
    from tuf.api.metadata import Metadata, Timestamp

    version = int(now.timestamp())
    if current and current.stamp_holds:
        version = max(version, current.timestamp.signed.version + 1)
    if meta is None:
        assert current is not None
        meta = current.timestamp.signed.snapshot_meta
    expires = now + TIMESTAMP_LIFE
    signed = Metadata(Timestamp(version=version, expires=expires, snapshot_meta=meta))
    signed.sign(stamper)
    published.write(folder / METADATA / "timestamp.json", signed.to_bytes())
    return signed.signed


def _said(
    root: Root,
    targets: Targets,
    snapshot: Snapshot,
    timestamp: Timestamp,
    now: datetime,
    warnings: tuple[str, ...] = (),
) -> Published:
    yearly = {"root": root, "targets": targets, "snapshot": snapshot}
    soon = tuple(
        f"{role} {'expired' if part.expires <= now else 'expires'} on {part.expires:%Y-%m-%d}; "
        + ("renew the root" if role == "root" else "publish again")
        for role, part in yearly.items()
        if part.expires - now < RENEW_BEFORE
    )
    stamps = (_stamp(targets), _stamp(snapshot), _stamp(timestamp))
    return Published(_stamp(root), *stamps, (*warnings, *soon))


def _stamp(signed: Any) -> Stamp:
    return Stamp(signed.version, signed.expires)


def _utc(now: datetime) -> datetime:
    return now.astimezone(timezone.utc).replace(microsecond=0)
