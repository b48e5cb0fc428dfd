"""What changes, in one sentence a drink or prep: the first thing to read after the first screen."""

from __future__ import annotations

from specctl.change.impact import AmountChange, Impact
from specctl.report import view_same_grams
from specctl.report.tables import Block, Listing, Note, Point, Section
from specctl.report.view_allergens import in_order, words_of_kind
from specctl.report.view_amounts import is_called_out
from specctl.report.view_lines import change_short, tools_words
from specctl.report.view_names import STANDARD, kind_words, listed, site_names
from specctl.report.view_new import new_items, of_new_item
from specctl.report.view_numbers import count
from specctl.report.view_sites import kind_short, touched_sites

KEY = "changes"
TITLE = "What changes, drink by drink"

# More would push the rest off the first screen; the section holds them all.
_MOST_ON_FIRST_SCREEN = 2
_MOST_LINES = 4


def items_of(impact: Impact) -> tuple[str, ...]:
    """Every drink or prep with a difference, drinks first, by name."""
    names = _names(impact)
    return tuple(sorted(names, key=lambda item: (kind_words(item) != "drink", names[item], item)))


def point(impact: Impact) -> Point:
    """Old to new at the bar: what moves most, and how many more."""
    moved = {c.item for c in impact.amounts}
    items = [item for item in items_of(impact) if item in moved or new_items(impact).get(item)]
    if not items:
        return Point("At the bar", "No amount and no tool amount moves.", "amounts")
    parts = [f"{_name(impact, item)}: {_bar_words(impact, item)}" for item in items[:_MOST_ON_FIRST_SCREEN]]
    rest = len(items) - len(parts)
    text = "; ".join(parts) + (f"; {rest} more below." if rest else ".")
    out = sum(is_called_out(c) for c in impact.amounts)
    if out:
        text += f" {count(out, 'line')} CANNOT be measured within tolerance at every site."
    lead = view_same_grams.lead(impact)
    return Point("At the bar", f"{lead} {text}" if lead else text, "amounts", alarm=bool(out or lead))


def section(impact: Impact) -> Section:
    items = items_of(impact)
    lead = view_same_grams.lead(impact)
    blocks: list[Block] = [Note(lead, alarm=True)] if lead else []
    if items:
        sentences = tuple(f"{_name(impact, i)} ({kind_words(i)}): {_sentence(impact, i)}" for i in items)
        blocks.append(Listing("In one sentence each", sentences))
    else:
        blocks.append(Note("No card of a drink or prep changes."))
    if impact.through:
        lead = "Made with a prep that changes; their own cards read as before"
        blocks.append(Listing(lead, tuple(f"{t.item_name} ({kind_words(t.item)}): through {listed(t.preps)}" for t in impact.through)))
    told = {*items, *(t.item for t in impact.through)}
    priced = sorted({c.drink_name for c in impact.costs if f"drink/{c.drink}" not in told})
    if priced:
        blocks.append(Note(f"Only the cost changes: {listed(priced)}."))
    return Section(KEY, TITLE, tuple(blocks))


def _names(impact: Impact) -> dict[str, str]:
    """Every item with a difference, by id."""
    pairs = [(c.item, c.item_name) for c in impact.amounts]
    pairs += [(c.item, c.item_name) for c in impact.allergens]
    pairs += [(t.item, t.item_name) for t in impact.texts]
    return dict(pairs)


def _name(impact: Impact, item: str) -> str:
    return _names(impact)[item]


def _bar_words(impact: Impact, item: str) -> str:
    fresh = new_items(impact).get(item)
    if fresh and not _standard(impact, item):
        return f"new at {count(len(fresh), 'site')}"
    return _amount_words(_changes(impact, item))


def _sentence(impact: Impact, item: str) -> str:
    """Worst first: allergens, what is new or gone, amounts, then the rest."""
    moved: dict[str, list[str]] = {}
    for kind, change in in_order(impact):
        if change.item == item:
            moved.setdefault(words_of_kind(kind), []).append(change.name)
    parts = [f"{words}: {listed(names)}" for words, names in moved.items()]
    parts = [f"ALLERGENS, options included: {'; '.join(parts)}"] if parts else []
    fresh = new_items(impact).get(item)
    if fresh:
        parts.append(f"new at {_where(impact, fresh)}")
    gone = sorted({s for t in impact.texts if t.kind == "item-gone" and t.item == item for s in t.sites})
    if gone:
        parts.append(f"no longer served at {_where(impact, tuple(gone))}")
    changes = _changes(impact, item)
    if changes:
        parts.append(_amount_words(changes))
    kinds = [t.kind for t in impact.texts if t.item == item and not t.kind.startswith("item-")]
    for kind in dict.fromkeys(kinds):
        parts.append(_text_words(impact, item, kind))
    return "; ".join(p for p in parts if p) + "."


def _where(impact: Impact, sites: tuple[str, ...]) -> str:
    if len(sites) > 1 and set(sites) >= set(touched_sites(impact)):
        return f"all {len(sites)} sites"
    return site_names(impact, sites) if len(sites) < _MOST_LINES else count(len(sites), "site")


def _text_words(impact: Impact, item: str, kind: str) -> str:
    found = [t for t in impact.texts if t.item == item and t.kind == kind]
    words = kind_short(kind)
    return f"{words} changes" if len(found) == 1 else f"{len(found)} changes of {words}"


def _changes(impact: Impact, item: str) -> list[AmountChange]:
    return [c for c in impact.amounts if c.item == item and not of_new_item(impact, c)]


def _standard(impact: Impact, item: str) -> list[AmountChange]:
    return [c for c in _changes(impact, item) if not c.choice]


def _amount_words(changes: list[AmountChange]) -> str:
    """`Ice cubes 70 g → 75 g (Regular), 95 g → 100 g (Large); 4 lines of its options`."""
    moved = [c for c in changes if not c.same_grams and _is_standard(c)]
    lines: dict[str, list[AmountChange]] = {}
    for change in moved:
        swapped = change.before_of and change.after_of and change.before_of != change.after_of
        lines.setdefault("instead: " if swapped else f"{change.line_name} ", []).append(change)
    sizes = len({c.size for c in changes}) > 1
    parts = []
    for name, same in list(lines.items())[:_MOST_LINES]:
        told = {change_short(c): c.size_name or c.size for c in same}
        each = [f"{words} ({size})" if sizes and len(same) > 1 else words for words, size in told.items()]
        parts.append(f"{name}{', '.join(each)}")
    if len(lines) > _MOST_LINES:
        parts.append(count(len(lines) - _MOST_LINES, "more line"))
    optional = [c for c in changes if not c.same_grams and not _is_standard(c)]
    if optional:
        parts.append(f"{count(len(optional), 'amount')} in its options")
    tools = [c for c in changes if c.same_grams]
    if tools:
        one = f"{tools[0].line_name}, {tools_words(tools[0])}"
        rest = count(len(tools) - 1, "more line")
        more = f"; {rest}" if len(tools) > 1 else ""
        parts.append(f"same grams, other tools: {one}{more}")
    return "; ".join(parts)


def _is_standard(change: AmountChange) -> bool:
    return not change.choice or change.choice_name == STANDARD
