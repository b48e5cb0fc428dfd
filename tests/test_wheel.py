"""The wheel holds the schemas and the demo book as git tracks them: nothing missing, nothing that lay about."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent
SHIPPED = ("schema", "specs")


def tracked(*where: str) -> set[str]:
    done = subprocess.run(["git", "ls-files", "-z", "--", *where], cwd=HOUSE, capture_output=True)
    if done.returncode:
        _cannot("this is no git checkout, so there is nothing to compare with")
    return {name for name in done.stdout.decode().split("\0") if name}


def _cannot(why: str) -> None:
    """Skipped on a bare machine, but never where the whole suite must run."""
    if os.environ.get("CI"):
        pytest.fail(why)
    pytest.skip(why)


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> zipfile.ZipFile:
    """Built from a copy of the tracked files as they are on disk, by the backend pyproject.toml names; no network."""
    if importlib.util.find_spec("hatchling") is None:
        _cannot("hatchling is not installed: pip install hatchling")
    copy = tmp_path_factory.mktemp("house")
    for name in tracked():
        if (HOUSE / name).is_file():
            target = copy / name
            target.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(HOUSE / name, target)
    out = tmp_path_factory.mktemp("wheel")
    done = subprocess.run(
        [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(out)], cwd=copy, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout + done.stderr
    (built,) = out.glob("*.whl")
    return zipfile.ZipFile(built)


@pytest.mark.parametrize("folder", SHIPPED)
def test_it_ships_what_git_tracks(wheel: zipfile.ZipFile, folder: str) -> None:
    inside = f"specctl/_shipped/{folder}/"
    shipped = {n.removeprefix("specctl/_shipped/"): n for n in wheel.namelist() if n.startswith(inside) and not n.endswith("/")}
    there = {name for name in tracked(folder) if (HOUSE / name).is_file()}
    assert there and set(shipped) == there
    for name, member in shipped.items():
        assert wheel.read(member) == (HOUSE / name).read_bytes(), name


@pytest.mark.parametrize("folder", SHIPPED)
def test_nothing_untracked_lies_where_the_wheel_is_built_from(folder: str) -> None:
    """force-include takes whatever lies in the folder, ignored or not; a build from this checkout would ship it."""
    on_disk = {p.relative_to(HOUSE).as_posix() for p in (HOUSE / folder).rglob("*") if p.is_file()}
    assert on_disk - tracked(folder) == set()


def test_it_ships_every_module_and_template(wheel: zipfile.ZipFile) -> None:
    names = set(wheel.namelist())
    missing = {n for n in tracked("specctl") if (HOUSE / n).is_file()} - names
    assert missing == set()
    assert not [n for n in names if n.startswith("tests/") or "__pycache__" in n]


def test_an_installed_wheel_finds_what_it_ships(wheel: zipfile.ZipFile, tmp_path: Path) -> None:
    """Unpacked far from the checkout, the resource module gives the wheel's own folders."""
    wheel.extractall(tmp_path / "installed")
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]); from specctl import resources as r; "
        "print(r.schema_folder()); print(r.demo_book()); print(len(list(r.demo_book().rglob('*.yaml'))))"
    )
    done = subprocess.run(
        [sys.executable, "-I", "-c", code, str(tmp_path / "installed")], cwd=tmp_path, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    schema, specs, count = done.stdout.split()
    assert Path(schema) == tmp_path / "installed/specctl/_shipped/schema"
    assert Path(specs) == tmp_path / "installed/specctl/_shipped/specs"
    assert int(count) == len([n for n in tracked("specs") if n.endswith(".yaml") and (HOUSE / n).is_file()])
