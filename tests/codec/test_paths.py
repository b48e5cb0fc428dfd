"""Which path holds which record; the table is DEVELOPERS.md's "What the book holds"."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from little_book import demo_files

from specctl.codec.paths import is_controlled, is_id, is_readable, record_at, stray


@pytest.mark.parametrize(
    ("path", "record"),
    [
        ("book.yaml", ("book", "book")),
        ("policy.yaml", ("policy", "policy")),
        ("signatories.yaml", ("signatories", "signatories")),
        ("lists/eu-annex-ii.yaml", ("list", "eu-annex-ii")),
        ("markets/gb.yaml", ("market", "gb")),
        ("franchises/marram.yaml", ("franchise", "marram")),
        ("sites/kelp-lane.yaml", ("site", "kelp-lane")),
        ("tools/scoop-amber.yaml", ("tool", "scoop-amber")),
        ("vessels/glass-375.yaml", ("vessel", "glass-375")),
        ("ingredients/oat-drink.yaml", ("ingredient", "oat-drink")),
        ("preps/espresso.yaml", ("prep", "espresso")),
        ("drinks/matcha-cloud.yaml", ("drink", "matcha-cloud")),
        ("scoop-checks/a-b.yaml", ("scoop-check", "a-b")),
        ("prices/marram/price-book.yaml", ("price-book", "marram")),
        ("proposals/12-oat-foam.yaml", ("proposal", "12-oat-foam")),
    ],
)
def test_a_record_stands_at_its_place(path: str, record: tuple[str, str]) -> None:
    assert record_at(path) == record
    assert stray(path) is None and is_controlled(path) and is_readable(path)


@pytest.mark.parametrize(
    "path",
    [
        "drinks/Matcha.yaml",
        "drinks/matcha--cloud.yaml",
        "drinks/matcha_cloud.yaml",
        "drinks/-matcha.yaml",
        "drinks/matcha.yml",
        "drinks/summer/matcha.yaml",
        "drinks/" + "a" * 65 + ".yaml",
        "drinks/café.yaml",
        "prices/marram.yaml",
        "prices/marram/other.yaml",
        "prices/Marram/price-book.yaml",
        "drink/matcha.yaml",
        "ingredient/oat.yml",
        "drinks/matcha.json",
    ],
)
def test_what_looks_like_a_record_and_is_none_is_told(path: str) -> None:
    """A misnamed file that nobody reads would be an allergen nobody sees."""
    problem = stray(path)
    assert problem is not None and problem.place.file == path and problem.is_error
    assert record_at(path) is None
    assert is_controlled(path), "propose must carry it, so that check can refuse it"


@pytest.mark.parametrize("path", ["README.md", "drinks/README.md", ".gitignore", ".schema/drink.schema.json", "notes/plan.yaml"])
def test_what_is_no_record_is_passed_over(path: str) -> None:
    assert record_at(path) is None and stray(path) is None and not is_controlled(path)


@pytest.mark.parametrize("path", ["releases/1.json", "entries/ab/" + "ab" * 32 + ".json", "statements/1-x/y.statement"])
def test_what_the_tool_writes_is_no_edit(path: str) -> None:
    assert not is_controlled(path) and not is_readable(path)


def test_every_file_of_the_demo_book_is_a_record() -> None:
    assert [p for p in demo_files() if record_at(p) is None] == []


@given(st.from_regex(r"[a-z0-9]+(-[a-z0-9]+)*", fullmatch=True))
def test_ids(text: str) -> None:
    assert is_id(text) == (len(text) <= 64)
    # `^…$` would let the newline through.
    for other in (text + "\n", text + "-", "-" + text, text.upper() + "A", text + "é", ""):
        assert not is_id(other)
