"""The verb `check`: every problem of a book, in one run."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from specctl.actions.source import Source
from specctl.analysis.soundness import check_dated, check_lasting
from specctl.canonical import canonical, digest_of
from specctl.codec.load import Loaded, blob_id, load
from specctl.codec.normalise import normalise, written_problems
from specctl.problem import Place, Problem, in_order
from specctl.store.cache import Cache

# Raise when the same files would give other problems: the shelf must not outlive the checker.
CHECKER = "check-10"


def check_files(files: Mapping[str, bytes], loaded: Loaded, today: date) -> list[Problem]:
    """Problems of a tree that is already read, in the order of files and lines."""
    return _whole(_lasting(files, loaded), loaded, today)


def check_kept(shelf: Cache, files: Mapping[str, bytes], loaded: Loaded, today: date) -> tuple[Problem, ...]:
    """The same; of what no day bears on, what the same files gave before."""
    key = digest_of(canonical([CHECKER, [[p, blob_id(data)] for p, data in sorted(files.items())]]))
    lasting = _read(shelf.get("check", key))
    if lasting is None:
        lasting = _lasting(files, loaded)
        shelf.put("check", key, _written(lasting))
    return tuple(_whole(lasting, loaded, today))


@dataclass(frozen=True, slots=True)
class _Lasting:
    """What is wrong whatever the day; of `found`, what stands where an amount is `broken` is told by that."""

    told: tuple[Problem, ...]
    found: tuple[Problem, ...] = ()
    broken: tuple[Problem, ...] = ()


def _lasting(files: Mapping[str, bytes], loaded: Loaded) -> _Lasting:
    told = (*loaded.problems, *written_problems(loaded))
    if loaded.book is None:
        return _Lasting(told)
    return _Lasting(told, tuple(check_lasting(loaded.book)), tuple(normalise(dict(files), loaded).problems))


def _whole(lasting: _Lasting, loaded: Loaded, today: date) -> list[Problem]:
    found = [*lasting.found, *(check_dated(loaded.book, today) if loaded.book is not None else ())]
    # An amount nobody can normalise is told once, with the reason, instead of twice.
    broken = {p.place: p for p in lasting.broken}
    return in_order([*lasting.told, *(p for p in in_order(found) if p.place not in broken), *broken.values()])


def _written(lasting: _Lasting) -> bytes:
    rows = [
        [[p.code, p.place.file, p.place.line, p.place.column, p.what, p.todo, p.severity] for p in part]
        for part in (lasting.told, lasting.found, lasting.broken)
    ]
    return json.dumps(rows, ensure_ascii=False).encode("utf-8")


def _read(kept: bytes | None) -> _Lasting | None:
    """What was kept, or None where nothing was or it cannot be read."""
    if kept is None:
        return None
    try:
        told, found, broken = (
            tuple(
                Problem(code, Place(file, line, column), what, todo, severity)
                for code, file, line, column, what, todo, severity in part
            )
            for part in json.loads(kept)
        )
    except (ValueError, TypeError):
        return None
    return _Lasting(told, found, broken)


def check(source: Source, today: date) -> tuple[list[Problem], dict[str, int]]:
    """Problems of the book on disk, and how many records of each kind were read."""
    files = source.files()
    loaded = load(files, source.shelf)
    book = loaded.book
    counts = {}
    if book is not None:
        for kind in ("drinks", "preps", "ingredients", "sites", "franchises", "markets", "tools", "vessels", "price_books", "scoop_checks"):
            counts[kind.replace("_", " ")] = len(getattr(book, kind))
    return check_files(files, loaded, today), counts
