"""Where drinks are sold: lists, markets, franchises, sites, scoop checks."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Mapping

from specctl.domain.cleaning import Cleaning, ClearOut
from specctl.domain.record import Record
from specctl.problem import NOWHERE, Place


@dataclass(frozen=True, slots=True)
class Group:
    """One entry of a market's list: its legal name and the substances in it.

    `limit` is in mg in a kg or l of the drink as served: it is declared above it,
    or from it on where `limit_included`. None: declared in any amount.
    """

    key: str
    name: str
    members: Mapping[str, str]
    threshold: str = ""
    exempt: tuple[str, ...] = ()
    limit: Decimal | None = None
    limit_included: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class AllergenList(Record):
    source: str
    as_of: date
    groups: Mapping[str, Group]
    note: str = ""

    def group_of(self, substance: str) -> Group | None:
        for group in self.groups.values():
            if substance in group.members:
                return group
        return None

    def substances(self) -> frozenset[str]:
        return frozenset(s for group in self.groups.values() for s in group.members)


@dataclass(frozen=True, slots=True, kw_only=True)
class Market(Record):
    """A jurisdiction. `tax` is a share (0.2 = 20 %).

    `switches` are days on which another allergen list takes over, in order;
    `nutrition` is whose factors and rounding, `holding` whose limits.
    """

    allergen_list: str
    currency: str
    tax: Decimal
    tax_in_menu_price: bool
    language: str
    spoons: str | None = None
    caution: str = ""
    switches: tuple[tuple[date, str], ...] = ()
    nutrition: str = "eu"
    holding: str | None = None

    def list_on(self, day: date | None) -> str:
        """The allergen list of a day; without a day, the one before any switch."""
        found = self.allergen_list
        for start, id in self.switches:
            if day is not None and start <= day:
                found = id
        return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Franchise(Record):
    pass


@dataclass(frozen=True, slots=True)
class SiteIce:
    """A site's ice: its temperature in °C, the share of ice in a heap, grams a piece.

    None where nobody measured it.
    """

    temperature: Decimal | None = None
    packing: Decimal | None = None
    piece: Decimal | None = None
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Site(Record):
    franchise: str
    market: str
    time_zone: str
    tools: Mapping[str, int]
    vessels: frozenset[str]
    equipment: frozenset[str]
    day_starts: str = ""
    not_served: frozenset[str] = frozenset()
    stocks: Mapping[str, str] = field(default_factory=dict)
    ice: SiteIce | None = None
    cleaning: Mapping[str, Cleaning] = field(default_factory=dict)
    cleared: Mapping[str, ClearOut] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class ScoopCheck(Record):
    """Weighings: `mean` and `spread` (one scoop, standard deviation) in grams; `busy`: at a busy hour."""

    ingredient: str
    tool: str
    site: str
    n: int
    mean: Decimal
    spread: Decimal
    date: date
    who: str
    product_code: str = ""
    bulk_density: Decimal | None = None
    supplier: str = ""
    busy: bool = False
