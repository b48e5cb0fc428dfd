"""`policy` says of every need who is asked and why, and of every statement what it is worth.

The rules are those of the demo book's policy.yaml, read here as a person reads
them: an amount asks for drinks and each franchise's manager.
"""

from __future__ import annotations

import pytest
from chain_world import AUTHOR, MANAGERS, SAFETY, SECOND, World, day, plain_git
from forge import FROST, PASTE

from specctl.actions.case import find_proposal
from specctl.actions.explaining import Explained, explain
from specctl.errors import NotFound
from specctl.report.policy_words import policy_text


def explained(world: World, name: str, at: float = 6) -> Explained:
    with world.open() as source:
        return explain(source, name, day(at).date())


def more_paste(world: World, grams: str = "{regular: 22 g, large: 31 g}", at: float = 5) -> str:
    world.edit(FROST, PASTE, grams)
    made = world.propose(at, "More paste")
    plain_git(world.book, "checkout", "-q", "--", ".")
    return made.name


def test_an_amount_asks_for_drinks_and_each_manager(world: World) -> None:
    told = explained(world, more_paste(world))
    by_class = {r.change: r for r in told.rules}
    assert by_class["amount"].signs == ("drinks", "franchise-manager") and "dose" in by_class["amount"].why
    needs = {(n.role, n.scope): n for n in told.needs}
    assert "amount" in needs["drinks", "chain"].classes and ("food-safety", "chain") not in needs
    assert "amount" in needs["franchise-manager", "franchise/marram"].classes
    assert all(not n.met_by for n in told.needs) and told.state == "in review"
    assert told.authors == (AUTHOR,) and "Isla Varn" not in needs["drinks", "chain"].can_sign


def test_what_counts_and_what_does_not(world: World) -> None:
    name = more_paste(world)
    world.signed(name, 5.2, SECOND)
    world.collect(world.sign(name, SECOND, 5.3, purpose="objection", note="Too sweet."), 5.3)
    world.collect(world.sign(name, MANAGERS["marram"], 5.4), 5.4)
    told = explained(world, name)
    ways = [(w.purpose, w.person, w.counts, w.why) for w in told.statements]
    assert ways == [
        ("signoff", SECOND, False, f"{SECOND} objected afterwards"),
        ("objection", SECOND, True, ""),
        ("signoff", MANAGERS["marram"], True, ""),
    ]
    text = policy_text(told.as_json())
    assert "Too sweet." in text and "does not count: tobin-hale objected afterwards" in text


def test_a_stale_signature_is_told_as_one(world: World) -> None:
    name = more_paste(world)
    world.collect(world.sign(name, MANAGERS["marram"], 5.2), 5.2)
    world.edit(FROST, PASTE, "{regular: 24 g, large: 33 g}")
    world.propose(5.5, "More paste", update=name)
    plain_git(world.book, "checkout", "-q", "--", ".")
    told = explained(world, name)
    assert [(w.counts, w.why) for w in told.statements] == [(False, f"{MANAGERS['marram']} signed an earlier effect of this proposal")]
    assert {n.scope: n.nearly for n in told.needs}["franchise/marram"].endswith("earlier effect of this proposal")


def test_a_released_proposal_is_explained_as_it_was(world: World) -> None:
    name = more_paste(world)
    world.done(name, 6)
    told = explained(world, name, 9)
    assert told.state == "released" and all(n.met_by for n in told.needs)
    assert SAFETY not in {w.person for w in told.statements if w.counts}


def test_one_number_taken_twice_is_told_and_either_can_be_named() -> None:
    names = {"7-more-foam": "a", "7-less-foam": "b", "8-x": "c"}
    with pytest.raises(NotFound, match="7 is the number of 2 proposals: 7-less-foam, 7-more-foam"):
        find_proposal(names, "7")
    assert find_proposal(names, "7-less-foam") == "7-less-foam" and find_proposal(names, "8") == "8-x"
