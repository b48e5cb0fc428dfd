"""A minute of the past among 10,000 releases, by what is kept, against the walk over the same records."""

from __future__ import annotations

import time
from collections.abc import Callable

import pytest

from specctl.change.effect import Row, WavePlan
from specctl.change.past import Past, read_past
from specctl.change.record import Release, in_force, read_release

SITES = tuple(f"site-{n}" for n in range(12))
ITEMS = tuple(f"drink/d{n}" for n in range(40))


def _release(number: int) -> Release:
    at = f"20{26 + number // 3650:02}-{1 + number // 300 % 12:02}-{1 + number // 10 % 28:02}T04:00:00Z"
    item = ITEMS[number * 7 % len(ITEMS)]
    rows = tuple(Row(site, item, None, f"{number:064x}") for site in SITES)
    return Release(
        number, "book", f"{number}-change", "A change", "It was asked for.", ("0" * 40, "1" * 40), {"chain": "0" * 64}, at[:10],
        (WavePlan("all", at[:10], SITES),), dict.fromkeys(SITES, at), rows, ("0" * 64,) * 3, "isla-varn", at,
    )  # fmt: skip


def _best(run: Callable[[], object], times: int) -> float:
    found = []
    for _ in range(times):
        began = time.perf_counter()
        run()
        found.append(time.perf_counter() - began)
    return min(found)


@pytest.mark.bench
def test_a_minute_of_the_past(record_property: Callable[[str, object], None]) -> None:
    releases = [_release(n) for n in range(1, 10_001)]
    past = Past()
    for one in releases:
        past.add(SITES[0], one, "0" * 40)
    data, minute = past.bytes(), "2027-06-01T12:00:00Z"
    kept = read_past(data)
    assert kept is not None and kept.at(minute) == in_force(releases, SITES[0], minute) != {}
    # Each with reading what it needs; the last two with it in memory already.
    written = [(one.bytes(), one.path) for one in releases]
    asked = _best(lambda: (read_past(data) or Past()).at(minute), 9)
    held = _best(lambda: kept.at(minute), 9)
    walked = _best(lambda: in_force(releases, SITES[0], minute), 3)
    reading = _best(lambda: in_force([read_release(*one) for one in written], SITES[0], minute), 1)
    words = f"records read and walked {reading * 1000:.0f} ms; kept {len(data) / 1e6:.1f} MB: read and asked {asked * 1000:.1f} ms, asked {held * 1000:.2f} ms; walk {walked * 1000:.1f} ms"
    record_property("past", words)
    print(words)
    assert held < walked / 20
    assert asked < reading / 10
