"""Bundle, statement, signatories and release parsers: a value or a refusal of ours, whatever comes."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from targets import TARGETS, answered

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize("target", sorted(TARGETS))
def test_what_the_fuzzer_kept(target: str) -> None:
    kept = sorted((Path(__file__).parent / "corpus" / target).iterdir())
    assert kept
    for path in kept:
        answered(target, path.read_bytes())


@cache
def whole(target: str) -> bytes:
    """Bytes near what is read, to be harmed."""
    if target in ("bundle", "cards", "release", "sealed", "statement"):
        return next(iter(sorted((Path(__file__).parent / "corpus" / target).glob("whole*")))).read_bytes()
    if target in ("signatories", "yaml"):
        name = "signatories.yaml" if target == "signatories" else "drinks/blackcurrant-hojicha.yaml"
        return (ROOT / "specs" / name).read_bytes()
    if target == "amounts":
        return b"28 g at 1.03 g/ml"
    return (Path(__file__).parent / "corpus/objects/whole-tree").read_bytes()


@pytest.mark.parametrize("target", sorted(TARGETS))
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_a_value_or_a_refusal(target: str, data: st.DataObject) -> None:
    text = whole(target)
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 20)))
    answered(target, text[:start] + data.draw(st.binary(max_size=12)) + text[end:])
    answered(target, data.draw(st.binary(max_size=200)))
