"""What shared equipment carries from one drink to another at a site.

Promises: whatever the documents say is, or may be, in anything made with a piece
of equipment may be in everything else made with it. Preps count with the
equipment of their own steps, and so with every drink they go into; so do
options and the stand-ins a market allows. A fact that is carried over is `may
contain`; nothing a row already says gets weaker. What nobody answers for is not
carried into a row, where it would leave every drink of a counter open: the
items are named beside the equipment (`Shared.unanswered`).

Only a cleaning rule that can clear and is borne out by a dated document lowers
a warning; a rinse or a wipe clears nothing. A row that leans on such a rule
says until when: `absent_until` takes in the day its document is too old.

The words name those who bring it: first those that contain it, and only where
none does, those that may. Tools that measure, vessels and work surfaces are not
followed here; the sheet says that they are shared.

Source: Codex CXC 80-2020 (cross-contact; validated cleaning) for the rule. That
a trace which got in by equipment is not carried on by the next piece is common
practice, no source; the sheet's caution covers it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property
from typing import Callable, Mapping

from specctl.analysis.allergens import (
    CONTAINS,
    MAY_CONTAIN,
    STRENGTH,
    UNKNOWN,
    AllergenRow,
    Fact,
    name_of,
)
from specctl.analysis.build import STANDARD, Variant, open_lines, variants
from specctl.analysis.ways import preps_in, with_stand_ins
from specctl.domain.book import Book
from specctl.domain.cleaning import Cleaning
from specctl.domain.place import AllergenList, Site
from specctl.domain.recipe import Drink, Prep

_NAMED = 3
_FIELD = {CONTAINS: "contains", MAY_CONTAIN: "may_contain", UNKNOWN: "unknown"}

Rows = Callable[[Drink | Prep, Variant], AllergenRow]
"""A recipe's own row, before anything is carried over."""


@dataclass(frozen=True, slots=True)
class Shared:
    """One piece of equipment an item shares: its rule, and what it carries across."""

    equipment: str
    cleaning: Cleaning | None
    substances: tuple[str, ...]
    unanswered: tuple[str, ...] = ()
    """Other items made with it that hold something nobody answers for."""

    @property
    def lowered(self) -> bool:
        return self.cleaning is not None and self.cleaning.lowers


