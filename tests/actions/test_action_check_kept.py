"""What is kept of a check holds on any day; what a day bears on is looked at again each day."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from specctl import resources
from specctl.actions import checking
from specctl.actions.checking import check_files, check_kept
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.store.cache import Cache
from specctl.store.folder import read_folder

EARLY, LATE = date(2026, 11, 25), date(2036, 1, 1)


def test_kept_and_fresh_say_the_same_on_every_day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten years on, every document is old: a check kept by files alone must still say so."""
    files = read_folder(resources.demo_book(), is_readable)
    # An amount nobody can read: told once, and so kept in a part of its own.
    files["drinks/blackcurrant-hojicha.yaml"] = files["drinks/blackcurrant-hojicha.yaml"].replace(b"30 g", b"1,5 ml", 1)
    loaded = load(files)
    fresh = {day: tuple(check_files(files, loaded, day)) for day in (EARLY, LATE)}
    assert fresh[EARLY] != fresh[LATE]
    assert "allergen-document-old" in {p.code for p in fresh[LATE]}
    shelf = Cache(tmp_path / "shelf")
    assert check_kept(shelf, files, loaded, EARLY) == fresh[EARLY]

    def twice(_: object) -> list[object]:
        raise AssertionError("what no day bears on was worked out again")

    monkeypatch.setattr(checking, "check_lasting", twice)
    for day in (EARLY, LATE):
        assert check_kept(shelf, files, loaded, day) == fresh[day]


def test_a_shelf_that_cannot_be_read_costs_time_only(tmp_path: Path) -> None:
    files = {p: data for p, data in read_folder(resources.demo_book(), is_readable).items() if not p.startswith("drinks/")}
    loaded = load(files)
    shelf = Cache(tmp_path / "shelf")
    first = check_kept(shelf, files, loaded, EARLY)
    for kept in (b"[]", b"[[], []]", b"{", b"[[[1]], [], []]"):
        for path in (shelf.folder / "check").rglob("*"):
            if path.is_file():
                shelf.put("check", path.parent.name + path.name, kept)
        assert check_kept(shelf, files, loaded, EARLY) == first
