"""The effect is what people sign: an unrelated release leaves its bytes alone, a related one never does."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from functools import cache
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from make_records import records

from specctl import resources
from specctl.canonical import canonical
from specctl.change.effect import (
    CHAIN,
    Effect,
    Row,
    WavePlan,
    differing,
    file_digest,
    for_franchise,
    owner_of,
    part_of,
    plan_waves,
)
from specctl.change.facts import diff, facts
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.domain.people import Proposal, Wave

SITES = ("quay", "pier", "wharf")
ITEMS = ("drink/fizz", "drink/latte", "prep/foam")
rows = st.dictionaries(
    st.tuples(st.sampled_from(SITES), st.sampled_from(ITEMS)), st.sampled_from(["a" * 64, "b" * 64, "c" * 64])
)


def an_effect(before: dict[Any, str], after: dict[Any, str], **more: Any) -> Effect:
    given = {"start": "2026-12-01", "waves": (), "files": ()} | more
    return Effect(CHAIN, rows=differing(before, after), **given)


@given(rows, rows, rows)
def test_an_unrelated_release_leaves_the_bytes_alone(main: Any, mine: Any, other: Any) -> None:
    """The other release moves other (site, item)s; the proposal merged onto the new main moves its own as before."""
    elsewhere = {key: digest for key, digest in other.items() if key not in mine}
    one = an_effect(main, {**main, **mine})
    two = an_effect({**main, **elsewhere}, {**main, **elsewhere, **mine})
    assert one.digest == two.digest


@given(rows, rows, st.sampled_from(SITES), st.sampled_from(ITEMS))
def test_a_related_release_changes_them(main: Any, mine: Any, site: str, item: str) -> None:
    """Another entry on main for something the proposal moves: what is signed is another step."""
    key = (site, item)
    mine = {**mine, key: "d" * 64}
    one = an_effect(main, {**main, **mine})
    two = an_effect({**main, key: "e" * 64}, {**main, key: "e" * 64, **mine})
    assert one.digest != two.digest


@given(rows, rows)
def test_rows_are_sorted_whole_and_only_those_that_differ(before: Any, after: Any) -> None:
    found = differing(before, after)
    assert list(found) == sorted(found, key=lambda r: (r.site, r.item))
    assert {(r.site, r.item): (r.before, r.after) for r in found} == {
        k: (before.get(k), after.get(k)) for k in {**before, **after} if before.get(k) != after.get(k)
    }


def test_the_digest_is_sha256_of_the_json_on_the_page() -> None:
    """Anybody can check it with a JSON tool and sha256sum: for these values RFC 8785 is sorted keys, no spaces."""
    effect = an_effect({}, {("quay", "drink/fizz"): "a" * 64}, files=(("book.yaml", "f" * 64),))
    plain = json.dumps(effect.as_json(), sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    assert effect.digest == hashlib.sha256(plain).hexdigest()
    assert canonical(effect.as_json()) == plain


def test_start_waves_and_files_are_signed_too() -> None:
    whole = {
        an_effect({}, {}).digest,
        an_effect({}, {}, start="2026-12-02").digest,
        an_effect({}, {}, waves=(WavePlan("first", "2026-12-01", ("quay",)),)).digest,
        an_effect({}, {}, waves=(WavePlan("first", "2026-12-01", ("pier",)),)).digest,
        an_effect({}, {}, files=(("policy.yaml", "a" * 64),)).digest,
    }
    assert len(whole) == 5


@given(records, records)
def test_a_file_is_named_by_its_changed_facts(before: dict[str, Any], after: dict[str, Any]) -> None:
    there, back = diff(facts(before), facts(after)), diff(facts(after), facts(before))
    assert (file_digest(there) == file_digest(())) == (there == ())
    assert (file_digest(there) == file_digest(back)) == (there == ())


@cache
def demo() -> Book:
    root = resources.demo_book()
    files = {p.relative_to(root).as_posix(): p.read_bytes() for p in root.rglob("*.yaml")}
    book = load(files).book
    assert book is not None
    return book


def test_a_franchise_sees_its_own_files_and_the_shared_ones() -> None:
    book = demo()
    files = [
        "drinks/hazelnut-frost.yaml",
        "franchises/gull-rock.yaml",
        "franchises/northsands.yaml",
        "prices/gull-rock/price-book.yaml",
        "prices/marram/price-book.yaml",
        "prices/northsands/price-book.yaml",
        "scoop-checks/lantern-pier-cocoa-scoop-flint.yaml",
        "scoop-checks/saltmarket-matcha-scoop-teal.yaml",
        "scoop-checks/breakwater-matcha-spoon-tsp-us.yaml",
        "sites/breakwater.yaml",
        "sites/harbour-row.yaml",
        "tools/scoop-amber.yaml",
    ]
    every_site = tuple(sorted(book.sites))
    chain = Effect(
        CHAIN,
        "2026-12-01",
        (WavePlan("all", "2026-12-01", every_site),),
        tuple(Row(s, "drink/hazelnut-frost", "a" * 64, "b" * 64) for s in every_site),
        tuple((path, "f" * 64) for path in files),
    )
    seen: dict[str, set[str]] = {}
    for franchise in book.franchises:
        part = for_franchise(chain, franchise, book, book)
        own = {s.id for s in book.sites.values() if s.franchise == franchise}
        assert part.scope == f"franchise/{franchise}"
        assert {r.site for r in part.rows} == own == {s for w in part.waves for s in w.sites}
        seen[franchise] = {path for path, _ in part.files}
        for path in seen[franchise]:
            assert owner_of(path, book) in (None, franchise)
    assert set.union(*seen.values()) == set(files)
    assert set.intersection(*seen.values()) == {"drinks/hazelnut-frost.yaml", "tools/scoop-amber.yaml"}
    assert "prices/gull-rock/price-book.yaml" not in seen["northsands"] | seen["marram"]


def test_a_site_that_changes_hands_is_shown_to_both_owners() -> None:
    """The old owner must see it go, the new one see it come."""
    from dataclasses import replace

    before = demo()
    sold = replace(before.sites["breakwater"], franchise="marram")
    after = replace(before, sites={**before.sites, "breakwater": sold})
    chain = Effect(CHAIN, "2026-12-01", (), (Row("breakwater", "drink/x", "a" * 64, "b" * 64),), (("sites/breakwater.yaml", "f" * 64),))
    for franchise, sees in (("gull-rock", True), ("marram", True), ("northsands", False)):
        part = for_franchise(chain, franchise, before, after)
        assert bool(part.rows) is bool(part.files) is sees


def test_a_part_keeps_only_its_waves() -> None:
    waves = (WavePlan("first", "2026-12-01", ("quay",)), WavePlan("rest", "2026-12-08", ("pier", "wharf")))
    part = part_of(an_effect({}, {}, waves=waves), "franchise/north", frozenset({"pier"}), frozenset())
    assert part.waves == (WavePlan("rest", "2026-12-08", ("pier",)),)


def test_waves_are_spelled_out_and_leave_no_site_behind() -> None:
    start = date(2026, 12, 1)
    trial = Wave("trial", start, ("wharf",))
    named = Proposal("1-x", "", "", start, {"trial": trial})
    assert {s for w in plan_waves(named, SITES) for s in w.sites} == set(SITES)
    rest = Proposal("1-x", "", "", start, {"trial": trial, "others": Wave("others", date(2026, 12, 8), None)})
    assert plan_waves(rest, SITES) == (
        WavePlan("trial", "2026-12-01", ("wharf",)),
        WavePlan("others", "2026-12-08", ("pier", "quay")),
    )
    assert plan_waves(Proposal("1-x", "", "", start), SITES) == (WavePlan("all", "2026-12-01", tuple(sorted(SITES))),)
