"""Two worlds, each made once and copied: a published folder in memory, and the small chain of tests/actions."""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

_TESTS = Path(__file__).resolve().parent.parent
for _name in ("actions", "cli", "site"):
    if str(_TESTS / _name) not in sys.path:
        sys.path.append(str(_TESTS / _name))

from counter_world import own_machine  # noqa: E402
from hostile import Hostile  # noqa: E402


@pytest.fixture(scope="session")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Hostile:
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        return Hostile(tmp_path_factory.mktemp("hostile")).begin()


@pytest.fixture
def site(begun: Hostile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Hostile:
    own_machine(monkeypatch, tmp_path)
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    return begun.copied(tmp_path)
