"""One changed line in words: its amount before and after, and the same in a site's own tools."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Mapping

from specctl.change.impact import AmountChange, AtSites
from specctl.report.tongue import _, later
from specctl.report.view_names import STANDARD
from specctl.report.two_words import two_words
from specctl.report.view_numbers import ARROW, grams, share_change, signed_grams
from specctl.report.words import amount_words, error_words, measure_words, pieces_words, rule_words

NOT_THERE = later("not in it")
LEFT_OUT = later("left out")
CALLED_OUT = ("outside", "no-tool")


def change_words(change: AmountChange) -> str:
    """`28 g → 34 g, +6 g, +21.4 %`; says so where the line is new, gone or another ingredient."""
    before, after = _amount(change, "before"), _amount(change, "after")
    if change.before == change.after and before == after:
        return _("{amount}, unchanged").format(amount=after)
    parts = [f"{before}{ARROW}{after}"]
    gone, new = change.after_of is None, change.before_of is None
    if gone and change.before is not None:
        parts.append(signed_grams(-change.before))
    elif new and change.after is not None:
        parts.append(signed_grams(change.after))
    elif change.before is not None and change.after is not None and change.before != change.after:
        parts += [signed_grams(change.after - change.before), share_change(change.before, change.after)]
    return ", ".join(p for p in parts if p)


def change_short(change: AmountChange) -> str:
    """`28 g → 34 g`; another ingredient with its name on either side."""
    before, after = _amount(change, "before"), _amount(change, "after")
    if change.before_of == change.after_of or None in (change.before_of, change.after_of):
        return f"{before}{ARROW}{after}"
    old, new = line_of(change, "before"), line_of(change, "after")
    of = _("{amount} of {ingredient}")
    first = of.format(amount=before, ingredient=old["name"] if old else change.before_of)
    return f"{first}{ARROW}{of.format(amount=after, ingredient=new['name'] if new else change.after_of)}"


def is_called_out(change: AmountChange) -> bool:
    """Whether some site cannot measure the line within tolerance."""
    return any(at.after is not None and at.after["verdict"] in CALLED_OUT for at in change.at)


def is_standard(change: AmountChange) -> bool:
    """Whether the line is one of the standard build."""
    return not change.choice or change.choice_name == STANDARD


def amount_after(change: AmountChange) -> str:
    """The amount of the new side alone."""
    return _amount(change, "after")


def tools_words(change: AmountChange) -> str:
    """The first group of sites whose tools move, old to new."""
    moving = [at for at in change.at if at.before != at.after]
    return tools_at(moving[0]) if moving else ""


def is_seen(change: AmountChange) -> bool:
    """Whether a hand does anything otherwise; a newer form of the same measure is no new amount."""
    return not change.same_grams or any(tools_move(at) for at in change.at)


def tools_move(at: AtSites) -> bool:
    """Whether the tools of a group of sites read otherwise than before."""
    before, after = (measure_words(line) if line else "" for line in (at.before_line, at.after_line))
    return before != after or bool(_two_at(at))


def tools_at(at: AtSites) -> str:
    """Old to new in one group of sites' own tools."""
    before = measure_words(at.before_line) if at.before_line else _(NOT_THERE)
    after = measure_words(at.after_line) if at.after_line else _(LEFT_OUT)
    words = _("{measure}, as before").format(measure=after) if before == after else f"{before}{ARROW}{after}"
    return f"{words}; {two}" if (two := _two_at(at)) else words


def _two_at(at: AtSites) -> str:
    """How two at once are measured, old to new, where an entry tells that and it moves."""
    before, after = at.before_line or {}, at.after_line or {}
    if not before or not after or before.get("double") == after.get("double"):
        return ""
    return f"{two_words(before)}{ARROW}{two_words(after)}"


def _amount(change: AmountChange, side: str) -> str:
    value: Decimal | None = getattr(change, side)
    if getattr(change, f"{side}_of") is None:
        return _(NOT_THERE) if side == "before" else _(LEFT_OUT)
    line = line_of(change, side)
    if line and line["grams"] and (line["each"] is not None or line["rule"] is not None):
        return amount_words(line)
    if value is not None:
        return grams(value)
    if line and line["each"] is not None:
        return pieces_words(line["each"])
    return rule_words(line["rule"]) if line and line["rule"] else _("no amount is stated")


def line_of(change: AmountChange, side: str) -> Mapping[str, Any] | None:
    """The LINE of the first group of sites that has one on that side."""
    for at in change.at:
        line: Mapping[str, Any] | None = getattr(at, f"{side}_line")
        if line is not None:
            return line
    return None


def given(measure: Mapping[str, Any] | None) -> str:
    """`, gives 28.8 g, 0.8 g over` where it is known."""
    if not measure or measure["gives"] is None:
        return ""
    return f", {error_words(measure)}"
