"""Reads a repository: commits, trees, files and references by id.

Promises: every object is re-hashed, every tree iterated and checked by us; no
name typed by a person is ever resolved by git (`resolve_oid` takes 40 hex
digits and nothing else); "absent" and "unreadable" are different answers.
Reads work without the writing library. Use as a context manager.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType
from typing import Sequence

from specctl.errors import Damaged, NotFound, Refused
from specctl.store.batch import READ_DEADLINE, Batch
from specctl.store.layout import Layout, find_layout, is_shallow, refuse_disguises
from specctl.store.names import is_oid, is_ref, objection_to_path
from specctl.store.parse import Commit, Entry, Tag, parse_commit, parse_tag, parse_tree
from specctl.store.process import Result, failure, git, run_git

_DEEPEST = 32
_KEPT_BYTES = 64 * 1024 * 1024
_MOST_FILES = 200_000
_CLONE = "Fetch it again from origin, or restore a backup; git fsck --full --strict says more."


class Reader:
    """One open repository. Not for use by two threads at once."""

    def __init__(self, root: Path, *, layout: Layout | None = None, deadline: float = READ_DEADLINE) -> None:
        self.layout = layout or find_layout(Path(root))
        refuse_disguises(self.layout)
        self._batch = Batch(self.layout.root, deadline)
        self._commits: dict[str, Commit] = {}
        self._trees: dict[str, tuple[Entry, ...]] = {}
        self._blobs: dict[str, bytes] = {}
        self._kept = 0

    def __enter__(self) -> Reader:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """End the child process. A later read starts another."""
        self._batch.close()

    # objects

    def raw(self, oid: str, kind: str) -> bytes:
        """The checked content of an object that must be a `kind`."""
        found, content = self._batch.read(oid)
        if found != kind:
            raise Damaged(f"object {oid} is a {found}, not a {kind}")
        return content

    def kind_of(self, oid: str) -> tuple[str, bytes]:
        """Kind ("commit", "tree", "blob", "tag") and checked content of an object."""
        return self._batch.read(oid)

    def commit(self, oid: str) -> Commit:
        """The commit `oid`."""
        if oid not in self._commits:
            self._commits[oid] = parse_commit(oid, self.raw(oid, "commit"))
        return self._commits[oid]

    def tag(self, oid: str) -> Tag:
        """The annotated tag object `oid`."""
        return parse_tag(oid, self.raw(oid, "tag"))

    def blob(self, oid: str) -> bytes:
        """The bytes of a file. Small files are kept, for a book is read at many commits."""
        if oid in self._blobs:
            return self._blobs[oid]
        data = self.raw(oid, "blob")
        if self._kept + len(data) <= _KEPT_BYTES:
            self._blobs[oid] = data
            self._kept += len(data)
        return data

    def entries(self, oid: str) -> tuple[Entry, ...]:
        """One folder of a tree, checked, in git's order."""
        if oid not in self._trees:
            self._trees[oid] = parse_tree(oid, self.raw(oid, "tree"))
        return self._trees[oid]

    def listing(self, oid: str, prefix: str = "") -> dict[str, Entry]:
        """path -> Entry of every file under the tree `oid`, or under its folder `prefix`.

        Paths are whole, whatever the prefix; a prefix that names a file gives
        that file; one that names nothing gives {}.
        """
        prefix = prefix.strip("/")
        start: Entry | None = Entry("40000", "", oid)
        for step in prefix.split("/") if prefix else ():
            if start is None or not start.is_folder:
                return {}
            start = next((e for e in self.entries(start.oid) if e.name == step), None)
        if start is None:
            return {}
        if not start.is_folder:
            return {prefix: start}
        found: dict[str, Entry] = {}
        self._walk(start.oid, f"{prefix}/" if prefix else "", found, 0)
        return found

    def _walk(self, oid: str, before: str, found: dict[str, Entry], depth: int) -> None:
        if depth > _DEEPEST or len(found) > _MOST_FILES:
            raise Refused(f"the tree under {before!r} is too deep or too large for a book")
        for entry in self.entries(oid):
            path = before + entry.name
            if entry.is_folder:
                self._walk(entry.oid, path + "/", found, depth + 1)
            else:
                found[path] = entry

    def tree(self, oid: str, prefix: str = "") -> dict[str, str]:
        """path -> blob id of every file under the tree `oid` (see `listing`)."""
        return {path: entry.oid for path, entry in self.listing(oid, prefix).items()}

    def ids(self, commit: str, prefix: str = "") -> dict[str, str]:
        """path -> blob id of every file at a commit."""
        return self.tree(self.commit(commit).tree, prefix)

    def files(self, commit: str, prefix: str = "") -> dict[str, bytes]:
        """path -> bytes of every file at a commit."""
        return {path: self.blob(oid) for path, oid in self.ids(commit, prefix).items()}

    def file(self, commit: str, path: str) -> bytes | None:
        """One file at a commit, or None when there is none of that name."""
        if objection_to_path(path):
            return None
        oid = self.ids(commit, path).get(path)
        return None if oid is None else self.blob(oid)

    # references

    def resolve_oid(self, text: str) -> str:
        """`text` itself, when it is the full id of a commit here. NotFound otherwise."""
        if not is_oid(text):
            raise NotFound(f"{text!r} is not the full id of a commit", "Give all 40 hex digits.")
        result = run_git(self.layout.root, ["cat-file", "-t", text])
        if not result.ok or result.text != "commit":
            raise NotFound(f"no commit {text} is here", "Fetch first, or look for it in another clone.")
        return self.commit(text).oid

    def ref(self, name: str) -> str | None:
        """The object id a full reference name stands for, or None. Damaged when unreadable."""
        if not is_ref(name):
            raise NotFound(f"{name!r} is not a full reference name")
        return self.refs(name).get(name)

    def refs_named(self, *names: str) -> dict[str, str]:
        """Those of these full names that there are, with their object ids, in one look. Damaged as in `refs`."""
        if not all(is_ref(name) for name in names):
            raise NotFound(f"not full reference names: {names!r}")
        return {name: oid for name, oid in self._listed(names).items() if name in names}

    def refs(self, *prefixes: str) -> dict[str, str]:
        """Reference name -> object id, below folders of references; of all there are, if none is named.

        git leaves a corrupt or empty reference out of its list without an
        error; a file that lies there unlisted is Damaged here.
        """
        return self._listed([prefix.rstrip("/") for prefix in prefixes or ("refs/",)])

    def _listed(self, prefixes: Sequence[str]) -> dict[str, str]:
        result = run_git(
            self.layout.root, ["for-each-ref", "--format=%(objectname) %(refname)", "--", *prefixes]
        )
        if not result.ok:
            raise failure("for-each-ref", result)
        listed = dict(reversed(line.split(" ", 1)) for line in result.text.splitlines())
        for name in (name for prefix in prefixes for name in self._loose(prefix)):
            if name not in listed:
                raise Damaged(f"the reference {name} cannot be read", _CLONE)
        if b"ignoring" in result.stderr:
            raise Damaged(f"git left out a reference: {result.words}", _CLONE)
        return listed

    def _loose(self, prefix: str) -> list[str]:
        common = self.layout.common_dir
        top = common / prefix
        if top.is_file():
            files = [top]
        else:
            files = [Path(folder) / name for folder, _, names in os.walk(top) for name in names]
        return [
            path.relative_to(common).as_posix()
            for path in files
            if path.suffix != ".lock" and not _is_symbolic(path)
        ]

    # history

    def is_ancestor(self, older: str, newer: str) -> bool:
        """True when `older` is `newer` or one of its ancestors."""
        return self._ask_history("--is-ancestor", older, newer).ok

    def merge_base(self, one: str, other: str) -> str | None:
        """The best common ancestor; of several equally good ones always the same; None if unrelated."""
        return min(self._ask_history("--all", one, other).text.split(), default=None)

    def first_parents(self, tip: str, limit: int | None = None) -> list[str]:
        """`tip` and its first parents, newest first; at most `limit` of them."""
        self._whole_history()
        found: list[str] = []
        at: str | None = tip
        while at is not None and (limit is None or len(found) < limit):
            found.append(at)
            parents = self.commit(at).parents
            at = parents[0] if parents else None
        return found

    def commits_between(self, base: str | None, tip: str) -> list[str]:
        """Every commit reachable from `tip` and not from `base`, newest first."""
        self._whole_history()
        wanted = [self.commit(tip).oid] if base is None else [self.commit(tip).oid, f"^{self.commit(base).oid}"]
        return git(self.layout.root, ["rev-list", "--topo-order", *wanted, "--"]).text.split()

    def _ask_history(self, how: str, one: str, other: str) -> Result:
        self._whole_history()
        result = run_git(
            self.layout.root, ["merge-base", how, self.commit(one).oid, self.commit(other).oid]
        )
        if result.returncode not in (0, 1) or b"error:" in result.stderr:
            raise failure("merge-base", result)
        return result

    def _whole_history(self) -> None:
        if is_shallow(self.layout):
            raise Refused("this clone holds only part of the history", "Run: git fetch --unshallow")


def _is_symbolic(path: Path) -> bool:
    try:
        with open(path, "rb") as file:
            return file.read(5) == b"ref: "
    except OSError:
        return False
