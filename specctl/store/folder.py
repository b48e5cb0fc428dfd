"""Reads a plain folder of files, for books that are not (or not yet) in git.

Only regular files are read; a link is refused, because what it points at could
change between two readers.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from specctl.errors import NotFound, Refused

MOST_BYTES = 16 * 1024 * 1024


def read_folder(root: Path, wanted: Callable[[str], bool]) -> dict[str, bytes]:
    """Path below `root` to bytes, of the files where `wanted(path)`; dot-folders are passed over."""
    if not root.is_dir():
        raise NotFound(f"{root} is not a folder", "Name the book's folder with --book.")
    found: dict[str, bytes] = {}
    waiting = [root]
    while waiting:
        folder = waiting.pop()
        for entry in sorted(folder.iterdir()):
            path = entry.relative_to(root).as_posix()
            if entry.name.startswith("."):
                continue
            if entry.is_symlink():
                if entry.is_dir() or wanted(path):
                    raise Refused(f"{path} is a link", "A book holds plain files only: put the file itself there.")
            elif entry.is_dir():
                waiting.append(entry)
            elif entry.is_file() and wanted(path):
                if entry.stat().st_size > MOST_BYTES:
                    raise Refused(f"{path} is larger than any file of a book", "Remove it.")
                found[path] = entry.read_bytes()
    return found
