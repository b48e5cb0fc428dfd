"""Amounts: grams before and after, and the same line in each site's own tools."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Mapping

from specctl.change.impact import AmountChange, AtSites, Impact
from specctl.report.tables import Block, Cell, Column, Listing, Note, Point, Section, Table, cell
from specctl.report.view_names import STANDARD, kind_words, site_names
from specctl.report.view_numbers import ARROW, count, grams, plain, share_change, signed_grams
from specctl.report.words import (
    amount_words,
    error_words,
    measure_words,
    pieces_words,
    rule_words,
    verdict_words,
)

KEY = "amounts"
TITLE = "Amounts"
NOT_THERE = "not in it"
LEFT_OUT = "left out"

_CALLED_OUT = ("outside", "no-tool")


def point(impact: Impact) -> Point:
    """Old to new in own tools, the change that people will trip over first."""
    if not impact.amounts:
        return Point("At the bar", "No amount and no tool amount moves.", KEY)
    out = _called_out(impact)
    first = _ordered(impact.amounts)[0]
    at = _first_moving(first)
    text = f"{first.line_name} ({first.item_name}, {_build(first)}): "
    text += _tools(at) if at else change_words(first)
    rest = len(impact.amounts) - 1
    text += f". {count(rest, 'more line')} below." if rest else "."
    if out:
        text += f" {len(out)} CANNOT be measured within tolerance."
    return Point("At the bar", text, KEY, alarm=bool(out))


def section(impact: Impact) -> Section:
    if not impact.amounts:
        words = "No canonical amount changes, and no site's tool amount moves."
        return Section(KEY, TITLE, (Note(words),))
    blocks: list[Block] = []
    out = _called_out(impact)
    if out:
        lead = "Cannot be measured within tolerance after this change"
        blocks.append(Listing(lead, out, alarm=True))
    ordered = _ordered(impact.amounts)
    same = [c for c in ordered if c.same_grams]
    if same:
        caption = "Same grams, other tools: the recipe stands, what the hand does changes"
        blocks.append(_table(impact, caption, same, with_item=True))
    for item in dict.fromkeys(c.item for c in ordered if not c.same_grams):
        changes = [c for c in ordered if c.item == item and not c.same_grams]
        caption = f"{changes[0].item_name} ({kind_words(item)})"
        blocks.append(_table(impact, caption, changes, with_item=False))
    blocks.append(
        Note(
            "Grams are the approved amount. What a scoop, pump or jug gives is worked out from the grams; "
            "its error is stated beside it, and “not proven” means nobody has weighed it at that site yet."
        )
    )
    return Section(KEY, TITLE, tuple(blocks), alarm=bool(out))


def change_words(change: AmountChange) -> str:
    """`28 g → 34 g, +6 g, +21.4 %`; says so where the line is new, gone or another ingredient."""
    before, after = _amount(change, "before"), _amount(change, "after")
    if change.before == change.after and before == after:
        return f"{after}, unchanged"
    parts = [f"{before}{ARROW}{after}"]
    gone, new = change.after_of is None, change.before_of is None
    if gone and change.before is not None:
        parts.append(signed_grams(-change.before))
    elif new and change.after is not None:
        parts.append(signed_grams(change.after))
    elif change.before is not None and change.after is not None and change.before != change.after:
        parts += [signed_grams(change.after - change.before), share_change(change.before, change.after)]
    return ", ".join(p for p in parts if p)


def _amount(change: AmountChange, side: str) -> str:
    value: Decimal | None = getattr(change, side)
    if getattr(change, f"{side}_of") is None:
        return NOT_THERE if side == "before" else LEFT_OUT
    line = _line(change, side)
    if line and line["grams"] and (line["each"] is not None or line["rule"] is not None):
        return amount_words(line)
    if value is not None:
        return grams(value)
    if line and line["each"] is not None:
        return pieces_words(line["each"])
    return rule_words(line["rule"]) if line and line["rule"] else "no amount is stated"


def _line(change: AmountChange, side: str) -> Mapping[str, Any] | None:
    for at in change.at:
        line: Mapping[str, Any] | None = getattr(at, f"{side}_line")
        if line is not None:
            return line
    return None


def _what_is_used(change: AmountChange) -> str:
    """The ingredient, where another one takes its place."""
    if change.before_of == change.after_of or None in (change.before_of, change.after_of):
        return ""
    before, after = _line(change, "before"), _line(change, "after")
    old = before["name"] if before else change.before_of
    new = after["name"] if after else change.after_of
    return f"another ingredient: {old}{ARROW}{new}"


def _tolerance(change: AmountChange) -> str:
    before, after = _line(change, "before"), _line(change, "after")
    if not before or not after or before["tolerance"] == after["tolerance"]:
        return ""
    return f"tolerance: {_range(before['tolerance'])}{ARROW}{_range(after['tolerance'])}"


def _range(tolerance: Mapping[str, str]) -> str:
    minus, plus = plain(Decimal(tolerance["minus"])), plain(Decimal(tolerance["plus"]))
    return f"±{plus} g" if minus == plus else f"−{minus} g, +{plus} g"


def _ordered(changes: tuple[AmountChange, ...]) -> list[AmountChange]:
    """Same grams with other tools first, then what cannot be measured, then by drink."""
    return sorted(
        changes,
        key=lambda c: (not c.same_grams, not _is_out(c), c.item_name, c.item, c.size, c.choice, c.path),
    )


def _is_out(change: AmountChange) -> bool:
    return any(_verdict(at.after) in _CALLED_OUT for at in change.at)


def _verdict(measure: Mapping[str, Any] | None) -> str:
    return measure["verdict"] if measure else ""


def _called_out(impact: Impact) -> tuple[str, ...]:
    found = []
    for change in impact.amounts:
        for at in change.at:
            verdict = _verdict(at.after)
            if verdict in _CALLED_OUT:
                before = _verdict(at.before)
                standing = "; it could not before either" if before in _CALLED_OUT else ""
                found.append(
                    f"{change.line_name} in {change.item_name} {_build(change)} at "
                    f"{site_names(impact, at.sites)}: {verdict_words(verdict)}"
                    f"{_error(at.after)}{standing}"
                )
    return tuple(found)


def _error(measure: Mapping[str, Any] | None) -> str:
    if not measure or measure["gives"] is None:
        return ""
    return f", {error_words(measure)}"


def _table(impact: Impact, caption: str, changes: list[AmountChange], *, with_item: bool) -> Table:
    columns = ("Line", "Grams", "Sites", "In their own tools", "What it gives")
    rows = [_row(impact, c, at, with_item) for c in changes for at in c.at or (None,)]
    return Table(caption, tuple(Column(name) for name in columns), tuple(rows))


def _row(impact: Impact, change: AmountChange, at: AtSites | None, with_item: bool) -> tuple[Cell, ...]:
    item = f"{change.item_name} ({kind_words(change.item)})" if with_item else ""
    line = cell(change.line_name, quiet=(item, _build(change)))
    amount = cell(_what_is_used(change), change_words(change), _tolerance(change))
    if at is None:
        return line, amount, cell("no site"), cell(), cell()
    out = _verdict(at.after) in _CALLED_OUT
    note = at.after["note"] or "" if at.after else ""
    return (
        line,
        amount,
        cell(site_names(impact, at.sites)),
        cell(_tools(at)),
        cell(_gives_now(at), quiet=(note, _gave_before(at)), alarm=out),
    )


def _tools(at: AtSites) -> str:
    before = measure_words(at.before_line) if at.before_line else NOT_THERE
    after = measure_words(at.after_line) if at.after_line else LEFT_OUT
    return f"{after}, as before" if before == after else f"{before}{ARROW}{after}"


def _gives_now(at: AtSites) -> str:
    return f"{verdict_words(at.after['verdict'])}{_error(at.after)}" if at.after else ""


def _gave_before(at: AtSites) -> str:
    if at.before is None or at.before == at.after:
        return ""
    return f"before: {verdict_words(at.before['verdict'])}{_error(at.before)}"


def _first_moving(change: AmountChange) -> AtSites | None:
    moving = [at for at in change.at if at.before != at.after]
    return moving[0] if moving else None


def _size(change: AmountChange) -> str:
    return change.size_name or change.size


def _build(change: AmountChange) -> str:
    """`regular, oat drink instead`; the standard build goes without saying."""
    choice = change.choice_name or change.choice
    extra = choice if choice and choice != STANDARD else ""
    return ", ".join(t for t in (_size(change), extra) if t)


