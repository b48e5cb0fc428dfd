"""What sites are told besides amounts, which cannot follow, and what stands still."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from specctl.change.impact import Hindrance, Impact, TextChange
from specctl.report.picture_sites import map_of
from specctl.report.site_marks import CHANGED, NEW, Group, Mark, groups_of
from specctl.report.tables import Block, Cell, Column, Facts, Listing, Note, Point, Section, Table, cell
from specctl.report.view_names import few, kind_words, listed, site_names
from specctl.report.view_numbers import count
from specctl.report.words import keep_words, span_words

METHOD = "method"
FOLLOW = "sites"
UNTOUCHED = "unchanged"

# (kind of a TextChange, heading, short word) in reading order; others follow by name.
_KINDS = (
    ("item-new", "New here", "new item"),
    ("item-gone", "No longer served here", "item gone"),
    ("method", "Method", "method"),
    ("order", "Order of layers and steps", "order"),
    ("size", "Sizes", "size"),
    ("yield", "Yield", "yield"),
    ("prep", "Prep", "prep"),
    ("hold", "Hold time", "hold time"),
    ("equipment", "Equipment", "equipment"),
    ("vessel", "Vessel", "vessel"),
    ("option", "Options", "option"),
    ("substitute", "Stand-ins", "stand-in"),
    ("advisory", "Advice", "advice"),
    ("caution", "Cautions", "caution"),
    ("claim", "Claims", "claim"),
    ("name", "Names", "name"),
)
# Told with the allergens.
_ELSEWHERE = ("evidence", "list", "contact")


def taught_texts(impact: Impact) -> list[TextChange]:
    """What people are shown besides amounts; what bears on allergens stands with those."""
    return [t for t in impact.texts if t.kind not in _ELSEWHERE]


def kind_short(kind: str) -> str:
    """`hold time` for `hold`."""
    known = {key: short for key, _, short in _KINDS}
    return known.get(kind, {"evidence": "how long absence may be said", "list": "allergen list", "contact": "what shared equipment carries"}.get(kind, kind.replace("-", " ")))


def method_section(impact: Impact) -> Section:
    title = "Method, prep, hold times, equipment, vessels"
    texts = taught_texts(impact)
    if not texts:
        words = "Steps, hold times, equipment, vessels, options, cautions, claims and names read as before."
        return Section(METHOD, title, (Note(words),))
    tables = tuple(text_table(impact, texts, kind, heading) for kind, heading, _ in kinds_of(texts))
    return Section(METHOD, title, tables)


def kinds_of(texts: list[TextChange]) -> list[tuple[str, str, str]]:
    """The kinds that are there as (kind, heading, short word), in reading order."""
    present = {t.kind for t in texts}
    known = [k for k in _KINDS if k[0] in present]
    others = sorted(present - {k[0] for k in _KINDS})
    return known + [(kind, kind.replace("-", " ").capitalize(), kind.replace("-", " ")) for kind in others]


def text_table(impact: Impact, texts: Iterable[TextChange], kind: str, heading: str) -> Table:
    """The changes of one kind, before and after."""
    changes = [t for t in texts if t.kind == kind]
    columns = ("Drink or prep", "Where", "Before", "After", "Sites")
    ordered = sorted(changes, key=lambda t: (t.item_name, t.item, t.where))
    return Table(
        heading,
        tuple(Column(name) for name in columns),
        tuple(_text_row(impact, t) for t in ordered),
    )


def _text_row(impact: Impact, change: TextChange) -> tuple[Cell, ...]:
    return (
        cell(f"{change.item_name} ({kind_words(change.item)})"),
        cell(_where(change)),
        cell("not there" if change.before is None else _said(change.kind, change.before)),
        cell("taken out" if change.after is None else _said(change.kind, change.after)),
        cell(site_names(impact, change.sites)),
    )


_HOLD = re.compile(r"([^,.]+), ([0-9.]+ (?:min|h|d))\. (.*)")


def _said(kind: str, text: str) -> str:
    """A hold as people say it: `chilled, 1 hour 30 minutes (its own hold time)`; the rest as written."""
    found = _HOLD.fullmatch(text) if kind == "hold" else None
    return f"{keep_words(found[1])}, {span_words(found[2])} ({found[3].rstrip('.')})" if found else text


def _where(change: TextChange) -> str:
    said = (change.kind, change.before, change.after, "item", "allergen list")
    return "all of it" if not change.where or change.where in said else change.where


def touched_sites(impact: Impact) -> tuple[str, ...]:
    """Ids of the sites whose cards this proposal changes."""
    return tuple(sorted({row.site for row in impact.effect.rows}))


def follow_point(impact: Impact, label: str) -> Point:
    """How many of the sites are touched and can follow, and which cannot, what this proposal brings first."""
    touched = touched_sites(impact)
    stuck = {h.site for h in impact.hindrances}
    if not touched and not stuck:
        return Point(label, "No site's cards change.", FOLLOW)
    of_all = f" of {impact.untouched.sites_total}" if impact.untouched.sites_total > len(touched) else ""
    if not stuck:
        all_can = "it can follow" if len(touched) == 1 else f"all {len(touched)} can follow"
        return Point(label, f"{count(len(touched), 'site')}{of_all} touched: {all_can}.", FOLLOW)
    able = len(set(touched) - stuck)
    text = f"{able} of {count(len(touched), 'site')} touched can follow; {len(stuck)} CANNOT, or not fully: {_stuck_words(impact)}."
    return Point(label, text, FOLLOW, alarm=True)


def _stuck_words(impact: Impact) -> str:
    """What is lacked and where, sites that lack the same together, what is new and most sites first."""
    of_site: dict[str, list[Hindrance]] = {}
    for hindrance in impact.hindrances:
        of_site.setdefault(hindrance.site, []).append(hindrance)
    groups: dict[tuple[bool, str], list[str]] = {}
    for found in of_site.values():
        words = few((h.lacks for h in sorted(found, key=lambda h: not h.new)), _MOST_LACKS)
        groups.setdefault((not any(h.new for h in found), words), []).append(found[0].site_name)
    ordered = sorted(groups.items(), key=lambda g: (g[0][0], -len(g[1]), g[1]))
    told = [
        f"{few(sorted(names), _MOST_SITES)} ({words}{', as today already' if standing else ''})"
        for (standing, words), names in ordered[:_MOST_GROUPS]
    ]
    rest = sum(len(names) for _, names in ordered[_MOST_GROUPS:])
    return "; ".join([*told, f"{count(rest, 'more site')} below"] if rest else told)


# More would push the rest off the first screen; the section names them all.
_MOST_LACKS = 2
_MOST_SITES = 3
_MOST_GROUPS = 2


def follow_section(impact: Impact) -> Section:
    """Who cannot follow and what they lack, a map of sites and drinks, then each site."""
    title = "Site by site"
    groups = groups_of(impact)
    picture = map_of(groups, _item_names(impact), impact.names.franchises)
    seen: list[Block] = [picture, *_site_table(impact, groups)] if picture else []
    if not impact.hindrances:
        words = "Every touched site has the tools, vessels and equipment that the cards ask for."
        if not touched_sites(impact):
            words = "No site's cards change."
        return Section(FOLLOW, title, (Note(words), *seen))
    columns = ("Site", "Drink or prep", "What it lacks", "Since")
    ordered = sorted(impact.hindrances, key=lambda h: (not h.new, h.site_name, h.item_name, h.lacks))
    rows = tuple(
        (
            cell(h.site_name, alarm=True),
            cell(f"{h.item_name} ({kind_words(h.item)})"),
            cell(h.lacks),
            cell("NEW with this proposal" if h.new else "stands today already", alarm=h.new),
        )
        for h in ordered
    )
    table = Table("Not able, or not within tolerance", tuple(Column(name) for name in columns), rows)
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
    columns = ("Sites", "Franchise", "Cards that change", "Out of tolerance, or something is lacking")
    rows = []
    for group in groups:
        cards = [_mark_words(mark, names) for mark in group.marks]
        outs = [names.get(mark.item, mark.item) for mark in group.marks if mark.out]
        more = (f"and {len(cards) - _MOST_CARDS} more, each in full below",) if len(cards) > _MOST_CARDS else ()
        rows.append(
            (
                cell(", ".join(group.sites)),
                cell(impact.names.franchises.get(group.franchise, group.franchise)),
                cell(*cards[:_MOST_CARDS], quiet=more),
                cell(*outs, alarm=True) if outs else cell("nothing"),
            )
        )
    fold = len(rows) > _MOST_OPEN
    return [Table("Each site and its cards", tuple(Column(name) for name in columns), tuple(rows), fold=fold)] if rows else []


def _mark_words(mark: Mark, names: Mapping[str, str]) -> str:
    words = f"{names.get(mark.item, mark.item)} ({kind_words(mark.item)})"
    return words if mark.how == CHANGED else f"{words}: {'NEW there' if mark.how == NEW else 'no longer served'}"


def untouched_section(impact: Impact) -> Section:
    u = impact.untouched
    facts = Facts(
        (
            ("Drinks unchanged", f"{u.drinks} of {u.drinks_total}"),
            ("Preps unchanged", f"{u.preps} of {u.preps_total}"),
            ("Sites unchanged", f"{u.sites} of {u.sites_total}"),
        )
    )
    blocks: list[Block] = [Note(_unchanged_words(impact)), facts]
    if u.drink_names:
        blocks.append(Listing("Drinks unchanged, by name", u.drink_names, fold=True))
    if u.site_names:
        blocks.append(Listing("Sites unchanged, by name", u.site_names, fold=True))
    return Section(UNTOUCHED, "Not affected", tuple(blocks))


def _unchanged_words(impact: Impact) -> str:
    u = impact.untouched
    parts = (count(u.drinks, "drink"), count(u.preps, "prep"), count(u.sites, "site"))
    words = f"{parts[0]}, {parts[1]} and {parts[2]} unchanged: the same cards as today, compared in full."
    if impact.through:
        words += " What is made with a prep that changes is not among them."
    return words + _priced_words(impact)


def _priced_words(impact: Impact) -> str:
    """Names those whose card stands while their cost moves."""
    priced = sorted({c.drink_name for c in impact.costs} & set(impact.untouched.drink_names))
    return f" Of these the cost changes: {listed(priced)}." if priced else ""
