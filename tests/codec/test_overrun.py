"""Overrun read as a percentage or as two weighings of one cup."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from specctl.codec.load import load
from specctl.resources import demo_book

FOAM = "preps/salted-oat-foam.yaml"


def loaded(text: str, file: str = FOAM, old: str = "overrun: 150 %") -> tuple[D | None, list[str]]:
    root = demo_book()
    files = {p.relative_to(root).as_posix(): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}
    assert files[file].count(old.encode()) == 1
    files[file] = files[file].replace(old.encode(), f"overrun: {text}".encode())
    found = load(files)
    assert found.book is not None
    prep = found.book.preps.get("salted-oat-foam")
    return (prep.overrun if prep is not None else None), [p.code for p in found.problems if p.place.file == file and p.is_error]


@pytest.mark.parametrize(
    ("text", "share"),
    [
        # D. Goff, University of Guelph: (W_mix - W_foam) / W_foam; 1090 g and 560 g to the litre are 94.6 %
        ("109.0 g of mix, 56.0 g of foam", "0.946"),
        ("1090 g of mix, 560 g of foam", "0.946"),
        ("250 g of mix, 100 g of foam", "1.5"),
        ("100 g of mix, 100 g of foam", "0"),
        ("94.6 %", "0.946"),
    ],
)
def test_two_weighings_of_one_cup_are_an_overrun(text: str, share: str) -> None:
    assert loaded(text) == (D(share), [])


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("56 g of foam, 109 g of mix", "overrun-form"), ("109g of mix, 56g of foam", "overrun-form"), ("1,090 g of mix, 560 g of foam", "overrun-form"),
        ("109 ml of mix, 56 ml of foam", "overrun-form"), ("-9 g of mix, 56 g of foam", "overrun-form"), ("56 g of mix, 109 g of foam", "overrun-range"),
        ("109 g of mix, 0 g of foam", "overrun-range"), ("1200 g of mix, 100 g of foam", "overrun-range"), ("1001 %", "percent-range"),
    ],
)  # fmt: skip
def test_what_is_no_overrun_is_refused(text: str, code: str) -> None:
    assert loaded(f'"{text}"')[1] == [code]
