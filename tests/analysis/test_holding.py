"""How long a batch keeps: the earliest limit, never a guess, never a reset."""

from __future__ import annotations

from datetime import date, datetime, timedelta, timezone
from decimal import Decimal as D

import pytest
from hypothesis import given, strategies as st

from specctl.analysis.holding import (
    DEFERENCE,
    Discard,
    Started,
    discard_at,
    hold_of,
    limits_in,
    relabelled,
    topped_up,
)
from specctl.domain.amount import Grams, Tolerance
from specctl.domain.book import Book, Settings
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Line, Prep
from specctl.site.compare import Difference
from specctl.site.compare_words import difference_words

HOUR = 3600
DAY = 24 * HOUR
NOON = datetime(2026, 6, 1, 12, tzinfo=timezone.utc)


def prep(id: str, hold: int | None, *uses: str, keep: str = "chilled") -> Prep:
    lines = {use: Line(use, use, {"": Grams(D(10))}) for use in uses}
    return Prep(id=id, name=id.title(), lines=lines, yields=D(100), keep=keep, hold=hold)


def bought(id: str, life: int | None = None) -> Ingredient:
    return Ingredient(id=id, name=id.title(), state="liquid", storage="chilled", opened_life=life)


def book(*items: Prep | Ingredient) -> Book:
    chosen = Settings(
        id="b", name="B", day_starts="04:00",
        tolerance=Tolerance(D("0.05"), D("0.05"), True), documents_last=timedelta(days=730),
    )
    return Book(
        chosen,
        ingredients={each.id: each for each in items if isinstance(each, Ingredient)},
        preps={each.id: each for each in items if isinstance(each, Prep)},
    )


def test_the_earliest_limit_wins() -> None:
    brew = prep("brew", 48 * HOUR, "milk", "syrup")
    everything = book(brew, prep("syrup", 36 * HOUR, "fruit"), bought("milk", 3 * DAY), bought("fruit", DAY))
    found = hold_of(brew, everything)
    assert found.seconds == DAY and "Fruit" in found.because
    assert hold_of(brew, book(brew, bought("milk", 3 * DAY))).because == "its own hold time"


def test_an_unwritten_hold_is_unknown_whatever_its_parts_allow() -> None:
    brew = prep("brew", None, "milk")
    found = hold_of(brew, book(brew, bought("milk", 3 * DAY)))
    assert found.seconds is None and "no hold time" in found.because


def test_made_to_order() -> None:
    foam = prep("foam", None, keep="at-once")
    assert hold_of(foam, book(foam)).seconds == 0


def test_a_circle_of_preps_ends() -> None:
    one, two = prep("one", DAY, "two"), prep("two", HOUR, "one")
    assert hold_of(one, book(one, two)).seconds == HOUR


def test_many_shared_preps_are_walked_once() -> None:
    # each of 40 preps uses the two after it: 2**20 walks and more, if not remembered
    preps = [prep(f"p{i}", DAY - i, f"p{i + 1}", f"p{i + 2}") for i in range(40)]
    assert hold_of(preps[0], book(*preps)).seconds == DAY - 39


@pytest.mark.parametrize(
    ("started", "hours", "because"),
    [
        ([Started("milk", opened=NOON), Started("syrup", discard=NOON + timedelta(hours=30))], 24, "its own"),
        (
            [Started("milk", opened=NOON - timedelta(hours=60)), Started("syrup", discard=NOON + timedelta(hours=30))],
            12, "opened pack of Milk",
        ),
        ([Started("milk", opened=NOON), Started("syrup", discard=NOON + timedelta(hours=3))], 3, "batch of Syrup"),
        (
            [
                Started("milk", opened=NOON, pack_date=date(2026, 6, 1)),
                Started("syrup", discard=NOON + timedelta(hours=30)),
            ],
            12, "date on the pack of Milk",
        ),
    ],
)
def test_discard_is_the_earliest_of_all(started: list[Started], hours: int, because: str) -> None:
    brew = prep("brew", DAY, "milk", "syrup")
    everything = book(brew, bought("milk", 3 * DAY), prep("syrup", 2 * DAY))
    found = discard_at(NOON, brew, started, everything)
    assert found.at == NOON + timedelta(hours=hours)
    assert because in found.because and not found.unknown


def test_what_was_not_told_is_named() -> None:
    brew = prep("brew", DAY, "milk", "syrup", "foam", "sugar")
    everything = book(
        brew, bought("milk", 3 * DAY), prep("syrup", 2 * DAY), prep("foam", None, keep="at-once"), bought("sugar")
    )
    found = discard_at(NOON, brew, [], everything)
    assert found.at == NOON + timedelta(days=1)
    assert found.unknown == ("when the pack of Milk was opened", "when the batch of Syrup must go")


def test_discard_without_a_written_hold_is_unknown() -> None:
    brew = prep("brew", None, "milk")
    found = discard_at(NOON, brew, [Started("milk", opened=NOON)], book(brew, bought("milk", DAY)))
    assert found.at is None and "no hold time" in found.because


moments = st.none() | st.integers(0, 500).map(lambda hours: NOON + timedelta(hours=hours))


@given(moments, moments)
def test_topping_up_never_resets(held: datetime | None, fresh: datetime | None) -> None:
    found = topped_up(Discard(held, "old", ("x",)), Discard(fresh, "new", ("y",)))
    if held is None or fresh is None:
        assert found.at is None
    else:
        assert found.at == min(held, fresh)
    assert found.unknown == ("x", "y")


def test_limits_are_information_with_their_source() -> None:
    # US FDA Food Code: 5 °C, 57 °C, 4 h or 6 h, cooling in 2 h and 6 h; UK: 8 °C, 63 °C
    us = {limit.about: limit for limit in limits_in("US")}
    assert "5 °C" in us["cold holding"].value and "57 °C" in us["hot holding"].value
    assert "4 h" in us["time instead of temperature"].value and "6 h" in us["cooling"].value
    uk = {limit.about: limit for limit in limits_in("UK")}
    assert "8 °C" in uk["cold holding"].value and "63 °C" in uk["hot holding"].value
    assert all(limit.source for limit in limits_in("US") + limits_in("UK"))
    assert limits_in("XX") == ()
    assert "Local law" in DEFERENCE


@pytest.mark.parametrize(
    ("own", "hours", "because"),
    [
        (11 * 3600, 11, "relabel it"),
        (12 * 3600, 12, "its own hold time"),  # the same: nothing moves
        (48 * 3600, 12, "its own hold time"),  # a longer one revives nothing
    ],
)
def test_a_shorter_hold_reaches_what_is_made_and_a_longer_one_revives_nothing(own: int, hours: int, because: str) -> None:
    """Common practice of labelling, no source."""
    made = datetime(2026, 11, 25, 6)
    label = Discard(made + timedelta(hours=12), "its own hold time", ("a pack",))
    now = relabelled(label, made, own)
    assert now.at == made + timedelta(hours=hours) and because in now.because and now.unknown == ("a pack",)
    assert relabelled(label, made, None).at is None
    assert relabelled(Discard(None, "not told"), made, own).at is None


def test_a_counter_is_told_to_relabel_when_a_hold_time_changes() -> None:
    def hold(own: str) -> dict[str, str]:
        return {"keep": "chilled", "own": own, "note": "its own hold time"}

    words = difference_words(Difference("hold", (("what", "hold"),), hold("24 h"), hold("12 h")))
    assert "→" in words and "relabel them now" in words and "no more time" in words
