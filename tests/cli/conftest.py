"""The demo is played once a session, by its own command; every test has a copy."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from counter_world import FOAM, HOJICHA, Told, World, copied, git, own_machine, run


@pytest.fixture(autouse=True)
def own_world(monkeypatch: pytest.MonkeyPatch, tmp_path: Path, tmp_path_factory: pytest.TempPathFactory) -> None:
    own_machine(monkeypatch, tmp_path_factory.mktemp("home"))
    monkeypatch.chdir(tmp_path)


@pytest.fixture(scope="session")
def played(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[World, Told]]:
    """The demo's world and what the command said."""
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        root = tmp_path_factory.mktemp("played") / "demo"
        told = run("demo", root, "--json")
        for repository in ("book", "origin.git"):
            git(root / repository, "gc", "-q")  # fewer files to copy for every test
        yield World(root.resolve()), told


@pytest.fixture(scope="session")
def with_open(played: tuple[World, Told], tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    """The same with proposal 4 open, made by the commands: more foam, and hazelnut in a drink."""
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        made = copied(played[0], tmp_path_factory.mktemp("open"))
        made.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
        made.run("propose", "Firmer foam", "--why", "It sinks on warm days.")
        made.run("report", "4", "--json")
        yield made


@pytest.fixture
def world(played: tuple[World, Told], tmp_path: Path) -> World:
    return copied(played[0], tmp_path)


@pytest.fixture
def opened(with_open: World, tmp_path: Path) -> World:
    return copied(with_open, tmp_path)
