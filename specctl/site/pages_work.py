"""How staff work a card: running totals and tares, two drinks at once, and what the errors leave out.

Puts together what `pages_tare` and `two_words` say of each line, and the few
sentences a card needs so that nobody reads more into them than there is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from specctl.report.two_words import two_words
from specctl.report.words import say
from specctl.site.pages_tare import tare_words, weighings

Record = Mapping[str, Any]
Work = Mapping[tuple[str, str], tuple[str, ...]]


def work_of(size: Record, entry: Record) -> Work:
    """What is said of the standard lines of one size, by (layer key, line key)."""
    is_prep = entry["item"].startswith("prep/")
    weighed = weighings(size, is_prep)
    found: dict[tuple[str, str], tuple[str, ...]] = {}
    for layer in size["layers"]:
        for line in layer["lines"]:
            key = layer["key"], line["key"]
            words = [tare_words(weighed[key])] if key in weighed else []
            # A prep is made in whole batches, and what is built in the cup is built in each cup.
            two = two_words(line) if "apart" in layer and not is_prep else ""
            if two and key in weighed and weighed[key].two_are_over:
                two = f"{two}; {say('two.apart')}"
            found[key] = tuple(each for each in (*words, two) if each)
    return found


def notes_of(entry: Record) -> tuple[str, ...]:
    """The sentences a card needs about its totals, its doubles and its errors."""
    layers = [layer for size in entry["sizes"] for layer in size["layers"]]
    ways = {line["measure"]["by"] for layer in layers for line in layer["lines"]}
    ways |= {part["line"]["measure"]["by"] for part in _swapped(entry) if part["line"] is not None}
    notes = [say("work.totals")] if "scale" in ways else []
    if not entry["item"].startswith("prep/") and any("apart" in layer and layer["lines"] for layer in layers):
        notes.append(say("work.two"))
    if "tools" in ways:
        notes.append(say("work.errors"))
    return tuple(notes)


def _swapped(entry: Record) -> list[Record]:
    return [
        part
        for option in entry["options"]
        for choice in option["choices"]
        for size in choice["sizes"]
        for part in size["lines"]
    ]
