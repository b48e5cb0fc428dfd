"""What sites are told besides amounts, which cannot follow, and what stands still."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from specctl.change.impact import Hindrance, Impact, TextChange
from specctl.report.picture_sites import map_of
from specctl.report.site_marks import CHANGED, NEW, Group, Mark, groups_of
from specctl.report.tables import Block, Cell, Column, Facts, Listing, Note, Point, Section, Table, cell
from specctl.report.told_words import batch_told, build_told, fact_told, held_words, lacks_words
from specctl.report.tongue import _, _n, later, later_n
from specctl.report.view_names import day_words, few, listed, named, site_names
from specctl.report.view_numbers import count
from specctl.report.words import keep_words, say, span_words

METHOD = "method"
FOLLOW = "sites"
UNTOUCHED = "unchanged"

# (kind of a TextChange, heading, how many) in reading order; others follow by name.
_KINDS = (
    ("item-new", later("New here"), later_n("{count} new item", "{count} new items")),
    ("item-gone", later("No longer served here"), later_n("{count} item gone", "{count} items gone")),
    ("method", later("Method"), later_n("{count} method", "{count} methods")),
    ("order", later("Order of layers and steps"), later_n("{count} order", "{count} orders")),
    ("size", later("Sizes"), later_n("{count} size", "{count} sizes")),
    ("yield", later("Yield"), later_n("{count} yield", "{count} yields")),
    ("prep", later("Prep"), later_n("{count} prep", "{count} preps")),
    ("hold", later("Hold time"), later_n("{count} hold time", "{count} hold times")),
    ("equipment", later("Equipment"), later_n("{count} equipment", "{count} equipments")),
    ("vessel", later("Vessel"), later_n("{count} vessel", "{count} vessels")),
    ("option", later("Options"), later_n("{count} option", "{count} options")),
    ("substitute", later("Stand-ins"), later_n("{count} stand-in", "{count} stand-ins")),
    ("advisory", later("Advice"), later_n("{count} advice", "{count} advices")),
    ("caution", later("Cautions"), later_n("{count} caution", "{count} cautions")),
    ("claim", later("Claims"), later_n("{count} claim", "{count} claims")),
    ("name", later("Names"), later_n("{count} name", "{count} names")),
)
# Told with the allergens.
_ELSEWHERE = ("evidence", "list", "contact")
# What is said to change, of each kind: once, and several times.
_MOVES = {
    "item-new": later_n("new item changes", "{count} changes of new item"),
    "item-gone": later_n("item gone changes", "{count} changes of item gone"),
    "method": later_n("method changes", "{count} changes of method"),
    "order": later_n("order changes", "{count} changes of order"),
    "size": later_n("size changes", "{count} changes of size"),
    "yield": later_n("yield changes", "{count} changes of yield"),
    "prep": later_n("prep changes", "{count} changes of prep"),
    "hold": later_n("hold time changes", "{count} changes of hold time"),
    "equipment": later_n("equipment changes", "{count} changes of equipment"),
    "vessel": later_n("vessel changes", "{count} changes of vessel"),
    "option": later_n("option changes", "{count} changes of option"),
    "substitute": later_n("stand-in changes", "{count} changes of stand-in"),
    "advisory": later_n("advice changes", "{count} changes of advice"),
    "caution": later_n("caution changes", "{count} changes of caution"),
    "claim": later_n("claim changes", "{count} changes of claim"),
    "name": later_n("name changes", "{count} changes of name"),
    "evidence": later_n("how long absence may be said changes", "{count} changes of how long absence may be said"),
    "list": later_n("allergen list changes", "{count} changes of allergen list"),
    "contact": later_n("what shared equipment carries changes", "{count} changes of what shared equipment carries"),
}


def taught_texts(impact: Impact) -> list[TextChange]:
    """What people are shown besides amounts; what bears on allergens stands with those."""
    return [t for t in impact.texts if t.kind not in _ELSEWHERE]


def taught_count(kind: str, number: int) -> str:
    """`2 hold times` for `hold`; a kind this page does not know is read out."""
    forms = {key: counted for key, _heading, counted in _KINDS}.get(kind)
    if forms is None:
        return f"{number} {kind.replace('-', ' ')}{'' if number == 1 else 's'}"
    return _n(*forms, number).format(count=number)


def moves_words(kind: str, number: int) -> str:
    """`hold time changes`, `2 changes of hold time`."""
    if kind not in _MOVES:
        forms = later_n("{kind} changes", "{count} changes of {kind}")
        return _n(*forms, number).format(count=number, kind=kind.replace("-", " "))
    return _n(*_MOVES[kind], number).format(count=number)


def method_section(impact: Impact) -> Section:
    title = _("Method, prep, hold times, equipment, vessels")
    texts = taught_texts(impact)
    if not texts:
        words = _("Steps, hold times, equipment, vessels, options, cautions, claims and names read as before.")
        return Section(METHOD, title, (Note(words),))
    tables = tuple(text_table(impact, texts, kind, heading) for kind, heading in kinds_of(texts))
    return Section(METHOD, title, tables)


def kinds_of(texts: list[TextChange]) -> list[tuple[str, str]]:
    """The kinds that are there as (kind, heading), in reading order."""
    present = {t.kind for t in texts}
    known = [(kind, _(heading)) for kind, heading, _counted in _KINDS if kind in present]
    others = sorted(present - {k[0] for k in _KINDS})
    return known + [(kind, kind.replace("-", " ").capitalize()) for kind in others]


def text_table(impact: Impact, texts: Iterable[TextChange], kind: str, heading: str) -> Table:
    """The changes of one kind, before and after."""
    changes = [t for t in texts if t.kind == kind]
    columns = (_("Drink or prep"), _("Where"), _("Before"), _("After"), _("Sites"))
    ordered = sorted(changes, key=lambda t: (t.item_name, t.item, t.where))
    return Table(
        heading,
        tuple(Column(name) for name in columns),
        tuple(_text_row(impact, t) for t in ordered),
    )


def _text_row(impact: Impact, change: TextChange) -> tuple[Cell, ...]:
    return (
        cell(named(change.item, change.item_name)),
        cell(_where(change)),
        cell(_("not there") if change.before is None else _said(change.kind, change.before)),
        cell(_("taken out") if change.after is None else _said(change.kind, change.after)),
        cell(site_names(impact, change.sites)),
    )


_WHERE = {
    "steps": later("steps"),
    "hold": later("hold"),
    "equipment": later("equipment"),
    "layers": later("layers, {size}"),
    "standard build": later("standard build"),
}
_HOLD = re.compile(r"([^,.]+), ([0-9.]+ (?:min|h|d))\. (.*)")


def _said(kind: str, text: str) -> str:
    """A hold as people say it: `chilled, 1 hour 30 minutes (its own hold time)`; the rest as written."""
    found = _HOLD.fullmatch(text) if kind == "hold" else None
    return f"{keep_words(found[1])}, {span_words(found[2])} ({held_words(found[3].rstrip('.'))})" if found else fact_told(kind, text, day_words)


def _where(change: TextChange) -> str:
    said = (change.kind, change.before, change.after, "item", "allergen list")
    return _("all of it") if not change.where or change.where in said else _place(change)


def _place(change: TextChange) -> str:
    """A place of a card; what authors named stays as they wrote it."""
    first, comma, size = change.where.partition(", ")
    if change.kind == "order" and comma and first == "layers":
        return _(_WHERE["layers"]).format(size=size)
    if change.kind in ("option", "substitute", "evidence"):
        return build_told(change.where)
    if change.kind in ("vessel", "size", "yield"):
        return batch_told(change.item, change.where)
    if change.kind in ("order", "hold", "equipment", "evidence") and change.where in _WHERE and change.where != "layers":
        return _(_WHERE[change.where])
    return change.where


def touched_sites(impact: Impact) -> tuple[str, ...]:
    """Ids of the sites whose cards this proposal changes."""
    return tuple(sorted({row.site for row in impact.effect.rows}))


def follow_point(impact: Impact, label: str) -> Point:
    """How many of the sites are touched and can follow, and which cannot, what this proposal brings first."""
    touched = touched_sites(impact)
    stuck = {h.site for h in impact.hindrances}
    if not touched and not stuck:
        return Point(label, _("No site's cards change."), FOLLOW)
    number, total = len(touched), impact.untouched.sites_total
    if not stuck:
        words = _n("{count} site touched: it can follow.", "{count} sites touched: all {count} can follow.", number)
        if total > number:
            words = _n("{count} site of {total} touched: it can follow.", "{count} sites of {total} touched: all {count} can follow.", number)
        return Point(label, words.format(count=number, total=total), FOLLOW)
    words = _n(
        "{able} of {count} site touched can follow; {stuck} CANNOT, or not fully: {why}.",
        "{able} of {count} sites touched can follow; {stuck} CANNOT, or not fully: {why}.",
        number,
    )
    text = words.format(able=len(set(touched) - stuck), count=number, stuck=len(stuck), why=_stuck_words(impact))
    return Point(label, text, FOLLOW, alarm=True)


def _stuck_words(impact: Impact) -> str:
    """What is lacked and where, sites that lack the same together, what is new and most sites first."""
    of_site: dict[str, list[Hindrance]] = {}
    for hindrance in impact.hindrances:
        of_site.setdefault(hindrance.site, []).append(hindrance)
    groups: dict[tuple[bool, str], list[str]] = {}
    for found in of_site.values():
        words = few((lacks_words(h.lacks) for h in sorted(found, key=lambda h: not h.new)), _MOST_LACKS)
        groups.setdefault((not any(h.new for h in found), words), []).append(found[0].site_name)
    ordered = sorted(groups.items(), key=lambda g: (g[0][0], -len(g[1]), g[1]))
    told = [
        (_("{sites} ({lacks}, as today already)") if standing else _("{sites} ({lacks})")).format(
            sites=few(sorted(names), _MOST_SITES), lacks=words
        )
        for (standing, words), names in ordered[:_MOST_GROUPS]
    ]
    rest = sum(len(names) for _group, names in ordered[_MOST_GROUPS:])
    if rest:
        told.append(_n("{count} more site below", "{count} more sites below", rest).format(count=rest))
    return "; ".join(told)


# More would push the rest off the first screen; the section names them all.
_MOST_LACKS = 2
_MOST_SITES = 3
_MOST_GROUPS = 2


def follow_section(impact: Impact) -> Section:
    """Who cannot follow and what they lack, a map of sites and drinks, then each site."""
    title = _("Site by site")
    groups = groups_of(impact)
    picture = map_of(groups, _item_names(impact), impact.names.franchises)
    seen: list[Block] = [picture, *_site_table(impact, groups)] if picture else []
    if not impact.hindrances:
        words = _("Every touched site has the tools, vessels and equipment that the cards ask for.")
        if not touched_sites(impact):
            words = _("No site's cards change.")
        return Section(FOLLOW, title, (Note(words), *seen))
    columns = (_("Site"), _("Drink or prep"), _("What it lacks"), _("Since"))
    ordered = sorted(impact.hindrances, key=lambda h: (not h.new, h.site_name, h.item_name, h.lacks))
    rows = tuple(
        (
            cell(h.site_name, alarm=True),
            cell(named(h.item, h.item_name)),
            cell(lacks_words(h.lacks)),
            cell(_("NEW with this proposal") if h.new else _("stands today already"), alarm=h.new),
        )
        for h in ordered
    )
    table = Table(_("Not able, or not within tolerance"), tuple(Column(name) for name in columns), rows)
    return Section(FOLLOW, title, (table, *seen), alarm=True)


def _item_names(impact: Impact) -> dict[str, str]:
    pairs = [(c.item, c.item_name) for c in (*impact.amounts, *impact.allergens, *impact.texts, *impact.hindrances)]
    return dict(pairs)


# Longer than this, the table is closed: what cannot be followed stands above it, open.
_MOST_OPEN = 24
_MOST_CARDS = 8


def _site_table(impact: Impact, groups: tuple[Group, ...]) -> list[Block]:
    """Every touched site, those of a franchise with the same cards together."""
    names = _item_names(impact)
    columns = (_("Sites"), _("Franchise"), _("Cards that change"), _("Out of tolerance, or something is lacking"))
    rows = []
    for group in groups:
        cards = [_mark_words(mark, names) for mark in group.marks]
        outs = [names.get(mark.item, mark.item) for mark in group.marks if mark.out]
        left = len(cards) - _MOST_CARDS
        told = _n("and {count} more, each in full below", "and {count} more, each in full below", left)
        more = (told.format(count=left),) if left > 0 else ()
        rows.append(
            (
                cell(say("word.list").join(group.sites)),
                cell(impact.names.franchises.get(group.franchise, group.franchise)),
                cell(*cards[:_MOST_CARDS], quiet=more),
                cell(*outs, alarm=True) if outs else cell(_("nothing")),
            )
        )
    fold = len(rows) > _MOST_OPEN
    return [Table(_("Each site and its cards"), tuple(Column(name) for name in columns), tuple(rows), fold=fold)] if rows else []


def _mark_words(mark: Mark, names: Mapping[str, str]) -> str:
    words = named(mark.item, names.get(mark.item, mark.item))
    if mark.how == CHANGED:
        return words
    return (_("{card}: NEW there") if mark.how == NEW else _("{card}: no longer served")).format(card=words)


def untouched_section(impact: Impact) -> Section:
    u = impact.untouched
    facts = Facts(
        (
            (_("Drinks unchanged"), _of(u.drinks, u.drinks_total)),
            (_("Preps unchanged"), _of(u.preps, u.preps_total)),
            (_("Sites unchanged"), _of(u.sites, u.sites_total)),
        )
    )
    blocks: list[Block] = [Note(_unchanged_words(impact)), facts]
    if u.drink_names:
        blocks.append(Listing(_("Drinks unchanged, by name"), u.drink_names, fold=True))
    if u.site_names:
        blocks.append(Listing(_("Sites unchanged, by name"), u.site_names, fold=True))
    return Section(UNTOUCHED, _("Not affected"), tuple(blocks))


def _of(number: int, total: int) -> str:
    return _("{count} of {total}").format(count=number, total=total)


def _unchanged_words(impact: Impact) -> str:
    u = impact.untouched
    drinks, preps, sites = count(u.drinks, "drink"), count(u.preps, "prep"), count(u.sites, "site")
    words = _("{drinks}, {preps} and {sites} unchanged: the same cards as today, compared in full.")
    parts = [words.format(drinks=drinks, preps=preps, sites=sites)]
    if impact.through:
        parts.append(_("What is made with a prep that changes is not among them."))
    return " ".join([*parts, *_priced_words(impact)])


def _priced_words(impact: Impact) -> list[str]:
    """Names those whose card stands while their cost moves."""
    priced = sorted({c.drink_name for c in impact.costs} & set(impact.untouched.drink_names))
    return [_("Of these the cost changes: {drinks}.").format(drinks=listed(priced))] if priced else []
