"""Allergens in full: every change, what was compared, and what stays unknown.

Nothing here may fold, shorten or leave out, and silence is never offered as an
answer: where no change was found, the section says what was looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from specctl.change.impact import AllergenChange, DocumentAge, Impact
from specctl.report import view_first
from specctl.report.allergen_words import allergen_word
from specctl.report.tables import Block, Cell, Column, Listing, Note, Section, Table, cell
from specctl.report.told_words import fact_told, file_told, told
from specctl.report.tongue import _, _n, later
from specctl.report.view_names import (
    choice_words,
    day_words,
    days_until,
    listed,
    market_words,
    named,
    path_words,
    site_names,
)
from specctl.report.view_new import allergen_tables, new_items, of_new_item
from specctl.report.view_numbers import ARROW
from specctl.report.view_sites import text_table
from specctl.report.words import say, status_words

KEY = "allergens"
TITLE = later("Allergens")

# Worst first: what a person with an allergy would be hurt by comes before the rest.
KINDS = (
    ("removed", later("REMOVED from the declaration")),
    ("silent", later("becomes UNKNOWN, declared before")),
    ("unknown", later("becomes UNKNOWN")),
    ("cleared", later("was UNKNOWN, now said not to be in it")),
    ("weaker", later("weaker: CONTAINS becomes may contain")),
    ("added", later("ADDED")),
    ("stronger", later("stronger: may contain becomes CONTAINS")),
    ("known", later("was unknown, now declared")),
    ("gone", later("no longer served there")),
)


def kind_of(change: AllergenChange, ended: Mapping[str, set[str]]) -> str:
    """One of the keys of `KINDS`. Only a sale that ends everywhere named is "gone", not "removed".

    `ended`: the sites where a sale ends, by item.
    """
    if change.after is None:
        if change.sites and ended.get(change.item, set()).issuperset(change.sites):
            return "gone"
        return "cleared" if change.before == "unknown" else "removed"
    if change.after == "unknown":
        return "unknown" if change.before is None else "silent"
    if change.before is None:
        return "added"
    if change.before == "unknown":
        return "known"
    return "stronger" if change.after == "contains" else "weaker"


def words_of_kind(kind: str) -> str:
    """`ADDED`, `becomes UNKNOWN`: the short words of one of the kinds."""
    return _(dict(KINDS)[kind]).split(":")[0]


def in_order(impact: Impact) -> list[tuple[str, AllergenChange]]:
    """Each change with its kind, worst first."""
    rank = {key: i for i, (key, _words) in enumerate(KINDS)}
    ended: dict[str, set[str]] = {}
    for text in impact.texts:
        if text.kind == "item-gone":
            ended.setdefault(text.item, set()).update(text.sites)
    kinds = [(kind_of(c, ended), c) for c in impact.allergens]
    return sorted(
        kinds,
        key=lambda k: (rank[k[0]], not k[1].listed, k[1].item_name, k[1].item, k[1].choice, k[1].substance),
    )


def section(impact: Impact, now: datetime | None) -> Section:
    blocks: list[Block] = []
    if impact.allergens:
        blocks.append(Note(_sum_words(impact), alarm=True))
        blocks += view_first.blocks(impact)
        blocks += _tables(impact)
        blocks += allergen_tables(impact)
    elif impact.cover.rows:
        blocks.append(
            Note(
                _(
                    "No difference was found between the two sides in what was compared below. "
                    "That is not a promise that a drink is without an allergen."
                )
            )
        )
    own = (("list", _("The market's list itself")), ("evidence", _("How long “not in its documents” may be said")))
    for kind, heading in own:
        table = text_table(impact, impact.texts, kind, heading)
        blocks += [table] if table.rows else []
    blocks += _carried(impact)
    blocks.append(Listing(_("What was compared"), _compared(impact)))
    blocks.append(_still_unknown(impact))
    blocks.append(_not_covered(impact))
    blocks += _documents(impact.cover.documents, now)
    blocks.append(Note(f"{say('caution.law')} {say('caution.shared')}"))
    return Section(KEY, _(TITLE), tuple(blocks), alarm=is_alarming(impact))


def _carried(impact: Impact) -> list[Block]:
    """What shared equipment carries across, drinks and preps with the same change together."""
    same: dict[tuple[str, str | None, str | None, tuple[str, ...]], list[str]] = {}
    for text in impact.texts:
        if text.kind == "contact":
            same.setdefault((text.where, text.before, text.after, text.sites), []).append(text.item_name)
    rows = tuple(
        (cell(where), cell(_shared(before)), cell(_shared(after)), cell(listed(sorted(names))), cell(site_names(impact, sites)))
        for (where, before, after, sites), names in sorted(same.items(), key=lambda s: (s[0][0], s[1]))
    )
    columns = (_("Equipment"), _("Before"), _("After"), _("Onto"), _("Sites"))
    return [Table(_("What shared equipment carries across"), tuple(Column(c) for c in columns), rows)] if rows else []


def _shared(text: str | None) -> str:
    return fact_told("contact", text, day_words) if text else _("not shared")


def is_alarming(impact: Impact) -> bool:
    """Whether anything about allergens moves, is unknown, is too old, or was not compared."""
    stale = any(d.stale for d in impact.cover.documents)
    return bool(impact.allergens or impact.cover.still_unknown or stale or not impact.cover.rows)


def _sum_words(impact: Impact) -> str:
    kinds = [kind for kind, _change in in_order(impact)]
    parts = [_("{count} {kind}").format(count=kinds.count(key), kind=_(words)) for key, words in KINDS if key in kinds]
    return _("Options included, each row of each market's list counted: {counts}.").format(counts="; ".join(parts))


def _tables(impact: Impact) -> list[Block]:
    """A table for each market's list, without what new items bring."""
    fresh = new_items(impact)
    lists: dict[tuple[str, str], list[tuple[str, AllergenChange]]] = {}
    for kind, change in in_order(impact):
        if not of_new_item(fresh, change):
            lists.setdefault((change.market, change.list_name), []).append((kind, change))
    return [_table(impact, *key, lists[key]) for key in sorted(lists)]


