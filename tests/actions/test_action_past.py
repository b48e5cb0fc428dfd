"""What a site was shown: in force before and after a start, by wave, the same after an upgrade; and what bundles hold."""

from __future__ import annotations

import json
import re
from datetime import datetime, timezone
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, MANAGERS, World, day, plain_git

from specctl.actions import case as cases
from specctl.actions.asking import Answer, ask
from specctl.actions.case import open_case
from specctl.actions.proposing import WaveWish
from specctl.actions.publishing import bundles, publish
from specctl.actions.reporting import impact_of
from specctl.canonical import digest
from specctl.errors import Damaged, NotFound, Stop
from specctl.report.html import render_html
from specctl.report.json import report_json
from specctl.report.markdown import render_markdown
from specctl.report.terminal import render_terminal
from specctl.report.view import view_of
from specctl.site.bundle import Bundle

FROST, FIZZ = "drinks/hazelnut-frost.yaml", "drinks/pear-sage-fizz.yaml"
PASTE, MORE_PASTE = "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}"
QUAY, ROW, STRAND, WATER = "northsands-quay", "harbour-row", "marram-strand", "breakwater"


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=timezone.utc)


def asked(world: World, site: str, at: str, item: str | None = "hazelnut-frost") -> list[Answer]:
    with world.open() as source:
        return ask(source, site, utc(at), item)[0]


def in_two_waves(world: World) -> str:
    world.edit(FROST, PASTE, MORE_PASTE)
    waves = (WaveWish("trial", day(12).date(), (QUAY,)), WaveWish("others", day(19).date(), ()))
    made = world.propose(5, "More paste", start=day(12).date(), waves=waves)
    world.done(made.name, 6)
    return made.name


def test_in_force_before_and_after_each_start(world: World) -> None:
    """Day 3, 12 and 19 are 5, 14 and 21 November; four in the morning at the site."""
    name = in_two_waves(world)
    for site, at, release in (
        (QUAY, "2026-11-05T04:00:00", 1),
        (QUAY, "2026-11-14T03:59:59", 1),
        (QUAY, "2026-11-14T04:00:00", 2),
        (ROW, "2026-11-14T04:00:00", 1),
        (ROW, "2026-11-21T04:00:00", 2),
        (WATER, "2026-11-21T08:59:59", 1),
        (WATER, "2026-11-21T09:00:00", 2),
    ):
        (answer,) = asked(world, site, at)
        assert answer.release == release, (site, at)
    (answer,) = asked(world, QUAY, "2026-11-14T04:00:00")
    assert answer.proposal == name and answer.why == "It was asked for." and answer.released_by == AUTHOR
    assert {s["person"] for s in answer.signers} == {"tobin-hale", *MANAGERS.values()}
    assert answer.commit == plain_git(world.book, "rev-parse", "release/2^{commit}")
    with pytest.raises(NotFound):
        asked(world, QUAY, "2026-11-05T03:59:59")
    with pytest.raises(NotFound):
        asked(world, "moon", "2026-11-14T04:00:00")


def test_the_entry_it_names_is_what_was_signed_and_stored(world: World) -> None:
    in_two_waves(world)
    (old,), (new,) = (asked(world, QUAY, at) for at in ("2026-11-13T00:00:00", "2026-11-15T00:00:00"))
    grams = []
    for answer in (old, new):
        assert answer.entry is not None
        entry = json.loads(world.on_main(f"entries/{answer.entry[:2]}/{answer.entry}.json"))
        assert digest(entry) == answer.entry
        lines = entry["sizes"][0]["layers"][0]["lines"]
        grams.append(next(line["grams"] for line in lines if line["key"] == "paste"))
    assert grams == ["20", "22"]


