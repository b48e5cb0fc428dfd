"""Items that are new at a site: their amounts size by size, what they bring, their tools folded."""

from __future__ import annotations

from dataclasses import replace

from specctl.change.impact import AllergenChange, AmountChange, Impact
from specctl.report.allergen_words import allergen_word
from specctl.report.tables import Block, Cell, Column, Table, cell
from specctl.report.tongue import _, _n
from specctl.report.view_lines import CALLED_OUT, amount_after, given
from specctl.report.view_names import choice_words, market_sites, named, path_words, site_names, size_words
from specctl.report.words import measure_words, status_words, verdict_words

MOST_NEW = 6
"""An opening book has hundreds of new items: above so many each is summed up first and folded."""

_ORDER = ("contains", "may_contain", "unknown")


Fresh = dict[str, frozenset[str]]


def new_items(impact: Impact) -> Fresh:
    """Items that some site has for the first time, with those sites."""
    found: dict[str, set[str]] = {}
    for text in impact.texts:
        if text.kind == "item-new":
            found.setdefault(text.item, set()).update(text.sites)
    return {item: frozenset(sites) for item, sites in found.items()}


def of_new_item(fresh: Fresh, change: AmountChange | AllergenChange) -> bool:
    """Whether a change only says what an item is that no named site had before; `fresh` of `new_items`."""
    if change.before is not None:
        return False
    here = fresh.get(change.item, frozenset())
    if isinstance(change, AllergenChange):
        return bool(change.sites) and here.issuperset(change.sites)
    sites = {s for at in change.at for s in at.sites}
    return change.before_of is None and bool(sites) and here.issuperset(sites)


def amount_tables(impact: Impact) -> list[Block]:
    """For each new item its lines with a column a size, then the same in each site's tools, folded."""
    fresh = new_items(impact)
    by_item: dict[str, list[AmountChange]] = {}
    for change in sorted(impact.amounts, key=lambda c: (c.item_name, c.item)):
        if of_new_item(fresh, change):
            by_item.setdefault(change.item, []).append(change)
    blocks: list[Block] = []
    for item, own in by_item.items():
        where = len(fresh[item])
        name = named(item, own[0].item_name)
        caption = _n("{item}: new at {count} site", "{item}: new at {count} sites", where).format(item=name, count=where)
        blocks.append(replace(_sizes_table(impact, caption, own), fold=len(by_item) > MOST_NEW))
        blocks.append(_tools_table(impact, _("{item}: in each site's own tools").format(item=name), own))
    return blocks


def _sizes_table(impact: Impact, caption: str, changes: list[AmountChange]) -> Table:
    sizes = dict.fromkeys((c.size, size_words(c.item, c.size_name, c.size)) for c in changes)
    rows: dict[tuple[str, str, str], dict[str, list[AmountChange]]] = {}
    for change in sorted(changes, key=lambda c: bool(c.choice)):
        slot = (change.choice, change.path, change.line_name)
        rows.setdefault(slot, {}).setdefault(change.size, []).append(change)
    columns = (Column(_("Line")), *(Column(name, number=True) for _key, name in sizes))
    body = tuple(
        (
            cell(name, quiet=(next(iter(by_size.values()))[0].choice_name,) if choice else ()),
            *(_amounts(impact, by_size.get(size, [])) for size, _name in sizes),
        )
        for (choice, _path, name), by_size in rows.items()
    )
    return Table(caption, columns, body)


def _amounts(impact: Impact, changes: list[AmountChange]) -> Cell:
    """One amount, or one for each group of sites where a filling rule comes out apart."""
    if not changes:
        return cell("–")
    if len(changes) == 1:
        return cell(amount_after(changes[0]))
    words = _("{amount} at {sites}")
    sites = (site_names(impact, (s for at in c.at for s in at.sites)) for c in changes)
    return cell(*(words.format(amount=amount_after(c), sites=here) for c, here in zip(changes, sites, strict=True)))


def _tools_table(impact: Impact, caption: str, changes: list[AmountChange]) -> Table:
    columns = (_("Line"), _("Sites"), _("In their own tools"), _("What it gives"))
    rows = []
    for change in changes:
        for at in change.at:
            if at.after is None or at.after_line is None:
                continue
            out = at.after["verdict"] in CALLED_OUT
            rows.append(
                (
                    cell(change.line_name, quiet=(size_words(change.item, change.size_name, change.size), choice_words(change.choice, change.choice_name) if change.choice else "")),
                    cell(site_names(impact, at.sites)),
                    cell(measure_words(at.after_line)),
                    cell(f"{verdict_words(at.after['verdict'])}{given(at.after)}", alarm=out),
                )
            )
    return Table(caption, tuple(Column(name) for name in columns), tuple(rows), fold=True)


def allergen_tables(impact: Impact) -> list[Block]:
    """What new items bring, nothing left out: by status first, then every substance with its ways in."""
    fresh = new_items(impact)
    by_item: dict[str, list[AllergenChange]] = {}
    for change in sorted(impact.allergens, key=lambda c: (c.item_name, c.item)):
        if of_new_item(fresh, change):
            by_item.setdefault(change.item, []).append(change)
    if not by_item:
        return []
    columns = (_("Drink or prep"), _("Choice"), *(status_words(s) for s in _ORDER), _("Where"))
    rows = [row for changes in by_item.values() for row in _status_rows(impact, changes)]
    ways = tuple(_ways_row(impact, changes) for changes in by_item.values())
    return [
        Table(_("New here: what each brings, all of it"), tuple(Column(name) for name in columns), tuple(rows)),
        Table(_("New here: the ways in"), (Column(_("Drink or prep")), Column(_("Every substance, and how it gets in"))), ways),
    ]


def _status_rows(impact: Impact, changes: list[AllergenChange]) -> list[tuple[Cell, ...]]:
    """A row for all choices and markets that bring the same: one item's changes."""
    at: dict[tuple[str, str, tuple[str, ...]], dict[str, list[str]]] = {}
    for change in changes:
        slot = (choice_words(change.choice, change.choice_name), change.market, change.sites)
        name = allergen_word(change.name)
        if not change.listed:
            name = _("{name} (not on this market's list, shown all the same)").format(name=name)
        at.setdefault(slot, {}).setdefault(str(change.after), []).append(name)
    same: dict[tuple[tuple[str, ...], ...], dict[str, list[str]]] = {}
    for (choice, market, sites), brought in at.items():
        names = tuple(tuple(sorted(brought.get(status, ()))) for status in _ORDER)
        same.setdefault(names, {}).setdefault(choice, []).append(market_sites(impact, market, sites))
    rows = []
    for names, by_choice in same.items():
        places: dict[tuple[str, ...], list[str]] = {}
        for choice, where in by_choice.items():
            places.setdefault(tuple(sorted(where)), []).append(choice)
        for here, choices in places.items():
            brings = (cell(", ".join(group) or "–", alarm=bool(group)) for group in names)
            rows.append((cell(named(changes[0].item, changes[0].item_name)), cell(*choices), *brings, cell(*here)))
    return rows


def _ways_row(impact: Impact, changes: list[AllergenChange]) -> tuple[Cell, ...]:
    ways: dict[str, dict[str, None]] = {}
    for change in sorted(changes, key=lambda c: c.name):
        told = ways.setdefault(allergen_word(change.name), {})
        for path in change.paths:
            told[path_words(impact, change.item, path)] = None
    lines = (f"{name}: {'; '.join(told) or _('no path is stated')}" for name, told in ways.items())
    return cell(named(changes[0].item, changes[0].item_name)), cell(*lines)
