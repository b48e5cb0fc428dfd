"""Bundle, statement, signatories and release parsers: a value or a refusal of ours, whatever comes."""

from __future__ import annotations

import base64
from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from targets import TARGETS, answered

from specctl.canonical import canonical

ROOT = Path(__file__).resolve().parents[2]


@cache
def whole(target: str) -> bytes:
    """Bytes near what is read, to be harmed."""
    if target in ("signatories", "yaml"):
        name = "signatories.yaml" if target == "signatories" else "drinks/blackcurrant-hojicha.yaml"
        return (ROOT / "specs" / name).read_bytes()
    if target == "statement":
        inner = canonical({"payload": base64.b64encode(b'{"book":"tidewick"}').decode(), "signature": "x"})
        return b"specctl statement 1\n" + base64.b64encode(inner) + b"\n"
    if target == "amounts":
        return b"28 g at 1.03 g/ml"
    return canonical({"book": "tidewick", "number": 1, "site": "a", "entries": {}, "sites": [], "statements": []})


@pytest.mark.parametrize("target", sorted(TARGETS))
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_value_or_a_refusal(target: str, data: st.DataObject) -> None:
    text = whole(target)
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 20)))
    answered(target, text[:start] + data.draw(st.binary(max_size=12)) + text[end:])
    answered(target, data.draw(st.binary(max_size=200)))
