"""Moves main: one compare-and-swap, origin first, files last.

Order of a move: fetch; local main up to origin's; build on that tip; push;
`behind` written; local reference swapped; files brought along; `behind`
removed. A kill before the push leaves the book as it was; after it, the next
fetch brings local main up; after the swap, `behind` tells which commit the
files are from and `catch_up` finishes. Callers hold `Lock`.
"""

from __future__ import annotations

from pathlib import Path
from typing import Callable

from specctl.errors import Damaged, LostRace, Refused, Unreachable
from specctl.store import remote, worktree
from specctl.store.files import remove_durably, write_atomic
from specctl.store.layout import Layout
from specctl.store.names import is_oid
from specctl.store.process import git
from specctl.store.reader import Reader
from specctl.store.references import NOTHING, move_ref

MAIN = "refs/heads/main"
ORIGIN_MAIN = "refs/remotes/origin/main"


class Behind:
    """The note `specctl/behind`: from which commit the files of a moved main still are."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._path = layout.git_dir / "specctl" / "behind"

    def note(self) -> str | None:
        """The commit noted, 40 zeros for "from nothing", or None. Damaged when unreadable."""
        try:
            text = self._path.read_text(encoding="ascii", errors="replace").strip()
        except FileNotFoundError:
            return None
        except OSError as error:
            raise Damaged(f"{self._path} cannot be read: {error.strerror}") from None
        if not is_oid(text):
            raise Damaged(
                f"{self._path} does not hold a commit id",
                "Compare your files with main (git diff main), then remove that file.",
            )
        return text

    def commit(self, main: str | None) -> str | None:
        """The commit the files are from when that is not `main` and HEAD is on main; else None."""
        noted = self.note()
        if noted is None or noted in (main, NOTHING) or worktree.checked_out_ref(self._layout) != MAIN:
            return None
        return noted

    def write(self, commit: str | None) -> None:
        """Note `commit` (None: nothing), unless an older note still stands."""
        if self.note() is None:
            write_atomic(self._path, f"{commit or NOTHING}\n".encode())

    def remove(self) -> None:
        """The files are main's again."""
        remove_durably(self._path)


class Mainline:
    """Main and the files that follow it. Every method but `bring_along` under `Lock`."""

    def __init__(self, layout: Layout, reader: Reader) -> None:
        self._layout = layout
        self._reader = reader
        self._behind = Behind(layout)

    def move(self, build: Callable[[str | None], str], attempts: int) -> str:
        """See `Repository.move_main`."""
        self._refuse_elsewhere()
        origin = remote.has_origin(self._layout)
        for _ in range(attempts):
            try:
                if origin:
                    remote.fetch(self._layout)
                tip = self._up_to_origin()
                new = build(tip)
                if new == tip:
                    self.catch_up()  # nothing to add, but perhaps files that a killed command left behind
                    return new
                if self._reader.commit(new).parents[:1] != ((tip,) if tip else ()):
                    raise ValueError("the commit built for main does not follow its tip")
                if not origin:
                    self.advance(MAIN, tip, new)
                    return new
                self._push(new)
            except LostRace:
                continue
            self._follow(new)
            return new
        raise LostRace(
            f"main was moved by others {attempts} times in a row; nothing was changed by this command",
            "Run the command again.",
        )

    def advance(self, ref: str, old: str | None, new: str) -> tuple[str, ...]:
        """Swap a branch from `old` to `new`; bring the files along where it is checked out."""
        checked_out = worktree.checked_out_ref(self._layout) == ref
        if not checked_out:
            move_ref(self._layout.root, ref, new, old)
            return ()
        if ref != MAIN:
            move_ref(self._layout.root, ref, new, old)
            return self._files(old, new)
        self.catch_up()  # settles an older note where the files have come along since, by us or by git
        self._behind.write(old)
        move_ref(self._layout.root, ref, new, old)
        return self.catch_up()

    def bring_along(self, old: str | None, new: str) -> tuple[str, ...]:
        """Files from `old` to `new` when HEAD is on main; on success the note goes."""
        if worktree.checked_out_ref(self._layout) != MAIN:
            return ()
        in_the_way = self._files(old, new)
        if not in_the_way:
            self._behind.remove()
        return in_the_way

    def catch_up(self) -> tuple[str, ...]:
        """Bring the files from the noted commit to main."""
        noted = self._behind.note()
        main = self._reader.ref(MAIN)
        if noted is None or main is None:
            return ()
        return self.bring_along(None if noted == NOTHING else noted, main)

    def _files(self, old: str | None, new: str) -> tuple[str, ...]:
        try:
            return worktree.bring_along(self._layout, self._reader, old, new)
        except LostRace:
            # Another git holds the index. Main has moved and the note stands: not a failure of the move.
            return (".git/index.lock",)

    def _up_to_origin(self) -> str | None:
        ours, theirs = self._reader.ref(MAIN), self._reader.ref(ORIGIN_MAIN)
        if theirs is None or theirs == ours or not remote.has_origin(self._layout):
            return ours
        if ours is None or self._reader.is_ancestor(ours, theirs):
            self.advance(MAIN, ours, theirs)
            return theirs
        if self._reader.is_ancestor(theirs, ours):
            return ours
        raise Refused(
            f"local main ({ours}) and origin's main ({theirs}) have parted",
            "Keep your own commits on a branch (git branch mine main), then set main to origin's: "
            "git reset --keep origin/main",
        )

    def _follow(self, new: str) -> None:
        """Local main to what origin took. Never builds again: the commit is made and stands."""
        for _ in range(3):
            ours = self._reader.ref(MAIN)
            if ours == new:
                return
            if ours is not None and not self._reader.is_ancestor(ours, new):
                break
            try:
                self.advance(MAIN, ours, new)
                return
            except LostRace:
                continue
        raise Refused(
            f"origin's main took {new}, but the local main was moved by another program meanwhile",
            "The change stands. Run: git fetch, then bring local main to origin/main.",
        )

    def _push(self, new: str) -> None:
        try:
            remote.push(self._layout, new, MAIN)
        except Unreachable:
            if not self._origin_took(new):
                raise

    def _origin_took(self, new: str) -> bool:
        """Whether a push whose answer was lost arrived all the same."""
        try:
            remote.fetch(self._layout)
        except Unreachable:
            return False
        theirs = self._reader.ref(ORIGIN_MAIN)
        return theirs is not None and self._reader.is_ancestor(new, theirs)

    def _refuse_elsewhere(self) -> None:
        """Refused when main is checked out in another work tree, whose files would fall behind unseen."""
        if not (self._layout.common_dir / "worktrees").is_dir():
            return
        place: Path | None = None
        for line in git(self._layout.root, ["worktree", "list", "--porcelain"]).text.splitlines():
            if line.startswith("worktree "):
                place = Path(line.removeprefix("worktree "))
            elif line == f"branch {MAIN}" and place is not None and place != self._layout.root:
                raise Refused(f"main is checked out in another work tree: {place}", "Run the command there.")
