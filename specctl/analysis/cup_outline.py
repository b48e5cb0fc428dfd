"""Where everything in a drawn cup stands: walls, layers, colours, ice; geometry, no words.

An estimate like the cup it is drawn from. Lengths in mm above the inside of the
base; colours are the items' own, mixed by mass.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

from specctl.analysis.cup import ICE_DENSITY
from specctl.analysis.cup_state import CupState, LayerState
from specctl.analysis.vessel import Hollow
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient

COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
PLAIN = "#d9d9d9"
MOST_PIECES = 14
_GRAMS_A_PIECE = 12


@dataclass(frozen=True, slots=True)
class IceOutline:
    """Where the ice stands, mm above the base, and roughly how many pieces to draw."""

    bottom: float
    top: float
    pieces: int


def walls_of(hollow: Hollow) -> tuple[tuple[float, float], ...]:
    """(mm above the base, inside diameter in mm) from the base up."""
    if not hollow.rows:
        return (0.0, hollow.base), (hollow.full, hollow.rim)
    return tuple((up, hollow.diameter(up + 1e-6 if up == 0 else up)) for up, _ in hollow.rows)


def colour_of(book: Book, layer: LayerState) -> str:
    """The colours the spec states, mixed by mass; plain water only where nothing else is there."""
    shades: list[tuple[str, float]] = []
    water = PLAIN
    for use, grams in layer.uses:
        item = book.item(use)
        if item is None or not COLOUR.fullmatch(item.colour):
            continue
        if isinstance(item, Ingredient) and item.composition.get("water", Decimal(0)) == 100:
            water = item.colour
        else:
            shades.append((item.colour, grams))
    whole = sum(grams for _, grams in shades)
    if whole <= 0:
        return water.lower()
    mixed = (sum(int(colour[at : at + 2], 16) * grams for colour, grams in shades) / whole for at in (1, 3, 5))
    return "#" + "".join(f"{round(each):02x}" for each in mixed)


def ice_outline(state: CupState, hollow: Hollow) -> IceOutline | None:
    """The ice that is left once all is in balance; None where there is less than a gram."""
    ice = state.ice
    if ice is None or ice.left < 1:
        return None
    tops = [each.top for each in state.layers if each.top is not None and (each.key in ice.among or each.kind == "slush")]
    if not tops:
        return None
    heap = ice.left / float(ICE_DENSITY) / ice.packing
    if ice.floats or not ice.among:
        top = max(tops)
        bottom = hollow.height(max(hollow.held(top) - heap, 0.0))
    else:
        lows = [each.bottom for each in state.layers if each.bottom is not None and each.key in ice.among]
        bottom = min(lows, default=0.0)
        top = hollow.height(hollow.held(bottom) + heap)
    return IceOutline(bottom, top, max(1, min(MOST_PIECES, round(ice.left / _GRAMS_A_PIECE))))
