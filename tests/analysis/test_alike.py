"""What is worked out once for sites that are alike is found at every one of them.

Peer: the same check asked for each site alone. The book is the demo's, with
sites stripped of one thing each so that there is something to find.
"""

from __future__ import annotations

import re
from dataclasses import replace
from decimal import Decimal
from functools import cache

import pytest

from specctl import resources
from specctl.analysis import holdrule, prices, serving
from specctl.codec.load import load
from specctl.codec.paths import is_readable
from specctl.domain.book import Book
from specctl.store.folder import read_folder

KINDS = {
    "": lambda site: site,
    "B": lambda site: site,
    "C": lambda site: site,
    "no-scale": lambda site: replace(site, tools={t: n for t, n in site.tools.items() if not t.startswith(("scale", "jug"))}),
    "vessels": lambda site: replace(site, vessels=frozenset(sorted(site.vessels)[2:])),
    "equipment": lambda site: replace(site, equipment=frozenset(sorted(site.equipment)[1:])),
    "stocks": lambda site: replace(site, stocks={"oat-drink": "oat-drink-skerry"}),
    "fewer": lambda site: replace(site, vessels=frozenset(), not_served=frozenset(("harbour-mocha", "matcha-cloud"))),
    "all": lambda site: replace(site, vessels=frozenset()),
}
"""Sites that differ in one thing only; B and C in nothing but that no scoop check is theirs."""


@cache
def bare() -> Book:
    """A site of each market, in every kind."""
    book = load(dict(read_folder(resources.demo_book(), is_readable))).book
    assert book is not None
    sites = {}
    for id in ("saltmarket", "dune-cross", "breakwater"):
        for kind, change in KINDS.items():
            own = f"{id}-{kind}"
            sites[own] = replace(change(book.sites[id]), id=own if kind else id, name=f"<{id} {kind}>")
    return replace(book, sites=sites)


def told(book: Book) -> set[tuple[str, str, str]]:
    """Code, words without the names of sites, and the name, for every site a finding names."""
    found = set()
    for problem in serving.check_serving(book):
        what = re.sub(r"('<[^>]*>'(, )?)+", "HERE", problem.what)
        found |= {(problem.code, what, name) for name in re.findall(r"'(<[^>]*>)'", problem.what)}
    return found


def test_every_site_is_told_what_it_would_be_told_alone() -> None:
    book = bare()
    alone = {row for id, site in book.sites.items() for row in told(replace(book, sites={id: site}))}
    assert len(alone) > 30
    bent = [kind for kind in KINDS if kind not in ("", "B", "C", "stocks")]
    assert {name for _, _, name in alone} >= {f"<{id} {kind}>" for id in ("saltmarket", "dune-cross", "breakwater") for kind in bent}
    # A size may be met at one site and not at another, so only what is the same for all is compared word by word.
    plain = {row for row in alone if ", size " not in row[1]}
    together = told(book)
    assert {row for row in together if ", size " not in row[1]} == plain
    assert {(code, what.split(", size ")[0], name) for code, what, name in together} == {
        (code, what.split(", size ")[0], name) for code, what, name in alone
    }


@pytest.mark.parametrize("check", [prices.check_prices, holdrule.check_holds])
def test_prices_and_holds_miss_nothing_of_a_site(check) -> None:
    """Nothing is priced, and every prep is kept lukewarm: what each site alone brings is found, and no more."""
    book = bare()
    book = replace(
        book,
        price_books={id: replace(prices, packs={}) for id, prices in book.price_books.items()},
        preps={id: replace(prep, keep="hot", keep_at=Decimal(20)) for id, prep in book.preps.items()},
    )

    def found(book: Book) -> set[tuple[str, str]]:
        # Which drink is named first depends on what else is served.
        return {(p.code, p.what.split(", which goes into")[0]) for p in check(book)}

    together = found(book)
    assert len(together) > 20
    assert together == {row for id, site in book.sites.items() for row in found(replace(book, sites={id: site}))}


@pytest.mark.parametrize("module, worker, check", [
    (serving, "_found", serving.check_serving),
    (prices, "ingredients_at", prices.check_prices),
    (holdrule, "preps_of", holdrule.check_holds),
])  # fmt: skip
def test_copies_of_a_site_cost_no_more_work(module, worker, check, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counts of calls, no clock: a third of each site adds nothing. (A second does where the first has scoop checks.)"""
    book, calls = bare(), []
    real = getattr(module, worker)
    monkeypatch.setattr(module, worker, lambda *given: calls.append(1) or real(*given))
    check(book)
    thrice = len(calls)
    calls.clear()
    check(replace(book, sites={id: s for id, s in book.sites.items() if not id.endswith("-C")}))
    assert 0 < thrice == len(calls)
