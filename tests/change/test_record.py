"""Release records and what is in force: a table of cases, and nothing read that the tool would not have written."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specctl.change.effect import Row, WavePlan
from specctl.change.record import InForce, Release, crossing, in_force, latest_rows, read_release
from specctl.errors import Damaged

A, B, C = ("a" * 64, "b" * 64, "c" * 64)


def a_release(number: int, starts: dict[str, str], *rows: tuple[str, str, str | None, str | None], **more: Any) -> Release:
    made = Release(
        number=number,
        book="tidewick",
        proposal=f"{number}-foam",
        title="Less foam “everywhere”",
        why="It runs over.",
        parents=("1" * 40, "2" * 40),
        effects={"chain": A},
        start="2026-12-01",
        waves=(WavePlan("all", "2026-12-01", tuple(sorted(starts))),),
        starts=starts,
        rows=tuple(Row(*row) for row in rows),
        statements=(C,),
        released_by="isla-varn",
        released="2026-11-25T09:00:00Z",
    )
    return replace(made, **more)


FIRST = a_release(1, {"quay": "2026-12-01T04:00:00Z"}, ("quay", "drink/fizz", None, A))


def test_a_record_reads_back() -> None:
    assert read_release(FIRST.bytes(), FIRST.path) == FIRST


WHOLE = FIRST.as_json()


def other(**fields: Any) -> bytes:
    raw = {k: v for k, v in {**WHOLE, **fields}.items() if v is not ...}
    return json.dumps(raw, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode() + b"\n"


def test_the_writing_of_these_tests_is_right() -> None:
    assert other() == FIRST.bytes()


@pytest.mark.parametrize(
    "data",
    [
        pytest.param(b"", id="empty"),
        pytest.param(FIRST.bytes()[:-1], id="without its newline"),
        pytest.param(FIRST.bytes() + b"\n", id="a newline more"),
        pytest.param(FIRST.bytes().replace(b":", b": ", 1), id="a space more"),
        pytest.param(FIRST.bytes()[:40], id="cut"),
        pytest.param(other(extra=1), id="a key more"),
        pytest.param(other(title=...), id="a key less"),
        pytest.param(other(release=2), id="another format"),
        pytest.param(other(release=True), id="a switch for the format"),
        pytest.param(other(number=2), id="another number than its name"),
        pytest.param(other(number="1"), id="a text for its number"),
        pytest.param(other(title=5), id="a number for its title"),
        pytest.param(other(starts={"quay": 5}), id="a number for a start"),
        pytest.param(other(starts={"quay": "soon"}), id="a word for a start"),
        pytest.param(other(released="yesterday"), id="a word for its time"),
        pytest.param(other(entries=[["quay", "drink/fizz", None]]), id="half a row"),
        pytest.param(other(entries=[["quay", "drink/fizz", None, "abc"]]), id="a row without a digest"),
        pytest.param(other(entries=[[1, "drink/fizz", None, A]]), id="a number for a site"),
        pytest.param(other(entries="none"), id="a text for rows"),
        pytest.param(other(parents="ab"), id="a text for parents"),
        pytest.param(other(waves=[{"key": "all", "start": "2026-12-01"}]), id="a wave without sites"),
        pytest.param(other(effects={"chain": 1}), id="a number for an effect"),
        pytest.param(other(title=1.5), id="a fraction"),
        pytest.param(b"[" * 100_000, id="deep"),
        pytest.param(b"\xff\n", id="no UTF-8"),
        pytest.param(b"[]\n", id="a list"),
    ],
)
def test_what_the_tool_would_not_write_is_damaged(data: bytes) -> None:
    with pytest.raises(Damaged):
        read_release(data, "releases/1.json")


@given(st.data())
def test_one_changed_byte_is_damage_or_another_whole_record(data: st.DataObject) -> None:
    """Git's own ids guard the values; here a record is whole or refused, never half read."""
    whole = FIRST.bytes()
    at = data.draw(st.integers(0, len(whole) - 1))
    harmed = whole[:at] + bytes([data.draw(st.integers(0, 255))]) + whole[at + 1 :]
    try:
        read = read_release(harmed, "releases/1.json")
    except Damaged:
        return
    assert read.bytes() == harmed


