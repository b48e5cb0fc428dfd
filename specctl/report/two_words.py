"""Two drinks at once: the amount of a line for both, in words.

Made at the site from an entry: twice the grams on a scale, twice the motions by
tools, or what the entry tells where its solver found better for the two
together. Nothing is told for what is poured by eye.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from specctl.report.words import (
    error_words,
    measure_words,
    pieces_words,
    say,
    verdict_words,
)

Record = Mapping[str, Any]


def two_words(line: Record) -> str:
    """`two at once: 94 g`; "" where nothing can be told."""
    measure = line.get("double") or _twice(line["measure"])
    by = measure["by"]
    if by == "count" and line["each"] is not None:
        return say("two.at-once", measure=pieces_words(_plain(2 * Decimal(line["each"]))))
    if by not in ("scale", "tools") or not measure["moves"]:
        return say("two.not-here") if "double" in line else ""
    parts = [measure_words({**line, "measure": measure})]
    if by == "tools":
        parts.append(error_words(measure))
    if measure["verdict"] != "within":
        parts.append(verdict_words(measure["verdict"]))
    return say("two.at-once", measure="; ".join(parts))


def _twice(measure: Record) -> Record:
    """The single measure, all of it twice."""
    moves = [
        {**move, "mark": f"{_plain(2 * Decimal(measure['gives']))} g"}
        if measure["by"] == "scale"
        else {**move, "times": _plain(2 * Decimal(move["times"]))}
        for move in measure["moves"]
    ]
    twofold = {key: None if measure[key] is None else _plain(2 * Decimal(measure[key])) for key in ("gives", "off")}
    return {**measure, **twofold, "moves": moves}


def _plain(value: Decimal) -> str:
    text = f"{value:f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
