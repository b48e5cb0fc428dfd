"""Two proposals that each pass and together fail are named while both are open.

The cases are those of the trade that a text merge lets through (HAZARDS,
Signatures): one nut paste dosed twice, a layer taken out under a step, a cup
that both fill, a price limit both come near.
"""

from __future__ import annotations

from chain_world import World, day, plain_git
from forge import FIZZ, FROST, PASTE

from specctl.actions.colliding import Collisions, collisions


def proposed(world: World, title: str, edits: list[tuple[str, str, str]], at: float = 5, **more: object) -> str:
    for path, before, after in edits:
        world.edit(path, before, after)
    made = world.propose(at, title, **more)
    plain_git(world.book, "checkout", "-q", "--", ".")
    return made.name


def looked(world: World) -> Collisions:
    with world.open() as source:
        return collisions(source, day(6).date())


def kinds(world: World) -> set[tuple[str, str]]:
    return {(c.kind, c.where) for c in looked(world).found}


ICE = "      ice: {use: crushed-ice"


def test_two_changes_that_do_not_meet(world: World) -> None:
    one = proposed(world, "More paste", [(FROST, PASTE, "{regular: 22 g, large: 31 g}")])
    two = proposed(world, "Fizz name", [(FIZZ, "name: Pear with sage, sparkling", "name: Pear and sage, sparkling")])
    told = looked(world)
    assert told.found == () and told.compared == (one, two)


def test_the_same_amount_moved_apart_is_told_in_trade_words(world: World) -> None:
    one = proposed(world, "More paste", [(FROST, PASTE, "{regular: 22 g, large: 28 g}")])
    two = proposed(world, "Far more paste", [(FROST, PASTE, "{regular: 26 g, large: 28 g}")])
    conflict = next(c for c in looked(world).found if c.kind == "conflict")
    assert conflict.what == (
        f"both change the amount (regular) of paste in frost of Hazelnut frost ({FROST}): {one} has 22 g, {two} has 26 g, before it was 20 g"
    )


def test_the_same_paste_added_twice_under_two_keys(world: World) -> None:
    """Merges cleanly, checks, and is a double dose."""
    proposed(world, "A little more", [(FROST, ICE, f"      swirl: {{use: hazelnut-paste, amount: 5 g}}\n{ICE}")])
    proposed(world, "A touch more", [(FROST, PASTE, "{regular: 25 g, large: 33 g}")])
    told = [c for c in looked(world).found if c.kind == "double-amount"]
    assert any("20.00 g now, 30.00 g with both" in c.what for c in told), looked(world)


def test_cut_twice(world: World) -> None:
    """One cuts the syrup in the drink, the other leaves a line of it out: neither asked for so little."""
    world.edit(FROST, ICE, f"      more: {{use: sugar-syrup, amount: 6 g}}\n{ICE}")
    opened = world.propose(5, "Sweeter")
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.done(opened.name, 6)
    proposed(world, "Less sweet", [(FROST, "amount: 6 g", "amount: 3 g")], at=7)
    proposed(world, "Less syrup", [(FROST, "syrup: {use: sugar-syrup, amount: {regular: 20 g, large: 27 g}}", "syrup: {use: sugar-syrup, amount: {regular: 15 g, large: 22 g}}")], at=7)
    assert any(c.kind == "double-amount" and "both lower" in c.what for c in looked(world).found)


def test_a_step_left_hanging(world: World) -> None:
    """One takes the extra shot's option away, the other turns on a substitute's ingredient file: an id dangles."""
    one = proposed(world, "A swirl on top", [(FROST, "  pour:\n", "  swirl:\n    do: Swirl the paste on.\n    layer: frost\n    equipment: [blender]\n  pour:\n")])
    text = (world.book / FROST).read_text(encoding="utf-8")
    (world.book / FROST).write_text(text.replace("  frost:\n    name: Frost", "  body:\n    name: Frost").replace("layer: frost", "layer: body").replace("frost/", "body/"))
    two = world.propose(5, "Call it body").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    told = looked(world)
    assert (one, two) == told.compared
    assert any(c.kind in ("together-unsound", "conflict") and c.where == FROST for c in told.found), told


def test_starts_that_would_cross(world: World) -> None:
    proposed(world, "More paste", [(FROST, PASTE, "{regular: 22 g, large: 31 g}")], start=day(30).date())
    proposed(world, "More powder", [(FROST, "amount: {regular: 12 g, large: 16 g}", "amount: {regular: 13 g, large: 17 g}")], start=day(20).date())
    found = [c for c in looked(world).found if c.kind == "crossing-starts"]
    assert found and "3-more-powder can no longer be" in found[0].what


def test_one_that_fails_alone_is_left_out_and_said_to_be(world: World) -> None:
    name = proposed(world, "Not ready", [(FROST, PASTE, "{regular: 22 g, large: 31 g}")], draft=True)
    told = looked(world)
    assert told.compared == () and told.left_out == ((name, "it is a draft"),)


def test_one_number_for_two(world: World) -> None:
    one = proposed(world, "More paste", [(FROST, PASTE, "{regular: 22 g, large: 31 g}")])
    plain_git(world.book, "branch", one.join(("proposals/", "")).replace("more-paste", "other"), f"proposals/{one}")
    assert any(c.kind == "same-number" for c in looked(world).found)
