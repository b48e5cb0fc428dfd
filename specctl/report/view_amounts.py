"""Amounts: grams before and after, and the same line in each site's own tools."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Mapping

from specctl.change.impact import AmountChange, AtSites, Impact
from specctl.report.tables import Block, Cell, Column, Listing, Note, Section, Table, cell
from specctl.report.told_words import note_words
from specctl.report.tongue import _, later
from specctl.report.view_lines import CALLED_OUT, change_words, given, is_called_out, line_of, tools_at
from specctl.report.view_names import STANDARD, choice_words, named, site_names, size_words
from specctl.report.view_new import amount_tables, new_items, of_new_item
from specctl.report.view_numbers import ARROW, plain
from specctl.report.words import say, verdict_words

KEY = "amounts"
TITLE = later("Amounts")


def section(impact: Impact) -> Section:
    if not impact.amounts:
        words = _("No canonical amount changes, and no site's tool amount moves.")
        return Section(KEY, _(TITLE), (Note(words),))
    blocks: list[Block] = []
    out = _called_out(impact)
    if out:
        lead = _("Cannot be measured within tolerance after this change")
        blocks.append(Listing(lead, out, alarm=True))
    fresh = new_items(impact)
    ordered = [c for c in _ordered(impact.amounts) if not of_new_item(fresh, c)]
    same = [c for c in ordered if c.same_grams]
    if same:
        caption = _("Same grams, other tools: the recipe stands, what the hand does changes")
        blocks.append(_table(impact, caption, same, with_item=True))
    by_item: dict[str, list[AmountChange]] = {}
    for change in ordered:
        if not change.same_grams:
            by_item.setdefault(change.item, []).append(change)
    for item, changes in by_item.items():
        caption = named(item, changes[0].item_name)
        blocks.append(_table(impact, caption, changes, with_item=False))
    blocks += amount_tables(impact)
    blocks.append(
        Note(
            _(
                "Grams are the approved amount. What a scoop, pump or jug gives is worked out from the grams; "
                "its error is stated beside it, and “not proven” means nobody has weighed it at that site yet."
            )
        )
    )
    return Section(KEY, _(TITLE), tuple(blocks), alarm=bool(out))


def _what_is_used(change: AmountChange) -> str:
    """The ingredient, where another one takes its place."""
    if change.before_of == change.after_of or None in (change.before_of, change.after_of):
        return ""
    before, after = line_of(change, "before"), line_of(change, "after")
    old = before["name"] if before else change.before_of
    new = after["name"] if after else change.after_of
    return _("another ingredient: {change}").format(change=f"{old}{ARROW}{new}")


def _tolerance(change: AmountChange) -> str:
    before, after = line_of(change, "before"), line_of(change, "after")
    if not before or not after or before["tolerance"] == after["tolerance"]:
        return ""
    return _("tolerance: {change}").format(change=f"{_range(before['tolerance'])}{ARROW}{_range(after['tolerance'])}")


def _range(tolerance: Mapping[str, str]) -> str:
    minus, plus = plain(Decimal(tolerance["minus"])), plain(Decimal(tolerance["plus"]))
    return f"±{plus} g" if minus == plus else f"−{minus} g, +{plus} g"


def _ordered(changes: tuple[AmountChange, ...]) -> list[AmountChange]:
    """Same grams with other tools first, then what cannot be measured, then by drink."""
    return sorted(
        changes,
        key=lambda c: (not c.same_grams, not is_called_out(c), c.item_name, c.item, c.size, c.choice, c.path),
    )


def _verdict(measure: Mapping[str, Any] | None) -> str:
    return measure["verdict"] if measure else ""


def _called_out(impact: Impact) -> tuple[str, ...]:
    found = []
    for change in impact.amounts:
        for at in change.at:
            verdict = _verdict(at.after)
            if verdict in CALLED_OUT:
                before = _verdict(at.before)
                words = _("{line} in {item} {build} at {sites}: {verdict}")
                if before in CALLED_OUT:
                    words = _("{line} in {item} {build} at {sites}: {verdict}; it could not before either")
                found.append(
                    words.format(
                        line=change.line_name,
                        item=change.item_name,
                        build=_build(change),
                        sites=site_names(impact, at.sites),
                        verdict=f"{verdict_words(verdict)}{given(at.after)}",
                    )
                )
    return tuple(found)


def _table(impact: Impact, caption: str, changes: list[AmountChange], *, with_item: bool) -> Table:
    columns = (_("Line"), _("Grams"), _("Sites"), _("In their own tools"), _("What it gives"))
    rows = [_row(impact, c, at, with_item) for c in changes for at in c.at or (None,)]
    return Table(caption, tuple(Column(name) for name in columns), tuple(rows))


def _row(impact: Impact, change: AmountChange, at: AtSites | None, with_item: bool) -> tuple[Cell, ...]:
    item = named(change.item, change.item_name) if with_item else ""
    line = cell(change.line_name, quiet=(item, _build(change)))
    amount = cell(_what_is_used(change), change_words(change), _tolerance(change))
    if at is None:
        return line, amount, cell(_("no site")), cell(), cell()
    out = _verdict(at.after) in CALLED_OUT
    note = note_words(at.after["note"] or "") if at.after else ""
    return (
        line,
        amount,
        cell(site_names(impact, at.sites)),
        cell(tools_at(at)),
        cell(_gives_now(at), quiet=(note, _gave_before(at)), alarm=out),
    )


def _gives_now(at: AtSites) -> str:
    return f"{verdict_words(at.after['verdict'])}{given(at.after)}" if at.after else ""


def _gave_before(at: AtSites) -> str:
    if at.before is None or at.before == at.after:
        return ""
    return _("before: {verdict}").format(verdict=f"{verdict_words(at.before['verdict'])}{given(at.before)}")


def _size(change: AmountChange) -> str:
    return size_words(change.item, change.size_name, change.size)


def _build(change: AmountChange) -> str:
    """`regular, oat drink instead`; the standard build goes without saying."""
    choice = change.choice_name or change.choice
    extra = choice_words(change.choice, change.choice_name) if choice and choice != STANDARD else ""
    return say("word.list").join(t for t in (_size(change), extra) if t)
