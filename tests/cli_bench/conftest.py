"""The demo book in a plain folder, on a frozen day."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from specctl import resources

DAY = "2026-11-25T09:00:00+00:00"


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory) -> Path:
    monkeypatch.setenv("SPECCTL_NOW", DAY)
    # One shelf for all: reading forty files of YAML anew for every case is slow.
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path_factory.getbasetemp() / "shelf"))
    return Path(shutil.copytree(resources.demo_book(), tmp_path / "book"))
