"""A report's pages, kept by all they depend on: who asks again is answered from what was made before.

A page depends on main, on the proposal's tip, on whose page it is, on the day
and the language, and on the tool itself; on nothing else, or its digest could
not be checked. Thirty managers who read one report, or one who reads it thirty
times, cost one making of it.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from specctl.canonical import canonical
from specctl.errors import Stop

if TYPE_CHECKING:
    from specctl.actions.source import Source
    from specctl.report.pages_folder import Report
    from specctl.store.cache import Cache

_NAMESPACE = "report-1"
_PAGES = "report-page-1"
_MOST = 24  # reports kept in one clone; the oldest go


@dataclass(frozen=True, slots=True)
class Asked:
    """Which page: the proposal as it was typed, the scope, the day, and the language asked for."""

    which: str
    scope: str
    day: date
    language: str = ""


@dataclass(frozen=True, slots=True)
class Kept:
    """The pages, and the effect they are about."""

    pages: Report
    effect: str


def pages_for(source: Source, asked: Asked, make: Callable[[], Kept]) -> Kept:
    """The pages as they were made, or made now and kept. `make` is called where there are none."""
    key = _key(source, asked)
    if key is not None and (data := source.shelf.get(_NAMESPACE, key)) is not None:
        kept = _read(source.shelf, data)
        if kept is not None:
            return kept
    kept = make()
    if key is not None:
        _keep(source.shelf, key, kept)
        _prune(source.shelf)
    return kept


def _key(source: Source, asked: Asked) -> str | None:
    from specctl.actions.case import find_proposal

    repository = source.in_git()
    main, tips = repository.latest_main(), repository.proposal_tips()
    if main is None:
        return None
    name = find_proposal(tips, asked.which)
    parts = [main, tips[name], name, asked.scope, asked.day.isoformat(), asked.language, _tool()]
    return hashlib.sha256(canonical(parts)).hexdigest()


@cache
def _tool() -> str:
    """Names, sizes and times of this program's own files: another specctl makes its pages anew."""
    root = Path(__file__).resolve().parent.parent
    seen = []
    for folder, _, names in os.walk(root):
        for name in names:
            if not name.endswith(".pyc"):
                about = os.stat(os.path.join(folder, name))
                seen.append([os.path.relpath(os.path.join(folder, name), root), about.st_size, str(about.st_mtime_ns)])
    return hashlib.sha256(canonical(sorted(seen))).hexdigest()


class _Pages(Mapping[str, bytes]):
    """Pages read from the cache one at a time, for a large report is larger than it need be in memory."""

    def __init__(self, shelf: Cache, digests: Mapping[str, str]) -> None:
        self._shelf = shelf
        self._digests = digests

    def __getitem__(self, name: str) -> bytes:
        data = self._shelf.get(_PAGES, self._digests[name])
        if data is None:
            raise Stop(f"the kept page {name} is gone", "Run the command again.")
        return data

    def __iter__(self) -> Iterator[str]:
        return iter(self._digests)

    def __len__(self) -> int:
        return len(self._digests)


def _keep(shelf: Cache, key: str, kept: Kept) -> None:
    pages = {name: hashlib.sha256(data).hexdigest() for name, data in kept.pages.others.items()}
    first = hashlib.sha256(kept.pages.first).hexdigest()
    for name, digest in pages.items():
        shelf.put(_PAGES, digest, kept.pages.others[name])
    shelf.put(_PAGES, first, kept.pages.first)
    head = {"effect": kept.effect, "folder": kept.pages.folder, "first": first, "pages": pages}
    shelf.put(_NAMESPACE, key, canonical(head))


def _read(shelf: Cache, data: bytes) -> Kept | None:
    """The report kept, or None where one of its pages is not what it was."""
    from specctl.report.pages_folder import Report

    head = json.loads(data)
    pages = _Pages(shelf, head["pages"])
    first = shelf.get(_PAGES, head["first"])
    if first is None or any(shelf.get(_PAGES, digest) is None for digest in head["pages"].values()):
        return None
    return Kept(Report(first, head["folder"], pages), head["effect"])


def _prune(shelf: Cache) -> None:
    """Keep the newest reports and their pages; a cache that cannot be tidied is no reason to stop."""
    try:
        heads = _newest_first(shelf.folder / _NAMESPACE)
        for old in heads[_MOST:]:
            old.unlink()
        wanted: set[str] = set()
        for head in heads[:_MOST]:
            data = shelf.get(_NAMESPACE, head.parent.name + head.name)
            about = json.loads(data) if data else {"first": "", "pages": {}}
            wanted |= {about["first"], *about["pages"].values()}
        for page in _newest_first(shelf.folder / _PAGES):
            if page.parent.name + page.name not in wanted:
                page.unlink()
    except OSError:
        pass


def _newest_first(folder: Path) -> list[Path]:
    return sorted((p for p in folder.rglob("*") if p.is_file()), key=lambda p: p.stat().st_mtime_ns, reverse=True)
