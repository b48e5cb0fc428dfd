"""The money line of the first screen: per cup, per week, margin and write-off, each with sign, unit and base."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from specctl.change.impact import CostChange, Impact, MenuChange
from specctl.report.tables import Point
from specctl.report.view_buying import write_off
from specctl.report.view_costs import KEY, by_franchise, cannot_be_told, change_of, margin_share
from specctl.report.view_names import few
from specctl.report.view_numbers import (
    count,
    cup_step,
    money,
    points_change,
    share,
    share_change,
    signed_money,
    week_step,
)

# More would push the rest off the first screen; the section holds them all.
_MOST_NAMES = 2
_MOST_FRANCHISES = 3


def point(impact: Impact) -> Point:
    """One franchise in full; of several the worst, each in short, and how many more."""
    found = by_franchise(impact)
    several = len(impact.names.franchises) > 1
    if not found:
        words = "No cost at hand moves." if impact.price_books else "No price book is at hand: costs cannot be told."
    elif several:
        words = _several_words(impact, found)
    else:
        words = " ".join(_full_words(costs) for costs in found.values())
    parts = [words, _menu_words(impact), _write_off_words(impact)]
    alarm = not impact.price_books or any(c.missing for c in impact.costs)
    return Point("Money", " ".join(p for p in parts if p), KEY, alarm=alarm)


def _full_words(costs: Sequence[CostChange]) -> str:
    """`A week +GBP 9.25 on GBP 352.27, +2.6 %. A cup ...; margin ...`."""
    parts = [_week_words(costs), _cup_words(costs), _margin_words(costs), _new_words(costs), _gap_words(costs)]
    return " ".join(f"{p}." for p in parts if p)


def _several_words(impact: Impact, found: dict[str, list[CostChange]]) -> str:
    told = sorted(found.items(), key=lambda f: (_worst_points(f[1]), f[0]))
    parts = [f"{impact.names.franchises.get(f, f)}: {_short_words(costs)}." for f, costs in told[:_MOST_FRANCHISES]]
    rest = len(told) - _MOST_FRANCHISES
    if rest > 0:
        parts.append(f"{count(rest, 'franchise')} more below, moved less.")
    gaps = [c for costs in found.values() for c in costs]
    return " ".join([*parts, f"{_gap_words(gaps)}." if _gap_words(gaps) else ""]).rstrip()


def _short_words(costs: Sequence[CostChange]) -> str:
    """One franchise of several: the week with its base, the most a cup moves, the worst margin."""
    parts = [_week_words(costs, brief=True)]
    known = _known(costs)
    if known:
        change, cost = max(known, key=lambda k: abs(k[0]))
        parts.append(f"a cup at most {signed_money(change, cost.currency, cup_step(cost.currency))}")
    worst = _worst(costs)
    if worst:
        before, after = worst.margin_share_before, worst.margin_share_after
        parts.append(f"margin {points_change(before, after)} at worst" if before is not None and after is not None else "")
    parts.append(_new_words(costs))
    words = ", ".join(p[:1].lower() + p[1:] for p in parts if p)
    return words or "cannot be told"


def _known(costs: Sequence[CostChange]) -> list[tuple[Decimal, CostChange]]:
    return [(change, c) for c in costs if (change := change_of(c)) is not None]


def _week_words(costs: Sequence[CostChange], *, brief: bool = False) -> str:
    """Over what has stated sales; what has none is said, never counted as nothing."""
    counted = [c for c in costs if c.week is not None and c.cups_a_week]
    unsold = sum(change_of(c) is not None and not c.cups_a_week for c in costs)
    without = f"{count(unsold, 'drink size')} without stated sales" if unsold else ""
    if not counted:
        return f"A week cannot be told: {without}" if without else ""
    currency = counted[0].currency
    step = week_step(currency)
    week = sum((c.week for c in counted if c.week is not None), Decimal(0))
    words = f"A week {signed_money(week, currency, step)}"
    if all(c.week_before is not None for c in counted):
        base = sum((c.week_before for c in counted if c.week_before is not None), Decimal(0))
        moved = share_change(base, base + week)
        words += f" on {money(base, currency, step)}{f' ({moved})' if moved and not brief else ''}"
    return f"{words}, not counted: {without}" if without else words


def _cup_words(costs: Sequence[CostChange]) -> str:
    """What moves most, with its base; from least to most where they part ways."""
    known = _known(costs)
    if not known:
        return ""
    least, most = min(known, key=lambda k: k[0]), max(known, key=lambda k: k[0])
    change, cost = max(least, most, key=lambda k: abs(k[0]))
    step = cup_step(cost.currency)
    moved = f"at most {signed_money(change, cost.currency, step)}"
    if least[0] < 0 < most[0]:
        moved = f"{signed_money(least[0], cost.currency, step)} to {signed_money(most[0], cost.currency, step)}"
    base = "" if cost.before is None else f" on {money(cost.before, cost.currency, step)}"
    return f"A cup {moved}{base}"


def _worst(costs: Sequence[CostChange]) -> CostChange | None:
    moves = [c for c in costs if c.margin_share_before is not None and c.margin_share_after is not None]
    return min(moves, key=_points, default=None)


def _points(cost: CostChange) -> Decimal:
    return (cost.margin_share_after or Decimal(0)) - (cost.margin_share_before or Decimal(0))


def _worst_points(costs: Sequence[CostChange]) -> Decimal:
    worst = _worst(costs)
    return _points(worst) if worst else Decimal(0)


def _margin_words(costs: Sequence[CostChange]) -> str:
    worst = _worst(costs)
    return f"Margin at worst {margin_share(worst)} of the net price" if worst else ""


def _new_words(costs: Sequence[CostChange]) -> str:
    new = [c for c in costs if c.before is None and not cannot_be_told(c)]
    if not new:
        return ""
    if len(new) <= _MOST_NAMES:
        told = (f"{c.drink_name}, {c.size_name} {money(c.after or Decimal(0), c.currency, cup_step(c.currency))} a cup" for c in new)
        return f"New: {few(told, _MOST_NAMES)}"
    low, high = (pick(c.after for c in new if c.after is not None) for pick in (min, max))
    step, currency = cup_step(new[0].currency), new[0].currency
    words = f"New: {count(len(new), 'drink size')}, {money(low, currency, step)} to {money(high, currency, step)} a cup"
    margins = [c.margin_share_after for c in new if c.margin_share_after is not None]
    return f"{words}, margin from {share(min(margins))} of the net price" if margins else words


def _gap_words(costs: Sequence[CostChange]) -> str:
    unknown = sum(cannot_be_told(c) for c in costs)
    return f"{count(unknown, 'drink size')} CANNOT be told, prices missing" if unknown else ""


def _menu_words(impact: Impact) -> str:
    """`Menu price: Matcha cloud, regular +GBP 0.20`; a price that comes or goes says so."""
    told = [f"{m.drink_name}, {m.size_name} {_moved_price(m)}" for m in impact.menu]
    return f"Menu price: {few(told, _MOST_NAMES)}." if told else ""


def _moved_price(menu: MenuChange) -> str:
    step, currency = week_step(menu.currency), menu.currency
    if menu.before is None:
        return f"new, {money(menu.after or Decimal(0), currency, step)}"
    return "taken out" if menu.after is None else signed_money(menu.after - menu.before, currency, step)


def _write_off_words(impact: Impact) -> str:
    """What may be thrown away, at one whole pack left a site."""
    if not any(b.way == "gone" for b in impact.bought):
        return "No write-off."
    worth = write_off(impact)
    return f"Write-off {few(worth, _MOST_FRANCHISES)}, at a pack a site." if worth else "Write-off cannot be told: no pack price."
