"""Moves references, one at a time and only from where they were seen to stand."""

from __future__ import annotations

from pathlib import Path

from specctl.errors import LostRace
from specctl.store.files import sync_folder
from specctl.store.layout import find_layout
from specctl.store.process import failure, run_git

NOTHING = "0" * 40  # how git writes "no object"


def create_ref(root: Path, ref: str, oid: str) -> None:
    """Make a reference that does not exist yet. LostRace when somebody made it first."""
    move_ref(root, ref, oid, None)


def move_ref(root: Path, ref: str, new: str, old: str | None) -> None:
    """Compare-and-swap of one reference: from `old` (None: must not exist) to `new`."""
    result = run_git(root, ["update-ref", "--no-deref", "-m", "specctl", ref, new, old or NOTHING])
    if result.ok:
        # git syncs the file of a reference, not the folder its new name stands in.
        sync_folder((find_layout(root).common_dir / ref).parent)
        return
    if b"but expected" in result.stderr or b"already exists" in result.stderr:
        raise LostRace(f"{ref} was moved by somebody else in between", "Run the command again.")
    raise failure("update-ref", result)
