"""Looks a repository over for damage and disguise, and says of each fault what to do.

Promises: nothing is changed; nothing waits longer than the time given, for no
library reads a loose object here and git runs under a deadline; what was not
reached in that time is said, never passed over. "None found" is no promise that
none is there: it says what was looked at.
"""

from __future__ import annotations

import hashlib
import re
import time
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from specctl.errors import Damaged, Refused, Stop, Unreachable
from specctl.store.files import age_of, git_is_running, git_locks
from specctl.store.layout import Layout, find_layout, is_shallow
from specctl.store.names import is_oid
from specctl.store.parse import parse_commit, parse_tag, parse_tree
from specctl.store.process import plain, run_git

PATIENCE = 10.0
_MOST = 64 * 1024 * 1024
_HEAD = re.compile(rb"(commit|tree|blob|tag) (0|[1-9][0-9]{0,9})\0")
_YOUNG = 2.0
_FETCH = "Take it from another clone: git fetch origin brings missing objects only into a fresh clone, so clone again and keep this one aside."
_PARSERS = {"commit": parse_commit, "tree": parse_tree, "tag": parse_tag}


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One fault: `kind` is damage, disguise, left-over or note; where, what it is and what to do."""

    kind: str
    code: str
    where: str
    what: str
    todo: str

    def as_json(self) -> dict[str, str]:
        return {name: getattr(self, name) for name in self.__slots__}


@dataclass
class Budget:
    """The time left for all of it."""

    seconds: float
    _until: float = field(init=False)

    def __post_init__(self) -> None:
        self._until = time.monotonic() + self.seconds

    @property
    def left(self) -> float:
        return self._until - time.monotonic()


def examine(path: Path, patience: float = PATIENCE) -> list[Fault]:
    """Every fault of the repository around `path`, worst first, git's own words last. Raises NotFound where there is none."""
    budget = Budget(patience)
    layout = _layout(path)
    if isinstance(layout, Fault):
        return [layout]
    # A third of the time stays for git's own check, which sees what is packed.
    found = [*_disguises(layout), *_left_over(layout), *_refs(layout), *_index(layout)]
    found += _loose(layout, budget, patience / 3)
    found += _packs(layout, budget, patience / 3)
    found += _fsck(layout, budget)
    return sorted(set(found), key=lambda f: (_ORDER.index(f.kind), f.code == "fsck", f))


_ORDER = ("damage", "disguise", "left-over", "note")


def _layout(path: Path) -> Layout | Fault:
    try:
        return find_layout(path)
    except Refused:
        raise
    except Stop as stop:
        git_dir = Path(path) / ".git"
        if not git_dir.is_dir():
            raise
        return Fault("damage", "repository", ".git", f"git does not know this folder as a repository: {stop.what}", "Clone it again from origin; copy your edited files over from here.")


def _disguises(layout: Layout) -> Iterator[Fault]:
    common = layout.common_dir
    for name in _replaced(common):
        yield Fault("disguise", "replace", name, "a replace reference shows one object in place of another", f"Find out who made it, then: git replace -d {name.rsplit('/', 1)[-1]}")
    if _filled(common / "info" / "grafts"):
        yield Fault("disguise", "grafts", "info/grafts", "grafts give commits other parents than they name", f"Remove {common / 'info' / 'grafts'}, or clone again.")
    for name in ("alternates", "http-alternates"):
        if _filled(common / "objects" / "info" / name):
            yield Fault("disguise", "alternates", f"objects/info/{name}", "objects are borrowed from another repository, whose owner could change them", f"Run: git repack -a -d, then remove objects/info/{name}; or clone again without --shared or --reference.")
    foreign = [line for line in _bytes(common / "info" / "attributes").splitlines() if line.strip() and not line.startswith(b"#")]
    if foreign and foreign != [b"*.yaml merge=specctl diff=specctl"]:
        yield Fault("note", "attributes", "info/attributes", "this clone has attributes of its own, which can hide differences from git diff", "Look at it; specctl itself goes by no attribute.")
    if is_shallow(layout):
        yield Fault("disguise", "shallow", "shallow", "this clone holds only part of the history", "Run: git fetch --unshallow")


