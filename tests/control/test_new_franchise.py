"""A franchise opens in three steps: itself, the one who manages it, then its counter.

People change apart from all else, so a franchise is there before its manager is;
none of the steps may be shut by another. Invented people.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from chain_world import SAFETY, SECOND, World, day
from test_signatories import FILE, public, said_by

from specctl.actions.auditing import audit
from specctl.actions.publishing import bundles
from specctl.errors import Found
from specctl.problem import errors_of
from specctl.store.signature import make_key

MANAGER = "una-reef"


def stepped(world: World, files: dict[str, str], at: float, *more: Path) -> None:
    """Proposed, signed by both of the chain and by whom `more` names, and released."""
    for path, text in files.items():
        place = world.book / path
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_text(text)
    name = world.propose(at, f"Step of day {at:.0f}", start=day(at + 1).date()).name
    envelopes = [e for who in (world.key(SECOND), world.key(SAFETY), *more) for e in said_by(world, name, who, at)]
    assert world.collect(envelopes, at + 0.1).refused == ()
    world.release(name, at + 0.2)


def its_counter(world: World) -> dict[str, str]:
    """A counter and a price book like those of a franchise there is."""
    return {
        "sites/skerrig-head.yaml": world.on_main("sites/marram-strand.yaml").replace("franchise: marram", "franchise: skerrig"),
        "prices/skerrig/price-book.yaml": world.on_main("prices/marram/price-book.yaml").replace("marram", "skerrig"),
    }


def test_a_new_franchise_its_manager_and_its_first_counter(world: World, tmp_path: Path) -> None:
    make_key(tmp_path / MANAGER, MANAGER)
    key = tmp_path / MANAGER
    stepped(world, {"franchises/skerrig.yaml": "name: Skerrig Coffee\n"}, 5)
    with pytest.raises(Found) as refused:
        stepped(world, its_counter(world), 6)
    assert [p.what for p in errors_of(refused.value.problems)] == ["nobody is franchise-manager of 'Skerrig Coffee'"]
    for path in its_counter(world):
        (world.book / path).unlink()
    person = (
        f"\n  {MANAGER}:\n    name: Una Reef\n    roles: [franchise-manager]\n    franchises: [skerrig]\n"
        f"    keys:\n      {MANAGER}-1:\n        public: {public(key)}\n"
    )
    stepped(world, {FILE: world.on_main(FILE) + person}, 7)
    stepped(world, its_counter(world), 8, key)
    with world.open() as source:
        assert audit(source).first is None
        made = bundles(source.in_git(), world.main())
    assert "skerrig-head" in str(made)
