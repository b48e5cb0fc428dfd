"""Where a git repository keeps its things.

Promises: an open repository has no graft, no replace reference and no borrowed
object store, so that one commit id means one content for everybody.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from specctl.errors import NotFound, Refused
from specctl.store.process import failure, run_git


@dataclass(frozen=True, slots=True)
class Layout:
    """Absolute folders: `root` (work tree, or the bare repository), `git_dir`
    (of this work tree) and `common_dir` (shared by all work trees)."""

    root: Path
    git_dir: Path
    common_dir: Path
    bare: bool


def find_layout(path: Path) -> Layout:
    """The repository that holds `path`. NotFound, or Refused for what we cannot read honestly."""
    start = Path(path).absolute()
    if not start.is_dir():
        raise NotFound(f"{start} is not a folder")
    asked = ["rev-parse", "--is-bare-repository", "--is-inside-work-tree", "--show-object-format",
             "--absolute-git-dir", "--git-common-dir"]
    result = run_git(start, [*asked, "--show-toplevel"])
    if b"must be run in a work tree" in result.stderr:  # bare, or git's own folder: there is no top
        result = run_git(start, asked)
    if not result.ok:
        if b"not a git repository" in result.stderr:
            raise NotFound(
                f"{start} is not inside a git repository",
                "Go to the folder of the book, or begin one with: specctl init",
            )
        raise failure("rev-parse", result)
    bare, inside, object_format, git_dir_text, rest = result.text.split("\n", 4)
    common_text, _, top = rest.partition("\n")
    if object_format != "sha1":
        raise Refused(
            f"this repository names its objects by {object_format}, which this version cannot check",
            "Use a repository made by plain: git init",
        )
    git_dir = Path(git_dir_text)
    common_dir = (start / common_text).resolve()
    if bare == "true":
        return Layout(git_dir, git_dir, common_dir, True)
    if inside != "true":
        raise NotFound(f"{start} is git's own folder, not a work tree", "Go one folder up.")
    return Layout(Path(top), git_dir, common_dir, False)


def refuse_disguises(layout: Layout) -> None:
    """Refused when something would make git show another content under an id."""
    common = layout.common_dir
    grafts = common / "info" / "grafts"
    if grafts.is_file() and grafts.read_bytes().strip():
        raise Refused(
            "this repository has grafts: its history is not what the commits say",
            f"Remove {grafts}, or work in a fresh clone.",
        )
    for name in ("alternates", "http-alternates"):
        borrowed = common / "objects" / "info" / name
        if borrowed.is_file() and borrowed.read_bytes().strip():
            raise Refused(
                "this repository borrows objects from another one, whose owner could change them",
                f"Run: git repack -a -d, then remove {borrowed}; or clone again without --shared or --reference.",
            )
    if _has_replace(common):
        raise Refused(
            "this repository has replace references: they show one object in place of another",
            "List them with: git replace -l, and remove each with: git replace -d",
        )


def is_shallow(layout: Layout) -> bool:
    """True when the clone was cut off at some depth."""
    shallow = layout.common_dir / "shallow"
    return shallow.is_file() and bool(shallow.read_bytes().strip())


def _has_replace(common: Path) -> bool:
    loose = common / "refs" / "replace"
    if loose.is_dir() and any(p.is_file() or p.is_symlink() for p in loose.rglob("*")):
        return True
    packed = common / "packed-refs"
    return packed.is_file() and b" refs/replace/" in packed.read_bytes()