def _replaced(common: Path) -> list[str]:
    loose = common / "refs" / "replace"
    found = [p.relative_to(common).as_posix() for p in loose.rglob("*") if p.is_file() or p.is_symlink()] if loose.is_dir() else []
    packed = _bytes(common / "packed-refs")
    found += [line.split(b" ", 1)[1].decode("utf-8", "replace") for line in packed.splitlines() if b" refs/replace/" in line]
    return sorted(set(found))


def _left_over(layout: Layout) -> Iterator[Fault]:
    locks = {*git_locks(layout.common_dir), *git_locks(layout.git_dir), *layout.common_dir.glob("*.lock")}
    old = sorted(p for p in locks if age_of(p) >= _YOUNG)
    running = git_is_running(layout.common_dir) if old else None
    for path in old:
        where = path.relative_to(layout.common_dir).as_posix() if path.is_relative_to(layout.common_dir) else path.name
        if running:
            yield Fault("note", "lock", where, "a lock, and a git is at work here", "Wait for it to finish and look again.")
        else:
            yield Fault("left-over", "lock", where, "a lock that no living git owns; it blocks the next write", "The next command that writes removes it; or now: specctl doctor --mend")


def _refs(layout: Layout) -> Iterator[Fault]:
    common = layout.common_dir
    head = _bytes(layout.git_dir / "HEAD").strip()
    if not head.startswith(b"ref: refs/") and not is_oid(head.decode("ascii", "replace")):
        yield Fault("damage", "reference", "HEAD", "HEAD cannot be read", "Put it back: git symbolic-ref HEAD refs/heads/main")
    for path in sorted((common / "refs").rglob("*")):
        if path.is_dir() or path.suffix == ".lock":
            continue
        name = path.relative_to(common).as_posix()
        text = _bytes(path)
        if text.startswith(b"ref: "):
            continue
        if not text.strip():
            yield Fault("damage", "reference", name, "the reference is empty: what it named is not gone, only its name", _again(name))
        elif not is_oid(text.strip().decode("ascii", "replace")):
            yield Fault("damage", "reference", name, "the reference holds no object id", _again(name))
        elif not _exists(layout, text.strip().decode()):
            yield Fault("damage", "reference", name, "the reference names an object that is missing", _again(name))
    for line in _bytes(common / "packed-refs").splitlines():
        if line and not re.fullmatch(rb"#.*|\^[0-9a-f]{40}|[0-9a-f]{40} refs/\S+", line):
            yield Fault("damage", "reference", "packed-refs", f"a line cannot be read: {plain(line.decode('utf-8', 'replace'), 80)}", "Restore the file from a backup, or clone again.")


def _again(name: str) -> str:
    if name.startswith("refs/tags/release/"):
        return f"Remove the file .git/{name}; then fetch it (git fetch origin --tags), or make it again: specctl doctor --mend"
    if name == "refs/heads/main":
        return f"Look up where it stood (tail -1 .git/logs/{name}, or git ls-remote origin main), then write that id into .git/{name}."
    return f"Remove the file .git/{name} and fetch again; if it was never pushed, .git/logs/{name} knows its last commit."


def _exists(layout: Layout, oid: str) -> bool:
    """Whether any store here has a file for it; whether it is whole is asked elsewhere."""
    objects = layout.common_dir / "objects"
    if (objects / oid[:2] / oid[2:]).is_file():
        return True
    try:
        result = run_git(layout.root, ["cat-file", "-e", oid], deadline=3.0)
    except Stop:
        return True  # unreadable is another fault than missing
    return result.ok


def _index(layout: Layout) -> Iterator[Fault]:
    data = _bytes(layout.git_dir / "index")
    if data and (len(data) < 32 or data[:4] != b"DIRC" or hashlib.sha1(data[:-20], usedforsecurity=False).digest() != data[-20:]):
        # A writer may leave the trailer out on purpose and then writes zeros.
        if data[:4] != b"DIRC" or data[-20:] != b"\0" * 20:
            yield Fault("damage", "index", "index", "git's list of staged files cannot be read", "Remove .git/index, then: git reset (your files stay as they are)")


