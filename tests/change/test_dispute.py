"""What a head of drinks reads of a conflict: the thing by its name, what each made of it, what it was.

The sentences are this project's own (DESIGN section 3 for the words); the laws
are that every value in dispute is told, that no mark of ours or key of a
file's grammar shows, and that who takes away is never said to have a value.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as examples
from make_records import threes

from specctl.change.dispute import conflict_between, record_name
from specctl.change.facts import MAP, ORDER, SET, facts
from specctl.change.merge import Conflict, merge

DRINK = "drinks/some.yaml"


def said(base: Any, ours: Any, theirs: Any, file: str = DRINK) -> list[str]:
    found = merge(facts(base), facts(ours) if ours else {}, facts(theirs) if theirs else {}, file).conflicts
    return [conflict_between(c, None, "main", "the proposal") for c in found]


def foam(**line: Any) -> dict[str, Any]:
    return {"layers": {"foam": {"name": "Foam", "lines": {"cream": {"use": "cream", **line}}}}}


@pytest.mark.parametrize(
    ("sides", "words"),
    [
        (
            (foam(amount={"regular": "20 g"}), foam(amount={"regular": "28 g"}), foam(amount={"regular": "34 g"})),
            "both change the amount (regular) of cream in foam of drinks/some.yaml: main has 28 g, the proposal has 34 g, before it was 20 g",
        ),
        (
            (foam(amount="20 g"), foam(amount={"regular": "20 g", "large": "30 g"}), foam(amount="24 g")),
            "both change the amount of cream in foam of drinks/some.yaml: main has one for each size, the proposal has 24 g, before it was 20 g",
        ),
        (
            (foam(amount="20 g", note="Cold."), foam(amount="20 g"), foam(amount="20 g", note="Very cold.")),
            "main takes away the note of cream in foam of drinks/some.yaml, and the proposal changes it from Cold. to “Very cold.”",
        ),
        (
            ({"hold": "48 h"}, {"hold": "129600 s"}, {"hold": "90 s"}),
            "both change the hold time of drinks/some.yaml: main has 36 h, the proposal has 90 s, before it was 48 h",
        ),
        (
            (foam(use="cream"), foam(use="oat-cream"), foam(use="soya-cream")),
            "both change what goes in as cream in foam of drinks/some.yaml: main has oat-cream, the proposal has soya-cream, before it was cream",
        ),
        (
            ({}, {"name": "Tide tea"}, {"name": "Ebb tea"}),
            "both bring in the name of drinks/some.yaml: main has “Tide tea”, the proposal has “Ebb tea”",
        ),
        (
            ({"layers": {"a": {}, "b": {}, "c": {}}}, {"layers": {"b": {}, "a": {}, "c": {}}}, {"layers": {"a": {}, "c": {}, "b": {}}}),
            "both change the order of the layers of drinks/some.yaml: main has b > a > c, the proposal has a > c > b, before it was a > b > c",
        ),
    ],
)
def test_sentences(sides: tuple[Any, Any, Any], words: str) -> None:
    assert said(*sides) == [words]


def test_a_part_taken_away_is_told_as_that() -> None:
    told = said(foam(amount="20 g"), {"layers": {}}, foam(amount="24 g"))
    assert told == ["main takes away the amount of cream in foam of drinks/some.yaml, and the proposal changes it from 20 g to 24 g"]
    told = said(foam(amount="20 g"), {"layers": {}}, foam(amount="20 g", note="Cold as it comes."))
    assert told[0] == "the proposal brings in the note of cream in foam of drinks/some.yaml, “Cold as it comes.”, and main takes away what it stands in"
    moved = {"layers": {"foam": {"lines": {"a": {}, "b": {}}}}}
    turned = {"layers": {"foam": {"lines": {"b": {}, "a": {}}}}}
    assert said(moved, {"layers": {}}, turned) == [
        "main takes away the lines of the layer foam of drinks/some.yaml, and the proposal changes what is in it"
    ]


def test_allergens_are_told_by_name() -> None:
    base = {"allergens": {"contains": ["milk"]}}
    told = said(base, {"allergens": {}}, {"allergens": {"contains": ["milk", "soya"]}}, "ingredients/some.yaml")
    assert told == ["both change whether ingredients/some.yaml contains soya: main does not say so, the proposal says so"]


@given(threes())
@examples(max_examples=120)
def test_every_value_in_dispute_is_told_and_no_mark_of_ours(three: tuple[dict[str, Any], ...]) -> None:
    base, ours, theirs = (facts(side) for side in three)
    for c in merge(base, ours, theirs, DRINK).conflicts:
        words = conflict_between(c, None, "here", "there")
        assert "None" not in words and not any(mark in words for mark in (MAP, ORDER, SET)), (words, c)
        assert words.count("takes away") + words.count("takes it away") <= 2
        for value in (c.ours, c.theirs):
            if isinstance(value, str) and value and c.path[-1] != ORDER and SET not in c.path:
                assert value in words or c.base is not None and "keeps it" in words, (words, c)


def test_a_whole_file_and_a_new_file() -> None:
    assert "cannot be joined by meaning" in conflict_between(Conflict(DRINK, (), None, None, None), None, "main", "it")
    assert conflict_between(Conflict(DRINK, (MAP,), None, True, True), None, "main", "it") == "both bring in drinks/some.yaml, each its own"
    assert record_name("prices/marram/price-book.yaml", None) == "prices/marram/price-book.yaml"
