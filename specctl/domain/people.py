"""Who may sign as what, and who must."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Mapping

from specctl.problem import NOWHERE, Place

FRANCHISE_MANAGER = "franchise-manager"
RELEASER = "releaser"
AUTHOR = "author"
FOOD_SAFETY = "food-safety"


@dataclass(frozen=True, slots=True)
class Key:
    id: str
    public: str
    retired: bool = False


@dataclass(frozen=True, slots=True)
class Cover:
    """Who counts in somebody's place from one day to another, both included."""

    key: str
    by: str
    begins: date
    ends: date
    place: Place = field(default=NOWHERE, compare=False)

    def holds(self, day: date) -> bool:
        return self.begins <= day <= self.ends


@dataclass(frozen=True, slots=True)
class Person:
    id: str
    name: str
    roles: frozenset[str]
    email: str = ""
    franchises: frozenset[str] = frozenset()
    deputy_for: frozenset[str] = frozenset()
    keys: Mapping[str, Key] = field(default_factory=dict)
    covers: tuple[Cover, ...] = ()
    """Who counts in this person's place, and when."""
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Signatories:
    people: Mapping[str, Person]

    @property
    def covered(self) -> bool:
        """Whether anybody was ever covered: only then do days matter."""
        return any(person.covers for person in self.people.values())


@dataclass(frozen=True, slots=True)
class Trial:
    """How many days a change is tried before any other site has it; `sites` empty: at any site."""

    days: int
    sites: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Rule:
    change: str
    signs: tuple[str, ...]
    why: str
    trial: Trial | None = None


@dataclass(frozen=True, slots=True)
class Policy:
    """Rules by class of change; `cost_limit` is a share of a cup's cost."""

    rules: Mapping[str, Rule]
    otherwise: tuple[str, ...]
    cost_limit: Decimal | None = None


@dataclass(frozen=True, slots=True)
class Wave:
    """`sites` None: all sites no other wave names."""

    key: str
    start: date
    sites: tuple[str, ...] | None


@dataclass(frozen=True, slots=True)
class Settled:
    """One conflict settled by a person: the fact, the side taken, why, and who did it on which main."""

    key: str
    file: str
    fact: str
    take: str
    why: str
    by: str
    main: str


@dataclass(frozen=True, slots=True)
class Proposal:
    """What the proposal file says. `name` is `<number>-<slug>`."""

    name: str
    title: str
    why: str
    start: date
    waves: Mapping[str, Wave] = field(default_factory=dict)
    draft: bool = False
    edited_from: str = ""
    author: str = ""
    settled: Mapping[str, Settled] = field(default_factory=dict)
    back_on_sale: Mapping[str, str] = field(default_factory=dict)
    """Off-sale notices it lifts, by digest, with what became of the goods."""
    evidence: str = ""
    """What bears out that an allergen leaves a declaration."""
    place: Place = field(default=NOWHERE, compare=False)

    @property
    def number(self) -> int:
        return int(self.name.split("-", 1)[0])
