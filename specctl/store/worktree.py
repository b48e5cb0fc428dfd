"""The author's files: read as they lie on disk, and brought along when main moves.

Promises: raw bytes, no filter, no symbolic link followed; nothing the author
changed is ever overwritten. Bringing along writes each file whole (temporary
file, rename) and the index last, so that a kill at any moment leaves every file
at the old or at the new content and the same call completes it. git's own
checkout writes files in place and through filters, which gives neither.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Callable, Mapping, Sequence

from specctl.errors import Refused
from specctl.store.batch import MOST_BYTES, object_id
from specctl.store.files import remove_durably, sync_folder, write_atomic
from specctl.store.layout import Layout
from specctl.store.names import objection_to_path
from specctl.store.parse import Entry
from specctl.store.process import git, plain, run_git
from specctl.store.reader import Reader
from specctl.store.references import NOTHING

_OTHER = object()  # something stands there that is no plain file


def checked_out_ref(layout: Layout) -> str | None:
    """The full name of the branch HEAD stands on; None when bare or detached."""
    if layout.bare:
        return None
    result = run_git(layout.root, ["symbolic-ref", "-q", "HEAD"])
    return result.text if result.ok else None


def work_files(layout: Layout, wanted: Callable[[str], bool]) -> dict[str, bytes]:
    """path -> bytes of the files on disk that git tracks or would add, where `wanted(path)`.

    Ignored files and folders that are repositories of their own are left out.
    Refused for a symbolic link or a name no book may hold.
    """
    listed = git(layout.root, ["ls-files", "-z", "--cached", "--others", "--exclude-standard"]).stdout
    found: dict[str, bytes] = {}
    for raw in sorted(set(listed.split(b"\0"))):
        path = raw.decode("utf-8", "backslashreplace")
        if not raw or raw.endswith(b"/") or not wanted(path):
            continue
        why = objection_to_path(path)
        if why:
            raise Refused(f"the file name {plain(path)!r} {why}", "Rename the file.")
        data = _on_disk(layout.root, path)
        if isinstance(data, bytes):
            found[path] = data
        elif data is _OTHER:
            raise Refused(
                f"{path} is not a plain file, or lies in a folder that is a symbolic link",
                "A book holds plain files and folders only.",
            )
    return found


def bring_along(layout: Layout, reader: Reader, old: str | None, new: str) -> tuple[str, ...]:
    """Make the files that differ between commits `old` (None: nothing) and `new` those of `new`.

    Gives the paths that stand in the way, sorted, and then has changed nothing:
    a file whose bytes are neither the old nor the new ones, or with something
    else staged. Files already at the new bytes pass; all others are not looked
    at. LostRace while another git holds the index; the same call completes it.
    """
    before = reader.listing(reader.commit(old).tree) if old else {}
    after = reader.listing(reader.commit(new).tree)
    paths = sorted(p for p in before.keys() | after.keys() if before.get(p) != after.get(p))
    staged = index_ids(layout, paths)
    to_write: list[str] = []
    in_the_way: list[str] = []
    for path in paths:
        here = _id_on_disk(layout.root, path)
        had, want = _oid(before.get(path)), _oid(after.get(path))
        if here == want:
            continue
        if here == had and staged.get(path) in (had, want):
            to_write.append(path)
        else:
            in_the_way.append(path)
    if in_the_way:
        return tuple(in_the_way)
    folders: set[Path] = set()
    for path in to_write:
        if _id_on_disk(layout.root, path) != _oid(before.get(path)):
            return (path,)  # saved by an editor just now
        _put(layout.root, path, after.get(path), reader)
        folders |= {layout.root / parent for parent in Path(path).parents}
    for folder in sorted(folders):
        if folder.is_dir():  # a folder left empty is gone, and its parent synced
            sync_folder(folder)
    _stage(layout, paths, after)
    return ()


def index_ids(layout: Layout, paths: Sequence[str] | None = None) -> dict[str, str]:
    """path -> blob id in the index; an unmerged path has the id "unmerged"."""
    only = None if paths is None else set(paths)
    found: dict[str, str] = {}
    for line in git(layout.root, ["ls-files", "-z", "--stage"]).stdout.split(b"\0"):
        if not line:
            continue
        about, _, raw = line.partition(b"\t")
        path = raw.decode("utf-8", "backslashreplace")
        if only is None or path in only:
            _, oid, stage = about.decode().split(" ")
            found[path] = oid if stage == "0" else "unmerged"
    return found


def stale_paths(
    layout: Layout, reader: Reader, paths: Sequence[str], head: str, *, look_back: int = 200
) -> tuple[str, ...]:
    """Those of `paths` that the index holds as an earlier commit on `head`'s first-parent line had them.

    A sign that the branch moved under the files: committing them as they are
    would undo what was approved since.
    """
    now = reader.ids(head)
    staged = index_ids(layout, paths)
    open_paths = {p for p in paths if staged.get(p) != now.get(p)}
    stale: set[str] = set()
    if open_paths:
        for commit in reader.first_parents(head, look_back)[1:]:
            then = reader.ids(commit)
            stale |= {p for p in open_paths - stale if staged.get(p) == then.get(p)}
    return tuple(sorted(stale))


def _stage(layout: Layout, paths: Sequence[str], after: Mapping[str, Entry]) -> None:
    lines = []
    for path in paths:
        entry = after.get(path)
        about = f"{entry.mode} {entry.oid} 0" if entry else f"0 {NOTHING} 0"
        lines.append(f"{about}\t{path}\0")
    if lines:
        git(layout.root, ["update-index", "-z", "--index-info"], input="".join(lines).encode())
        run_git(layout.root, ["update-index", "-q", "--refresh"])  # spares git status a re-read; may say "needs update"


def _put(root: Path, path: str, entry: Entry | None, reader: Reader) -> None:
    target = root / path
    if entry is not None:
        for left_over in target.parent.glob(".specctl-*") if target.parent.is_dir() else ():
            left_over.unlink(missing_ok=True)
        mode = 0o755 if entry.mode == "100755" else 0o644
        write_atomic(target, reader.blob(entry.oid), mode=mode, folder_too=False)
        return
    remove_durably(target)
    for folder in target.parents:
        if folder == root:
            break
        try:
            folder.rmdir()
        except OSError:
            break
        sync_folder(folder.parent)


def _id_on_disk(root: Path, path: str) -> str | None | object:
    data = _on_disk(root, path)
    return object_id("blob", data) if isinstance(data, bytes) else data


def _on_disk(root: Path, path: str) -> bytes | None | object:
    """The bytes of a plain file; None when nothing is there; `_OTHER` for anything else."""
    steps = path.split("/")
    at = root
    for step in steps[:-1]:
        at = at / step
        try:
            if not stat.S_ISDIR(os.lstat(at).st_mode):
                return _OTHER
        except FileNotFoundError:
            return None
        except OSError:
            return _OTHER
    try:
        handle = os.open(root / path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
    except FileNotFoundError:
        return None
    except OSError:
        return _OTHER
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            return _OTHER
        if status.st_size > MOST_BYTES:
            raise Refused(f"{path} is larger than {MOST_BYTES // 1024 // 1024} MiB", "No file of a book is.")
        with os.fdopen(handle, "rb", closefd=False) as file:
            return file.read()
    finally:
        os.close(handle)


def _oid(entry: Entry | None) -> str | None:
    return entry.oid if entry is not None else None