def test_an_upgrade_changes_no_answer_and_no_bundle(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """Another compiler, and one that cannot compile at all: the past is read, never made again."""
    in_two_waves(world)
    times = ("2026-11-06T00:00:00", "2026-11-15T00:00:00", "2026-11-25T00:00:00")

    def everything() -> Any:
        with world.open() as source:
            answers = [[a.as_json() for a in ask(source, s, utc(t))[0]] for s in (QUAY, ROW, WATER) for t in times]
            return answers, bundles(source.in_git(), world.main())

    before = everything()

    def broken(*given: object) -> Any:
        raise AssertionError("compiled again")

    monkeypatch.setattr(cases, "COMPILER", "compile-2")
    monkeypatch.setattr(cases, "compile_book", broken)
    monkeypatch.setattr("specctl.change.compiled.compile_book", broken)
    assert everything() == before


def test_another_clone_gives_the_same_answer(world: World) -> None:
    in_two_waves(world)
    plain_git(world.second, "pull", "-q", "--ff-only")
    with world.open() as one, world.open(world.second) as two:
        assert ask(one, QUAY, utc("2026-11-15T00:00:00"))[0] == ask(two, QUAY, utc("2026-11-15T00:00:00"))[0]


def test_a_harmed_record_or_entry_is_damage_never_another_answer(world: World) -> None:
    path = world.book / "releases/1.json"
    path.write_text(path.read_text().replace('"title":"Opening book"', '"title": "Opening book"'))
    plain_git(world.book, "commit", "-q", "-am", "by hand")
    with pytest.raises(Damaged):
        asked(world, QUAY, "2026-11-06T00:00:00")
    plain_git(world.book, "rm", "-q", "releases/1.json")
    plain_git(world.book, "commit", "-q", "-m", "gone")
    with pytest.raises(Stop):
        asked(world, QUAY, "2026-11-06T00:00:00")


# Prices: a canary per franchise, a number that stands nowhere else.

CANARY = {"northsands": "83.17", "marram": "97.43", "gull-rock": "61.89"}
MENU = {"northsands": "7.13", "marram": "8.47", "gull-rock": "9.59"}
OLD = {"northsands": "38.50 GBP", "marram": "42.75 EUR", "gull-rock": "54.25 USD"}


def with_canaries(world: World) -> None:
    """Every franchise's price of hazelnut paste and one menu price become their canary, released."""
    for franchise, old in OLD.items():
        path = f"prices/{franchise}/price-book.yaml"
        world.edit(path, old, f"{CANARY[franchise]} {old[-3:]}")
        text = (world.book / path).read_text()
        found = re.search(r"hazelnut-frost:\n?\s*\{?\s*regular: ([0-9.]+)", text)
        assert found is not None
        (world.book / path).write_text(text[: found.start(1)] + MENU[franchise] + text[found.end(1) :])
    made = world.propose(5, "Prices of the week")
    world.done(made.name, 6)


def all_bytes(folder: Path) -> bytes:
    return b"\n".join(p.name.encode() + b"\n" + p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file())


def test_bundles_hold_no_price_of_any_kind_and_no_other_site(world: World, tmp_path: Path) -> None:
    with_canaries(world)
    in_two_waves_at(world, 7)
    with world.open() as source:
        done = publish(source, tmp_path / "packs", tmp_path / "publishing-keys", day(9), new_keys=True)
    assert done.sites == tuple(sorted((QUAY, ROW, STRAND, WATER)))
    served = all_bytes(tmp_path / "packs")
    for price in (*CANARY.values(), *MENU.values(), *OLD.values(), "GBP", "EUR", "USD", "price_book\":{", "menu"):
        assert price.encode() not in served, price
    targets = {s: next((tmp_path / "packs/targets").rglob(f"*{s}.json")) for s in done.sites}
    for site, path in targets.items():
        bundle = Bundle.parse(path.read_bytes())
        assert bundle.site.id == site
        raw = json.loads(path.read_bytes())
        others = {QUAY, ROW, STRAND, WATER} - {site}
        del raw["statements"]
        # What was signed for the whole chain names its sites, by id and digest alone: no name, no card, no start of theirs.
        approvals = raw.pop("approvals")
        assert {len(row) for r in approvals["releases"] for e in r["effects"].values() for row in e["entries"]} <= {4}
        text = json.dumps(raw)
        assert [o for o in others if o in text] == []
        assert {row[0] for record in raw["releases"] for row in record["entries"]} == {site}
        for record in raw["releases"]:
            assert set(record["starts"]) == {site}
        for name in raw["entries"]:
            assert digest(raw["entries"][name]) == name


def in_two_waves_at(world: World, at: float) -> None:
    world.edit(FROST, PASTE, MORE_PASTE)
    made = world.propose(at, "More paste", start=day(at + 6).date())
    world.done(made.name, at + 1)


def reports(world: World, name: str, franchise: str) -> bytes:
    """Every form of one franchise's report."""
    with world.open() as source:
        impact = impact_of(open_case(source, name, day(8).date()), f"franchise/{franchise}")
        view = view_of(impact, now=day(8))
        return b"\n".join(
            [
                json.dumps(report_json(impact), ensure_ascii=False).encode(),
                render_html(view),
                render_markdown(view).encode(),
                render_terminal(view, 100).encode(),
            ]
        )


NAMES = {
    "northsands": (QUAY, ROW, "Northsands Quay", "Harbour Row", "Northsands Counters"),
    "marram": (STRAND, "Marram Strand", "Marram and Daughters"),
    "gull-rock": (WATER, "Breakwater", "Gull Rock Drinks"),
}


def nothing_of_others(page: bytes, franchise: str, extra: dict[str, str] | None = None) -> list[str]:
    secrets = [
        (other, text)
        for other in CANARY
        if other != franchise
        for text in (CANARY[other], MENU[other], f"prices/{other}", f"franchise/{other}", *NAMES[other], *((extra[other],) if extra else ()))
    ]
    return [f"{other}: {text}" for other, text in secrets if text.encode() in page]


@pytest.mark.parametrize("franchise", CANARY)
def test_a_franchises_report_holds_nothing_of_another(world: World, franchise: str) -> None:
    """Prices, names and site ids of others, searched in all bytes made; its own are there."""
    with_canaries(world)
    world.edit(FROST, PASTE, "{regular: 40 g, large: 60 g}")
    for other, price in CANARY.items():
        world.edit(f"prices/{other}/price-book.yaml", price, "1" + price)
    made = world.propose(7, "Twice the paste")
    page = reports(world, made.name, franchise)
    assert nothing_of_others(page, franchise) == []
    assert NAMES[franchise][1].encode() in page and MENU[franchise].encode() in page


def test_not_even_in_a_conflict(world: World) -> None:
    """Main and the proposal both moved another franchise's price: the words of the conflict are that franchise's."""
    path = "prices/gull-rock/price-book.yaml"
    world.edit(path, OLD["gull-rock"], f"{CANARY['gull-rock']} USD", world.second)
    theirs = world.propose(5, "Theirs", world.second, key=world.key("tobin-hale"))
    world.edit(path, OLD["gull-rock"], "59.99 USD")
    ours = world.propose(5, "Ours")
    world.done(ours.name, 6)
    page = reports(world, theirs.name, "northsands")
    assert b"59.99" not in page and nothing_of_others(page, "northsands") == []
    assert b"59.99" in reports(world, theirs.name, "gull-rock")


def test_not_even_where_a_price_book_is_not_at_hand(world: World) -> None:
    """The chain is told whose cost cannot be told; another franchise is not."""
    plain_git(world.book, "rm", "-q", "prices/marram/price-book.yaml")
    world.edit(FROST, PASTE, MORE_PASTE)
    made = world.propose(5, "Apart")
    assert nothing_of_others(reports(world, made.name, "northsands"), "northsands") == []
