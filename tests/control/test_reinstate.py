"""Going back is a release of its own: only what the old release changed, with a new effect; git's history only grows."""

from __future__ import annotations

import pytest
from chain_world import AUTHOR, SECOND, World, day, plain_git
from forge import FIZZ, FROST, PASTE

from specctl.actions.auditing import audit
from specctl.actions.proposing import Proposed
from specctl.actions.reinstating import ReinstateWish, reinstate
from specctl.errors import NotFound, Refused


def released(world: World, title: str, path: str, before: str, after: str, at: float) -> None:
    world.edit(path, before, after)
    name = world.propose(at, title).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.done(name, at + 0.5)


def back(world: World, number: int, at: float = 20) -> Proposed:
    with world.open() as source:
        return reinstate(source, ReinstateWish(number, "Guests miss it.", day(at), key=world.key(AUTHOR)))


def test_back_to_a_release_and_nothing_else(world: World) -> None:
    released(world, "More paste", FROST, PASTE, "{regular: 22 g, large: 31 g}", 5)
    released(world, "Fizz name", FIZZ, "name: Pear with sage, sparkling", "name: Pear and sage, sparkling", 6)
    released(world, "Less paste", FROST, "{regular: 22 g, large: 31 g}", "{regular: 18 g, large: 25 g}", 7)
    before = world.main()
    made = back(world, 2)
    assert made.files == (FROST,)
    assert world.main() == before
    with world.case(made.name, 20) as case:
        assert {row.item for row in case.effect.rows} == {"drink/hazelnut-frost"}
        # The entries are those of release 2 again: the same bytes, so the same digests.
        old = {(r.site, r.item): r.after for r in case.ledger.releases[1].rows}
        assert {(r.site, r.item): r.after for r in case.effect.rows} == old
    world.signed(made.name, 20.2, SECOND, *(p for p in ("wren-castell", "aoife-tarn", "dell-okafor")))
    world.release(made.name, 20.5)
    assert "{regular: 22 g, large: 31 g}" in world.on_main(FROST) and "name: Pear and sage, sparkling" in world.on_main(FIZZ)
    assert plain_git(world.book, "merge-base", "--is-ancestor", before, "main") == ""
    with world.open() as source:
        assert audit(source).first is None


def test_nothing_to_go_back_to(world: World) -> None:
    with pytest.raises(Refused, match="stands on main as it was then"):
        back(world, 1)
    with pytest.raises(NotFound, match="no release 7"):
        back(world, 7)


def test_who_may_sign_is_never_brought_back(world: World) -> None:
    world.edit("policy.yaml", "cost_limit: 3 %", "cost_limit: 4 %")
    name = world.propose(5, "A wider limit").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.done(name, 6)
    with pytest.raises(Refused, match="only people or policy"):
        back(world, 2)
