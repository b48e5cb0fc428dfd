"""Keeping against the limits of a market, on both sides of each.

US: FDA Food Code (5 °C, 57 °C, 4 h, 6 h if never above 21 °C). UK: food hygiene
regulations (8 °C, 63 °C, one display period of under 4 h). Read in quoted copies.
"""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import make
import pytest

from specctl.analysis.holdrule import check_holds, hold_faults
from specctl.domain.place import Market
from specctl.problem import ERROR


def market(rule: str | None) -> Market:
    return replace(make.market(), holding=rule)


def codes(rule: str | None, keep: str, at: str | None, hours: str = "1", stable: str = "") -> list[str]:
    prep = make.prep(
        "brew", 100, keep=keep, keep_at=None if at is None else Decimal(at), hold=int(Decimal(hours) * 3600), stable=stable
    )
    return [p.code for p in hold_faults(prep, market(rule))]


@pytest.mark.parametrize(
    ("rule", "keep", "at", "code"),
    [
        ("us", "chilled", "5", None), ("us", "chilled", "5.1", "keep-too-warm"),
        ("uk", "chilled", "8", None), ("uk", "chilled", "8.1", "keep-too-warm"),
        ("us", "hot", "57", None), ("us", "hot", "56.9", "keep-too-cool"),
        ("uk", "hot", "63", None), ("uk", "hot", "62.9", "keep-too-cool"),
        ("us", "chilled", None, None), (None, "chilled", "30", None),
    ],
)  # fmt: skip
def test_temperatures(rule: str | None, keep: str, at: str | None, code: str | None) -> None:
    assert codes(rule, keep, at) == ([code] if code else [])


@pytest.mark.parametrize(
    ("rule", "at", "hours", "found"),
    [
        ("us", None, "4", False), ("us", None, "4.01", True), ("us", "21", "6", False), ("us", "21", "6.01", True),
        ("us", "21.1", "4.5", True), ("uk", None, "3.99", False), ("uk", None, "4", True), ("uk", "20", "4", True),
    ],
)  # fmt: skip
def test_time_without_temperature_control(rule: str, at: str | None, hours: str, found: bool) -> None:
    assert codes(rule, "ambient", at, hours) == (["hold-too-long"] if found else [])


def test_what_says_why_it_is_stable_has_no_time_limit_here() -> None:
    assert codes("uk", "ambient", None, "48", "65 °Brix, laboratory report 12") == []


def test_a_spec_may_not_loosen_it_where_the_prep_is_made_and_the_words_defer() -> None:
    brew = make.prep("brew", 100, make.line("w", "water", 100), keep="ambient", hold=5 * 3600)
    cup = make.drink("cup", make.layer("base", make.line("b", "brew", 100)))
    book = make.book(brew, cup, make.ingredient("water"), market("uk"), make.franchise(), make.site("pier"))
    (problem,) = check_holds(book)
    assert (problem.code, problem.severity) == ("hold-too-long", ERROR)
    assert "Local law" in problem.todo
    assert check_holds(replace(book, drinks={})) == []
