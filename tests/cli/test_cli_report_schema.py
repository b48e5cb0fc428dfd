"""Every report the command gives as JSON fits the published schema (JSON Schema 2020-12): opening, released, open, of each scope."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from counter_world import World

from specctl import resources

SCHEMA = json.loads((resources.schema_folder() / "report.schema.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("scope", ["chain", "northsands", "marram", "gull-rock"])
@pytest.mark.parametrize("proposal", ["1", "2", "3", "4"])
def test_it_fits_its_schema(proposal: str, scope: str, with_open: World, tmp_path: Path) -> None:
    words = () if scope == "chain" else ("--for", scope)
    shown = with_open.run("report", proposal, *words, "--json").json
    faults = [f"{e.json_path}: {e.message[:120]}" for e in jsonschema.Draft202012Validator(SCHEMA).iter_errors(shown)]
    assert not faults
    assert shown["report"] == SCHEMA["properties"]["report"]["const"]
    assert (shown["release"] is None) == (proposal == "4")
