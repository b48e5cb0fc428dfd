"""Where to tare, and what a scale shows in all: running totals for the lines of one size.

Made at the site from an entry alone. Promises a total only where adding up is
sound: same scale, same vessel (no layer made apart before or after), nothing
unweighed in between, and room in the tolerance for a whole step of the scale,
for a difference of two readings is rounded twice. Everywhere else it says to
tare. An entry that does not tell the step of its scale gets no totals.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from specctl.report.numerals import numeral
from specctl.report.words import say

Record = Mapping[str, Any]

@dataclass(frozen=True, slots=True)
class Weighing:
    """One line on a scale. `tare` before it (`first`: the empty vessel on); `total` is what the scale
    then shows; `most` what it takes where that is told. `load` is all that may stand on it by then,
    `own` what of it belongs to this layer; the vessel is not counted, for nobody states its weight."""

    first: bool
    tare: bool
    total: Decimal
    load: Decimal
    own: Decimal
    most: Decimal | None

    @property
    def is_over(self) -> bool:
        """Whether all that is in before it, and it, may be more than the scale takes."""
        return self.most is not None and self.load > self.most

    @property
    def two_are_over(self) -> bool:
        """Whether this layer for two, in a vessel of its own, is more than the scale takes."""
        return self.most is not None and 2 * self.own > self.most


def weighings(size: Record, is_prep: bool) -> dict[tuple[str, str], Weighing]:
    """The weighed lines of one size by (layer key, line key).

    Between which lines of a prep it is boiled or strained is not told: there every line is tared.
    """
    return dict(_walk(size, _parted(size), is_prep and any("apart" in layer for layer in size["layers"])))


def tare_words(found: Weighing) -> str:
    """What to press and what the scale then shows."""
    key = "tare.first" if found.first else "tare.again" if found.tare else "tare.total"
    words = say(key, total=numeral(_plain(found.total)))
    if found.most is None or not found.is_over:
        return words
    return say("tare.over", total=numeral(_plain(found.total)), most=numeral(_plain(found.most)))


def _walk(size: Record, parted: set[str], always: bool) -> Iterator[tuple[tuple[str, str], Weighing]]:
    total: Decimal | None = None
    scale, load, first = "", Decimal(0), True
    for layer in size["layers"]:
        if layer["key"] in parted:
            total = None
        own = Decimal(0)
        for line in layer["lines"]:
            load += Decimal(line["grams"] or 0)
            own += Decimal(line["grams"] or 0)
            measure = line["measure"]
            if measure["by"] != "scale" or not measure["moves"]:
                total = None
                continue
            move = measure["moves"][0]
            most = Decimal(move["most"]) if "most" in move else None
            over = most is not None and load > most
            tare = total is None or always or over or move["tool"] != scale or not _bears_two_roundings(line, move)
            reading = Decimal(measure["gives"])
            total = reading if tare or total is None else total + reading
            yield (layer["key"], line["key"]), Weighing(first, tare, total, load, own, most)
            # What is weighed apart is tipped in; the next line starts anew.
            scale, first, total = move["tool"], False, None if over else total


def _bears_two_roundings(line: Record, move: Record) -> bool:
    """Whether a dose read as a difference still lands inside, at worst a whole step off."""
    if "step" not in move:
        return False
    step, off = Decimal(move["step"]), Decimal(line["measure"]["off"])
    return -Decimal(line["tolerance"]["minus"]) <= off - step and off + step <= Decimal(line["tolerance"]["plus"])


def _parted(size: Record) -> set[str]:
    """Layers before which the vessel may change: made apart themselves, or after one that is."""
    layers = size["layers"]
    apart = ["apart" in layer for layer in layers]
    return {layer["key"] for layer, now, before in zip(layers, apart, [False, *apart]) if now or before}


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
