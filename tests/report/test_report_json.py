"""The JSON form against its published schema, and against what a signature needs."""

from __future__ import annotations

import hashlib
import json
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import rfc8785
from make_impact import chain, hostile, quiet, rich

from specctl.change.impact import Impact
from specctl.report.json import report_json

SCHEMA = json.loads((Path(__file__).resolve().parents[2] / "schema" / "report.schema.json").read_text())
IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}


def faults(value: Any) -> list[str]:
    checker = jsonschema.Draft202012Validator(SCHEMA)
    return [f"{e.json_path}: {e.message[:100]}" for e in checker.iter_errors(json.loads(json.dumps(value)))]


def test_the_schema_is_one() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", IMPACTS)
def test_a_report_fits_its_schema(name: str) -> None:
    assert faults(report_json(IMPACTS[name]())) == []


def test_the_schema_refuses_what_is_not_a_report() -> None:
    good = report_json(rich())
    assert faults({**good, "report": 2})
    assert faults({k: v for k, v in good.items() if k != "cover"})
    assert faults({**good, "more": 1})
    assert faults({**good, "amounts": [{**good["amounts"][0], "before": 28}]})
    assert faults({**good, "costs": [{**good["costs"][0], "before": 0.41}]})
    assert faults({**good, "allergens": [{**good["allergens"][0], "after": "free"}]})


@pytest.mark.parametrize("name", IMPACTS)
def test_the_effect_can_be_signed_without_a_clone(name: str) -> None:
    # RFC 8785 bytes and SHA-256, by the libraries and not by our own code.
    shown = json.loads(json.dumps(report_json(IMPACTS[name]())))
    assert hashlib.sha256(rfc8785.dumps(shown["effect"])).hexdigest() == shown["effect_digest"]
    assert shown["scope"] == shown["effect"]["scope"]


def test_it_names_the_price_book_of_its_own_scope() -> None:
    assert report_json(rich())["price_book"] == "9" * 64
    assert report_json(chain())["price_book"] is None
    assert report_json(replace(rich(), price_books=()))["price_book"] is None


def test_it_is_complete() -> None:
    shown = report_json(rich())
    renamed = {"digest": "effect_digest"}
    assert {renamed.get(f.name, f.name) for f in fields(Impact)} <= set(shown)
    for part in ("amounts", "allergens", "texts", "hindrances", "costs", "signings", "objections"):
        assert len(shown[part]) == len(getattr(rich(), part)) > 0


def test_numbers_are_exact_texts() -> None:
    shown = report_json(rich())
    assert shown["amounts"][1]["before"] == "6.50"
    assert shown["costs"][0]["week"] == "21.21"

    def walk(value: Any) -> None:
        assert not isinstance(value, float)
        for inner in value.values() if isinstance(value, dict) else value if isinstance(value, list) else ():
            walk(inner)

    walk(shown)
    with pytest.raises(TypeError):
        report_json(rich(hindrances=(0.5,)))


def test_one_franchise_s_report_names_no_other() -> None:
    text = json.dumps(report_json(rich()))
    assert "marram" not in text.lower() and "EUR" not in text
    for start in ("/home/", "/tmp/", "/work/", "/root/"):
        assert start not in text