def test_a_record_under_another_name_is_damaged() -> None:
    with pytest.raises(Damaged):
        read_release(FIRST.bytes(), "releases/2.json")


SECOND = a_release(
    2,
    {"quay": "2026-12-05T04:00:00Z", "pier": "2026-12-12T04:00:00Z"},
    ("quay", "drink/fizz", A, B),
    ("pier", "drink/fizz", None, B),
)
GONE = a_release(3, {"quay": "2026-12-20T04:00:00Z"}, ("quay", "drink/fizz", B, None))
OTHER = a_release(4, {"quay": "2026-12-21T04:00:00Z"}, ("quay", "drink/latte", None, C))


@pytest.mark.parametrize(
    ("site", "at", "expected"),
    [
        pytest.param("quay", "2026-12-01T03:59:59Z", {}, id="a second before the first start"),
        pytest.param("quay", "2026-12-01T04:00:00Z", {"drink/fizz": (1, A)}, id="at the start"),
        pytest.param("quay", "2026-12-05T03:59:59Z", {"drink/fizz": (1, A)}, id="the next is still pending"),
        pytest.param("quay", "2026-12-05T04:00:00Z", {"drink/fizz": (2, B)}, id="the next has started"),
        pytest.param("pier", "2026-12-05T04:00:00Z", {}, id="the second wave waits"),
        pytest.param("pier", "2026-12-12T04:00:00Z", {"drink/fizz": (2, B)}, id="the second wave"),
        pytest.param("quay", "2026-12-20T04:00:00Z", {"drink/fizz": (3, None)}, id="no longer served, and told so"),
        pytest.param("quay", "2026-12-22T00:00:00Z", {"drink/fizz": (3, None), "drink/latte": (4, C)}, id="each item by itself"),
        pytest.param("pier", "2027-01-01T00:00:00Z", {"drink/fizz": (2, B)}, id="another site's end is not ours"),
        pytest.param("moon", "2027-01-01T00:00:00Z", {}, id="a site no release names"),
    ],
)
def test_in_force(site: str, at: str, expected: dict[str, tuple[int, str | None]]) -> None:
    every = [OTHER, SECOND, GONE, FIRST]  # the order they are read in plays no part
    found = in_force(every, site, at)
    assert {item: (f.release, f.entry) for item, f in found.items()} == expected


def test_it_says_since_when() -> None:
    assert in_force([FIRST, SECOND], "quay", "2026-12-06T00:00:00Z") == {
        "drink/fizz": InForce(2, "2026-12-05T04:00:00Z", B)
    }


def test_a_row_of_a_site_without_a_start_is_never_in_force() -> None:
    stray = a_release(1, {}, ("quay", "drink/fizz", None, A))
    assert in_force([stray], "quay", "2030-01-01T00:00:00Z") == {}


def test_main_stands_for_the_newest_rows_started_or_not() -> None:
    assert latest_rows([SECOND, FIRST]) == {("quay", "drink/fizz"): B, ("pier", "drink/fizz"): B}
    assert latest_rows([SECOND, FIRST, GONE]) == {("pier", "drink/fizz"): B}


@pytest.mark.parametrize(
    ("start", "item", "crosses"),
    [
        ("2026-12-04T04:00:00Z", "drink/fizz", True),
        ("2026-12-05T04:00:00Z", "drink/fizz", False),
        ("2026-12-06T04:00:00Z", "drink/fizz", False),
        ("2026-12-04T04:00:00Z", "drink/latte", False),
    ],
)
def test_a_start_before_a_pending_start_of_the_same_item_crosses(start: str, item: str, crosses: bool) -> None:
    found = crossing([SECOND, FIRST], [Row("quay", item, B, C)], {"quay": start})
    assert bool(found) is crosses
    if crosses:
        assert "release 2" in found[0] and "quay" in found[0] and "2026-12-05" in found[0]


def test_a_site_without_a_new_start_crosses_nothing() -> None:
    assert crossing([SECOND], [Row("quay", "drink/fizz", B, C)], {}) == []


def test_a_site_sees_its_own_rows_only() -> None:
    shown = json.dumps(SECOND.for_site("pier"))
    assert "quay" not in shown
    assert SECOND.for_site("pier")["entries"] == [["pier", "drink/fizz", None, B]]
