"""A drawing that travelled in a bundle, as a view to draw again: names from the entry, no figures."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specctl.report.clean import visible
from specctl.report.cup_view import CupLayer, CupView, IceView, picture_id
from specctl.report.cup_words import SCALD
from specctl.report.tongue import _


def view_of_drawing(drawing: Mapping[str, Any], entry: Mapping[str, Any], size: Mapping[str, Any]) -> CupView:
    """The view of a drawing whose form was checked, of one size of the entry it belongs to."""
    names = {layer["key"]: visible(layer["name"]) for layer in size["layers"]}
    return CupView(
        id=picture_id(str(entry["item"]), str(size["key"])),
        title=visible(f"{entry['name']}, {size['name']}"),
        vessel=visible(size["vessel"]["name"]),
        walls=tuple((up / 10, wide / 10) for up, wide in drawing["walls"]),
        fill_height=drawing["fill"] / 10,
        lid=None if drawing["lid"] is None else drawing["lid"] / 10,
        layers=tuple(
            CupLayer(keys[0], " + ".join(names[key] for key in keys), kind, colour, bottom / 10, top / 10, "", "stays" if at else "")
            for at, (keys, kind, colour, bottom, top) in enumerate(drawing["layers"])
        ),
        ice=None if drawing["ice"] is None else IceView(drawing["ice"][0] / 10, drawing["ice"][1] / 10, drawing["ice"][2]),
        room="",
        room_words="",
        verdicts=(),
        notes=(),
        cautions=(_(SCALD),) if drawing["hot"] else (),
    )
