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
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from specctl.canonical import canonical

if TYPE_CHECKING:
    from specctl.actions.source import Source
    from specctl.report.pages_folder import Report

_NAMESPACE = "report-1"
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
        return _read(data)
    kept = make()
    if key is not None:
        source.shelf.put(_NAMESPACE, key, _written(kept))
        _prune(source.shelf.folder / _NAMESPACE)
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
    import specctl

    root = Path(specctl.__file__).parent
    seen = []
    for folder, _, names in os.walk(root):
        for name in names:
            if not name.endswith(".pyc"):
                about = os.stat(os.path.join(folder, name))
                seen.append([os.path.relpath(os.path.join(folder, name), root), about.st_size, str(about.st_mtime_ns)])
    return hashlib.sha256(canonical(sorted(seen))).hexdigest()


def _written(kept: Kept) -> bytes:
    names = sorted(kept.pages.others)
    parts = [kept.pages.first, *(kept.pages.others[n] for n in names)]
    head = {"effect": kept.effect, "folder": kept.pages.folder, "names": names, "sizes": [len(p) for p in parts]}
    return json.dumps(head).encode() + b"\n" + b"".join(parts)


def _read(data: bytes) -> Kept:
    from specctl.report.pages_folder import Report

    line, _, rest = data.partition(b"\n")
    head = json.loads(line)
    parts, at = [], 0
    for size in head["sizes"]:
        parts.append(rest[at : at + size])
        at += size
    return Kept(Report(parts[0], head["folder"], dict(zip(head["names"], parts[1:], strict=True))), head["effect"])


def _prune(folder: Path) -> None:
    """Keep the newest; a cache that cannot be tidied is no reason to stop."""
    try:
        found = sorted((p for p in folder.rglob("*") if p.is_file()), key=lambda p: p.stat().st_mtime, reverse=True)
        for old in found[_MOST:]:
            old.unlink()
    except OSError:
        pass
