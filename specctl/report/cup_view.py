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

from specctl.analysis.cup_outline import IceOutline, ice_outline, walls_of
from specctl.analysis.cup_state import CupState, LayerState
from specctl.analysis.matter import Larder
from specctl.change.cup_entry import CupMade, made_of, made_of_entry
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.place import Site
from specctl.domain.recipe import Drink
from specctl.report.clean import visible
from specctl.report.cup_words import (
    BRIEFLY,
    SCALD,
    caution_words,
    figure_words,
    ice_words,
    meeting_words,
    note_words,
    room_words,
)
from specctl.report.tongue import _

IceView = IceOutline


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
        words = _("{title}, in {vessel}, from the bottom up: {layers}. {room}")
        return words.format(title=self.title, vessel=self.vessel, layers=layers, room=self.room_words)


def view_of(
    book: Book, entry: Mapping[str, Any], size: str, choice: str = "", site: Site | None = None
) -> CupView | None:
    """The view of one size of an entry; None where nothing can be drawn (`made_of_entry`)."""
    made = made_of_entry(Larder(book, site.ice if site is not None else None), entry, size, choice)
    return None if made is None else view_made(made)


def views_of(book: Book, entry: Mapping[str, Any], site: Site | None = None) -> tuple[CupView, ...]:
    """Every size of an entry's standard build that can be drawn."""
    found = (view_of(book, entry, row["key"], "", site) for row in entry["sizes"])
    return tuple(view for view in found if view is not None)


def make_view(
    book: Book, drink: Drink, size: str, vessel: Vessel, state: CupState, asked: str = ""
) -> CupView | None:
    """The view of a computed cup; None for a vessel without a capacity. `asked`: what is not standard in it."""
    made = made_of(book, drink, size, vessel, state, asked)
    return None if made is None else view_made(made)


def view_made(made: CupMade) -> CupView:
    """The view of a computed cup, every figure in words."""
    state = made.state
    names = {key: visible(name) for key, name in made.names.items()}
    edges = {meeting.upper: meeting.verdict for meeting in state.meetings}
    return CupView(
        id=picture_id(made.drink, made.size, made.asked),
        title=visible(f"{made.name}, {made.size_name}" + (f", {made.asked}" if made.asked else "")),
        vessel=visible(made.vessel),
        walls=walls_of(made.hollow),
        fill_height=made.hollow.fill_height,
        lid=made.lid,
        layers=tuple(
            CupLayer(
                layer.key, joined_name(layer, names), layer.kind, made.colours[layer.key],
                layer.bottom, layer.top, figure_words(layer), edges.get(layer.key, ""),
            )
            for layer in state.layers
            if layer.bottom is not None and layer.top is not None
        ),
        ice=ice_outline(state, made.hollow),
        room=state.room,
        room_words=room_words(state, visible(made.vessel), made.hollow.brimful),
        verdicts=tuple(
            meeting_words(meeting, names.get(meeting.lower, ""), names.get(meeting.upper, ""))
            for meeting in state.meetings
        ),
        notes=(*ice_words(state), *note_words(state, names, made.hollow)),
        cautions=caution_words(made.hot),
    )


def headed(before: CupView | None, after: CupView | None) -> tuple[tuple[CupView | None, str], ...]:
    """Both sides with what to call them: new where there was none, gone where there is none."""
    return (before, _("Before") if after is not None else _("Gone")), (after, _("After") if before is not None else _("New"))


def below(view: CupView, brief: bool) -> tuple[str, ...]:
    """What is told under a drawing; `brief` where the page around it says what all cups share."""
    if not brief:
        return (view.room_words, *view.verdicts, *view.notes, *view.cautions)
    return (view.room_words, *view.verdicts, *view.notes, *(each for each in view.cautions if each == _(SCALD)), _(BRIEFLY))


def picture_id(*parts: str) -> str:
    """A name for the parts of one picture on a page: letters, digits and hyphens only."""
    slugs = (re.sub(r"[^a-z0-9]+", "-", part.lower()).strip("-") for part in parts)
    return "--".join(slug for slug in slugs if slug)


def joined_name(layer: LayerState, names: Mapping[str, str]) -> str:
    """A layer's name, and those of the layers meant to mix into it."""
    words = " + ".join(names.get(key, key) for key in (layer.key, *layer.joined))
    return _("{layers}, mixed").format(layers=words) if layer.joined else words
