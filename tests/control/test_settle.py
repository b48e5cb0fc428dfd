"""`settle`: one side's value, whole, with a reason that stays; git itself sees a merge of two parents.

Outside checks: `git verify-commit`, `git log`, and the facts of both inputs
(every settled value was in an input; DESIGN's law of merges).
"""

from __future__ import annotations

import pytest
from chain_world import AUTHOR, SAFETY, SECOND, World, day, git_says, plain_git
from forge import FROST, PASTE

from specctl.actions.auditing import audit
from specctl.actions.explaining import explain
from specctl.actions.settling import SettledDone, SettleWish, settle
from specctl.change.facts import facts
from specctl.change.merge import merge
from specctl.change.settlement import settle as settle_facts
from specctl.errors import NotFound, Refused, Stop

OIL = "ingredients/hazelnut-paste.yaml"


def two_meet(world: World, mine: list[tuple[str, str, str]], theirs: list[tuple[str, str, str]]) -> str:
    """`theirs` is released; `mine` was proposed from before it. The proposal in conflict."""
    names = []
    for title, edits, at in (("Mine", mine, 5), ("Theirs", theirs, 5.1)):
        for path, before, after in edits:
            world.edit(path, before, after)
        names.append(world.propose(at, title).name)
        plain_git(world.book, "checkout", "-q", "--", ".")
    world.done(names[1], 6)
    return names[0]


def settled(world: World, name: str, *paths: str, take: str | None = "proposal", why: str = "Tasted at the bench.", at: float = 7, key: str = AUTHOR) -> SettledDone:
    with world.open() as source:
        return settle(source, name, SettleWish(paths, take, why, day(at), world.key(key)))


def shown(world: World, commit: str, path: str) -> str:
    return plain_git(world.book, "show", f"{commit}:{path}")


AMOUNTS = ([(FROST, PASTE, "{regular: 22 g, large: 31 g}")], [(FROST, PASTE, "{regular: 24 g, large: 28 g}")])


@pytest.mark.parametrize(("take", "value"), [("main", "{regular: 24 g, large: 31 g}"), ("proposal", "{regular: 22 g, large: 31 g}")])
def test_one_side_is_taken_and_what_was_not_in_dispute_stays(world: World, take: str, value: str) -> None:
    name = two_meet(world, *AMOUNTS)
    main = world.main()
    done = settled(world, name, FROST, take=take)
    assert value in shown(world, done.commit, FROST)
    assert plain_git(world.book, "log", "-1", "--format=%P", done.commit).split()[1] == main
    assert git_says(world.book, "verify-commit", done.commit)[0] == 0
    assert "Tasted at the bench." in plain_git(world.book, "log", "-1", "--format=%B", done.commit)
    file = shown(world, done.commit, f"proposals/{name}.yaml")
    assert f"take: {take}" in file and "why: Tasted at the bench." in file and f"by: {AUTHOR}" in file and f"edited_from: {main}" in file
    with world.case(name, 8) as case:
        assert case.merged.conflicts == () and case.base == main == case.base_stated


def test_settled_then_signed_released_and_audited(world: World) -> None:
    name = two_meet(world, *AMOUNTS)
    settled(world, name, FROST)
    world.done(name, 8)
    assert "{regular: 22 g, large: 31 g}" in world.on_main(FROST)
    with world.open() as source:
        assert audit(source).first is None


def test_all_or_nothing(world: World) -> None:
    mine, theirs = AMOUNTS
    powder = "amount: {regular: 12 g, large: 16 g}"
    name = two_meet(world, [*mine, (FROST, powder, "amount: {regular: 13 g, large: 16 g}")], [*theirs, (FROST, powder, "amount: {regular: 14 g, large: 16 g}")])
    tip = plain_git(world.book, "rev-parse", f"proposals/{name}")
    fact = "layers/frost/lines/paste/amount/regular"
    with pytest.raises(Refused, match="still open: both change the amount \\(regular\\) of powder"):
        settled(world, name, f"{FROST}:{fact}")
    assert plain_git(world.book, "rev-parse", f"proposals/{name}") == tip
    done = settled(world, name, f"{FROST}=main", f"{FROST}:{fact}=proposal", take=None)
    text = shown(world, done.commit, FROST)
    assert "{regular: 22 g, large: 31 g}" in text and "{regular: 14 g, large: 16 g}" in text


@pytest.mark.parametrize("why", ["", "   "])
def test_no_reason_no_settling(world: World, why: str) -> None:
    with pytest.raises(Refused, match="without a reason"):
        settled(world, two_meet(world, *AMOUNTS), FROST, why=why)


