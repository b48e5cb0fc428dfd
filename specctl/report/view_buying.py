"""What to buy and what to run down, by ingredient, and what may be left over."""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal

from specctl.change.impact import Bought, Impact, Leftover
from specctl.report.tables import Block, Cell, Column, Note, Point, Section, Table, cell
from specctl.report.told_words import told
from specctl.report.tongue import _, _n, later
from specctl.report.view_names import few
from specctl.report.view_numbers import count, money, signed, signed_grams, signed_weight, week_step, weight

KEY = "buying"
TITLE = later("Buy and run down")
# More would push the rest off the first screen; the section holds them all.
_MOST_NAMES = 2
_MOST_NEW = 4
_MOST_SUMS = 3


def point(impact: Impact) -> Point:
    """Names with what a week takes of them, most first, and what is left of them without a price."""
    new, gone, moved = (_most_first(impact, way) for way in ("new", "gone", "moved"))
    parts = []
    if len(new) > _MOST_NEW:
        parts.append(_("{count} ingredients NEW to buy, each with its week below.").format(count=len(new)))
    elif new:
        parts.append(_("Buy new: {goods}.").format(goods=few(map(_weekly, new), _MOST_NEW)))
    if gone:
        goods = few(map(_weekly, gone), _MOST_NAMES)
        # What a pack left is worth stands in the money line; here only what that line cannot say.
        words = _("Run down: {goods}.") if _all_priced(impact) else _("Run down: {goods}; {left}.")
        parts.append(words.format(goods=goods, left=_left_words(impact)))
    if moved:
        most, rest = moved[0], len(moved) - 1
        words = _("A week: {amount} of {name}.")
        if rest:
            words = _n("A week: {amount} of {name}, {count} more move.", "A week: {amount} of {name}, {count} more move.", rest)
        parts.append(words.format(amount=_week(most, short=True), name=most.name, count=rest))
    if not gone:
        parts.append(_("Nothing to run down, nothing left over."))
    return Point(_(TITLE), " ".join(parts) if impact.bought else _("Nothing new to buy, to run down or left over."), KEY)


def _most_first(impact: Impact, way: str) -> list[Bought]:
    found = (b for b in impact.bought if b.way == way)
    return sorted(found, key=lambda b: (b.week is None, b.unit, -abs(b.week or 0), b.name))


def _weekly(bought: Bought) -> str:
    """`2.3 kg a week of Foam powder (Holm)`; the name alone where that cannot be told."""
    if not bought.week:
        return bought.name
    much = count(int(abs(bought.week)), "piece") if bought.unit == "each" else weight(abs(bought.week))
    return _("{amount} a week of {name}").format(amount=much, name=bought.name)


def write_off(impact: Impact) -> tuple[str, ...]:
    """What one whole pack left at each site is worth, a sum for each currency: `GBP 67.50`."""
    sums: dict[str, Decimal] = {}
    for left in _leftovers(impact):
        if left.value is not None:
            sums[left.currency] = sums.get(left.currency, Decimal(0)) + left.value
    return tuple(money(value, currency, week_step(currency)) for currency, value in sorted(sums.items()))


def _leftovers(impact: Impact) -> list[Leftover]:
    return [left for b in impact.bought if b.way == "gone" for left in b.leftover]


def _all_priced(impact: Impact) -> bool:
    return bool(write_off(impact)) and all(left.value is not None for left in _leftovers(impact))


def _left_words(impact: Impact) -> str:
    worth = write_off(impact)
    if not worth:
        return _("what is left over has no price at hand")
    words = _("a pack left at each site is worth {worth}")
    if any(left.value is None for left in _leftovers(impact)):
        words = _("a pack left at each site is worth {worth}, as far as priced")
    return words.format(worth=few(worth, _MOST_SUMS))


def section(impact: Impact) -> Section:
    """Every ingredient that is new, gone or moved, then what may be left of those that are gone."""
    if not impact.bought:
        return Section(KEY, _(TITLE), (Note(_("No ingredient is new here, and none falls out of use.")),))
    order = ("new", "gone", "moved")
    rows = tuple(
        (cell(b.name), cell(_(_WAYS[b.way])), cell(_week(b)), cell(*map(told, b.left_out)))
        for b in sorted(impact.bought, key=lambda b: (order.index(b.way), b.name))
    )
    columns = (
        Column(_("Ingredient")), Column(_("What to do")), Column(_("A week, all sites here"), number=True), Column(_("Not counted")),
    )  # fmt: skip
    note = _(
        "Weights are of the standard builds at stated sales, preps taken apart and what a batch loses counted in; "
        "what customers ask for besides is not. The book knows no stock: what is left is told for one whole pack a "
        "site, at the pack's price of before, net of tax."
    )
    return Section(KEY, _(TITLE), (Table(_("Ingredients"), columns, rows), *_left_table(impact), Note(note)))


def _left_table(impact: Impact) -> list[Block]:
    columns = (
        Column(_("Ingredient")), Column(_("Franchise")), Column(_("Sites"), number=True), Column(_("Pack")),
        Column(_("One pack at each site"), number=True),
    )  # fmt: skip
    rows = tuple(
        (cell(b.name), cell(impact.names.franchises.get(left.franchise, left.franchise)), *_left_cells(left))
        for b in impact.bought
        if b.way == "gone"
        for left in b.leftover
    )
    return [Table(_("What may be left over"), columns, rows)] if rows else []


def _left_cells(left: Leftover) -> Iterable[Cell]:
    value = _("no price at hand") if left.value is None else money(left.value, left.currency, week_step(left.currency))
    return cell(str(left.sites)), cell(left.pack or _("no pack is priced")), cell(value)


_WAYS = {
    "new": later("NEW: buy it before the start"),
    "gone": later("falls out of use: run it down"),
    "moved": later("order more or less"),
}


def _week(bought: Bought, *, short: bool = False) -> str:
    if bought.week is None:
        return _("cannot be told")
    if bought.unit == "each":
        return signed(bought.week, count(int(abs(bought.week)), "piece"))
    return signed_weight(bought.week) if short else signed_grams(bought.week)
