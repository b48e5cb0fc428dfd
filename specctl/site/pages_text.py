"""The plain-text twins of the pages, for a terminal or any printer; 80 columns by default."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from typing import TYPE_CHECKING

from specctl.report.plain import box, heading, wrap
from specctl.report.tongue import _
from specctl.report.words import say
from specctl.site.pages_card import Card, LineView, Record, card_of

if TYPE_CHECKING:  # one card needs none of the pages around it
    from specctl.site.pages_changed import Changed
    from specctl.report.declared import Facts
    from specctl.site.pages_masthead import Masthead
    from specctl.site.pages_view import Sheet, View

WIDTH = 80


def card_text(entry: Record, *, today: date, standing: str = "", width: int = WIDTH) -> str:
    """One entry as a card in plain text, `width` columns wide; safe for a terminal."""
    return _joined(_card(card_of(entry, today=today, standing=standing), width))


def cards_text(masthead: Masthead, page: str, cards: Iterable[Card], width: int = WIDTH) -> str:
    """All cards of a page (`cards` or `preps`)."""
    cards = list(cards)
    lines = _top(masthead, page, width)
    if not cards:
        lines += wrap(say(f"{page}.none"), width)
    for card in cards:
        lines += ["", *_card(card, width, masthead.stale)]
    return _joined(lines + _end(width))


def sheet_text(masthead: Masthead, sheet: Sheet, width: int = WIDTH) -> str:
    """The allergen sheet as a list, every choice in words; covered first when stale."""
    lines: list[str] = []
    if masthead.stale:
        lines += [*box([say("cover.title"), masthead.stale, say("cover.words")], width), ""]
    lines += _top(masthead, "allergens", width)
    lines += ["", *wrap(say("caution.tell-us"), width)]
    for words in sheet.lists:
        lines += wrap(words, width)
    if not sheet.drinks:
        lines += wrap(say("cards.none"), width)
    for rows in sheet.drinks:
        lines += ["", *heading(rows[0].drink, width), *wrap(rows[0].standing, width)]
        if masthead.stale:
            lines += wrap(f"{say('cover.title')}. {masthead.stale}", width)
        for row in rows:
            lines += ["", *wrap(f"* {row.choice}", width)]
            if not row.is_standard and row.facts.same_as(rows[0].facts):
                lines += wrap(say("allergens.choice-same"), width, "  ")
                continue
            lines += _facts(row.facts, width)
            for fact in row.facts.facts:
                ways = "; ".join(sheet.way(path) for path in fact.paths)
                words = f"{fact.name}, {fact.status_words}"
                lines += wrap(f"{words}: {ways}" if ways else words, width, "  - ")
            if row.absent:
                lines += wrap(_("Not in its documents: {names}").format(names=row.absent), width, "  ")
    return _joined(lines + _end(width))


def changed_text(view: View, width: int = WIDTH) -> str:
    """What changed, and what starts next."""
    lines = _top(view.masthead, "changed", width)
    lines += ["", *heading(say("changed.title", when=view.since), width)]
    if not view.changed:
        lines += wrap(say("changed.nothing", when=view.since), width)
    lines += wrap(say("changed.covers", same=view.unchanged), width)
    for item in view.changed:
        lines += ["", *_changed(item, width)]
    lines += ["", *heading(say("changed.next"), width)]
    if not view.upcoming:
        lines += wrap(say("changed.next-none"), width)
    for item in view.upcoming:
        lines += ["", *_changed(item, width)]
    return _joined(lines + _end(width))


def index_text(view: View, alarms: Iterable[tuple[Card, str]], width: int = WIDTH) -> str:
    """The page to open first."""
    lines = _top(view.masthead, "index", width)
    lines += ["", *wrap(say("index.start"), width)]
    key = "index.count-changed" if view.changed else "index.none-changed"
    lines += wrap(say(key, count=len(view.changed), when=view.since), width)
    lines += ["", *heading(say("index.watch"), width)]
    words = [f"{card.name} — {alarm}" for card, alarm in alarms]
    lines += box(words, width) if words else wrap(say("index.nothing"), width)
    for key, none, cards in (
        ("index.drinks", "cards.none", view.drinks),
        ("index.preps", "preps.none", view.preps),
    ):
        lines += ["", *heading(say(key), width)]
        for card in cards:
            lines += wrap(f"{card.name} ({card.standing})", width, "- ")
        if not cards:
            lines += wrap(say(none), width)
    return _joined(lines + _end(width))


def _top(masthead: Masthead, page: str, width: int) -> list[str]:
    title = say("page.of", page=say(f"page.{page}"), site=masthead.site)
    lines = box([say("off-sale.title"), *masthead.off_sale], width) if masthead.off_sale else []
    lines += heading(title, width, "=")
    lines += wrap(masthead.book, width)
    for line in masthead.lines:
        lines += wrap(line, width)
    if masthead.stale:
        lines += box([masthead.stale, say("fresh.stale-todo")], width)
    return lines


def _end(width: int) -> list[str]:
    lines = ["", "-" * width]
    for key in ("caution.law", "caution.shared", "caution.shown"):
        lines += wrap(say(key), width)
    return lines


def _card(card: Card, width: int, stale: str = "") -> list[str]:
    lines = heading(card.name, width, "=")
    if card.standing:
        lines += wrap(card.standing, width)
    if card.alarms:
        lines += box([card.called_out, *card.alarms], width)
    lines += ["", f"{say('allergens.title')}:"]
    if stale:
        lines += box([say("cover.title"), stale], width)
    lines += _facts(card.facts, width)
    if card.contact:
        lines += ["", f"{say('contact.title')}:"]
        for words in card.contact:
            lines += wrap(words, width, "  - ")
    lines += wrap(f"{say('caution.tell-us')} {say('caution.shared')}", width, "  ")
    for words in card.advice:
        lines += wrap(f"{say('advisory.title')}: {words}", width)
    for caution in card.cautions:
        lines += wrap(f"{say('card.caution')}: {caution}", width)
    for size in card.sizes:
        lines += ["", *heading(size.name, width)]
        for words in (size.vessel, size.makes):
            lines += wrap(words, width) if words else []
        for layer in size.layers:
            lines += wrap(layer.title, width)
            for line in layer.lines:
                lines += _line(line, width)
    for words in card.work_notes:
        lines += ["", *wrap(words, width)]
    lines += ["", f"{say('card.steps')}:"]
    for number, step in enumerate(card.steps, 1):
        rest = [f"({step.layer})"] if step.layer else []
        rest += [f"[{step.equipment}]"] if step.equipment else []
        lines += wrap(" ".join([step.do, *rest]), width, f"{number:>3}. ")
        if step.caution:
            lines += wrap(f"{say('card.caution')}: {step.caution}", width, "     ")
    if not card.steps:
        lines += wrap(say("card.no-steps"), width, "  ")
    if card.hold:
        lines += ["", f"{say('card.hold')}:"]
        for words in card.hold:
            lines += wrap(words, width, "  ")
    lines += _options(card, width)
    if card.stand_ins:
        lines += ["", f"{say('card.substitutes')}:"]
        for stand_in in card.stand_ins:
            lines += wrap(stand_in.words, width, "- ")
            lines += _facts(stand_in.facts, width)
    for key, words in (("card.equipment", card.equipment), ("card.claims", card.claims)):
        lines += ["", *wrap(f"{say(key)}: {words}", width)] if words else []
    return lines


def _options(card: Card, width: int) -> list[str]:
    if not card.options:
        return []
    lines = ["", f"{say('card.options')}:"]
    for option in card.options:
        for choice in option.choices:
            lines += wrap(f"{option.name}: {choice.name}", width, "* ")
            if not choice.swaps:
                lines += wrap(say("card.no-lines"), width, "  ")
            for swap in choice.swaps:
                lines += wrap(f"{swap.size}: {swap.words}", width, "  ")
                lines += _line(swap.line, width) if swap.line else []
            if choice.facts.same_as(card.facts):
                lines += wrap(say("allergens.choice-same"), width, "  ")
            else:
                lines += wrap(f"{_('Allergens, with this choice')}:", width, "  ")
                lines += _facts(choice.facts, width)
    return lines


def _line(line: LineView, width: int) -> list[str]:
    lines = wrap(f"{line.name}: {line.measure}", width, "  > ")
    detail = "; ".join(words for words in (line.amount, line.error) if words)
    lines += wrap(detail, width, "    ") if detail else []
    for words in line.work:
        lines += wrap(words, width, "    ")
    if line.alarm:
        lines += ["    " + row for row in box([line.alarm], width - 4)]
    if line.note:
        lines += wrap(line.note, width, "    ")
    return lines


def _facts(facts: Facts, width: int) -> list[str]:
    lines: list[str] = []
    for _status, words, names in facts.statements:
        lines += wrap(f"{words}: {names}", width, "  ")
    if facts.absent_words:
        lines += wrap(facts.absent_words, width, "  ")
    if facts.unlisted:
        lines += wrap(f"{say('allergens.unlisted')}: {facts.unlisted}", width, "  ")
    return lines


def _changed(item: Changed, width: int) -> list[str]:
    lines = [*heading(item.name, width), *wrap(item.standing, width)]
    lines += wrap(item.title, width) if item.title else []
    lines += wrap(f"{say('changed.why')}: {item.why}", width) if item.why else []
    lines += wrap(item.headline, width) if item.headline else []
    lines += box(list(item.allergens), width) if item.allergens else []
    for words in item.others:
        lines += wrap(words, width, "- ")
    return lines


def _joined(lines: list[str]) -> str:
    return "\n".join(line.rstrip() for line in lines) + "\n"
