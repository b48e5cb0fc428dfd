"""Drawings made at publish: beside the entries, the same each time, opened by the site's own reader."""

from __future__ import annotations

import json

import pytest
from conftest import World

from specctl.actions import drawing
from specctl.actions.collecting import main_book
from specctl.actions.drawing import Drawer
from specctl.actions.ledger import Ledger
from specctl.actions.publishing import bundles
from specctl.canonical import digest
from specctl.site.bundle import Bundle


def test_each_drink_that_can_be_drawn_is_drawn_and_the_site_reads_it(world: World) -> None:
    with world.open() as source:
        made = bundles(source.in_git(), world.main())
        again = bundles(source.in_git(), world.main())
    assert made == again
    for data in made.values():
        held = Bundle.parse(data)
        raw = json.loads(data)
        assert set(held.drawings) == set(raw.get("drawings", {}))
        drinks = {d for d, entry in held.entries.items() if entry["item"].startswith("drink/")}
        assert set(held.drawings) <= drinks
    assert any(Bundle.parse(data).drawings for data in made.values())


def test_each_distinct_entry_is_drawn_once_whatever_number_of_sites_share_it(
    world: World, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[tuple[object, str]] = []
    monkeypatch.setattr(drawing, "drawings_of", lambda larder, entry: drawn.append((larder.ice_celsius, digest(entry))) or {})
    with world.open() as source:
        ledger = Ledger(source.in_git(), world.main())
        book = main_book(source.in_git(), world.main())
        drawer = Drawer(book)
        for site in book.sites.values():
            drawer.key(site, ledger)
    served = {row.after for r in ledger.releases for row in r.rows if row.after and row.item.startswith("drink/")}
    assert {one for _, one in drawn} <= served and drawn
    assert len(drawn) == len(set(drawn)), "once for each entry and ice"
