"""One browser for all tests of this folder, and the pages they open."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

TESTS = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(TESTS), str(TESTS / "report"), str(TESTS / "site")]

from browser import opened_browser  # noqa: E402
from page_kinds import write_all  # noqa: E402


@pytest.fixture(scope="module")  # not the session: while one is open, no other file can open its own
def browser() -> Iterator[Any]:
    with opened_browser() as running:
        yield running


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Every kind of page by name, written to files."""
    return write_all(tmp_path_factory.mktemp("pages"))
