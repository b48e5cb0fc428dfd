"""The money line of the first screen: per cup, per week, margin and write-off, each with sign, unit and base."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from specctl.change.impact import CostChange, Impact, MenuChange
from specctl.report.tables import Point
from specctl.report.tongue import _, _n
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
from specctl.report.words import say

# More would push the rest off the first screen; the section holds them all.
_MOST_NAMES = 2
_MOST_FRANCHISES = 3


def point(impact: Impact) -> Point:
    """One franchise in full; of several the worst, each in short, and how many more."""
    found = by_franchise(impact)
    several = len(impact.names.franchises) > 1
    if not found:
        words = _("No cost at hand moves.") if impact.price_books else _("No price book is at hand: costs cannot be told.")
    elif several:
        words = _several_words(impact, found)
    else:
        words = " ".join(_full_words(costs) for costs in found.values())
    parts = [words, _menu_words(impact), _write_off_words(impact)]
    alarm = not impact.price_books or any(c.missing for c in impact.costs)
    return Point(_("Money"), " ".join(p for p in parts if p), KEY, alarm=alarm)


def _full_words(costs: Sequence[CostChange]) -> str:
    """`A week +GBP 9.25 on GBP 352.27, +2.6 %. A cup ...; margin ...`."""
    parts = [_week_words(costs), _cup_words(costs), _margin_words(costs), _new_words(costs), _gap_words(costs)]
    return " ".join(f"{p}." for p in parts if p)


def _several_words(impact: Impact, found: dict[str, list[CostChange]]) -> str:
    told = sorted(found.items(), key=lambda f: (_worst_points(f[1]), f[0]))
    words = _("{franchise}: {words}.")
    parts = [words.format(franchise=impact.names.franchises.get(f, f), words=_short_words(costs)) for f, costs in told[:_MOST_FRANCHISES]]
    rest = len(told) - _MOST_FRANCHISES
    if rest > 0:
        words = _n("{count} franchise more below, moved less.", "{count} franchises more below, moved less.", rest)
        parts.append(words.format(count=rest))
    gaps = [c for costs in found.values() for c in costs]
    return " ".join([*parts, f"{_gap_words(gaps)}." if _gap_words(gaps) else ""]).rstrip()


def _short_words(costs: Sequence[CostChange]) -> str:
    """One franchise of several: the week with its base, the most a cup moves, the worst margin."""
    parts = [_week_words(costs, brief=True)]
    known = _known(costs)
    if known:
        change, cost = max(known, key=lambda k: abs(k[0]))
        parts.append(_("a cup at most {change}").format(change=signed_money(change, cost.currency, cup_step(cost.currency))))
    worst = _worst(costs)
    if worst:
        before, after = worst.margin_share_before, worst.margin_share_after
        if before is not None and after is not None:
            parts.append(_("margin {change} at worst").format(change=points_change(before, after)))
    parts.append(_new_words(costs, brief=True))
    return say("word.list").join(p for p in parts if p) or _("cannot be told")


def _known(costs: Sequence[CostChange]) -> list[tuple[Decimal, CostChange]]:
    return [(change, c) for c in costs if (change := change_of(c)) is not None]


def _week_words(costs: Sequence[CostChange], *, brief: bool = False) -> str:
    """Over what has stated sales; what has none is said, never counted as nothing."""
    counted = [c for c in costs if c.week is not None and c.cups_a_week]
    unsold = sum(change_of(c) is not None and not c.cups_a_week for c in costs)
    forms = _n("{count} drink size without stated sales", "{count} drink sizes without stated sales", unsold)
    without = forms.format(count=unsold) if unsold else ""
    if not counted:
        untold = _("a week cannot be told: {why}") if brief else _("A week cannot be told: {why}")
        return untold.format(why=without) if without else ""
    currency = counted[0].currency
    step = week_step(currency)
    week = sum((c.week for c in counted if c.week is not None), Decimal(0))
    words = (_("a week {change}") if brief else _("A week {change}")).format(change=signed_money(week, currency, step))
    if all(c.week_before is not None for c in counted):
        base = sum((c.week_before for c in counted if c.week_before is not None), Decimal(0))
        moved = share_change(base, base + week)
        words = _on(words, money(base, currency, step))
        if moved and not brief:
            words = f"{words} ({moved})"
    return _("{words}, not counted: {left}").format(words=words, left=without) if without else words


def _on(change: str, base: str) -> str:
    return _("{change} on {base}").format(change=change, base=base)


def _cup_words(costs: Sequence[CostChange]) -> str:
    """What moves most, with its base; from least to most where they part ways."""
    known = _known(costs)
    if not known:
        return ""
    least, most = min(known, key=lambda k: k[0]), max(known, key=lambda k: k[0])
    change, cost = max(least, most, key=lambda k: abs(k[0]))
    step = cup_step(cost.currency)
    words = _("A cup at most {change}").format(change=signed_money(change, cost.currency, step))
    if least[0] < 0 < most[0]:
        ends = [signed_money(end, cost.currency, step) for end in (least[0], most[0])]
        words = _("A cup {least} to {most}").format(least=ends[0], most=ends[1])
    return words if cost.before is None else _on(words, money(cost.before, cost.currency, step))


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
    return _("Margin at worst {margin} of the net price").format(margin=margin_share(worst)) if worst else ""


def _new_words(costs: Sequence[CostChange], *, brief: bool = False) -> str:
    new = [c for c in costs if c.before is None and not cannot_be_told(c)]
    if not new:
        return ""
    if len(new) <= _MOST_NAMES:
        each = _("{drink}, {size} {cost} a cup")
        told = few(
            (
                each.format(drink=c.drink_name, size=c.size_name, cost=money(c.after or Decimal(0), c.currency, cup_step(c.currency)))
                for c in new
            ),
            _MOST_NAMES,
        )
        return (_("new: {drinks}") if brief else _("New: {drinks}")).format(drinks=told)
    low, high = (pick(c.after for c in new if c.after is not None) for pick in (min, max))
    step, currency = cup_step(new[0].currency), new[0].currency
    words = _("{sizes}, {low} to {high} a cup").format(
        sizes=count(len(new), "drink size"), low=money(low, currency, step), high=money(high, currency, step)
    )
    margins = [c.margin_share_after for c in new if c.margin_share_after is not None]
    if margins:
        words = _("{drinks}, margin from {share} of the net price").format(drinks=words, share=share(min(margins)))
    return (_("new: {drinks}") if brief else _("New: {drinks}")).format(drinks=words)


def _gap_words(costs: Sequence[CostChange]) -> str:
    unknown = sum(cannot_be_told(c) for c in costs)
    words = _n("{count} drink size CANNOT be told, prices missing", "{count} drink sizes CANNOT be told, prices missing", unknown)
    return words.format(count=unknown) if unknown else ""


def _menu_words(impact: Impact) -> str:
    """`Menu price: Matcha cloud, regular +GBP 0.20`; a price that comes or goes says so."""
    each = _("{drink}, {size} {price}")
    told = [each.format(drink=m.drink_name, size=m.size_name, price=_moved_price(m)) for m in impact.menu]
    return _("Menu price: {drinks}.").format(drinks=few(told, _MOST_NAMES)) if told else ""


def _moved_price(menu: MenuChange) -> str:
    step, currency = week_step(menu.currency), menu.currency
    if menu.before is None:
        return _("new, {price}").format(price=money(menu.after or Decimal(0), currency, step))
    return _("taken out") if menu.after is None else signed_money(menu.after - menu.before, currency, step)


def _write_off_words(impact: Impact) -> str:
    """What may be thrown away, at one whole pack left a site."""
    if not any(b.way == "gone" for b in impact.bought):
        return _("No write-off.")
    worth = write_off(impact)
    if not worth:
        return _("Write-off cannot be told: no pack price.")
    return _("Write-off {worth}, at a pack a site.").format(worth=few(worth, _MOST_FRANCHISES))
