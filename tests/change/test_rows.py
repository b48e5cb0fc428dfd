"""The short form of rows: unique, lossless, and short where sites are alike (laws, no outside source needed)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from specctl.canonical import canonical
from specctl.change.rows import Row, entries_at, grouped, ungrouped

SITES = st.sampled_from([f"site-{n}" for n in range(6)])
ITEMS = st.sampled_from([f"drink/d{n}" for n in range(4)])
SIDE = st.none() | st.sampled_from(["a" * 64, "b" * 64, "c" * 64])
ROWS = st.dictionaries(st.tuples(SITES, ITEMS), st.tuples(SIDE, SIDE), max_size=20).map(
    lambda found: [Row(site, item, *sides) for (site, item), sides in found.items()]
)


@given(ROWS, st.randoms())
def test_nothing_is_lost_and_the_bytes_do_not_depend_on_the_order(rows: list[Row], dice: object) -> None:
    lists, entries = grouped(rows)
    assert ungrouped(lists, entries) == tuple(sorted(rows, key=lambda r: (r.site, r.item)))
    mixed = list(rows)
    dice.shuffle(mixed)  # type: ignore[attr-defined]
    assert canonical([*grouped(mixed)]) == canonical([lists, entries])


@given(ROWS, SITES)
def test_one_site_sees_its_own_rows(rows: list[Row], site: str) -> None:
    wanted = sorted(([r.site, r.item, r.before, r.after] for r in rows if r.site == site), key=lambda r: str(r[1]))
    assert entries_at(site, *grouped(rows)) == wanted


def test_a_chain_of_alike_sites_takes_little_room() -> None:
    rows = [Row(f"site-{n:04}", f"drink/d{d}", None, f"{n % 5}{d:03}".ljust(64, "0")) for n in range(500) for d in range(100)]
    short = len(canonical([*grouped(rows)]))
    assert short < len(canonical([[r.site, r.item, r.before, r.after] for r in rows])) / 50


@pytest.mark.parametrize(
    ("lists", "entries"),
    [
        ([["pier"]], [["drink/fizz", None, "a" * 64, 1]]),
        ([["pier"]], [["drink/fizz", None, "a" * 64, True]]),
        ([["pier"]], [["drink/fizz", None, "a" * 64, -1]]),
        ([["pier"]], [["drink/fizz", None, "a" * 64, 0], ["drink/fizz", None, "b" * 64, 0]]),
        ([["pier", "pier"]], [["drink/fizz", None, "a" * 64, 0]]),
    ],
)
def test_what_was_not_written_so_is_refused(lists: list[list[str]], entries: list[list[object]]) -> None:
    with pytest.raises(ValueError):
        ungrouped(lists, entries)
