"""The verb `check`: every problem of a book, in one run."""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import date

from specctl.actions.source import Source
from specctl.analysis.soundness import check_book
from specctl.canonical import canonical, digest_of
from specctl.codec.load import Loaded, blob_id, load
from specctl.codec.normalise import normalise, written_problems
from specctl.problem import Place, Problem, in_order
from specctl.store.cache import Cache

# Raise when the same files would give other problems: the shelf must not outlive the checker.
CHECKER = "check-6"


def check_files(files: Mapping[str, bytes], loaded: Loaded, today: date) -> list[Problem]:
    """Problems of a tree that is already read, in the order of files and lines."""
    problems = [*loaded.problems, *written_problems(loaded)]
    if loaded.book is not None:
        found = check_book(loaded.book, today)
        # An amount nobody can normalise is told once, with the reason, instead of twice.
        broken = {p.place: p for p in normalise(dict(files), loaded).problems}
        problems += [p for p in found if p.place not in broken]
        problems += broken.values()
    return in_order(problems)


def check_kept(shelf: Cache, files: Mapping[str, bytes], loaded: Loaded, today: date) -> tuple[Problem, ...]:
    """The same, or what the same files gave on the same day before."""
    key = digest_of(canonical([CHECKER, today.isoformat(), [[p, blob_id(data)] for p, data in sorted(files.items())]]))
    kept = shelf.get("check", key)
    if kept is not None:
        try:
            return tuple(
                Problem(code, Place(file, line, column), what, todo, severity)
                for code, file, line, column, what, todo, severity in json.loads(kept)
            )
        except (ValueError, TypeError):
            pass
    problems = check_files(files, loaded, today)
    rows = [[p.code, p.place.file, p.place.line, p.place.column, p.what, p.todo, p.severity] for p in problems]
    shelf.put("check", key, json.dumps(rows, ensure_ascii=False).encode("utf-8"))
    return tuple(problems)


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
