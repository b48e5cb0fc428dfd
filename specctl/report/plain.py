"""Lays plain text out in columns: wrapped, boxed, never cut short.

Every function takes text that `specctl.report.clean.visible` has been over and
gives lines no wider than asked. A word longer than the line is broken, never
shortened: the end of an allergen's name matters as much as its start.
"""

from __future__ import annotations

from collections.abc import Iterable

from specctl.report.clean import columns, visible

NARROWEST = 24


def wrap(text: str, width: int, first: str = "", rest: str | None = None) -> list[str]:
    """`text` in lines of at most `width` columns; `first` and `rest` stand in front.

    Without `rest` the later lines are indented as far as `first` reaches.
    """
    rest = " " * columns(first) if rest is None else rest
    lines: list[str] = []
    lead, line = first, ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if columns(lead + joined) <= width:
            line = joined
            continue
        if line:
            lines.append(lead + line)
            lead = rest
        pieces = _pieces(word, max(1, width - columns(rest)))
        if columns(lead + pieces[0]) > width and lead.strip():
            lines.append(lead.rstrip())
            lead = rest
        for piece in pieces[:-1]:
            lines.append(lead + piece)
            lead = rest
        line = pieces[-1]
    if line or not lines:
        lines.append((lead + line).rstrip())
    return lines


def pairs_text(pairs: Iterable[tuple[str, str]], width: int) -> str:
    """Names and values below each other, made visible here; a value folds under itself."""
    shown = [(visible(name), visible(value)) for name, value in pairs]
    reach = max(columns(name) for name, _ in shown) + 2
    lines: list[str] = []
    for name, value in shown:
        lines += wrap(value, width, name + " " * (reach - columns(name)))
    return "\n".join(lines) + "\n"


def box(words: list[str], width: int) -> list[str]:
    """Lines of `words` inside a frame of plain characters that survives any printer."""
    inside = max(width, NARROWEST) - 4
    edge = "+" + "=" * (inside + 2) + "+"
    lines = [edge]
    for paragraph in words:
        for line in wrap(paragraph, inside):
            lines.append("| " + line + " " * (inside - columns(line)) + " |")
    return [*lines, edge]


def heading(text: str, width: int, under: str = "-") -> list[str]:
    """A title with a rule under it."""
    lines = wrap(text, width)
    return [*lines, under * min(width, max(columns(line) for line in lines))]


def _pieces(word: str, width: int) -> list[str]:
    pieces, piece = [], ""
    for character in word:
        if piece and columns(piece + character) > width:
            pieces.append(piece)
            piece = ""
        piece += character
    return [*pieces, piece]
