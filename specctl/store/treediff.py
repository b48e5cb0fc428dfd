"""Which files differ between two commits, reading only the folders that do.

Modes count: a file that became executable differs although its bytes do not.
"""

from __future__ import annotations

from specctl.errors import Refused
from specctl.store.parse import FOLDER_MODE, Entry
from specctl.store.reader import Reader

Differing = dict[str, tuple[str | None, str | None]]
_DEEPEST = 32


def differing(reader: Reader, one: str | None, two: str) -> Differing:
    """path -> (blob id before, blob id after) between two commits; None stands for no file."""
    found: Differing = {}
    before = Entry(FOLDER_MODE, "", reader.commit(one).tree) if one else None
    _walk(reader, before, Entry(FOLDER_MODE, "", reader.commit(two).tree), "", found)
    return found


def _walk(reader: Reader, one: Entry | None, two: Entry | None, path: str, found: Differing) -> None:
    if one is not None and two is not None and (one.oid, one.mode) == (two.oid, two.mode):
        return
    if path.count("/") > _DEEPEST:
        raise Refused(f"the tree under {path[:100]!r} is too deep for a book")
    inside = [_inside(reader, side) for side in (one, two)]
    files = [side.oid if side is not None and not side.is_folder else None for side in (one, two)]
    if files != [None, None]:
        found[path] = (files[0], files[1])
    for name in sorted(inside[0].keys() | inside[1].keys()):
        _walk(reader, inside[0].get(name), inside[1].get(name), f"{path}/{name}" if path else name, found)


def _inside(reader: Reader, entry: Entry | None) -> dict[str, Entry]:
    return {e.name: e for e in reader.entries(entry.oid)} if entry is not None and entry.is_folder else {}
