"""Each form of one report against its gold file: no word of a page changes unseen."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest
from gold_files import FOLDER, FORMS, made

OUT = Path(__file__).resolve().parents[1] / "out" / "gold"


@pytest.mark.parametrize("name", FORMS)
def test_it_reads_as_accepted(name: str) -> None:
    accepted, actual = (FOLDER / name).read_text(encoding="utf-8"), made(name)
    if accepted == actual:
        return
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / name).write_text(actual, encoding="utf-8", newline="")
    changed = list(difflib.unified_diff(accepted.splitlines(), actual.splitlines(), lineterm="", n=0))
    pytest.fail("\n".join([*changed[:30], f"{len(changed)} lines in all; accept with: python tests/report/gold_files.py --write"]))


def test_there_is_no_gold_file_too_many() -> None:
    assert {file.name for file in FOLDER.iterdir()} == set(FORMS)
