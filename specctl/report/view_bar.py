"""The bar's line of the first screen: what moves, old to new, in grams and in the sites' own tools."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from specctl.change.effect import CHAIN
from specctl.change.impact import AmountChange, AtSites, Impact
from specctl.report import view_same_grams
from specctl.report.tables import Point
from specctl.report.tongue import _, _n
from specctl.report.view_lines import change_short, is_called_out, is_seen, is_standard, tools_at, tools_move
from specctl.report.view_names import few, is_drink, site_names, size_words
from specctl.report.view_new import new_items, of_new_item
from specctl.report.view_numbers import count
from specctl.report.words import say

# More would push the rest off the first screen; the section holds them all.
_MOST_ITEMS = 2
_MOST_LINES = 2
_MOST_SIZES = 2
_MOST_NAMES = 3
_MOST_NEW = 2


def point(impact: Impact) -> Point:
    """What cannot be measured, the first drinks with their lines, and how many more."""
    fresh = new_items(impact)
    moved: dict[str, list[AmountChange]] = {}
    for change in impact.amounts:
        if not of_new_item(fresh, change) and is_seen(change):
            moved.setdefault(change.item, []).append(change)
    names = {c.item: c.item_name for c in impact.amounts}
    parts = [_("{name}: {words}").format(name=names[item], words=words) for item in _ordered(moved, names) if (words := item_words(impact, moved[item]))]
    out = _out_words([c for c in impact.amounts if is_called_out(c)])
    lead = view_same_grams.lead(impact)
    text = _joined(parts, 1 if out or lead else _MOST_ITEMS)
    new = {t.item: t.item_name for t in impact.texts if t.kind == "item-new" and t.item not in moved}
    if new:
        drinks = [name for item, name in sorted(new.items()) if is_drink(item)]
        told = few(drinks or new.values(), _MOST_NEW)
        words = _n("{count} card NEW: {names}.", "{count} cards NEW: {names}.", len(new))
        if 0 < len(drinks) < len(new):
            words = _n("{count} card NEW: {names}, and preps.", "{count} cards NEW: {names}, and preps.", len(new))
        text += f"{' ' if text else ''}{words.format(count=len(new), names=told)}"
    text = text or _("No amount and no tool amount moves.")
    words = " ".join(t for t in (lead, out, text, _recompiled(impact)) if t)
    return Point(_("At the bar"), words, "amounts", alarm=bool(out or lead))


def _ordered(moved: dict[str, list[AmountChange]], names: dict[str, str]) -> list[str]:
    """What cannot be measured first, then drinks before preps, by name."""
    return sorted(moved, key=lambda i: (not any(map(is_called_out, moved[i])), not is_drink(i), names[i], i))


def _joined(parts: Sequence[str], most: int) -> str:
    if not parts:
        return ""
    rest = len(parts) - most
    if rest > 0:
        return "; ".join((*parts[:most], _n("{count} card more below.", "{count} cards more below.", rest).format(count=rest)))
    return "; ".join(parts[:most]) + "."


def item_words(impact: Impact, changes: Sequence[AmountChange]) -> str:
    """`Salted oat foam 30 g → 34 g; in tools: 75 ml line → 80 ml line of the Small jug (Saltmarket)`.

    Over the whole chain tools differ from site to site: there they lead only where no gram moves.
    """
    lines: dict[str, list[AmountChange]] = {}
    for change in changes:
        if is_standard(change) and not change.same_grams:
            lines.setdefault(change.line_name, []).append(change)
    parts = [_line_words(name, same) for name, same in list(lines.items())[:_MOST_LINES]]
    if len(lines) > _MOST_LINES:
        parts.append(count(len(lines) - _MOST_LINES, "more line"))
    if not lines and any(not c.same_grams for c in changes):
        parts.append(in_options(sum(not c.same_grams for c in changes)))
    grams_move = bool(lines) and impact.effect.scope == CHAIN
    tools = "" if grams_move else _tools_words(impact, [c for same in lines.values() for c in same] or [c for c in changes if c.same_grams])
    return "; ".join([*parts, tools] if tools else parts)


def in_options(number: int) -> str:
    """`4 amounts in its options`."""
    return _n("{count} amount in its options", "{count} amounts in its options", number).format(count=number)


def _line_words(name: str, same: Sequence[AmountChange]) -> str:
    """Each size apart, the amounts of the first ones; another ingredient speaks for itself."""
    told = dict.fromkeys((change_short(c), size_words(c.item, c.size_name, c.size)) for c in same)
    swapped = same[0].before_of and same[0].after_of and same[0].before_of != same[0].after_of
    each = [_("{amount} ({size})").format(amount=words, size=size) if len(told) > 1 else words for words, size in told]
    amounts = say("word.list").join(each[:_MOST_SIZES])
    left = len(each) - _MOST_SIZES
    if left > 0:
        amounts = _n("{names} and {count} more", "{names} and {count} more", left).format(names=amounts, count=left)
    return amounts if swapped else _("{line} {amounts}").format(line=name, amounts=amounts)


def _tools_words(impact: Impact, changes: Sequence[AmountChange]) -> str:
    """The first line whose tools move, at the most sites that do not weigh; "" where all weigh."""
    for change in changes:
        told = change.at if change.same_grams else [_single(at) for at in change.at]
        moving = [at for at in told if tools_move(at) and not _weighs(at)]
        if moving:
            at = max(moving, key=lambda group: (len(group.sites), group.sites))
            where = site_names(impact, at.sites) if len(at.sites) < _MOST_NAMES else count(len(at.sites), "site")
            parts = [where, size_words(change.item, change.size_name, change.size)] if len(changes) > 1 else [where]
            named = change.same_grams or len({c.path for c in changes}) > 1
            parts_of = (change.line_name, tools_at(_short(at))) if named else (tools_at(_short(at)),)
            words = _("same grams, in tools: {tools} ({where})") if change.same_grams else _("in tools: {tools} ({where})")
            return words.format(tools=say("word.list").join(parts_of), where=say("word.list").join(parts))
    return ""


def _single(at: AtSites) -> AtSites:
    """One cup alone: how two at once are measured is a long sentence, and stands in the section."""
    before, after = ({**line, "double": None} if line else line for line in (at.before_line, at.after_line))
    return replace(at, before_line=before, after_line=after)


def _short(at: AtSites) -> AtSites:
    """The same with each tool by the first part of its name, where no two tools then read alike."""
    lines = [line for line in (at.before_line, at.after_line) if line]
    names = {move["name"] for line in lines for move in line["measure"]["moves"]}
    if len({name.split(",")[0] for name in names}) < len(names):
        return at
    before, after = (_renamed(line) if line else None for line in (at.before_line, at.after_line))
    return replace(at, before_line=before, after_line=after)


def _renamed(line: Mapping[str, Any]) -> Mapping[str, Any]:
    moves = [{**move, "name": move["name"].split(",")[0]} for move in line["measure"]["moves"]]
    return {**line, "measure": {**line["measure"], "moves": moves}}


def _weighs(at: AtSites) -> bool:
    return all(side is None or side["by"] == "scale" for side in (at.before, at.after))


def _out_words(changes: Sequence[AmountChange]) -> str:
    if not changes:
        return ""
    lines = few((c.line_name for c in changes), _MOST_LINES)
    words = _n(
        "{count} amount CANNOT be measured within tolerance at every site ({lines}).",
        "{count} amounts CANNOT be measured within tolerance at every site ({lines}).",
        len(changes),
    )
    return words.format(count=len(changes), lines=lines)


def _recompiled(impact: Impact) -> str:
    if not impact.recompiled:
        return ""
    names = few(impact.recompiled, _MOST_NAMES)
    return _("REWRITTEN by a newer version of this tool, not by the author: {names}.").format(names=names)
