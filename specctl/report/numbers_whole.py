"""Finds the figures in a text that must not be parted at the end of a line.

A number cut in two, or standing on another line than its unit or currency, is
read wrongly, whichever mark the language puts before a fraction.
"""

from __future__ import annotations

import re

_FIGURE = re.compile(
    r"(?<![0-9A-Za-z.])"
    # A currency stands before a sum with a point and after one with a comma (`numerals`, `view_numbers`).
    r"[+−±]?(?:[0-9]{1,9},[0-9]{1,6} [A-Z]{3}"
    r"|(?:[A-Z]{3} )?[0-9]{1,9}(?:[.,][0-9]{1,6})?(?: (?:kg|g|ml|mm|l|points?|Prozentpunkte?)(?![A-Za-z])| %)?)"
    r"(?![0-9A-Za-z])"
)


def figures(text: str) -> list[tuple[str, bool]]:
    """`text` in pieces, in order; True marks a figure with its sign, unit and currency."""
    pieces, end = [], 0
    for found in _FIGURE.finditer(text):
        if found.start() > end:
            pieces.append((text[end : found.start()], False))
        pieces.append((found[0], True))
        end = found.end()
    if end < len(text):
        pieces.append((text[end:], False))
    return pieces


def joined(text: str, joint: str) -> str:
    """`text` with `joint` in place of every space inside a figure."""
    return "".join(piece.replace(" ", joint) if whole else piece for piece, whole in figures(text))
