"""What a page is made of, before any medium: notes, lists, facts and tables.

Plain frozen values that every renderer reads. Texts are as authored; making
them harmless is each renderer's first act. `alarm` only adds weight: the words
already say what is wrong.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # a table draws no cup
    from specctl.report.cup_view import CupView


@dataclass(frozen=True, slots=True)
class Note:
    """One paragraph."""

    text: str
    alarm: bool = False


@dataclass(frozen=True, slots=True)
class Listing:
    """Points under a lead. `fold` allows a medium to close it; never for allergens."""

    lead: str
    points: tuple[str, ...]
    alarm: bool = False
    fold: bool = False


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and values, in order."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Command:
    """A line to type, exactly."""

    text: str


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    number: bool = False


@dataclass(frozen=True, slots=True)
class Cell:
    """Lines of text in one field of a row; no line at all means nothing to say.

    `quiet` lines follow; they only explain, and never share the alarm.
    """

    lines: tuple[str, ...]
    quiet: tuple[str, ...] = ()
    alarm: bool = False

    @property
    def all_lines(self) -> tuple[str, ...]:
        return self.lines + self.quiet


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under columns; the first cell names the row. Every row has a cell per column.

    `fold` allows a medium to close it; never for allergens.
    """

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    fold: bool = False

    def __post_init__(self) -> None:
        if any(len(row) != len(self.columns) for row in self.rows):
            raise ValueError("a row does not fit its columns")


@dataclass(frozen=True, slots=True)
class Picture:
    """A drawing, for media that can draw; a table beside it always says the same.

    `svg` is markup of `specctl.report.picture_svg`, whose every text is escaped;
    `alternative` is the picture in words. A medium that cannot draw leaves it out.
    """

    caption: str
    alternative: str
    svg: str


@dataclass(frozen=True, slots=True)
class Cups:
    """One cup before and after: side by side where a medium can, in plain characters elsewhere; None: not there."""

    caption: str
    before: CupView | None
    after: CupView | None


Block = Note | Listing | Facts | Command | Table | Picture | Cups


@dataclass(frozen=True, slots=True)
class Section:
    """A part of the page with a stable key, used as its anchor."""

    key: str
    title: str
    blocks: tuple[Block, ...]
    alarm: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """One line of the first screen; `section` names where it is told in full."""

    label: str
    text: str
    section: str
    alarm: bool = False


def cell(*lines: str, quiet: tuple[str, ...] = (), alarm: bool = False) -> Cell:
    """A cell of the lines that say something."""
    return Cell(tuple(t for t in lines if t), tuple(t for t in quiet if t), alarm)


def texts_of(blocks: tuple[Block, ...]) -> tuple[str, ...]:
    """Every text of the blocks, in reading order."""
    found: list[str] = []
    for block in blocks:
        match block:
            case Note(text) | Command(text):
                found.append(text)
            case Listing(lead, points):
                found += [lead, *points]
            case Facts(pairs):
                found += [text for pair in pairs for text in pair]
            case Cups(caption, before, after):
                found += [caption, *(view.alternative for view in (before, after) if view is not None)]
            case Picture(caption, alternative):
                found += [caption, alternative]
            case Table(caption, columns, rows):
                found += [caption, *(c.name for c in columns)]
                found += [line for row in rows for field in row for line in field.all_lines]
    return tuple(found)
