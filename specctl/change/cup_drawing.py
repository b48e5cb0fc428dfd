"""A cup as a drawing for sites: shapes and colours by layer key, in whole tenths of a millimetre.

No words and no figures to read: names come from the entry itself, so a drawing
can say nothing that was not approved. Made beside an entry, never part of it;
no signature rests on it.
"""

from __future__ import annotations

from typing import Any

from specctl.analysis.cup_outline import ice_outline, walls_of
from specctl.analysis.matter import Larder
from specctl.change.cup_entry import CupMade, Entry, made_of_entry

MOST_WALLS = 200


def drawings_of(larder: Larder, entry: Entry) -> dict[str, Any]:
    """Size key to drawing, for every size that can be drawn, with the larder's ice."""
    found = {}
    for row in entry["sizes"]:
        made = made_of_entry(larder, entry, row["key"], "", {})
        drawing = drawing_of(made) if made is not None else None
        if drawing is not None:
            found[row["key"]] = drawing
    return found


def drawing_of(made: CupMade) -> dict[str, Any] | None:
    """`{"walls": [[up, wide]], "fill": up, "lid": high|null, "layers": [[[key], kind, colour, bottom, top]],
    "ice": [bottom, top, pieces]|null, "hot": bool}`, bottom first; None where some layer's height is not known."""
    layers = made.state.layers
    walls = walls_of(made.hollow)
    if not layers or len(walls) > MOST_WALLS or any(layer.bottom is None or layer.top is None for layer in layers):
        return None
    ice = ice_outline(made.state, made.hollow)
    return {
        "walls": [[_tenths(up), _tenths(wide)] for up, wide in walls],
        "fill": _tenths(made.hollow.fill_height),
        "lid": None if made.lid is None else _tenths(made.lid),
        "layers": [
            [[layer.key, *layer.joined], layer.kind, made.colours[layer.key], _tenths(layer.bottom or 0.0), _tenths(layer.top or 0.0)]
            for layer in layers
        ],
        "ice": None if ice is None else [_tenths(ice.bottom), _tenths(ice.top), ice.pieces],
        "hot": made.hot,
    }


def _tenths(mm: float) -> int:
    return round(mm * 10)