def _table(impact: Impact, market: str, list_name: str, rows: list[tuple[str, AllergenChange]]) -> Table:
    columns = (_("Allergen"), _("Drink or prep"), _("Choice"), _("Before → after"), _("Way in"), _("Sites"))
    return Table(
        f"{market_words(impact, market)}: {list_name}",
        tuple(Column(name) for name in columns),
        tuple(_row(impact, kind, same) for kind, same in _grouped(rows)),
    )


def _grouped(rows: list[tuple[str, AllergenChange]]) -> list[tuple[str, list[AllergenChange]]]:
    """Rows that differ in nothing but the choice, together; every choice stays named."""
    found: dict[tuple[str, AllergenChange], list[AllergenChange]] = {}
    for kind, change in rows:
        found.setdefault((kind, replace(change, choice="", choice_name="")), []).append(change)
    return [(kind, same) for (kind, _change), same in found.items()]


def _row(impact: Impact, kind: str, same: list[AllergenChange]) -> tuple[Cell, ...]:
    words, change = _(dict(KINDS)[kind]), same[0]
    listed_words = "" if change.listed else _("not on this market's list; shown all the same")
    return (
        cell(allergen_word(change.name), quiet=(listed_words,), alarm=True),
        cell(named(change.item, change.item_name)),
        cell(*(choice_words(c.choice, c.choice_name) for c in same)),
        cell(f"{_status(change.before)}{ARROW}{_status(change.after)}", words, alarm=True),
        cell(*_ways(impact, change)),
        cell(site_names(impact, change.sites)),
    )


def _ways(impact: Impact, change: AllergenChange) -> tuple[str, ...]:
    """Each way in; of what is no longer there, the ways it came by."""
    words = tuple(path_words(impact, change.item, path) for path in change.paths) or (_("no path is stated"),)
    return (_("it came by:"), *words) if change.after is None else words


def _status(status: str | None) -> str:
    return status_words(status or "absent")


