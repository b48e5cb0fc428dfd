"""What of an item bears on a cup, worked out once and asked for again.

Densities are kept to the tenth of a degree; whatever depends only on the item
(its heat, its kind, the temperature it is kept at) is worked out once a book.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal

from specctl.analysis.cup import DEFAULT_ICE_PACKING, ICE_DENSITY
from specctl.analysis.density import Item
from specctl.analysis.density_choice import DensityChoice, NoDensity, choose_density, heat_of, sugars_of
from specctl.analysis.vessel import Hollow, hollow_of
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import SiteIce
from specctl.domain.recipe import Prep

CHILLED, ROOM = 5.0, 20.0
"""°C of what is kept chilled and at room temperature where nothing else is said: assumed."""

DEFAULT_ICE_CELSIUS = 0.0
"""°C of ice scooped from a well: common practice, no source; wet ice is at 0 °C."""

MatterKind = Literal["liquid", "foam", "ice", "piece"]


@dataclass(frozen=True, slots=True)
class Matter:
    """One item: its kind, specific heat in J/(g K), °C as kept (None: not known) and why."""

    item: Item
    kind: MatterKind
    heat: float
    kept: float | None
    why: str
    sugars: float | None
    densities: dict[int, DensityChoice | NoDensity] = field(default_factory=dict, compare=False)


class Larder:
    """The items and vessels of one book as a cup sees them, and one site's ice."""

    def __init__(self, book: Book, ice: SiteIce | None = None) -> None:
        self.book = book
        self.ice_celsius = DEFAULT_ICE_CELSIUS if ice is None or ice.temperature is None else float(ice.temperature)
        self.ice_stated = ice is not None and ice.temperature is not None
        self._packing = None if ice is None or ice.packing is None else float(ice.packing)
        self._matters: dict[str, Matter | None] = {}
        self._hollows: dict[str, Hollow | None] = {}

    def matter(self, use: str) -> Matter | None:
        """None for an id that is not in the book."""
        if use not in self._matters:
            item = self.book.item(use)
            self._matters[use] = None if item is None else self._made(item)
        return self._matters[use]

    def density(self, matter: Matter, celsius: float) -> DensityChoice | NoDensity:
        tenth = round(celsius * 10)
        found = matter.densities.get(tenth)
        if found is None:
            found = matter.densities[tenth] = choose_density(self.book, matter.item, tenth / 10)
        return found

    def hollow(self, vessel: Vessel) -> Hollow | None:
        if vessel.id not in self._hollows:
            self._hollows[vessel.id] = hollow_of(vessel)
        return self._hollows[vessel.id]

    def packing(self, matter: Matter) -> float:
        """Share of ice in a heap: the site's own, else by the ice's bulk density, else the default."""
        if self._packing is not None:
            return self._packing
        item = matter.item
        if isinstance(item, Ingredient) and item.bulk_density is not None and item.bulk_density.value > 0:
            return float(min(item.bulk_density.value / ICE_DENSITY, Decimal(1)))
        return float(DEFAULT_ICE_PACKING)

    def _made(self, item: Item) -> Matter:
        kept, why = _kept(item)
        kind: MatterKind = "liquid"
        if isinstance(item, Prep):
            kind = "foam" if item.overrun else "liquid"
        elif item.state == "ice":
            kind, kept, why = "ice", self.ice_celsius, "the site's ice" if self.ice_stated else "ice taken at 0 °C"
        elif item.state != "liquid":
            kind = "piece"
        return Matter(item, kind, heat_of(self.book, item), kept, why, sugars_of(self.book, item))


def _kept(item: Item) -> tuple[float | None, str]:
    if isinstance(item, Prep):
        if item.served_at is not None:
            return float(item.served_at), "as its spec serves it"
        if item.keep == "chilled":
            return CHILLED, "kept chilled, taken as 5 °C"
        if item.keep == "ambient":
            return ROOM, "kept at room temperature, taken as 20 °C"
        return None, f"no temperature of {item.name} is stated"
    if item.storage == "ambient":
        return ROOM, "kept at room temperature, taken as 20 °C"
    return CHILLED, "kept chilled, taken as 5 °C"
