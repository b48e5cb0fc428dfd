"""What changes, in one sentence a drink or prep: the first thing to read after the first screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from specctl.change.impact import AllergenChange, AmountChange, Impact, TextChange
from specctl.report import view_same_grams
from specctl.report.tables import Block, Listing, Note, Section
from specctl.report.view_allergens import in_order, words_of_kind
from specctl.report.view_lines import change_short, is_standard, tools_words
from specctl.report.view_names import is_drink, kind_words, listed, site_names
from specctl.report.view_new import MOST_NEW, new_items, of_new_item
from specctl.report.view_numbers import count
from specctl.report.view_sites import moves_words, touched_sites

KEY = "changes"
TITLE = "What changes, drink by drink"

_MOST_LINES = 4


@dataclass(frozen=True, slots=True)
class _Moves:
    """What differs in one drink or prep; `fresh` and `gone` are the sites that get or lose it."""

    item: str
    name: str
    allergens: list[tuple[str, AllergenChange]]
    amounts: list[AmountChange]
    texts: list[TextChange]
    fresh: frozenset[str]
    gone: frozenset[str]

    @property
    def is_new(self) -> bool:
        """Whether nothing but its being new is told: no site that had it before sees it change."""
        return bool(self.fresh) and not self.amounts and not self.gone


def items_of(impact: Impact) -> tuple[str, ...]:
    """Every drink or prep with a difference, drinks first, by name."""
    return tuple(moves.item for moves in _all_moves(impact))


def section(impact: Impact) -> Section:
    """The sentences, worst drinks first; many new ones are summed up and their names folded."""
    lead = view_same_grams.lead(impact)
    blocks: list[Block] = [Note(lead, alarm=True)] if lead else []
    if impact.recompiled:
        words = (
            "A newer version of this tool writes these entries otherwise than they were approved, though nobody "
            "edited them; releasing this changes their cards too"
        )
        blocks.append(Listing(words, impact.recompiled, alarm=True))
    moves = _all_moves(impact)
    new = [m for m in moves if m.is_new]
    told = moves if len(new) <= MOST_NEW else [m for m in moves if not m.is_new]
    touched = touched_sites(impact)
    if told:
        sentences = tuple(f"{m.name} ({kind_words(m.item)}): {_sentence(impact, m, touched)}" for m in told)
        blocks.append(Listing("In one sentence each", sentences))
    if len(new) > MOST_NEW:
        blocks += _new_blocks(impact, new, touched)
    if not moves:
        blocks.append(Note("No card of a drink or prep changes."))
    if impact.through:
        through = "Made with a prep that changes; their own cards read as before"
        blocks.append(Listing(through, tuple(f"{t.item_name} ({kind_words(t.item)}): through {listed(t.preps)}" for t in impact.through)))
    named = {*(m.item for m in moves), *(t.item for t in impact.through)}
    priced = sorted({c.drink_name for c in impact.costs if f"drink/{c.drink}" not in named})
    if priced:
        blocks.append(Note(f"Only the cost changes: {listed(priced)}."))
    return Section(KEY, TITLE, tuple(blocks))


def _all_moves(impact: Impact) -> list[_Moves]:
    """Drinks first, by name."""
    pairs = [(c.item, c.item_name) for c in (*impact.amounts, *impact.allergens, *impact.texts)]
    fresh = new_items(impact)
    found = {item: _Moves(item, name, [], [], [], fresh.get(item, frozenset()), frozenset()) for item, name in dict(pairs).items()}
    gone: dict[str, set[str]] = {}
    for kind, change in in_order(impact):
        found[change.item].allergens.append((kind, change))
    for amount in impact.amounts:
        if not of_new_item(fresh, amount):
            found[amount.item].amounts.append(amount)
    for text in impact.texts:
        if text.kind == "item-gone":
            gone.setdefault(text.item, set()).update(text.sites)
        elif not text.kind.startswith("item-"):
            found[text.item].texts.append(text)
    moves = (replace(m, gone=frozenset(gone.get(m.item, ()))) for m in found.values())
    return sorted(moves, key=lambda m: (not is_drink(m.item), m.name, m.item))


def _new_blocks(impact: Impact, new: Sequence[_Moves], touched: tuple[str, ...]) -> list[Block]:
    """How many are new, those with unknown facts by name, then each with its sites, folded."""
    drinks = sum(is_drink(m.item) for m in new)
    kinds = listed(count(n, f"new {word}") for n, word in ((drinks, "drink"), (len(new) - drinks, "prep")) if n)
    doubtful = [m.name for m in new if any(c.after == "unknown" for _, c in m.allergens)]
    words = f"{kinds}. What each brings in allergens stands in full under Allergens, options included."
    blocks: list[Block] = [Note(words)]
    if doubtful:
        blocks.append(Note(f"Worst first, with allergens that are UNKNOWN: {listed(doubtful)}.", alarm=True))
    lines = tuple(f"{m.name} ({kind_words(m.item)}): new at {_where(impact, m.fresh, touched)}" for m in new)
    return [*blocks, Listing("New drinks and preps, with their sites", lines, fold=True)]


def _sentence(impact: Impact, moves: _Moves, touched: tuple[str, ...]) -> str:
    """Worst first: allergens, what is new or gone, amounts, then the rest."""
    by_kind: dict[str, list[str]] = {}
    for kind, change in moves.allergens:
        by_kind.setdefault(words_of_kind(kind), []).append(change.name)
    parts = [f"{words}: {listed(names)}" for words, names in by_kind.items()]
    parts = [f"ALLERGENS, options included: {'; '.join(parts)}"] if parts else []
    if moves.fresh:
        parts.append(f"new at {_where(impact, moves.fresh, touched)}")
    if moves.gone:
        parts.append(f"no longer served at {_where(impact, moves.gone, touched)}")
    if moves.amounts:
        parts.append(_amount_words(moves.amounts))
    for kind in dict.fromkeys(t.kind for t in moves.texts):
        parts.append(_text_words(moves.texts, kind))
    return "; ".join(p for p in parts if p) + "."


def _where(impact: Impact, sites: frozenset[str], touched: tuple[str, ...]) -> str:
    if len(sites) > 1 and sites.issuperset(touched):
        return f"all {len(sites)} sites"
    return site_names(impact, sites) if len(sites) < _MOST_LINES else count(len(sites), "site")


def _text_words(texts: Sequence[TextChange], kind: str) -> str:
    found = sum(t.kind == kind for t in texts)
    return moves_words(kind, found)


def _amount_words(changes: list[AmountChange]) -> str:
    """`Ice cubes 70 g → 75 g (Regular), 95 g → 100 g (Large); 4 lines of its options`."""
    moved = [c for c in changes if not c.same_grams and is_standard(c)]
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
    optional = [c for c in changes if not c.same_grams and not is_standard(c)]
    if optional:
        parts.append(f"{count(len(optional), 'amount')} in its options")
    tools = [c for c in changes if c.same_grams]
    if tools:
        one = f"{tools[0].line_name}, {tools_words(tools[0])}"
        rest = count(len(tools) - 1, "more line")
        more = f"; {rest}" if len(tools) > 1 else ""
        parts.append(f"same grams, other tools: {one}{more}")
    return "; ".join(parts)