def _compared(impact: Impact) -> tuple[str, ...]:
    cover = impact.cover
    return (
        _n(
            "{count} drink or prep that this proposal touches",
            "{count} drinks and preps that this proposal touches",
            cover.items,
        ).format(count=cover.items),
        _n(
            "{count} row: the standard build and each choice and stand-in, one at a time",
            "{count} rows: the standard build and each choice and stand-in, one at a time",
            cover.rows,
        ).format(count=cover.rows),
        _("lists: {names}").format(names=listed(cover.lists) or _("none")),
        _("documents: {count}, with their dates below").format(count=len(cover.documents)),
    )


def _still_unknown(impact: Impact) -> Block:
    rows = impact.cover.still_unknown
    if not rows:
        return Note(_("Unknown before and after: no such row among those compared."))
    names: dict[tuple[str, str, str], list[str]] = {}
    for item, choice, name, market in rows:
        names.setdefault((item, market, choice_words("", choice)), []).append(allergen_word(name))
    choices: dict[tuple[str, str, tuple[str, ...]], list[str]] = {}
    for (item, market, choice), unknown in names.items():
        choices.setdefault((item, market, tuple(unknown)), []).append(choice)
    columns = (_("Drink or prep"), _("Choice"), _("Market"), _("UNKNOWN"))
    return Table(
        _("UNKNOWN before and after: this proposal does not settle them; ask before answering"),
        tuple(Column(name) for name in columns),
        tuple(
            (cell(item), cell(*same), cell(market_words(impact, market)), cell(say("word.list").join(unknown), alarm=True))
            for (item, market, unknown), same in choices.items()
        ),
    )


def _not_covered(impact: Impact) -> Block:
    fixed = (
        _("what a supplier changed without a new document, and what happens at the counter"),
        _("two choices at once: read both rows"),
    )
    return Listing(_("What was not covered"), (*map(told, impact.cover.not_covered), *fixed))


def _documents(documents: tuple[DocumentAge, ...], now: datetime | None) -> list[Block]:
    """Missing and old papers in a table; those in date a line each, oldest first."""
    if not documents:
        return [Note(_("No supplier's document stands behind this comparison."), alarm=True)]
    oldest_first = sorted(documents, key=lambda d: (d.trusted_until, d.name))
    bad = [d for d in oldest_first if d.stale]
    good = tuple(_paper_words(d, now) for d in oldest_first if not d.stale)
    blocks: list[Block] = []
    if bad:
        columns = (_("Ingredient"), _("Document"), _("Dated"), _("Trusted until"), _("On the day this starts"))
        rows = tuple(
            (
                cell(d.name),
                cell(file_told(d.document)),
                cell(day_words(d.dated) or _("no date"), quiet=(age_words(d.dated, now),)),
                cell(day_words(d.trusted_until) or _("never")),
                cell(_trust_words(d), alarm=True),
            )
            for d in bad
        )
        blocks.append(Table(_("Documents missing or too old"), tuple(Column(name) for name in columns), rows))
    if good:
        blocks.append(Listing(_("Documents the facts rest on, trusted on the day this starts"), good))
    return blocks


def _paper_words(document: DocumentAge, now: datetime | None) -> str:
    age = age_words(document.dated, now)
    dated = day_words(document.dated)
    words = _("{ingredient}: {document}, dated {dated}, trusted until {until}")
    return words.format(
        ingredient=document.name,
        document=document.document,
        dated=_("{day} ({near})").format(day=dated, near=age) if age else dated,
        until=day_words(document.trusted_until),
    )


def _trust_words(document: DocumentAge) -> str:
    if not document.dated:
        return _("NO DATED DOCUMENT: everything reads as UNKNOWN")
    return _("TOO OLD: what it does not name reads as UNKNOWN")


def age_words(dated: str, now: datetime | None) -> str:
    """`513 days old`; "" without a date or a clock."""
    days = days_until(dated, now)
    if days is None or days > 0:
        return ""
    return _n("{count} day old", "{count} days old", -days).format(count=-days)
