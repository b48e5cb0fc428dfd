"""A book's repository: one front for reading it and for the few ways it may change.

Promises: main moves only forward, by compare-and-swap, under one lock, origin
first; whatever the moment of a kill, the book is as before or as after, and the
next command picks up what is left to do. Nothing is checked out, and nothing
the author changed on disk is overwritten.
"""

from __future__ import annotations

from pathlib import Path
from types import TracebackType
from typing import Callable, Sequence

from specctl.errors import LostRace, NotFound, Refused
from specctl.store import remote, worktree
from specctl.store.cache import Cache
from specctl.store.files import LOCK_WAIT, Lock
from specctl.store.layout import Layout, find_layout
from specctl.store.mainline import MAIN, ORIGIN_MAIN, Behind, Mainline
from specctl.store.names import is_slug
from specctl.store.process import run_git
from specctl.store.reader import Reader

_PROPOSALS = "refs/heads/proposals/"
_ORIGIN_PROPOSALS = "refs/remotes/origin/proposals/"
BOOK_FILE = "book.yaml"


class Repository:
    """One book in git. A context manager, so that its reader's child ends with it."""

    def __init__(self, layout: Layout, *, lock_wait: float = LOCK_WAIT) -> None:
        self.layout = layout
        self._lock_wait = lock_wait
        self._reader: Reader | None = None
        self._cache = Cache.of_repository(layout.common_dir)

    @classmethod
    def open(cls, path: Path, *, lock_wait: float = LOCK_WAIT) -> Repository:
        """The repository around `path` whose top folder holds book.yaml (bare: whose main does)."""
        repository = cls(find_layout(Path(path)), lock_wait=lock_wait)
        if repository.bare:
            tip = repository.main_tip()
            here = tip is not None and repository.reader.file(tip, BOOK_FILE) is not None
        else:
            here = (repository.root / BOOK_FILE).is_file()
        if not here:
            repository.close()
            raise NotFound(
                f"{repository.root} is a git repository without {BOOK_FILE} at its top",
                "Name the book's folder with --book, or begin one with: specctl init",
            )
        return repository

    def __enter__(self) -> Repository:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the reader's child process."""
        if self._reader is not None:
            self._reader.close()

    @property
    def root(self) -> Path:
        """The top of the work tree; of a bare repository the repository itself."""
        return self.layout.root

    @property
    def git_dir(self) -> Path:
        """git's own folder for this work tree."""
        return self.layout.git_dir

    @property
    def bare(self) -> bool:
        """True when there is no work tree."""
        return self.layout.bare

    @property
    def reader(self) -> Reader:
        """The one reader, opened at first use. Refused for disguised repositories."""
        if self._reader is None:
            self._reader = Reader(self.layout.root, layout=self.layout)
        return self._reader

    def cache(self) -> Cache:
        """The cache inside git's folder."""
        return self._cache

    def setting(self, name: str) -> str | None:
        """A value of git's configuration as git resolves it, or None."""
        result = run_git(self.root, ["config", "--get", name])
        return result.text if result.ok else None

    # where things stand

    def has_origin(self) -> bool:
        """True when a remote named origin is set up."""
        return remote.has_origin(self.layout)

    def main_tip(self) -> str | None:
        """The local main, or None while it has no commit."""
        return self.reader.ref(MAIN)

    def latest_main(self) -> str | None:
        """The later of the local main and what origin's was at the last fetch; origin's when they part."""
        found = self.reader.refs_named(MAIN, ORIGIN_MAIN)
        return _later(self.reader, found.get(MAIN), found.get(ORIGIN_MAIN))

    def head_commit(self) -> str | None:
        """The commit HEAD stands on, or None while there is none."""
        result = run_git(self.root, ["rev-parse", "--verify", "--quiet", "HEAD^{commit}"])
        if result.ok:
            return result.text
        branch = worktree.checked_out_ref(self.layout)
        if branch is not None and self.reader.ref(branch) is None:
            return None
        raise NotFound("HEAD stands on no commit that can be read", "Run: git fsck --full --strict")

    def proposal_tips(self) -> dict[str, str]:
        """name (without proposals/) -> commit, from here and from origin's last fetch.

        Where both have one, the later; where they part, origin's.
        """
        found = self.reader.refs(_PROPOSALS, _ORIGIN_PROPOSALS)
        ours, theirs = _by_slug(found, _PROPOSALS), _by_slug(found, _ORIGIN_PROPOSALS)
        tips: dict[str, str] = {}
        for name in sorted(ours.keys() | theirs.keys()):
            tip = _later(self.reader, ours.get(name), theirs.get(name))
            if tip is not None:
                tips[name] = tip
        return tips

    def fetch(self) -> tuple[str, ...]:
        """Take main, proposals and tags from origin; the tags on which origin and we differ."""
        try:
            return remote.fetch(self.layout)
        except LostRace:
            # Perhaps a lock file of a git that died: taking our lock removes those.
            with self._lock():
                return remote.fetch(self.layout)

    # the author's files

    def work_files(self, wanted: Callable[[str], bool]) -> dict[str, bytes]:
        """path -> raw bytes on disk of the tracked and addable files where `wanted(path)`."""
        if self.bare:
            raise Refused("a bare repository has no files to read", "Run this in a clone.")
        return worktree.work_files(self.layout, wanted)

    def behind(self) -> str | None:
        """The commit the files on disk are from, when main moved on without them; else None."""
        return Behind(self.layout).commit(self.main_tip())

    def bring_along(self, old: str | None, new: str) -> tuple[str, ...]:
        """Move checked-out files from `old` to `new`; the paths in the way, and then nothing changed.

        Does nothing, and gives (), when bare or when HEAD is not on main.
        """
        return self._mainline().bring_along(old, new)

    def catch_up(self) -> tuple[str, ...]:
        """Finish what an interrupted or refused bringing along left; the paths still in the way."""
        with self._lock():
            return self._mainline().catch_up()

    def stale_paths(self, paths: Sequence[str], head: str) -> tuple[str, ...]:
        """Those of `paths` staged as an earlier commit of `head`'s line had them, not as `head` has."""
        return worktree.stale_paths(self.layout, self.reader, paths, head)

    # changes

    def move_main(self, build: Callable[[str | None], str], *, attempts: int = 3) -> str:
        """Move main to the commit `build(tip)` makes on the latest tip (None: first commit); its id.

        `build` may run again when somebody else was faster; giving back `tip`
        means there is nothing to do. Refused when local main and origin's have
        parted; LostRace after `attempts`. Files in the way stay: see `behind`.
        """
        with self._lock():
            return self._mainline().move(build, attempts)

    def push_branch(self, name: str, oid: str) -> None:
        """Move proposals/`name` to `oid`, forward only: at origin first, then here."""
        if not is_slug(name):
            raise Refused(f"{name!r} cannot name a proposal")
        ref = _PROPOSALS + name
        with self._lock():
            standing = self.reader.ref(ref)
            if standing == oid and not self.has_origin():
                return
            if standing is not None and not self.reader.is_ancestor(standing, oid):
                raise Refused(
                    f"proposals/{name} has commits that this one does not follow",
                    "Propose again on top of it, or choose another name.",
                )
            if self.has_origin():
                remote.push(self.layout, oid, ref)
            if standing != oid:
                self._mainline().advance(ref, standing, oid)

    def push_tag(self, name: str) -> None:
        """Give origin the tag `name`. Refused when it has another of that name."""
        oid = self.reader.ref(f"refs/tags/{name}")
        if oid is None:
            raise NotFound(f"there is no tag {name}")
        remote.push(self.layout, oid, f"refs/tags/{name}")

    def _lock(self) -> Lock:
        return Lock(self.layout.common_dir, wait=self._lock_wait)

    def _mainline(self) -> Mainline:
        return Mainline(self.layout, self.reader)


def _later(reader: Reader, ours: str | None, theirs: str | None) -> str | None:
    if ours is None or theirs is None or ours == theirs:
        return ours or theirs
    return ours if reader.is_ancestor(theirs, ours) else theirs


def _by_slug(refs: dict[str, str], prefix: str) -> dict[str, str]:
    named = {ref.removeprefix(prefix): oid for ref, oid in refs.items() if ref.startswith(prefix)}
    return {name: oid for name, oid in named.items() if is_slug(name)}
