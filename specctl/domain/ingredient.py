"""Something bought: density, composition, allergen facts, packs."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from typing import Mapping

from specctl.domain.amount import Each, Grams, Volume
from specctl.domain.record import Record
from specctl.problem import NOWHERE, Place


@dataclass(frozen=True, slots=True)
class Density:
    """Mass over volume in g/ml, with the temperature (°C) and where it comes from."""

    value: Decimal
    source: str
    at: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Pack:
    """A supplier's pack."""

    key: str
    name: str
    holds: Grams | Volume | Each


@dataclass(frozen=True, slots=True)
class AllergenFacts:
    """What a supplier's document says, at the finest grain.

    `answers_for` names the allergen lists the document answers in full: what it
    does not name there is declared absent. Everything else is unknown. `scope` is
    the supplier's own words on what may be in it. `forms` are exempt forms of what
    is contained, in the words of a list; `mg_per_kg` how much of it the goods hold.
    """

    document: str
    dated: date
    product_code: str
    contains: frozenset[str] = frozenset()
    may_contain: frozenset[str] = frozenset()
    absent: frozenset[str] = frozenset()
    answers_for: frozenset[str] = frozenset()
    scope: str = ""
    place: Place = field(default=NOWHERE, compare=False)
    substance_places: Mapping[str, Place] = field(default_factory=dict, compare=False)
    forms: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    mg_per_kg: Mapping[str, Decimal] = field(default_factory=dict)

    def trusted_until(self, lasts: timedelta) -> date:
        """The first day on which this document is too old to prove an absence."""
        return self.dated + lasts


@dataclass(frozen=True, slots=True)
class Was:
    """The product an ingredient was before: old packs may still be at a site.

    From the day `until`, every old pack and every prep made of one is past its life.
    """

    product_code: str
    supplier: str
    facts: AllergenFacts
    until: date
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Certificate:
    """A paper that bears out a claim for one ingredient."""

    document: str
    dated: date


@dataclass(frozen=True, slots=True, kw_only=True)
class Ingredient(Record):
    """Something bought. `composition` is grams per 100 g by component; `film` is the share of
    a pour that stays behind in a jigger or spoon."""

    state: str
    storage: str
    supplier: str = ""
    product_code: str = ""
    density: Density | None = None
    bulk_density: Density | None = None
    each: Decimal | None = None
    composition: Mapping[str, Decimal] = field(default_factory=dict)
    composition_source: str = ""
    facts: AllergenFacts | None = None
    contradicts: frozenset[str] = frozenset()
    packs: Mapping[str, Pack] = field(default_factory=dict)
    opened_life: int | None = None
    colour: str = ""
    cautions: tuple[str, ...] = ()
    was: Was | None = None
    advisories: tuple[str, ...] = ()
    certified: Mapping[str, Certificate] = field(default_factory=dict)
    tapped_density: Density | None = None
    film: Decimal | None = None

    @property
    def scoop_density(self) -> Density | None:
        """The density that turns a level volume into a mass: a liquid's own, else as it lies in a scoop.

        The density of the grains of a powder is no stand-in: it holds no air.
        """
        return self.density if self.state == "liquid" else self.bulk_density
