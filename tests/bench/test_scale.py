"""Work grows with distinct site profiles and price books, not with sites. Run: pytest tests/bench -m bench -s

The demo book's twelve sites, each copied nineteen times, make 240 sites with
the same twelve profiles. Twenty times the sites must not cost twenty times the
compiling or the costing; a plain reading of the compiled entries (json.loads)
and the number of rows stand beside it for scale.
"""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache
from statistics import median

import pytest

from bench_world import timed
from specctl import resources
from specctl.canonical import canonical
from specctl.change.compiled import Compiled, compile_book
from specctl.change.costing import Side, costs_of
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.domain.book import Book
from specctl.store.folder import read_folder

COPIES = 20
ROUNDS = 3
# Generous: one walk over twenty times the rows is honest work; twenty times the compiling is not.
COMPILE_MOST, COST_MOST = 5, 8


@cache
def demo() -> Book:
    book = load(read_folder(resources.demo_book(), is_readable)).book
    assert book is not None
    return book


@cache
def wide() -> Book:
    """Every site twenty times, its scoop checks with it."""
    book = demo()
    sites, checks = dict(book.sites), dict(book.scoop_checks)
    for number in range(1, COPIES):
        for site in book.sites.values():
            sites[f"{site.id}-{number}"] = replace(site, id=f"{site.id}-{number}")
    return replace(book, sites=sites, scoop_checks=checks)


@cache
def compiled(which: str) -> Compiled:
    return compile_book({"demo": demo, "wide": wide}[which]())


def test_copies_of_a_site_are_told_the_same() -> None:
    """A copy without scoop checks of its own shares the entries of every site of its profile."""
    few, many = compiled("demo"), compiled("wide")
    checked = {check.site for check in demo().scoop_checks.values()}
    for (site, item), digest in few.rows.items():
        if site not in checked:
            assert many.rows[f"{site}-{COPIES - 1}", item] == digest
    assert len(many.rows) == COPIES * len(few.rows)
    assert len(many.entries) < 2 * len(few.entries)


@pytest.mark.bench
def test_twenty_times_the_sites_do_not_cost_twenty_times_the_work() -> None:
    text = canonical(compiled("demo").entries)
    rounds = [
        (
            timed(lambda: compile_book(demo())),
            timed(lambda: compile_book(wide())),
            timed(lambda: _costs("demo")),
            timed(lambda: _costs("wide")),
            timed(lambda: json.loads(text)),
        )
        for _ in range(ROUNDS)
    ]
    compiling = median(many / few for few, many, *_ in rounds)
    costing = median(many / few for _, _, few, many, _ in rounds)
    peer = median(few / read for few, *_, read in rounds)
    print(f"\n{len(demo().sites)} sites to {len(wide().sites)} of the same profiles ({COPIES} times the rows):")
    print(f"  compiling  {compiling:4.1f} times the work; {peer:.0f} times json.loads of the entries it makes")
    print(f"  costing    {costing:4.1f} times the work, {len(demo().price_books)} price books either way")
    assert compiling < COMPILE_MOST
    assert costing < COST_MOST


def _costs(which: str) -> None:
    book = {"demo": demo, "wide": wide}[which]()
    before = Side(Book(book.settings), {}, {})
    after = Side(book, compiled(which).rows, compiled(which).entries)
    for franchise in sorted(book.price_books):
        costs_of(before, after, franchise)
