"""What a site measures with and serves in."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from specctl.domain.record import Record

BY_VOLUME = ("scoop", "spoon", "disher", "jigger", "jug", "pump")


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool(Record):
    """A scale (grams) or a tool of known volume (ml). `error` is one standard deviation as a share."""

    kind: str
    readability: Decimal | None = None
    min_load: Decimal | None = None
    max_load: Decimal | None = None
    volume: Decimal | None = None
    marks: tuple[Decimal, ...] = ()
    graduation: Decimal | None = None
    up_to: Decimal | None = None
    stroke: Decimal | None = None
    error: Decimal | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Vessel(Record):
    """Capacity in ml to the rim; lengths in mm; diameters are inside.

    `working` is the most ml to make in it, `least` the least its blade or whisk needs.
    `shape` is a table of (height, ml held up to it) from the base to the rim, for
    what is neither straight nor evenly tapered; `lid_room` the mm a lid stands
    above the rim (0: flat), None where none is stated.
    """

    kind: str
    brimful: Decimal
    height: Decimal
    fill_line: Decimal
    rim: Decimal | None = None
    base: Decimal | None = None
    working: Decimal | None = None
    least: Decimal | None = None
    shape: tuple[tuple[Decimal, Decimal], ...] = ()
    lid_room: Decimal | None = None
