"""That a newer compiler would write an approved entry otherwise is found, and is never the author's edit."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from specctl.actions import reporting
from specctl.actions.reporting import recompiled_of
from specctl.change.compare import Pair

APPROVED = {("quay", "drink/a"): "1" * 64, ("quay", "drink/b"): "2" * 64}


def found(monkeypatch: pytest.MonkeyPatch, again: dict[tuple[str, str], str], problems: tuple[Any, ...] = ()) -> tuple[str, ...]:
    monkeypatch.setattr(reporting, "check_kept", lambda *_: problems)
    monkeypatch.setattr(reporting, "compile_kept", lambda *_: SimpleNamespace(rows=again))
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
