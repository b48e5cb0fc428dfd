"""What a drawing of a cup shows, ready to draw; no screen, no page.

Promises: every figure the drawings print, in words, with its assumptions and
its doubt; the cautions of a hot cup; a text alternative. Names come out of
files others wrote and are made visible here.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from specctl.analysis.cup import ICE_DENSITY
from specctl.analysis.cup_state import CupState, LayerState
from specctl.analysis.vessel import Hollow, hollow_of
from specctl.change.cup_entry import cup_of_entry
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import Site
from specctl.domain.recipe import Drink
from specctl.report.clean import visible
from specctl.report.cup_words import (
    caution_words,
    figure_words,
    ice_words,
    meeting_words,
    note_words,
    room_words,
)

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
_PLAIN = "#d9d9d9"


@dataclass(frozen=True, slots=True)
class CupLayer:
    """One layer: mm above the base, its colour, its figures in words. `edge` says how it
    meets the layer below: stays, marginal, mixes, unknown, or "" for the lowest."""

    key: str
    name: str
    kind: str
    colour: str
    bottom: float
    top: float
    figures: str
    edge: str


@dataclass(frozen=True, slots=True)
class IceView:
    """Where the ice stands, mm above the base, and roughly how many pieces to draw."""

    bottom: float
    top: float
    pieces: int


@dataclass(frozen=True, slots=True)
class CupView:
    """One cup. `walls` are (mm above the base, inside diameter in mm) from the base up;
    `lid` the mm a lid stands above the rim, None without one."""

    id: str
    title: str
    vessel: str
    walls: tuple[tuple[float, float], ...]
    fill_height: float
    lid: float | None
    layers: tuple[CupLayer, ...]
    ice: IceView | None
    room: str
    room_words: str
    verdicts: tuple[str, ...]
    notes: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def height(self) -> float:
        return self.walls[-1][0]

    @property
    def alternative(self) -> str:
        """The picture in words, from the bottom up."""
        layers = "; ".join(f"{each.name}, {each.figures}" for each in self.layers)
        return f"{self.title}, in {self.vessel}, from the bottom up: {layers}. {self.room_words}"


def view_of(
    book: Book, entry: Mapping[str, Any], size: str, choice: str = "", site: Site | None = None
) -> CupView | None:
    """The view of one size of an entry; None where nothing can be drawn (`cup_of_entry`)."""
    state = cup_of_entry(book, entry, size, choice, site)
    drink = book.drinks.get(str(entry["item"]).removeprefix("drink/"))
    row = next((each for each in entry["sizes"] if each["key"] == size), None)
    vessel = book.vessels.get(row["vessel"]["id"]) if row and row["vessel"] else None
    if state is None or drink is None or vessel is None:
        return None
    names = {row["choice"]: row["name"] for row in entry["allergens"]}
    return make_view(book, drink, size, vessel, state, names.get(choice, "") if choice else "")


def views_of(book: Book, entry: Mapping[str, Any], site: Site | None = None) -> tuple[CupView, ...]:
    """Every size of an entry's standard build that can be drawn."""
    found = (view_of(book, entry, row["key"], "", site) for row in entry["sizes"])
    return tuple(view for view in found if view is not None)


def make_view(
    book: Book, drink: Drink, size: str, vessel: Vessel, state: CupState, asked: str = ""
) -> CupView | None:
    """The view of a computed cup; None for a vessel without a capacity. `asked`: what is not standard in it."""
    hollow = hollow_of(vessel)
    if hollow is None:
        return None
    names = {key: visible(layer.name) for key, layer in drink.layers.items()}
    edges = {meeting.upper: meeting.verdict for meeting in state.meetings}
    size_name = drink.sizes[size].name if size in drink.sizes else size
    title = visible(f"{drink.name}, {size_name}" + (f", {asked}" if asked else ""))
    return CupView(
        id=re.sub(r"[^a-z0-9]+", "-", f"{drink.id}-{size}-{asked}".lower()).strip("-"),
        title=title,
        vessel=visible(vessel.name),
        walls=_walls(hollow),
        fill_height=hollow.fill_height,
        lid=None if vessel.lid_room is None else float(vessel.lid_room),
        layers=tuple(
            CupLayer(
                layer.key, joined_name(layer, names), layer.kind, _colour(book, layer),
                layer.bottom, layer.top, figure_words(layer), edges.get(layer.key, ""),
            )
            for layer in state.layers
            if layer.bottom is not None and layer.top is not None
        ),
        ice=_ice(state, hollow),
        room=state.room,
        room_words=room_words(state, visible(vessel.name), hollow.brimful),
        verdicts=tuple(
            meeting_words(meeting, names.get(meeting.lower, ""), names.get(meeting.upper, ""))
            for meeting in state.meetings
        ),
        notes=(*ice_words(state), *note_words(state, names, hollow)),
        cautions=caution_words(state, drink.served),
    )


def joined_name(layer: LayerState, names: Mapping[str, str]) -> str:
    """A layer's name, and those of the layers meant to mix into it."""
    words = " + ".join(names.get(key, key) for key in (layer.key, *layer.joined))
    return f"{words}, mixed" if layer.joined else words


def _colour(book: Book, layer: LayerState) -> str:
    """The colours the spec states, mixed by mass; plain water only where nothing else is there."""
    shades: list[tuple[str, float]] = []
    water = _PLAIN
    for use, grams in layer.uses:
        item = book.item(use)
        if item is None or not _COLOUR.fullmatch(item.colour):
            continue
        if isinstance(item, Ingredient) and item.composition.get("water", 0) == 100:
            water = item.colour
        else:
            shades.append((item.colour, grams))
    whole = sum(grams for _, grams in shades)
    if whole <= 0:
        return water.lower()
    mixed = (sum(int(colour[at : at + 2], 16) * grams for colour, grams in shades) / whole for at in (1, 3, 5))
    return "#" + "".join(f"{round(each):02x}" for each in mixed)


def _walls(hollow: Hollow) -> tuple[tuple[float, float], ...]:
    if not hollow.rows:
        return (0.0, hollow.base), (hollow.full, hollow.rim)
    return tuple((up, hollow.diameter(up + 1e-6 if up == 0 else up)) for up, _ in hollow.rows)


def _ice(state: CupState, hollow: Hollow) -> IceView | None:
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
    return IceView(bottom, top, max(1, min(14, round(ice.left / 12))))
