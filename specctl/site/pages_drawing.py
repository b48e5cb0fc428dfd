"""The drawings on a card: the cup of each size in cross-section, names only, no figure.

A drawing is an estimate made beside the entry and says so; a hot cup shows its
lid and the scald caution. A card without a drawing is a whole card.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Picture:
    """One size drawn. A template prints it as it stands: every text in the SVG is escaped where it is made."""

    svg: str

    def __html__(self) -> str:
        return self.svg


def pictures_of(entry: Record, drawn: Mapping[str, Record]) -> tuple[Picture, ...]:
    """A picture for each size of an entry that has a drawing, in the entry's order."""
    if not drawn:
        return ()
    from specctl.report.cup_drawn import view_of_drawing
    from specctl.report.cup_picture import cup_svg

    return tuple(
        Picture(cup_svg(view_of_drawing(drawn[size["key"]], entry, size), figures=False))
        for size in entry["sizes"]
        if size["key"] in drawn
    )
