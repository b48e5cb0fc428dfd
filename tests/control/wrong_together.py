"""Seeded pairs of edits that each pass and together are wrong, of the kinds a merge of text lets through.

HAZARDS (Signatures) names the double dose; the other kinds are the trade's: a cup
that both fill, one layer brought in twice, a step or an option left over a part
that went, an amount cut twice, one id for two things. The amounts, the places
and who is first are drawn; what is wrong with each is said by its kind.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

FROST = "drinks/hazelnut-frost.yaml"
FIZZ = "drinks/pear-sage-fizz.yaml"
ICE = "      ice: {use: crushed-ice"
PASTE = "amount: {regular: 20 g, large: 28 g}}"
SYRUP = "syrup: {use: sugar-syrup, amount: {regular: 20 g, large: 27 g}}"
MILK = "milk: {use: skim-milk, amount: {regular: 110 g, large: 150 g}}"

POWDER = "powder: {use: skim-milk-powder, amount: {regular: 12 g, large: 16 g}, tolerance: 5 %}"
GONE = "\0"

Files = dict[str, bytes]


@dataclass(frozen=True)
class Wrong:
    """What went wrong, and the files after one edit and after the other."""

    kind: str
    one: Files
    two: Files


def wrongs(base: Files, each: int, seed: int) -> list[Wrong]:
    """So many of every kind."""
    dice = random.Random(seed)
    found = []
    for kind, make in KINDS.items():
        for _ in range(each):
            pair = [_edited(base, edit) for edit in make(dice)]
            dice.shuffle(pair)
            found.append(Wrong(kind, pair[0], pair[1]))
    return found


Edit = list[tuple[str, str, str]]


def _edited(base: Files, edit: Edit) -> Files:
    files = dict(base)
    for path, before, after in edit:
        if not before or before == GONE:
            files.pop(path, None)
            files |= {path: after.encode()} if before != GONE else {}
            continue
        text = files[path].decode()
        assert before in text, (path, before)
        files[path] = text.replace(before, after).encode()
    return files


def _double_amount(dice: random.Random) -> tuple[Edit, Edit]:
    """More of the same paste: one on its line, the other on a line of its own."""
    more, swirl = dice.randint(3, 6), dice.randint(3, 6)
    line = f"      {dice.choice(['swirl', 'ribbon', 'top-paste'])}: {{use: hazelnut-paste, amount: {swirl} g}}\n{ICE}"
    return [(FROST, PASTE, f"amount: {{regular: {20 + more} g, large: {28 + more} g}}}}")], [(FROST, ICE, line)]


def _overflow(dice: random.Random) -> tuple[Edit, Edit]:
    """Each pours in what the cup still takes, and no more."""
    milk, syrup = dice.randint(78, 84), dice.randint(78, 84)
    return (
        [(FROST, MILK, f"milk: {{use: skim-milk, amount: {{regular: {110 + milk} g, large: {150 + milk} g}}}}")],
        [(FROST, SYRUP, f"syrup: {{use: sugar-syrup, amount: {{regular: {20 + syrup} g, large: {27 + syrup} g}}}}")],
    )


def _no_room_to_top(dice: random.Random) -> tuple[Edit, Edit]:
    """The glass is topped to a line, and both pours together leave no room below it."""
    pear, syrup = dice.randint(115, 124), dice.randint(115, 124)
    return (
        [(FIZZ, "amount: 94.23 g, written: 90 ml at 1.047 g/ml", f"amount: {94 + pear} g")],
        [(FIZZ, "syrup: {use: sage-syrup, amount: 25 g}", f"syrup: {{use: sage-syrup, amount: {25 + syrup} g}}")],
    )


def _layer_twice(dice: random.Random) -> tuple[Edit, Edit]:
    """One layer, brought in by two people under two names, in one place or in two."""
    places = ["  fizz:\n    name: Sparkling water\n", "  garnish:\n    name: Sage\n"]
    grams = dice.randint(10, 20)

    def layer(key: str, at: str) -> Edit:
        return [(FIZZ, at, f"  {key}:\n    name: More pear\n    lines:\n      pear: {{use: pear-juice, amount: {grams} g}}\n{at}")]

    return layer("more-pear", places[0]), layer("pear-again", dice.choice(places))


def _dangling_step(dice: random.Random) -> tuple[Edit, Edit]:
    """A layer gets another key, and a step is added that names it by the old one."""
    key = dice.choice(["body", "base", "blend"])
    renamed: Edit = [(FROST, "  frost:\n    name: Frost", f"  {key}:\n    name: Frost"), (FROST, "layer: frost", f"layer: {key}"), (FROST, "frost/", f"{key}/")]
    words = dice.choice(["Swirl the cup once.", "Wipe the rim.", "Tap the cup on the bench."])
    return renamed, [(FROST, "  pour:\n    do", f"  last:\n    do: {words}\n    layer: frost\n  pour:\n    do")]


def _dangling_choice(dice: random.Random) -> tuple[Edit, Edit]:
    """A line goes, and a choice is added that gives less of it."""
    less = dice.randint(4, 10)
    short = f"  short:\n    name: Short\n    choices:\n      short:\n        name: Short\n        lines:\n          frost/powder: {{amount: {less} g}}\n"
    return [(FROST, f"      {POWDER}\n", "")], [(FROST, "  coffee:\n    name: Coffee", f"{short}  coffee:\n    name: Coffee")]


def _gone_under_use(dice: random.Random) -> tuple[Edit, Edit]:
    """A prep's last use goes and the prep with it; somebody else begins to use it."""
    grams = dice.randint(5, 15)
    gone: Edit = [(FIZZ, "syrup: {use: sage-syrup, amount: 25 g}", "syrup: {use: sugar-syrup, amount: 25 g}"), ("preps/sage-syrup.yaml", GONE, "")]
    return gone, [(FROST, ICE, f"      sage: {{use: sage-syrup, amount: {grams} g}}\n{ICE}")]


