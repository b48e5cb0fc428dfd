"""Franchises side by side: how much each cup's cost moves, in the same drinks and on one scale.

Shares of the cost of before, for franchises have their own money. One small
picture a franchise; the cost tables say the same in figures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

from specctl.change.impact import CostChange
from specctl.report.numerals import numeral
from specctl.report.picture_svg import LINE, WIDTH, Drawing, fitted
from specctl.report.tables import Picture
from specctl.report.tongue import _
from specctl.report.view_numbers import MINUS, rounded, share_change

MOST_FRANCHISES = 12
MOST_CUPS = 6
_LEFT, _LABELS, _VALUES, _BAR = 6.0, 150.0, 64.0, 11.0
_Cup = tuple[str, str]


def panels_of(costs: Mapping[str, Sequence[CostChange]], names: Mapping[str, str]) -> tuple[Picture, ...]:
    """A panel for each franchise that has a moved cup, worst first; none for fewer than two."""
    moved = {f: {(c.drink, c.size): c for c in own if _share(c) is not None} for f, own in costs.items()}
    moved = {f: own for f, own in moved.items() if own}
    if len(moved) < 2:
        return ()
    most: dict[_Cup, Decimal] = {}
    for own in moved.values():
        for cup, cost in own.items():
            most[cup] = max(most.get(cup, Decimal(0)), abs(_share(cost) or Decimal(0)))
    cups = sorted(most, key=lambda cup: (-most[cup], cup))[:MOST_CUPS]
    widest = max((most[cup] for cup in cups), default=Decimal(0)) or Decimal(1)
    order = sorted(moved, key=lambda f: (-max(_share(c) or Decimal(0) for c in moved[f].values()), f))
    labels = {cup: f"{c.drink_name}, {c.size_name}" for own in moved.values() for cup, c in own.items()}
    return tuple(_panel(f, names.get(f, f), moved[f], [(cup, labels[cup]) for cup in cups], widest) for f in order[:MOST_FRANCHISES])


def _share(cost: CostChange) -> Decimal | None:
    """The change as a share of the cost before; None where there is no base."""
    if not cost.before or cost.after is None:
        return None
    return (cost.after - cost.before) / cost.before


def _panel(
    franchise: str, name: str, own: Mapping[_Cup, CostChange], cups: Sequence[tuple[_Cup, str]], widest: Decimal
) -> Picture:
    draw = Drawing(f"franchise-{franchise}")
    room = (WIDTH - _LEFT - _LABELS - _VALUES) / 2
    middle = _LEFT + _LABELS + room
    y, told = 16.0, []
    for cup, label in cups:
        lines = fitted(label, _LABELS - 8)
        cost = own.get(cup)
        share = _share(cost) if cost else None
        words = _words(cost) if share is not None else _("no figure")
        told.append(f"{label}: {words}")
        draw.lines(_LEFT, y, lines)
        if share is not None:
            wide = float(abs(share) / widest) * (room - 2)
            draw.bar(middle if share >= 0 else middle - wide, y - _BAR + 2, wide, _BAR, "full" if share > 0 else "slanted")
        draw.words(WIDTH - 4, y, words, anchor="end")
        y += len(lines) * LINE + 5
    draw.path(f"M{middle:.1f} 2V{y - 10:.1f}", wide=1.0)
    caption = _("{franchise}: what a cup's cost moves by; left is cheaper, right dearer").format(franchise=name)
    alternative = _("Each in parts of its cost before. {cups}.").format(cups="; ".join(told))
    return Picture(caption, alternative, draw.svg(y - 4, caption, alternative))


def _words(cost: CostChange | None) -> str:
    """`+3.1 %`; what would round to nothing is `+<0.1 %`."""
    if cost is None or cost.before is None or cost.after is None:
        return _("no figure")
    if cost.before and cost.after != cost.before and rounded((_share(cost) or Decimal(0)) * 100, Decimal("0.1")) == 0:
        return numeral(f"{'+' if cost.after > cost.before else MINUS}<0.1 %")
    return share_change(cost.before, cost.after)