class Kitchen:
    """All that one site makes, and which equipment each of it touches."""

    def __init__(self, book: Book, site: Site, market_list: AllergenList, rows: Rows) -> None:
        self.book = book
        self.site = site
        self.list = market_list
        self._rows = rows
        self._said: dict[tuple[str, str, str], str] = {}
        self._places = {s: i for i, s in enumerate(s for g in market_list.groups.values() for s in g.members)}

    @cached_property
    def recipes(self) -> dict[str, Drink | Prep]:
        """Everything made here under `drink/<id>` and `prep/<id>`, choices and stand-ins included."""
        found: dict[str, Drink | Prep] = {}
        preps: set[str] = set()
        for drink in self.book.served_at(self.site):
            found[f"drink/{drink.id}"] = drink
            for variant in variants(drink, self.site.market):
                preps |= self._preps(drink, variant)
        found.update((f"prep/{id}", self.book.preps[id]) for id in sorted(preps))
        return found

    def touched(self, recipe: Drink | Prep, variant: Variant = STANDARD) -> frozenset[str]:
        """Equipment that touches what goes into one variant: its own steps' and its preps'."""
        found = set(equipment_of(recipe))
        for id in self._preps(recipe, variant):
            found |= equipment_of(self.book.preps[id])
        return frozenset(found)

    def row(self, recipe: Drink | Prep, variant: Variant = STANDARD) -> AllergenRow:
        """The row of a variant with everything carried over joined in."""
        base = self._rows(recipe, variant)
        touched = sorted(self.touched(recipe, variant))
        here = _key(recipe)
        found = {s: list(getattr(base, _FIELD[s])) for s in STRENGTH}
        for substance in sorted({s for e in touched for s in self._onto[e]}, key=self._order):
            was = base.status(substance)
            if was == CONTAINS:
                self._asked_again(found[CONTAINS], substance, touched, here)
                continue
            ways = []
            for equipment in touched:
                if substance in self._onto[equipment] and (was != MAY_CONTAIN or self._others(equipment, substance, here)):
                    asked = (equipment, substance, here)
                    if asked not in self._said:
                        self._said[asked] = self._words(*asked)
                    ways.append(self._said[asked])
            if ways:
                self._join(found, substance, was, tuple(ways))
        until = [base.absent_until] if base.absent_until else []
        until += self._rules_end(recipe, variant)
        return replace(
            base,
            contains=tuple(found[CONTAINS]),
            may_contain=tuple(sorted(found[MAY_CONTAIN], key=lambda f: self._order(f.substance))),
            unknown=tuple(found[UNKNOWN]),
            absent_until=min(until, default=None),
        )

    def shared(self, recipe: Drink | Prep) -> tuple[Shared, ...]:
        """Equipment an item shares with others, over all its variants, by id."""
        touched: set[str] = set()
        for variant in self._variants(recipe):
            touched |= self.touched(recipe, variant)
        found = []
        for equipment in sorted(touched):
            users = self._users.get(equipment, [])
            if users in ([], [_key(recipe)]):
                continue
            unanswered = [
                self.recipes[key].name
                for key in users
                if key != _key(recipe) and not self._cleared(equipment) and UNKNOWN in self._own[key].values()
            ]
            found.append(
                Shared(
                    equipment,
                    self.site.cleaning.get(equipment),
                    tuple(sorted(self._onto[equipment], key=self._order)),
                    tuple(sorted(unanswered)),
                )
            )
        return tuple(found)

    def _join(self, found: dict[str, list[Fact]], substance: str, was: str, ways: tuple[str, ...]) -> None:
        """Put a carried fact into a row that does not contain the substance; ways of both stay."""
        group = self.list.group_of(substance)
        held = next((f for f in found.get(was, ()) if f.substance == substance), None)
        before: tuple[str, ...] = ()
        after: tuple[str, ...] = ()
        if held is not None:
            found[was].remove(held)
            if was == MAY_CONTAIN:
                before = held.paths
            else:
                after = tuple(f"{path} ({was})" for path in held.paths)
        found[MAY_CONTAIN].append(
            Fact(
                substance=substance,
                group=group.key if group else None,
                name=self._name(substance),
                listed=group is not None,
                paths=before + ways + after,
            )
        )

    def _asked_again(self, held: list[Fact], substance: str, touched: list[str], here: str) -> None:
        """What stayed below a list's limit is declared after all where equipment may bring more of it."""
        for place, fact in enumerate(held):
            if fact.substance != substance or fact.listed or fact.group is None:
                continue
            ways = [self._words(e, substance, here) for e in touched if substance in self._onto[e]]
            held[place] = replace(fact, listed=True, paths=(*fact.paths, *(f"{way} (may contain)" for way in ways)))

    def _name(self, substance: str) -> str:
        group = self.list.group_of(substance)
        return group.members[substance] if group else name_of(self.book, substance)

    def _others(self, equipment: str, substance: str, here: str) -> bool:
        """Whether anything but the item itself brings the substance to the equipment."""
        return any(
            key != here and self._own[key].get(substance) in (CONTAINS, MAY_CONTAIN) for key in self._users[equipment]
        )

    def _words(self, equipment: str, substance: str, here: str) -> str:
        """`shared foam-whip: Vanilla cream foam contains milk`, as item `here` is told it."""
        users = self._users[equipment]
        for status, many, one in ((CONTAINS, "contain", "contains"), (MAY_CONTAIN, "may contain", "may contain")):
            by = [key for key in users if self._own[key].get(substance) == status]
            # An item's own other choices are another guest's drink made with the same spoon.
            named = [self.recipes[k].name for k in by if k != here] or (
                [f"{self.recipes[here].name} made with another choice"] if by else []
            )
            if named:
                does = many if len(named) > 1 else one
                return f"shared {equipment}: {_listed(named)} {does} {self._name(substance)}"
        raise KeyError(substance)

    def _rules_end(self, recipe: Drink | Prep, variant: Variant) -> list[date]:
        """When the papers of the rules a row leans on are too old."""
        found = []
        for equipment in self.touched(recipe, variant):
            rule = self.site.cleaning.get(equipment)
            if rule is None or not rule.lowers or self._users.get(equipment, []) in ([], [_key(recipe)]):
                continue
            found.append(rule.trusted_until(self.book.settings.documents_last))
        return found

    def _cleared(self, equipment: str) -> bool:
        rule = self.site.cleaning.get(equipment)
        return rule is not None and rule.lowers

    def _order(self, substance: str) -> tuple[int, str]:
        return self._places.get(substance, len(self._places)), substance

    def _variants(self, recipe: Drink | Prep) -> list[Variant]:
        return variants(recipe, self.site.market, self.book)

    def _preps(self, recipe: Drink | Prep, variant: Variant) -> frozenset[str]:
        followed = dict(self.site.stocks)
        if variant.substitute is not None and isinstance(recipe, Drink):
            stand_in = recipe.substitutes[variant.substitute]
            followed.setdefault(stand_in.of, stand_in.by)
        found: set[str] = set()
        waiting = [line.use for line in open_lines(recipe, variant).values()]
        while waiting:
            for use in with_stand_ins(waiting.pop(), followed):
                prep = self.book.preps.get(use)
                if prep is not None and use not in found:
                    found.add(use)
                    waiting.extend(line.use for line in prep.all_lines())
        return frozenset(found)

    @cached_property
    def _users(self) -> dict[str, list[str]]:
        """Items by the equipment of their own steps."""
        found: dict[str, list[str]] = {}
        for key, recipe in self.recipes.items():
            for equipment in sorted(equipment_of(recipe)):
                found.setdefault(equipment, []).append(key)
        return found

    @cached_property
    def _own(self) -> dict[str, dict[str, str]]:
        """The strongest status of each substance in an item, over its variants."""
        found: dict[str, dict[str, str]] = {}
        for key, recipe in self.recipes.items():
            found[key] = {}
            for variant in self._variants(recipe):
                _take(found[key], _statuses(self._rows(recipe, variant)))
        return found

    @cached_property
    def _onto(self) -> dict[str, frozenset[str]]:
        """What is or may be left on each piece of equipment that no rule clears."""
        return {
            equipment: frozenset(
                substance
                for key in users
                for substance, status in self._own[key].items()
                if status != UNKNOWN and not self._cleared(equipment)
            )
            for equipment, users in self._users.items()
        }


