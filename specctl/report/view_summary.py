"""What changes, in one sentence a drink or prep: the first thing to read after the first screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from specctl.change.impact import AllergenChange, AmountChange, Impact, TextChange
from specctl.report import view_same_grams
from specctl.report.allergen_words import allergen_word
from specctl.report.tables import Block, Listing, Note, Section
from specctl.report.tongue import _, _n, later
from specctl.report.view_allergens import in_order, words_of_kind
from specctl.report.view_bar import in_options
from specctl.report.view_lines import change_short, is_standard, tools_words
from specctl.report.view_names import all_sites, is_drink, listed, named, site_names, size_words
from specctl.report.view_new import MOST_NEW, new_items, of_new_item
from specctl.report.view_numbers import count
from specctl.report.view_sites import moves_words, touched_sites
from specctl.report.words import say

KEY = "changes"
TITLE = later("What changes, drink by drink")

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
        words = _(
            "A newer version of this tool writes these entries otherwise than they were approved, though nobody "
            "edited them; releasing this changes their cards too"
        )
        blocks.append(Listing(words, impact.recompiled, alarm=True))
    moves = _all_moves(impact)
    new = [m for m in moves if m.is_new]
    told = moves if len(new) <= MOST_NEW else [m for m in moves if not m.is_new]
    touched = touched_sites(impact)
    if told:
        sentences = tuple(_of(m.item, m.name, _sentence(impact, m, touched)) for m in told)
        blocks.append(Listing(_("In one sentence each"), sentences))
    if len(new) > MOST_NEW:
        blocks += _new_blocks(impact, new, touched)
    if not moves:
        blocks.append(Note(_("No card of a drink or prep changes.")))
    if impact.through:
        lead = _("Made with a prep that changes; their own cards read as before")
        ways = ((t, _("through {preps}").format(preps=listed(t.preps))) for t in impact.through)
        blocks.append(Listing(lead, tuple(_of(t.item, t.item_name, words) for t, words in ways)))
    named = {*(m.item for m in moves), *(t.item for t in impact.through)}
    priced = sorted({c.drink_name for c in impact.costs if f"drink/{c.drink}" not in named})
    if priced:
        blocks.append(Note(_("Only the cost changes: {drinks}.").format(drinks=listed(priced))))
    return Section(KEY, _(TITLE), tuple(blocks))


def _of(item: str, name: str, words: str) -> str:
    return _("{card}: {words}").format(card=named(item, name), words=words)


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
    preps = len(new) - drinks
    kinds = listed(words for number, words in ((drinks, count(drinks, "new drink")), (preps, count(preps, "new prep"))) if number)
    doubtful = [m.name for m in new if any(c.after == "unknown" for _kind, c in m.allergens)]
    words = _("{cards}. What each brings in allergens stands in full under Allergens, options included.")
    blocks: list[Block] = [Note(words.format(cards=kinds))]
    if doubtful:
        blocks.append(Note(_("Worst first, with allergens that are UNKNOWN: {drinks}.").format(drinks=listed(doubtful)), alarm=True))
    lines = tuple(_of(m.item, m.name, _new_at(impact, m, touched)) for m in new)
    return [*blocks, Listing(_("New drinks and preps, with their sites"), lines, fold=True)]


def _new_at(impact: Impact, moves: _Moves, touched: tuple[str, ...]) -> str:
    return _("new at {sites}").format(sites=_where(impact, moves.fresh, touched))


def _sentence(impact: Impact, moves: _Moves, touched: tuple[str, ...]) -> str:
    """Worst first: allergens, what is new or gone, amounts, then the rest."""
    by_kind: dict[str, list[str]] = {}
    for kind, change in moves.allergens:
        by_kind.setdefault(words_of_kind(kind), []).append(allergen_word(change.name))
    parts = [_("{kind}: {allergens}").format(kind=words, allergens=listed(names)) for words, names in by_kind.items()]
    parts = [_("ALLERGENS, options included: {changes}").format(changes="; ".join(parts))] if parts else []
    if moves.fresh:
        parts.append(_new_at(impact, moves, touched))
    if moves.gone:
        parts.append(_("no longer served at {sites}").format(sites=_where(impact, moves.gone, touched)))
    if moves.amounts:
        parts.append(_amount_words(moves.amounts))
    for kind in dict.fromkeys(t.kind for t in moves.texts):
        parts.append(_text_words(moves.texts, kind))
    return "; ".join(p for p in parts if p) + "."


def _where(impact: Impact, sites: frozenset[str], touched: tuple[str, ...]) -> str:
    if len(sites) > 1 and sites.issuperset(touched):
        return all_sites(len(sites))
    if len(sites) < _MOST_LINES:
        return site_names(impact, sites)
    return _n("{count} site", "{count} sites", len(sites)).format(count=len(sites))


def _text_words(texts: Sequence[TextChange], kind: str) -> str:
    found = sum(t.kind == kind for t in texts)
    return moves_words(kind, found)


def _amount_words(changes: list[AmountChange]) -> str:
    """`Ice cubes 70 g → 75 g (Regular), 95 g → 100 g (Large); 4 lines of its options`."""
    moved = [c for c in changes if not c.same_grams and is_standard(c)]
    lines: dict[str, list[AmountChange]] = {}
    for change in moved:
        swapped = change.before_of and change.after_of and change.before_of != change.after_of
        lines.setdefault("" if swapped else change.line_name, []).append(change)
    sizes = len({c.size for c in changes}) > 1
    parts = []
    for name, same in list(lines.items())[:_MOST_LINES]:
        told = {change_short(c): size_words(c.item, c.size_name, c.size) for c in same}
        sized = _("{amount} ({size})")
        each = [sized.format(amount=words, size=size) if sizes and len(same) > 1 else words for words, size in told.items()]
        amounts = say("word.list").join(each)
        words = _("{line} {amounts}") if name else _("instead: {amounts}")
        parts.append(words.format(line=name, amounts=amounts))
    if len(lines) > _MOST_LINES:
        parts.append(count(len(lines) - _MOST_LINES, "more line"))
    optional = [c for c in changes if not c.same_grams and not is_standard(c)]
    if optional:
        parts.append(in_options(len(optional)))
    tools = [c for c in changes if c.same_grams]
    if tools:
        one = _("same grams, other tools: {line}, {tools}").format(line=tools[0].line_name, tools=tools_words(tools[0]))
        parts += [one, count(len(tools) - 1, "more line")] if len(tools) > 1 else [one]
    return "; ".join(parts)
