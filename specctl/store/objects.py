"""Writes objects; the only module that opens the repository for writing them.

Promises: an object that was acknowledged is on disk (file and folder synced),
and an empty file left under its id by a power failure is written again instead
of being taken for the object. Nothing is read back through the library, which
can spin for ever on a damaged object: trees are read by `Reader`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Mapping

from specctl.errors import Damaged, Refused, Stop
from specctl.store.layout import Layout, find_layout
from specctl.store.names import objection_to_path
from specctl.store.parse import FILE_MODES, FOLDER_MODE, Entry
from specctl.store.process import plain
from specctl.store.reader import Reader

SYNCED = True  # every object and its folder reach the disk before a write returns
_KINDS = ("commit", "tree", "blob", "tag")


def write_object(root: Path, kind: str, content: bytes) -> str:
    """Store one raw object of a kind ("commit", "tree", "blob", "tag"); its id."""
    return _Writer(find_layout(root)).write(kind, content)


def write_blob(root: Path, data: bytes) -> str:
    """Store a file's bytes; the blob id."""
    return write_object(root, "blob", data)


def write_tree(root: Path, base_tree: str | None, changes: Mapping[str, bytes | None]) -> str:
    """The tree that is `base_tree` (None: empty) with `changes` (path -> bytes, None deletes).

    Folders without a change are reused by id; a folder left empty goes away;
    deleting what is not there is no change; a file keeps its mode. Refused for
    a path no book may hold, and where a file and a folder want one name.
    """
    with Reader(root) as reader:
        return write_tree_with(reader, base_tree, changes)


def write_tree_with(reader: Reader, base_tree: str | None, changes: Mapping[str, bytes | None]) -> str:
    """`write_tree` with a reader that is already open."""
    wanted = _Folder()
    for path, data in changes.items():
        why = objection_to_path(path)
        if why:
            raise Refused(f"the path {plain(path)!r} {why}", "Choose another name.")
        wanted.put(path.split("/"), data)
    writer = _Writer(reader.layout)
    tree = _merged(reader, writer, base_tree, wanted)
    return writer.write("tree", b"") if tree is None else tree


@dataclass
class _Folder:
    """What is to change in one folder: files by name, folders by name."""

    files: dict[str, bytes | None] = field(default_factory=dict)
    folders: dict[str, _Folder] = field(default_factory=dict)

    def put(self, steps: list[str], data: bytes | None) -> None:
        if len(steps) == 1:
            self.files[steps[0]] = data
        else:
            self.folders.setdefault(steps[0], _Folder()).put(steps[1:], data)


def _merged(reader: Reader, writer: _Writer, base: str | None, wanted: _Folder) -> str | None:
    """The id of the changed folder, or None when nothing is left in it."""
    entries = {e.name: e for e in reader.entries(base)} if base is not None else {}
    for name, data in wanted.files.items():
        old = entries.get(name)
        if data is None:
            if old is not None and not old.is_folder:
                del entries[name]
        elif old is not None and old.is_folder and name not in wanted.folders:
            raise Refused(f"{plain(name)!r} is a folder; a file cannot take its name")
        else:
            mode = old.mode if old is not None and not old.is_folder else FILE_MODES[0]
            entries[name] = Entry(mode, name, writer.write("blob", data))
    for name, inner in wanted.folders.items():
        old = entries.get(name)
        if old is not None and not old.is_folder:
            if any(data is not None for data in _all(inner)):
                raise Refused(f"{plain(name)!r} is a file; a folder cannot take its name")
            continue
        tree = _merged(reader, writer, old.oid if old else None, inner)
        if tree is not None:
            entries[name] = Entry(FOLDER_MODE, name, tree)
        else:
            entries.pop(name, None)
    if not entries:
        return None
    return writer.write("tree", _serialised(entries.values()))


def _all(folder: _Folder) -> list[bytes | None]:
    return [*folder.files.values(), *(d for inner in folder.folders.values() for d in _all(inner))]


def _serialised(entries: Any) -> bytes:
    # git sorts a folder as if its name ended in a slash.
    in_order = sorted(entries, key=lambda e: e.name.encode() + (b"/" if e.is_folder else b""))
    return b"".join(f"{e.mode} {e.name}\0".encode() + bytes.fromhex(e.oid) for e in in_order)


class _Writer:
    """The object store opened for writing."""

    def __init__(self, layout: Layout) -> None:
        import pygit2  # 55 ms: only the writing verbs pay it
        from pygit2.enums import ObjectType, Option

        pygit2.option(Option.ENABLE_FSYNC_GITDIR, SYNCED)
        self._errors = (pygit2.GitError, OSError, ValueError, KeyError)
        self._kinds = dict(
            zip(_KINDS, (ObjectType.COMMIT, ObjectType.TREE, ObjectType.BLOB, ObjectType.TAG), strict=True)
        )
        self._objects = layout.common_dir / "objects"
        try:
            self._odb = pygit2.Odb(str(self._objects))
        except self._errors as error:
            raise Damaged(f"the object store cannot be opened: {plain(str(error))}") from None

    def write(self, kind: str, content: bytes) -> str:
        oid = self._write(kind, content)
        loose = self._objects / oid[:2] / oid[2:]
        if loose.is_file() and loose.stat().st_size == 0:
            loose.unlink()
            self._write(kind, content)
        return oid

    def _write(self, kind: str, content: bytes) -> str:
        try:
            return str(self._odb.write(self._kinds[kind], content))
        except self._errors as error:
            raise Stop(f"git's object store refused to write: {plain(str(error))}") from None