def equipment_of(recipe: Drink | Prep) -> frozenset[str]:
    """Equipment the steps of a recipe name."""
    return frozenset(id for step in recipe.steps.values() for id in step.equipment)


def all_equipment_of(book: Book, recipe: Drink | Prep) -> frozenset[str]:
    """Equipment that touches anything a recipe may hold, over all its builds and their preps."""
    found = set(equipment_of(recipe))
    for variant in variants(recipe, None, book):
        for line in open_lines(recipe, variant).values():
            for id in preps_in(book, line.use):
                found |= equipment_of(book.preps[id])
    return frozenset(found)


def _statuses(row: AllergenRow) -> dict[str, str]:
    return {
        fact.substance: status
        for status, facts in zip(STRENGTH, (row.contains, row.may_contain, row.unknown))
        for fact in facts
    }


def _take(into: dict[str, str], new: Mapping[str, str]) -> bool:
    """Strengthen `into` by `new`; whether anything moved."""
    moved = False
    for substance, status in new.items():
        held = into.get(substance)
        if held is None or STRENGTH.index(status) < STRENGTH.index(held):
            into[substance] = status
            moved = True
    return moved


def _key(recipe: Drink | Prep) -> str:
    return f"{'prep' if isinstance(recipe, Prep) else 'drink'}/{recipe.id}"


def _listed(names: list[str]) -> str:
    """`A`, `A and B`, `A, B, C and 2 more`."""
    shown = names[:_NAMED] + ([f"{len(names) - _NAMED} more"] if len(names) > _NAMED else [])
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else shown[0]
