"""What the benches measure on: a demo book in git with one release and one open proposal, and a site that pulled."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from bench_world import Bench, build
from specctl.store import files, objects, process


@pytest.fixture(scope="session")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Made once, without waiting for the disk: durability has tests of its own."""
    root = tmp_path_factory.mktemp("bench")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("HOME", str(root))
        patch.setenv("GIT_CONFIG_GLOBAL", os.devnull)
        patch.setenv("GIT_CONFIG_NOSYSTEM", "1")
        for name in ("SSH_AUTH_SOCK", "GIT_DIR", "GIT_WORK_TREE", "GIT_INDEX_FILE", "SPECCTL_BOOK"):
            patch.delenv(name, raising=False)
        settings = tuple(s for s in process.SETTINGS if not s.startswith("core.fsync"))
        patch.setattr(process, "SETTINGS", (*settings, "core.fsync=none"))
        patch.setattr(files.os, "fsync", lambda handle: None)
        patch.setattr(objects, "SYNCED", False)
        yield build(Path(root))