def _loose(layout: Layout, budget: Budget, keep: float) -> Iterator[Fault]:
    objects = layout.common_dir / "objects"
    paths = [p for d in sorted(objects.glob("[0-9a-f][0-9a-f]")) for p in sorted(d.iterdir()) if re.fullmatch(r"[0-9a-f]{38}", p.name)]
    for at, path in enumerate(paths):
        if budget.left < keep:
            yield Fault("note", "unfinished", "objects", f"{at} of {len(paths)} loose objects were read in the time given", "Look again with more: specctl doctor --patience 60")
            return
        oid = path.parent.name + path.name
        wrong = _wrong_object(path, oid)
        if wrong:
            yield wrong


def _wrong_object(path: Path, oid: str) -> Fault | None:
    where = f"objects/{oid[:2]}/{oid[2:]}"
    stored = _bytes(path)
    if not stored:
        return Fault("damage", "object", where, "the object is empty, as a power failure leaves it", f"Remove .git/{where}; the next command that needs it writes it again, or take it from another clone.")
    inflater = zlib.decompressobj()
    try:
        data = inflater.decompress(stored, _MOST)
    except zlib.error:
        return Fault("damage", "object", where, "the object is spoiled: it cannot be unpacked", _FETCH)
    head = _HEAD.match(data)
    if not inflater.eof or head is None or len(data) - head.end() != int(head[2]):
        return Fault("damage", "object", where, "the object was cut off", _FETCH)
    if hashlib.sha1(data, usedforsecurity=False).hexdigest() != oid:
        return Fault("damage", "object", where, "the content stored under this id is not its own", _FETCH)
    kind = head[1].decode()
    if kind in _PARSERS:
        try:
            _PARSERS[kind](oid, data[head.end() :])
        except (Damaged, Refused) as stop:
            return Fault("damage", kind, where, stop.what, f"No honest git writes this. Find the commit that brought it (git log --all --find-object={oid}) and who pushed it.")
    return None


def _packs(layout: Layout, budget: Budget, keep: float) -> Iterator[Fault]:
    folder = layout.common_dir / "objects" / "pack"
    files = sorted(folder.glob("pack-*.*")) if folder.is_dir() else []
    names = {p.name for p in files}
    for path in files:
        if path.suffix not in (".pack", ".idx"):
            continue
        where = f"objects/pack/{path.name}"
        twin = path.with_suffix(".idx" if path.suffix == ".pack" else ".pack").name
        if twin not in names:
            todo = f"Run: git index-pack .git/{where}" if path.suffix == ".pack" else f"Remove .git/{where}; {_FETCH}"
            yield Fault("damage", "pack", where, f"its other half {twin} is missing", todo)
        if budget.left < keep or path.stat().st_size > _MOST:
            yield Fault("note", "unfinished", where, "it was not read through in the time given", "Look again with more: specctl doctor --patience 60")
        elif not _sums_up(path):
            todo = f"Remove it and run: git index-pack .git/{where.removesuffix('.idx')}.pack" if path.suffix == ".idx" else _FETCH
            yield Fault("damage", "pack", where, "its bytes do not add up to its own check sum", todo)


def _sums_up(path: Path) -> bool:
    data = _bytes(path)
    return len(data) > 20 and hashlib.sha1(data[:-20], usedforsecurity=False).digest() == data[-20:]


def _fsck(layout: Layout, budget: Budget) -> Iterator[Fault]:
    try:
        result = run_git(layout.root, ["fsck", "--full", "--strict", "--no-dangling", "--no-progress"], deadline=max(0.5, budget.left))
    except Unreachable:
        yield Fault("note", "unfinished", "git fsck", "git's own check did not finish in the time given", "Look again with more: specctl doctor --patience 60")
        return
    except Stop as stop:
        yield Fault("damage", "fsck", "git fsck", stop.what, stop.todo)
        return
    if result.ok:
        return
    lines = (result.stderr + b"\n" + result.stdout).decode("utf-8", "replace").splitlines()
    said = [line for line in lines if line.strip() and not line.startswith(("notice:", "Checking ", "hint:"))]
    for line in said[:20]:
        yield Fault("damage", "fsck", "git fsck", plain(line, 300), "Keep this clone aside and clone again from origin; git fsck --full --strict says all of it.")
    if len(said) > 20:
        yield Fault("note", "fsck", "git fsck", f"it says {len(said) - 20} lines more", "See: git fsck --full --strict")


def _filled(path: Path) -> bool:
    return bool(_bytes(path).strip())


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError:
        return b""
