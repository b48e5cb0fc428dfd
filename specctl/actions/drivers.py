"""What plain git runs for the records of a book: a merge by meaning, and a text of facts to compare.

`git merge` hands over three files and takes back one. Joined by meaning where
that can be done; else the file holds our side under lines that no book can be
read with, so that nobody commits half an answer unseen, and git keeps the path
as unmerged. Needs no repository; the author's own merge is never evidence.
"""

from __future__ import annotations

import re
import shlex
import sys
from dataclasses import dataclass
from pathlib import Path

from specctl.actions.merging import merge_trees
from specctl.change.dispute import conflict_between
from specctl.change.facts import MAP, ORDER, SET, facts
from specctl.codec import yamltext
from specctl.codec.meaning import meaning
from specctl.codec.paths import is_controlled
from specctl.errors import NotFound, Stop
from specctl.store.files import write_atomic
from specctl.store.process import git, plain, run_git
from specctl.store.repository import Repository

ATTRIBUTES = b"# records of a book are merged and compared by meaning; see: specctl init --join\n*.yaml merge=specctl diff=specctl\n"
_OURS = re.compile(rb"^\*\.yaml merge=specctl diff=specctl$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class Joined:
    """The file as git should find it, and what is still in dispute, in words."""

    text: bytes
    open: tuple[str, ...]


def join(base: bytes, ours: bytes, theirs: bytes, path: str) -> Joined:
    """Three versions of one file to one. An empty base means that both brought the file in."""
    if not is_controlled(path):
        return Joined(_marked(ours, (f"{plain(path)} is no record of a book; join it by hand",)), (f"{plain(path)} is no record of a book",))
    sides = [{path: data} for data in (ours, theirs)]
    merged = merge_trees({path: base} if base else {}, *sides)
    if not merged.conflicts:
        return Joined(merged.files[path], ())
    words = tuple(plain(conflict_between(c, None, "ours", "theirs"), 400) for c in merged.conflicts)
    return Joined(_marked(ours, words), words)


def _marked(ours: bytes, words: tuple[str, ...]) -> bytes:
    lines = ["<<<<<<< not joined: settle each of these by hand, then take these lines out"]
    lines += [f"# {line}" for line in words]
    return ("\n".join([*lines, ">>>>>>>"]) + "\n").encode() + ours


def join_files(base: Path, ours: Path, theirs: Path, path: str) -> tuple[str, ...]:
    """The merge driver: the result goes into `ours`. What is still in dispute; () for nothing."""
    try:
        versions = [file.read_bytes() for file in (base, ours, theirs)]
    except OSError as error:
        raise NotFound(f"git handed over a file that cannot be read: {error.strerror}") from None
    joined = join(versions[0], versions[1], versions[2], path)
    write_atomic(ours, joined.text)
    return joined.open


def fact_text(data: bytes) -> str:
    """A record as one fact a line, quantities in base units; what cannot be read is given as it is."""
    try:
        node, problems = yamltext.read(data, "record")
    except Stop:
        node, problems = None, []
    if node is None or any(p.is_error for p in problems):
        return data.decode("utf-8", "backslashreplace")
    lines = []
    for path, value in facts(meaning(node)).items():
        if path[-1] in (MAP, SET):
            continue
        name = "/".join(p for p in path[:-1] if p != SET) if SET in path else "/".join(path).replace(ORDER, "order")
        lines.append(f"{name}: {' > '.join(value) if isinstance(value, tuple) else value}")
    return "\n".join(sorted(lines)) + "\n"


def install(repository: Repository) -> None:
    """Tell git in this clone of both; attributes of the book's own where it has them, else of this clone."""
    ourselves = f"{shlex.quote(sys.executable)} -m specctl"
    wanted = {
        "merge.specctl.name": "records of a book, by meaning",
        "merge.specctl.driver": f"{ourselves} merge-driver %O %A %B %P",
        "diff.specctl.textconv": f"{ourselves} fact-text",
    }
    for name, value in wanted.items():
        if run_git(repository.root, ["config", "--get", name]).text != value:
            git(repository.root, ["config", name, value])
    own = repository.root / ".gitattributes"
    if not repository.bare and own.is_file() and _OURS.search(own.read_bytes()):
        return
    local = repository.layout.common_dir / "info" / "attributes"
    standing = local.read_bytes() if local.is_file() else b""
    if not _OURS.search(standing):
        write_atomic(local, standing + (b"\n" if standing and not standing.endswith(b"\n") else b"") + ATTRIBUTES)