def _cut_twice(dice: random.Random) -> tuple[Edit, Edit]:
    """Less syrup in the drink, and less sugar in the syrup: nobody asked for so little."""
    drink, prep = dice.randint(3, 8), dice.randint(40, 160)
    return (
        [(FIZZ, "syrup: {use: sage-syrup, amount: 25 g}", f"syrup: {{use: sage-syrup, amount: {25 - drink} g}}")],
        [("preps/sage-syrup.yaml", "amount: 600 g}", f"amount: {600 - prep} g}}\n  water: {{use: water, amount: {prep} g}}")],
    )


def _id_twice(dice: random.Random) -> tuple[Edit, Edit]:
    """Two different things brought in under one id: a file, or a line of one layer."""
    if dice.random() < 0.5:
        one, two = dice.sample(["oat-drink-skerry", "skim-milk", "sugar-syrup"], 2)
        return tuple([(FROST, ICE, f"      extra: {{use: {use}, amount: 8 g}}\n{ICE}")] for use in (one, two))  # type: ignore[return-value]
    one, two = dice.sample(["Rose", "Plum", "Mint"], 2)
    made = "lines:\n  syrup: {use: sugar-syrup, amount: 500 g}\nsteps:\n  stir:\n    do: Stir.\nyields: 490 g\nkeep: chilled\nhold: 24 h\n"
    return tuple([("preps/garden-syrup.yaml", "", f"name: {name} syrup\n{made}")] for name in (one, two))  # type: ignore[return-value]


KINDS: dict[str, Callable[[random.Random], tuple[Edit, Edit]]] = {
    "double amount": _double_amount,
    "overflow": _overflow,
    "no room to top": _no_room_to_top,
    "layer twice": _layer_twice,
    "dangling step": _dangling_step,
    "dangling choice": _dangling_choice,
    "gone under use": _gone_under_use,
    "cut twice": _cut_twice,
    "id twice": _id_twice,
}
