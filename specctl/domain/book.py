"""The book: every record of one tree, by kind and id."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from typing import Iterator, Mapping

from specctl.domain.amount import Tolerance
from specctl.domain.equipment import Tool, Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.people import Policy, Proposal, Signatories
from specctl.domain.place import AllergenList, Franchise, Market, ScoopCheck, Site
from specctl.domain.price import PriceBook
from specctl.domain.recipe import Drink, Line, Prep
from specctl.domain.record import Record


@dataclass(frozen=True, slots=True)
class Claim:
    """Something a drink may say of itself; the substances and advisories it forbids.

    `watches` names composition that leaves it unsupported without a certificate.
    """

    key: str
    name: str
    forbids: frozenset[str]
    forbids_advisories: frozenset[str] = frozenset()
    watches: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class Settings(Record):
    """What `book.yaml` says."""

    day_starts: str
    tolerance: Tolerance
    documents_last: timedelta
    spoons: str | None = None
    most_motions: int = 6
    half_scoops: bool = False
    checks_last: timedelta | None = None
    claims: Mapping[str, Claim] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Book:
    """All records of one tree. Broken records are left out; problems say so."""

    settings: Settings
    lists: Mapping[str, AllergenList] = field(default_factory=dict)
    markets: Mapping[str, Market] = field(default_factory=dict)
    franchises: Mapping[str, Franchise] = field(default_factory=dict)
    sites: Mapping[str, Site] = field(default_factory=dict)
    tools: Mapping[str, Tool] = field(default_factory=dict)
    vessels: Mapping[str, Vessel] = field(default_factory=dict)
    ingredients: Mapping[str, Ingredient] = field(default_factory=dict)
    preps: Mapping[str, Prep] = field(default_factory=dict)
    drinks: Mapping[str, Drink] = field(default_factory=dict)
    scoop_checks: Mapping[str, ScoopCheck] = field(default_factory=dict)
    price_books: Mapping[str, PriceBook] = field(default_factory=dict)
    proposals: Mapping[str, Proposal] = field(default_factory=dict)
    policy: Policy | None = None
    signatories: Signatories | None = None
    broken: frozenset[str] = frozenset()
    """`kind/id` of records that are there but cannot be read; naming one is no unknown name."""

    def item(self, id: str) -> Ingredient | Prep | None:
        """What a line's `use` names: an ingredient or a prep."""
        return self.ingredients.get(id) or self.preps.get(id)

    def path_of(self, id: str) -> str:
        """`ingredient/<id>` or `prep/<id>`."""
        return f"prep/{id}" if id in self.preps else f"ingredient/{id}"

    def sites_of(self, franchise: str) -> list[Site]:
        return [s for s in self.sites.values() if s.franchise == franchise]

    def served_at(self, site: Site) -> list[Drink]:
        """Drinks a site serves, by id."""
        return [
            drink
            for id, drink in sorted(self.drinks.items())
            if id not in site.not_served and drink.sold_in(site.market)
        ]

    def recipes(self) -> Iterator[Prep | Drink]:
        yield from self.preps.values()
        yield from self.drinks.values()

    def lines_of(self, recipe: Prep | Drink) -> Iterator[Line]:
        yield from recipe.all_lines()
