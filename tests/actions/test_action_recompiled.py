"""That a newer compiler would write an approved entry otherwise is found, and is never the author's edit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from chain_world import World

import specctl.actions.case as cases
from specctl.actions import reporting
from specctl.actions.case import compile_kept, rows_kept
from specctl.actions.reporting import recompiled_of
from specctl.actions.source import book_files
from specctl.change.compare import Pair
from specctl.codec.load import load

APPROVED = {("quay", "drink/a"): "1" * 64, ("quay", "drink/b"): "2" * 64}


def found(monkeypatch: pytest.MonkeyPatch, again: dict[tuple[str, str], str], problems: tuple[Any, ...] = ()) -> tuple[str, ...]:
    monkeypatch.setattr(reporting, "check_kept", lambda *_: problems)
    monkeypatch.setattr(reporting, "rows_kept", lambda *_: again)
    case: Any = SimpleNamespace(
        before=SimpleNamespace(book=object()),
        repository=SimpleNamespace(cache=lambda: None),
        ledger=SimpleNamespace(rows=APPROVED),
        main_files={},
        today=None,
    )
    pairs = [Pair(f"drink/{x}", None, {"name": x.upper(), "market": "gb"}, ("quay", "new-site")) for x in "ab"]
    return recompiled_of(case, pairs)


def test_only_what_the_compiler_writes_otherwise_from_main_s_own_book_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    assert found(monkeypatch, dict(APPROVED)) == ()
    assert found(monkeypatch, {**APPROVED, ("quay", "drink/b"): "9" * 64}) == ("B",)


def test_a_main_with_errors_is_not_compiled(monkeypatch: pytest.MonkeyPatch) -> None:
    error = SimpleNamespace(is_error=True, severity="error")
    assert found(monkeypatch, {}, (error,)) == ()


def test_rows_are_read_without_the_entries_they_name(world: World) -> None:
    """Rows alone are what a whole compile gives, read from what it kept; nothing is compiled or held for them."""
    with world.open() as source:
        repository = source.in_git()
        files = book_files(repository, world.main())
        book = load(files, source.shelf).book
        assert book is not None
        whole = compile_kept(repository, files, book).rows
    with world.open() as source, pytest.MonkeyPatch.context() as patch:
        repository = source.in_git()
        patch.setattr(cases, "compile_book", lambda _: pytest.fail("compiled again"))
        assert whole and rows_kept(repository, files, book) == whole
        assert not [key for key in repository.cache().memory if key[0] == cases.COMPILER]


def test_rows_that_cannot_be_read_are_made_again(world: World) -> None:
    with world.open() as source:
        repository = source.in_git()
        files = book_files(repository, world.main())
        book = load(files, source.shelf).book
        assert book is not None
        whole = compile_kept(repository, files, book).rows
        for kept in (repository.cache().folder / f"{cases.COMPILER}-rows").rglob("*"):
            if kept.is_file():
                kept.write_bytes(b"cut short")
    with world.open() as source:
        assert whole and rows_kept(source.in_git(), files, book) == whole
