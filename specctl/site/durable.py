"""Writes of a site's own folder that survive a power cut: whole or not at all.

A file is written beside its place, synced, renamed; then its folder is synced.
Raises OSError as it comes: the caller knows what still stands.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from specctl.errors import Refused


def write(path: Path, data: bytes) -> None:
    """Puts `data` at `path` in one step."""
    beside = path.with_name(f".new-{path.name}")
    _write_synced(beside, data)
    os.replace(beside, path)
    sync(path.parent)


def write_folder(path: Path, files: Mapping[str, bytes]) -> None:
    """Puts a folder with `files` (by relative path) at `path`, which must not exist, in one step."""
    beside = path.with_name(f".new-{path.name}")
    if beside.exists():
        shutil.rmtree(beside)
    folders = {beside}
    os.mkdir(beside)
    for name, data in files.items():
        file = beside / name
        for folder in reversed(file.relative_to(beside).parents[:-1]):
            os.makedirs(beside / folder, exist_ok=True)
            folders.add(beside / folder)
        _write_synced(file, data)
    for folder in sorted(folders, reverse=True):
        sync(folder)
    os.rename(beside, path)
    sync(path.parent)


def sync(folder: Path) -> None:
    """Asks the disk to keep the names of a folder; where folders cannot be synced, nothing."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Holds a folder for one writer. Raises Refused if another has it."""
    try:
        import fcntl
    except ImportError:  # no such lock here; each single write is still whole
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise Refused("another pull is running here", "Wait until it has ended.") from None
        except OSError:
            pass  # a share without locks; each single write is still whole
        yield
    finally:
        os.close(handle)


def _write_synced(path: Path, data: bytes) -> None:
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
