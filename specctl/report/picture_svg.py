"""A small drawing as SVG for inside a page: shapes, hatches, words; every text escaped here.

Promises: presentation attributes only (no style, script or link), one ink
(`currentColor`) so that a picture follows light, dark and print, and hatches
and shapes that tell apart without colour. Words are broken to fit, never cut
short. A title and a description stand inside. Same calls, same bytes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from xml.sax.saxutils import escape

from specctl.report.clean import columns, visible

WIDTH = 340
"""What a phone of 360 px has room for; a picture is never wider."""
SIZE = 12
LINE = 15.0

# Hatches by name: the size of the tile and the strokes in it.
_HATCHES = {"slanted": (6, "M0 6L6 0"), "dotted": (5, "M2 2.5h1"), "crossed": (6, "M0 6L6 0M0 0L6 6")}


class Drawing:
    """Parts gathered from the top down; `svg` closes it."""

    def __init__(self, name: str) -> None:
        self.name = "picture-" + re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")
        self._parts: list[str] = []
        self._hatches: set[str] = set()

    def words(self, x: float, y: float, text: str, *, anchor: str = "start", bold: bool = False) -> None:
        """One line of text, its baseline at `y`."""
        weight = ' font-weight="bold"' if bold else ""
        where = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(f'<text x="{x:.1f}" y="{y:.1f}"{where}{weight} fill="currentColor">{_text(text)}</text>')

    def lines(self, x: float, y: float, lines: Sequence[str], *, bold: bool = False) -> float:
        """Lines of text under each other; gives the baseline of the next."""
        for at, line in enumerate(lines):
            self.words(x, y + at * LINE, line, bold=bold)
        return y + len(lines) * LINE

    def bar(self, x: float, y: float, wide: float, high: float, fill: str = "") -> None:
        """An outlined box: empty, "full", or hatched by one of the names."""
        paint = "none"
        if fill == "full":
            paint = "currentColor"
        elif fill:
            self._hatches.add(fill)
            paint = f"url(#{self.name}-{fill})"
        self._parts.append(
            f'<rect x="{x:.1f}" y="{y:.1f}" width="{max(wide, 1.0):.1f}" height="{high:.1f}" '
            f'fill="{paint}" stroke="currentColor" stroke-width="1.2"/>'
        )

    def disc(self, x: float, y: float, radius: float, *, full: bool) -> None:
        fill = "currentColor" if full else "none"
        self._parts.append(
            f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}" fill="{fill}" stroke="currentColor" stroke-width="1.6"/>'
        )

    def path(self, strokes: str, *, wide: float = 1.2, dashes: str = "") -> None:
        """Strokes as SVG path data of our own making."""
        dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
        self._parts.append(f'<path d="{strokes}" fill="none" stroke="currentColor" stroke-width="{wide:.1f}"{dashed}/>')

    def svg(self, height: float, title: str, description: str) -> str:
        """The whole picture, `height` px high at its own size."""
        defs = "".join(self._pattern(hatch) for hatch in sorted(self._hatches))
        return "".join(
            (
                f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" '
                f'viewBox="0 0 {WIDTH} {height:.0f}" role="img" aria-labelledby="{self.name}-title {self.name}-desc" '
                f'font-family="sans-serif" font-size="{SIZE}">',
                f'<title id="{self.name}-title">{_text(title)}</title>',
                f'<desc id="{self.name}-desc">{_text(description)}</desc>',
                f"<defs>{defs}</defs>" if defs else "",
                *self._parts,
                "</svg>",
            )
        )

    def _pattern(self, hatch: str) -> str:
        size, strokes = _HATCHES[hatch]
        return (
            f'<pattern id="{self.name}-{hatch}" width="{size}" height="{size}" patternUnits="userSpaceOnUse">'
            f'<path d="{strokes}" fill="none" stroke="currentColor" stroke-width="1.2"/></pattern>'
        )


def fitted(text: str, room: float) -> list[str]:
    """`text` in lines of at most so many px; a word wider than that is broken, never cut short."""
    lines: list[str] = []
    line = ""
    for word in visible(text).split():
        while width_of(word) > room:
            at = next(n for n in range(len(word) - 1, 0, -1) if n == 1 or width_of(word[:n]) <= room)
            lines += [line, word[:at]] if line else [word[:at]]
            line, word = "", word[at:]
        joined = f"{line} {word}" if line else word
        if line and width_of(joined) > room:
            lines.append(line)
            joined = word
        line = joined
    return [*lines, line] if line or not lines else lines


def width_of(text: str) -> float:
    """Px a text takes at most at 12 px, by kind of letter; wide on purpose, for fonts differ."""
    return sum(_letter(letter) for letter in text)


def _letter(letter: str) -> float:
    if not letter.isascii():
        return 12.5 if columns(letter) > 1 else 8.0
    if letter in "mwMW@%":
        return 10.5
    return 4.2 if letter in "iljtfr.,:;|'!()[] -" else 8.4 if letter.isupper() else 7.0


def _text(words: str) -> str:
    return escape(visible(words), {'"': "&quot;"})
