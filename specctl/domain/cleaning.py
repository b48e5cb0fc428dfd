"""How a site keeps things apart: cleaning of shared equipment, and clear-outs of old stock."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta

from specctl.problem import NOWHERE, Place

RINSE = "rinse"
WIPE = "wipe"
WASH = "wash"
MACHINE_WASH = "machine-wash"
KEPT_APART = "kept-apart"
METHODS = (RINSE, WIPE, WASH, MACHINE_WASH, KEPT_APART)
CLEARS = frozenset({WASH, MACHINE_WASH, KEPT_APART})
"""Methods that can lower a warning where a document bears them out; a rinse or a wipe never does."""


@dataclass(frozen=True, slots=True)
class Cleaning:
    """What a site does to one piece of equipment between drinks, and the paper that bears it out."""

    equipment: str
    method: str
    document: str = ""
    dated: date | None = None
    place: Place = field(default=NOWHERE, compare=False)

    @property
    def lowers(self) -> bool:
        """Whether this rule lowers a warning: it can clear, and a dated document says so."""
        return self.method in CLEARS and bool(self.document) and self.dated is not None

    def trusted_until(self, lasts: timedelta) -> date:
        """The first day on which the document is too old; `date.max` past the calendar."""
        try:
            return (self.dated or date.min) + lasts
        except OverflowError:
            return date.max


@dataclass(frozen=True, slots=True)
class ClearOut:
    """A site's word that the old packs of an ingredient, and preps made of them, are gone."""

    ingredient: str
    product_code: str
    on: date
    by: str
    place: Place = field(default=NOWHERE, compare=False)
