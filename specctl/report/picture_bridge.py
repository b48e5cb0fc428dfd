"""A cost bridge: what a cup cost, what prices moved, what the recipe moved, what it costs now.

The steps are those of the table beside it and add up like it. The axis seldom
starts at zero, for an effect is a sliver of a cup's cost; the picture says so
and shows the break.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from specctl.change.impact import CostChange
from specctl.report.picture_svg import LINE, WIDTH, Drawing, fitted
from specctl.report.tables import Picture
from specctl.report.tongue import _
from specctl.report.view_numbers import cup_step, money, signed_money

_LEFT, _LABELS, _VALUES = 6.0, 92.0, 92.0
_ROW, _BAR = 26.0, 14.0
_PRICE, _RECIPE = "slanted", "dotted"


@dataclass(frozen=True, slots=True)
class _Step:
    """One bar from `low` to `high`; `until` is where the next one starts."""

    label: str
    low: Decimal
    high: Decimal
    until: Decimal
    words: str
    fill: str


def bridge_of(cost: CostChange, where: str = "") -> Picture | None:
    """The bridge of one drink and size at one franchise's prices; None where a figure is missing."""
    if cost.before is None or cost.after is None or cost.price_effect is None or cost.recipe_effect is None:
        return None
    steps = _steps(cost, cost.before, cost.after, cost.price_effect, cost.recipe_effect)
    cup = ", ".join(part for part in (cost.drink_name, cost.size_name, where) if part)
    caption = _("{cup}: from the cost of before to now").format(cup=cup)
    words = "; ".join(f"{step.label} {step.words}" for step in steps)
    alternative = _("One cup: {steps}.").format(steps=words)
    return Picture(caption, alternative, _drawn(cost, steps, caption, alternative))


def _steps(cost: CostChange, before: Decimal, after: Decimal, price: Decimal, recipe: Decimal) -> tuple[_Step, ...]:
    step, code = cup_step(cost.currency), cost.currency
    middle = before + price
    return (
        _Step(_("Before"), Decimal(0), before, before, money(before, code, step), ""),
        _Step(_("Price effect"), min(before, middle), max(before, middle), middle, signed_money(price, code, step), _PRICE),
        _Step(_("Recipe effect"), min(middle, after), max(middle, after), after, signed_money(recipe, code, step), _RECIPE),
        _Step(_("Now"), Decimal(0), after, after, money(after, code, step), ""),
    )


def _drawn(cost: CostChange, steps: tuple[_Step, ...], caption: str, alternative: str) -> str:
    draw = Drawing(f"bridge-{cost.franchise}-{cost.drink}-{cost.size}")
    reached = [value for step in steps for value in (step.low, step.high) if value != 0 or step.fill]
    low, high = min(reached), max(reached)
    start = _axis_start(low, high)
    room = WIDTH - _LEFT - _LABELS - _VALUES
    span = (high - start) or Decimal(1)

    def x(value: Decimal) -> float:
        return _LEFT + _LABELS + float(max(value - start, Decimal(0)) / span) * room

    y = 4.0
    for number, step in enumerate(steps):
        left, right = x(step.low), x(step.high)
        draw.words(_LEFT, y + _BAR - 3, step.label, bold=not step.fill)
        if step.high == step.low:
            draw.path(f"M{left:.1f} {y:.1f}V{y + _BAR:.1f}", wide=2.0)
        else:
            draw.bar(left, y, right - left, _BAR, step.fill)
        if not step.fill and start > 0:
            draw.path(f"M{left + 5:.1f} {y - 2:.1f}l4 {_BAR / 2 + 2:.1f}l-4 0l4 {_BAR / 2 + 2:.1f}")
        draw.words(WIDTH - 4, y + _BAR - 3, step.words, anchor="end", bold=not step.fill)
        if number < len(steps) - 1:
            at = x(step.until)
            draw.path(f"M{at:.1f} {y + _BAR:.1f}V{y + _ROW:.1f}", wide=0.8, dashes="2 2")
        y += _ROW
    note = _("The bars start at {amount}, not at nothing.").format(amount=money(start, cost.currency, cup_step(cost.currency)))
    lines = fitted(note, WIDTH - 2 * _LEFT) if start > 0 else []
    y = draw.lines(_LEFT, y + 6, lines) if lines else y
    return draw.svg(y - (LINE - 6 if lines else 6), caption, alternative)


def _axis_start(low: Decimal, high: Decimal) -> Decimal:
    """Nothing where the effects can be seen from there, else as far below the lowest step as the steps span."""
    span = high - low
    if low <= 0 or span * 6 >= high:
        return Decimal(0)
    return max(low - span, Decimal(0))
