"""The files of a published folder: whole or not at all, on disk before named.

Knows names and bytes, nothing of signatures or drinks. Every file is written
beside its place, synced, renamed, and its folder synced, so a killed writer
leaves a file as it was or as it should be. A lock keeps two writers of one
machine apart; writers on different machines meet at the version numbers.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Set
from contextlib import contextmanager
from pathlib import Path

from specctl.errors import LostRace, Stop

METADATA = "metadata"
TARGETS = "targets"

# Only names this module's caller could have written are ever swept.
_OURS = {
    METADATA: re.compile(r"(?:[0-9]+\.(?:targets|snapshot)\.json|\.new-.+)"),
    TARGETS: re.compile(r"(?:[0-9a-f]{64}\.[a-z0-9-]+\.json|\.new-.+)"),
}


def write(path: Path, data: bytes, mode: int = 0o644) -> None:
    """Puts `data` at `path` by temporary file, sync, rename, sync of the folder.

    Raises Stop when the disk or the share says no; the old file then stands.
    """
    beside = path.with_name(f".new-{path.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, mode)
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(beside, path)
        sync(path.parent)
    except OSError as error:
        raise Stop(
            f"could not write {path.name}: {error.strerror or 'write error'}",
            f"Check space and rights of {path.parent}; what was published before still stands.",
        ) from None


def sync(folder: Path) -> None:
    """Asks the disk to keep the names of a folder; where folders cannot be synced, nothing."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def read(path: Path) -> bytes | None:
    """The bytes of a file, or None where there is none. Raises Stop if it cannot be read."""
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise Stop(
            f"could not read {path.name}: {error.strerror or 'read error'}",
            f"Check the rights of {path.parent}.",
        ) from None


def sweep(folder: Path, keep: Set[str]) -> None:
    """Removes superseded files of our own naming, all but `keep` ("targets/<name>" ...).

    A file that cannot be removed is left for the next time: it does no harm.
    """
    for part, ours in _OURS.items():
        if not (folder / part).is_dir():
            continue
        for path in sorted((folder / part).iterdir()):
            if ours.fullmatch(path.name) and f"{part}/{path.name}" not in keep:
                try:
                    os.unlink(path)
                except OSError:
                    continue


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Holds the folder for one writer of this machine. Raises LostRace if another has it."""
    try:
        import fcntl
    except ImportError:  # a platform without it relies on the version numbers alone
        yield
        return
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        raise Stop(f"there is no folder {folder}", "Name an existing published folder.") from None
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise LostRace(
                "another publish is writing this folder",
                "Wait until it has ended, then publish again.",
            ) from None
        except OSError:
            pass  # a share without locks: the version numbers still tell two publishers apart
        yield
    finally:
        os.close(handle)
