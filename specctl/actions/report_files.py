"""Writes a report: one file, or a first page and the folder of pages it points to.

Nothing is ever half there. The folder is named by what is in it and appears
whole, by one rename, before the first page that points to it replaces the old
one, by another; a kill at any moment leaves the old report or the new. The
pages an old first page pointed to go once nothing points to them.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Mapping
from pathlib import Path

from specctl.errors import Stop
from specctl.store.files import sync_folder, write_atomic
from specctl.store.process import plain

_FOLDER = re.compile(rb'href="([a-z0-9-]{1,60}-pages-[0-9a-f]{32})/')
_PAGE = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*\.html")
_READ = 4_000_000  # no first page is larger


def write_report(out: Path, first: bytes, folder: str, others: Mapping[str, bytes]) -> None:
    """Put `first` at `out` and the other pages into `folder` beside it. Raises Stop where that cannot be done."""
    out = Path(out)
    old = _pointed_to(out)
    if others:
        _write_folder(out.parent, folder, others)
    write_atomic(out, first)
    for name in old - {folder}:
        _remove(out.parent / name)


def _write_folder(parent: Path, name: str, pages: Mapping[str, bytes]) -> None:
    if not all(_PAGE.fullmatch(page) for page in pages) or "/" in name:
        raise ValueError("not the names of pages")
    target = parent / name
    try:
        if _holds(target, pages):
            return
        parent.mkdir(parents=True, exist_ok=True)
        making = Path(tempfile.mkdtemp(prefix=".specctl-", dir=parent))
        try:
            for page, data in pages.items():
                write_atomic(making / page, data, folder_too=False)
            making.chmod(0o755)
            sync_folder(making)
            if target.exists():  # half of it, or another's: made whole under its own name
                os.rename(target, making.with_name(making.name + "-old"))
            os.rename(making, target)
        finally:
            for left in (making, making.with_name(making.name + "-old")):
                shutil.rmtree(left, ignore_errors=True)
        sync_folder(parent)
    except OSError as error:
        raise Stop(f"{target} could not be written: {plain(error.strerror or str(error))}", "Nothing was changed.") from None


def _holds(folder: Path, pages: Mapping[str, bytes]) -> bool:
    """Whether the folder is there with exactly these pages."""
    if not folder.is_dir() or folder.is_symlink() or {p.name for p in folder.iterdir()} != set(pages):
        return False
    return all((folder / page).is_file() and (folder / page).read_bytes() == data for page, data in pages.items())


def _pointed_to(out: Path) -> set[str]:
    """Folders that the report at `out` points to now."""
    try:
        with open(out, "rb") as file:
            return {found.decode("ascii") for found in _FOLDER.findall(file.read(_READ))}
    except OSError:
        return set()


def _remove(folder: Path) -> None:
    """Remove a folder of pages; one that holds anything else stays."""
    try:
        if folder.is_symlink() or any(not _PAGE.fullmatch(p.name) or not p.is_file() for p in folder.iterdir()):
            return
        shutil.rmtree(folder, ignore_errors=True)
    except OSError:
        return
