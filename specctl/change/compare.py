"""Differences between compiled entries, as data: amounts, allergens, everything else.

Works on distinct pairs of entries, not on sites: sites that moved from the same
entry to the same entry are one group. Every difference is listed; nothing is
judged here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

from specctl.change.effect import Row
from specctl.change.entry_lines import (
    Entry,
    choice_names,
    facts_in,
    left_out_in,
    lines_in,
    size_names,
    texts_in,
)
from specctl.change.impact import AllergenChange, AmountChange, AtSites, TextChange


@dataclass(frozen=True, slots=True)
class Pair:
    """One item's entry before and after, and the sites that go from the one to the other."""

    item: str
    before: Entry | None
    after: Entry | None
    sites: tuple[str, ...]

    @property
    def name(self) -> str:
        entry = self.after or self.before
        return str(entry["name"]) if entry else self.item

    @property
    def market(self) -> str:
        entry = self.after or self.before
        return str(entry["market"]) if entry else ""


def pairs_of(rows: Iterable[Row], entries: Mapping[str, Entry]) -> tuple[Pair, ...]:
    """Rows grouped by item and by the two digests, sorted."""
    grouped: dict[tuple[str, str, str], list[str]] = {}
    for row in rows:
        grouped.setdefault((row.item, row.before or "", row.after or ""), []).append(row.site)
    return tuple(
        Pair(
            item,
            entries[before] if before else None,
            entries[after] if after else None,
            tuple(sorted(sites)),
        )
        for (item, before, after), sites in sorted(grouped.items())
    )


def amounts_of(pairs: Iterable[Pair]) -> tuple[AmountChange, ...]:
    """Lines that differ in item, mass, count, rule, tolerance or tools."""
    found: dict[tuple[Any, ...], list[AtSites]] = {}
    heads: dict[tuple[Any, ...], AmountChange] = {}
    for pair in pairs:
        before, after = lines_in(pair.before), lines_in(pair.after)
        dropped = left_out_in(pair.after) - left_out_in(pair.before)
        for key in [*after, *(k for k in before if k not in after)]:
            was, now = before.get(key), after.get(key)
            size, choice, path = key
            if choice:
                # A choice lists only what it changes: against the standard line where it is silent.
                standard = (size, "", path)
                was = was or (before.get(standard) if choice in choice_names(pair.before) else None)
                now = now or (after.get(standard) if choice in choice_names(pair.after) else None)
                if key in left_out_in(pair.after):
                    now = None
                if (was, now) == (before.get(standard), after.get(standard)):
                    continue
            if was != now:
                _note(pair, key, was, now, found, heads)
        for key in sorted(dropped):
            was = before.get(key) or before.get((key[0], "", key[2]))
            if key not in before and was is not None and key[1] in choice_names(pair.before):
                _note(pair, key, was, None, found, heads)
    return tuple(
        replace(heads[slot], at=tuple(sorted(at, key=lambda a: a.sites)))
        for slot, at in sorted(found.items(), key=lambda i: str(i[0]))
    )


def _note(
    pair: Pair,
    key: tuple[str, str, str],
    was: Mapping[str, Any] | None,
    now: Mapping[str, Any] | None,
    found: dict[tuple[Any, ...], list[AtSites]],
    heads: dict[tuple[Any, ...], AmountChange],
) -> None:
    size, choice, path = key
    names = {**choice_names(pair.before), **choice_names(pair.after)}
    sizes = {**size_names(pair.before), **size_names(pair.after)}
    shown = now or was or {}
    head = AmountChange(
        item=pair.item,
        item_name=pair.name,
        size=size,
        size_name=sizes.get(size, size),
        choice=choice,
        choice_name=names.get(choice, choice) if choice else "",
        path=path,
        line_name=str(shown.get("name", "")),
        before_of=was["of"] if was else None,
        after_of=now["of"] if now else None,
        before=_grams(was),
        after=_grams(now),
        at=(),
    )
    slot = (pair.item, size, choice, path, head.before_of, head.after_of, str(head.before), str(head.after))
    heads.setdefault(slot, head)
    at = AtSites(pair.sites, was["measure"] if was else None, now["measure"] if now else None, was, now)
    for index, other in enumerate(found.setdefault(slot, [])):
        if (other.before_line, other.after_line) == (was, now):
            found[slot][index] = AtSites(
                tuple(sorted((*other.sites, *pair.sites))), other.before, other.after, was, now
            )
            return
    found[slot].append(at)


def _grams(line: Mapping[str, Any] | None) -> Decimal | None:
    if line is None or not line["grams"]:
        return None
    return Decimal(line["grams"])


def allergens_of(pairs: Iterable[Pair]) -> tuple[AllergenChange, ...]:
    """Substances whose status differs in any row: added, removed, grown, become unknown."""
    found: dict[tuple[Any, ...], AllergenChange] = {}
    for pair in pairs:
        before, after = facts_in(pair.before), facts_in(pair.after)
        names = {**choice_names(pair.before), **choice_names(pair.after)}
        entry = pair.after or pair.before or {}
        for key in sorted({*before, *after}):
            was, now = before.get(key), after.get(key)
            if (was and was[0]) == (now and now[0]):
                continue
            choice, substance = key
            fact = (now or was or ("", {}))[1]
            slot = (pair.item, choice, pair.market, substance, was and was[0], now and now[0])
            sites = tuple(sorted((*(found[slot].sites if slot in found else ()), *pair.sites)))
            found[slot] = AllergenChange(
                item=pair.item,
                item_name=pair.name,
                choice=choice,
                choice_name=names.get(choice, choice),
                market=pair.market,
                list_name=entry["list"]["name"],
                substance=substance,
                name=fact["name"],
                listed=fact["listed"],
                before=was[0] if was else None,
                after=now[0] if now else None,
                paths=tuple(fact["paths"]),
                sites=sites,
            )
    return tuple(found[slot] for slot in sorted(found, key=str))


def texts_of(pairs: Iterable[Pair]) -> tuple[TextChange, ...]:
    """Everything else that differs in what a site is told."""
    found: dict[tuple[Any, ...], TextChange] = {}
    for pair in pairs:
        before, after = texts_in(pair.before), texts_in(pair.after)
        if pair.before is None or pair.after is None:
            kind = "item-new" if pair.before is None else "item-gone"
            _put(found, pair, kind, "item", None if pair.before is None else pair.name, None if pair.after is None else pair.name)
        for kind, where in [*after, *(k for k in before if k not in after)]:
            was, now = before.get((kind, where)), after.get((kind, where))
            if was != now and pair.before is not None and pair.after is not None:
                _put(found, pair, kind, where, was, now)
    return tuple(found.values())


def _put(
    found: dict[tuple[Any, ...], TextChange], pair: Pair, kind: str, where: str, was: str | None, now: str | None
) -> None:
    slot = (pair.item, kind, where, was, now)
    sites = tuple(sorted((*(found[slot].sites if slot in found else ()), *pair.sites)))
    found[slot] = TextChange(kind, pair.item, pair.name, where, was, now, sites)
