"""The verb `check`: every problem of a book, in one run."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date

from specctl.actions.source import Source
from specctl.analysis.soundness import check_book
from specctl.codec.load import Loaded, load
from specctl.codec.normalise import normalise, written_problems
from specctl.problem import Problem, in_order


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
