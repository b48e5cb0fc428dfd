"""How long 5,000 drinks of two sizes take, as a ratio to a peer in the same run.

The peer writes and reads back as JSON the entry of one drink, once for each
cup: work every page does anyway. The limit is generous on purpose; the ratio
and the seconds are printed (`pytest -s -m bench`). Nothing waits for a clock.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal as D
from time import process_time
from typing import Any

import pytest

from specctl.analysis.build import build_lines
from specctl.analysis.filling import fill_lines
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import Larder
from specctl.change.entry import compile_entry
from specctl.change.memo import Memo, profile_of
from specctl.codec.load import load
from specctl.domain.amount import Grams
from specctl.domain.recipe import Drink
from specctl.resources import demo_book

DRINKS, MOST = 5000, 2


def spent(work: Callable[[], object]) -> float:
    begun = process_time()
    work()
    return process_time() - begun


def varied(drink: Drink, number: int) -> Drink:
    """The same drink with amounts of its own, so that no two cups are one."""
    layers = {}
    for key, layer in drink.layers.items():
        lines = {}
        for name, line in layer.lines.items():
            amounts = {
                size: Grams(amount.value + D(number % 97) / 100) if isinstance(amount, Grams) else amount
                for size, amount in line.amounts.items()
            }
            lines[name] = replace(line, amounts=amounts)
        layers[key] = replace(layer, lines=lines)
    return replace(drink, layers=layers)


@pytest.mark.bench
def test_five_thousand_drinks_of_two_sizes(capsys: pytest.CaptureFixture[str]) -> None:
    root = demo_book()
    book = load({str(p.relative_to(root)): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}).book
    assert book is not None
    pairs = [drink for drink in book.drinks.values() if len(drink.sizes) == 2]
    drinks = [varied(pairs[number % len(pairs)], number) for number in range(DRINKS)]
    larder = Larder(book)
    rooms: dict[str, int] = {}

    def cups() -> None:
        for drink in drinks:
            for size in drink.sizes.values():
                vessel = book.vessels[size.vessel]
                filled = fill_lines(book, build_lines(book, drink, size.key), vessel)
                poured = {p: (f.line.use, None if f.grams is None else float(f.grams)) for p, f in filled.items()}
                state = build_cup(larder, drink, vessel, portions_of(drink, poured))
                assert state is not None
                rooms[state.room] = rooms.get(state.room, 0) + 1

    site = book.sites["harbour-row"]
    entry: dict[str, Any] = compile_entry(Memo(book), profile_of(book, site), "drink/matcha-cloud")

    def peer() -> None:
        for _ in range(2 * DRINKS):
            json.loads(json.dumps(entry))

    ours, theirs = spent(cups), spent(peer)
    with capsys.disabled():
        print(f"\n10,000 cups: {ours:.2f} s of one core, {ours / theirs:.2f} times a JSON round trip of one entry each")
    assert sum(rooms.values()) == 2 * DRINKS
    assert ours / theirs < MOST