@pytest.mark.parametrize("why", ["a\u202eb", "a\x1b[2J", "x" * 1001])
def test_a_reason_that_could_hide_or_flood_is_refused(world: World, why: str) -> None:
    name = two_meet(world, *AMOUNTS)
    tip = plain_git(world.book, "rev-parse", f"proposals/{name}")
    with pytest.raises(Stop):
        settled(world, name, FROST, why=why)
    assert plain_git(world.book, "rev-parse", f"proposals/{name}") == tip


def test_a_path_that_is_no_conflict(world: World) -> None:
    with pytest.raises(NotFound, match="no conflict at drinks/pear-sage-fizz.yaml") as stop:
        settled(world, two_meet(world, *AMOUNTS), "drinks/pear-sage-fizz.yaml")
    assert stop.value.todo == f"Conflicts: {FROST}:layers/frost/lines/paste/amount/regular"


def test_allergens_are_settled_only_by_hand_and_asked_of_food_safety(world: World) -> None:
    """Main learns of a trace, the proposal of another: both touch the same fact. Either side: food-safety signs."""
    text = (world.book / OIL).read_text(encoding="utf-8")
    assert "allergens:" in text
    import re

    dated = re.search(r"\n  dated: (\S+)", text)
    assert dated is not None, text
    line = f"  dated: {dated[1]}"
    name = two_meet(world, [(OIL, line, "  dated: 2026-10-01")], [(OIL, line, "  dated: 2026-10-02")])
    done = settled(world, name, OIL, take="proposal", why="The supplier's mail names the first.")
    assert done.allergens
    with world.open() as source:
        told = explain(source, name, day(8).date())
    assert ("food-safety", "chain") in {(n.role, n.scope) for n in told.needs}
    assert any("settled by hand" in b for r in told.rules if r.change == "unknown" for b in r.because)


def test_whoever_settles_is_an_author(world: World) -> None:
    name = two_meet(world, *AMOUNTS)
    settled(world, name, FROST, key=SECOND)
    with world.case(name, 8) as case:
        assert case.authors == {AUTHOR, SECOND}
    with pytest.raises(Refused, match="is an author"):
        world.sign(name, SECOND, 8)


def test_a_stranger_settles_nothing(world: World, tmp_path_factory: pytest.TempPathFactory) -> None:
    from specctl.store.signature import make_key

    name = two_meet(world, *AMOUNTS)
    key = tmp_path_factory.mktemp("k") / "stranger"
    make_key(key, "stranger")
    with world.open() as source, pytest.raises(Refused, match="belongs to nobody"):
        settle(source, name, SettleWish((FROST,), "main", "Mine.", day(7), key))


def test_what_was_settled_stays_through_a_later_edit(world: World) -> None:
    name = two_meet(world, *AMOUNTS)
    settled(world, name, FROST)
    plain_git(world.book, "checkout", "-q", "main")
    world.edit(FROST, "served_at: 1 °C", "served_at: 2 °C")
    made = world.propose(7.5, "", update=name)
    assert "why: Tasted at the bench." in shown(world, made.commit, f"proposals/{name}.yaml")


def test_a_wrong_base_is_refused(world: World) -> None:
    """Carried on from an older state than the proposal already follows: the merge would undo main."""
    old = world.main()
    name = two_meet(world, *AMOUNTS)
    settled(world, name, FROST)
    with pytest.raises(Refused, match="earlier state of main than"):
        world.propose(7.5, "", update=name, from_commit=old)


BASE = {"layers": {"a": {"lines": {"x": {"amount": "1 g"}}}, "b": {"lines": {"y": {"amount": "2 g"}}}, "c": {"lines": {}}}}


@pytest.mark.parametrize("side", ["main", "proposal"])
def test_a_part_comes_or_goes_whole(side: str) -> None:
    """One took layer b away, the other moved an amount inside it."""
    b = facts(BASE)
    o = facts({"layers": {k: v for k, v in BASE["layers"].items() if k != "b"}})
    t = facts({"layers": {**BASE["layers"], "b": {"lines": {"y": {"amount": "3 g"}}}}})
    conflicts = merge(b, o, t, "f").conflicts
    assert conflicts
    result = settle_facts(b, o, t, "f", {c.path: side for c in conflicts})
    assert result == (o if side == "main" else t)


def test_food_safety_can_settle_too(world: World) -> None:
    assert settled(world, two_meet(world, *AMOUNTS), FROST, key=SAFETY).commit
