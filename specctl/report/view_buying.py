"""What to buy and what to run down, by ingredient, and what may be left over."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from specctl.change.impact import Bought, Impact, Leftover
from specctl.report.tables import Block, Cell, Column, Note, Point, Section, Table, cell
from specctl.report.view_names import few
from specctl.report.view_numbers import count, money, signed, signed_grams, signed_weight, week_step, weight

KEY = "buying"
TITLE = "Buy and run down"
# More would push the rest off the first screen; the section holds them all.
_MOST_NAMES = 2
_MOST_NEW = 4
_MOST_SUMS = 3


def point(impact: Impact) -> Point:
    """Names with what a week takes of them, most first, and what a pack left at each site is worth."""
    new, gone, moved = (_most_first(impact, way) for way in ("new", "gone", "moved"))
    parts = []
    if len(new) > _MOST_NEW:
        parts.append(f"{len(new)} ingredients NEW to buy, each with its week below.")
    elif new:
        parts.append(f"Buy new: {few(map(_weekly, new), _MOST_NEW)}.")
    if gone:
        parts.append(f"Run down: {few(map(_weekly, gone), _MOST_NAMES)}; {_left_words(impact)}.")
    if moved:
        most = moved[0]
        rest = f", {len(moved) - 1} more move" if len(moved) > 1 else ""
        parts.append(f"A week: {_week(most, short=True)} of {most.name}{rest}.")
    if not gone:
        parts.append("Nothing to run down, nothing left over.")
    return Point(TITLE, " ".join(parts) if impact.bought else "Nothing new to buy, to run down or left over.", KEY)


def _most_first(impact: Impact, way: str) -> list[Bought]:
    found = (b for b in impact.bought if b.way == way)
    return sorted(found, key=lambda b: (b.week is None, b.unit, -abs(b.week or 0), b.name))


def _weekly(bought: Bought) -> str:
    """`2.3 kg a week of Foam powder (Holm)`; the name alone where that cannot be told."""
    if not bought.week:
        return bought.name
    much = count(int(abs(bought.week)), "piece") if bought.unit == "each" else weight(abs(bought.week))
    return f"{much} a week of {bought.name}"


def write_off(impact: Impact) -> tuple[str, ...]:
    """What one whole pack left at each site is worth, a sum for each currency: `GBP 67.50`."""
    sums: dict[str, Decimal] = {}
    for left in _leftovers(impact):
        if left.value is not None:
            sums[left.currency] = sums.get(left.currency, Decimal(0)) + left.value
    return tuple(money(value, currency, week_step(currency)) for currency, value in sorted(sums.items()))


def _leftovers(impact: Impact) -> list[Leftover]:
    return [left for b in impact.bought if b.way == "gone" for left in b.leftover]


def _left_words(impact: Impact) -> str:
    worth = write_off(impact)
    if not worth:
        return "what is left over has no price at hand"
    some = ", as far as priced" if any(left.value is None for left in _leftovers(impact)) else ""
    return f"a pack left at each site is worth {few(worth, _MOST_SUMS)}{some}"


def section(impact: Impact) -> Section:
    """Every ingredient that is new, gone or moved, then what may be left of those that are gone."""
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
        "what customers ask for besides is not. The book knows no stock: what is left is told for one whole pack a "
        "site, at the pack's price of before, net of tax."
    )
    return Section(KEY, TITLE, (Table("Ingredients", columns, rows), *_left_table(impact), Note(note)))


def _left_table(impact: Impact) -> list[Block]:
    columns = (
        Column("Ingredient"), Column("Franchise"), Column("Sites", number=True), Column("Pack"),
        Column("One pack at each site", number=True),
    )  # fmt: skip
    rows = tuple(
        (cell(b.name), cell(impact.names.franchises.get(left.franchise, left.franchise)), *_left_cells(left))
        for b in impact.bought
        if b.way == "gone"
        for left in b.leftover
    )
    return [Table("What may be left over", columns, rows)] if rows else []


def _left_cells(left: Leftover) -> Iterable[Cell]:
    value = "no price at hand" if left.value is None else money(left.value, left.currency, week_step(left.currency))
    return cell(str(left.sites)), cell(left.pack or "no pack is priced"), cell(value)


_WAYS = {"new": "NEW: buy it before the start", "gone": "falls out of use: run it down", "moved": "order more or less"}


def _week(bought: Bought, *, short: bool = False) -> str:
    if bought.week is None:
        return "cannot be told"
    if bought.unit == "each":
        return signed(bought.week, count(int(abs(bought.week)), "piece"))
    return signed_weight(bought.week) if short else signed_grams(bought.week)
