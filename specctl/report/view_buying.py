"""What to buy and what to run down, by ingredient."""

from __future__ import annotations

from specctl.change.impact import Bought, Impact
from specctl.report.tables import Column, Note, Point, Section, Table, cell
from specctl.report.view_names import listed
from specctl.report.view_numbers import count, signed, signed_grams

KEY = "buying"
TITLE = "Buy and run down"
_MOST_NAMES = 3


def point(impact: Impact) -> Point:
    new = [b.name for b in impact.bought if b.way == "new"]
    gone = [b.name for b in impact.bought if b.way == "gone"]
    parts = [f"{words}: {_few(names)}" for words, names in (("Buy new", new), ("Run down", gone)) if names]
    moved = sum(b.way == "moved" for b in impact.bought)
    if moved:
        parts.append(f"{count(moved, 'ingredient')} more or less a week, below")
    if not parts:
        return Point(TITLE, "Nothing new to buy, nothing to run down.", KEY)
    left = " Leftover value is not worked out." if gone else ""
    return Point(TITLE, f"{'. '.join(parts)}.{left}", KEY)


def _few(names: list[str]) -> str:
    if len(names) <= _MOST_NAMES:
        return listed(names)
    return f"{', '.join(names[:_MOST_NAMES])} and {len(names) - _MOST_NAMES} more"


def section(impact: Impact) -> Section:
    if not impact.bought:
        return Section(KEY, TITLE, (Note("No ingredient is new here, and none falls out of use."),))
    order = ("new", "gone", "moved")
    rows = tuple(
        (cell(b.name), cell(_WAYS[b.way]), cell(_week(b)), cell(*b.left_out))
        for b in sorted(impact.bought, key=lambda b: (order.index(b.way), b.name))
    )
    columns = (Column("Ingredient"), Column("What to do"), Column("A week, all sites here", number=True), Column("Not counted"))
    note = (
        "Weights are of the standard builds at stated sales, preps taken apart and what a batch loses counted in; "
        "what customers ask for besides is not. What is left in store, and what it is worth, the book does not know."
    )
    return Section(KEY, TITLE, (Table("Ingredients", columns, rows), Note(note)))


_WAYS = {"new": "NEW: buy it before the start", "gone": "falls out of use: run it down", "moved": "order more or less"}


def _week(bought: Bought) -> str:
    if bought.week is None:
        return "cannot be told"
    if bought.unit == "each":
        return signed(bought.week, count(int(abs(bought.week)), "piece"))
    return signed_grams(bought.week)
