"""The report as PDF for paper and archives; the only typst, which is an extra (`specctl[pdf]`).

The page is laid out by `templates/report.typ`; every text of a view reaches it
as data, never as markup, so nothing in a text is read as an instruction. Only
the fonts inside typst are used, and the one date is the day the report was made
for: same view, same bytes, with the same typst. Those fonts do not draw every
script; a character they lack is shown as its code point and the page says so.
Nothing is folded. Cups are drawn in plain characters; of other pictures the table beside says the same.
"""

from __future__ import annotations

import json
import re
import tempfile
from datetime import datetime, timezone
from importlib.resources import files
from typing import Any

from specctl.errors import Refused
from specctl.report.clean import code_point, visible
from specctl.report.cup_text import pair_text
from specctl.report.qr import qr_svg
from specctl.report.tables import Block, Cell, Command, Cups, Facts, Listing, Note, Section, Table
from specctl.report.tongue import _, language, later
from specctl.report.view import View

A4, LETTER = "a4", "us-letter"

# Letters for which the fonts inside typst have shapes; a test asks typst itself.
_DRAWN = re.compile(
    "[ -~¡-¬®-ɏΑ-ΡΣ-ώЀ-џḀ-ỿ‐-‧‰-‷‹-›₠-₵№™←-↓−≈≠≤≥─-╿⟨⟩]"
)
# A word longer than this may be parted, or it would run over the edge of its column.
_LONGEST_IN_CELL = 14
_LONGEST_IN_LINE = 70
_DRAWING_WIDTH = 88
_PART_HERE = "\u200b"
_LACKING = later("Characters that this paper's fonts cannot draw stand as code points, ⟨U+0000⟩; the HTML form shows them.")


def render_pdf(view: View, *, paper: str, day: datetime | None, stamp: str) -> bytes:
    """The whole report. `paper` is A4 or LETTER; `day` is the one clock in it. Raises Refused without typst."""
    try:
        import typst
    except ImportError:
        raise Refused("PDF needs the extra 'pdf', which is not installed", "Install it with: pip install 'specctl[pdf]'") from None
    moment = (day or datetime(1980, 1, 1)).replace(hour=0, minute=0, second=0, microsecond=0, tzinfo=timezone.utc)
    writer = _Writer()
    data = {
        "title": writer.text(view.title),
        "standing": view.standing(writer.text),
        "why": writer.text(view.why),
        "foot": writer.text(view.running_foot),
        "points": [[writer.text(p.label), writer.text(p.text)] for p in view.points],
        "sections": [writer.section(s) for s in view.sections],
        "language": language().split("-")[0],
        "paper": paper,
        "day": [moment.year, moment.month, moment.day],
        "stamp": visible(stamp),
        "code": qr_svg(view.digest, ""),
        "code-words": writer.text(_("A QR code of the effect digest {digest}").format(digest=view.digest)),
    }
    data["end"] = [_(_LACKING)] if writer.lacking else []
    template = files("specctl.report").joinpath("templates", "report.typ").read_bytes()
    with tempfile.TemporaryDirectory() as nothing:  # the template can reach no file of anybody's
        inputs = {"data": json.dumps(data, ensure_ascii=False)}
        compiler = typst.Compiler(input=template, root=nothing, ignore_system_fonts=True, sys_inputs=inputs)
        made = compiler.compile(format="pdf", timestamp=int(moment.timestamp()))
    if not isinstance(made, bytes):
        raise TypeError("typst gave no single file")
    return made


class _Writer:
    """Turns the texts and blocks of a view into plain data; `lacking` once a character had no shape."""

    def __init__(self) -> None:
        self.lacking = False

    def text(self, text: str, longest: int = _LONGEST_IN_LINE) -> str:
        shown = "".join(self._drawn(c) for c in visible(text))
        return re.sub(rf"\S{{{longest + 1},}}", lambda word: _PART_HERE.join(word[0]), shown)

    def _drawn(self, character: str) -> str:
        if _DRAWN.fullmatch(character):
            return character
        self.lacking = True
        return code_point(character)

    def section(self, section: Section) -> dict[str, Any]:
        blocks = [found for block in section.blocks if (found := self._block(block))]
        return {"title": self.text(section.title), "blocks": blocks}

    def _block(self, block: Block) -> dict[str, Any] | None:
        match block:
            case Note(text, alarm):
                return {"kind": "note", "text": self.text(text), "alarm": alarm}
            case Listing(lead, points):
                return {"kind": "listing", "lead": self.text(lead), "points": [self.text(p) for p in points]}
            case Facts(pairs):
                return {"kind": "facts", "pairs": [[self.text(name), self.text(value)] for name, value in pairs]}
            case Command(text):
                return {"kind": "command", "text": self.text(text)}
            case Cups(caption, before, after):
                drawn = pair_text(before, after, _DRAWING_WIDTH)
                return {"kind": "drawing", "caption": self.text(caption), "lines": [self.text(line, _DRAWING_WIDTH) for line in drawn]}
            case Table():
                return self._table(block)
            case _:
                return None

    def _table(self, table: Table) -> dict[str, Any]:
        return {
            "kind": "table",
            "caption": self.text(table.caption),
            "columns": [self.text(column.name, _LONGEST_IN_CELL) for column in table.columns],
            "numbers": [column.number for column in table.columns],
            "shares": _shares(table),
            "rows": [[self._cell(field) for field in row] for row in table.rows],
        }

    def _cell(self, cell: Cell) -> dict[str, Any]:
        shown = [[self.text(line, _LONGEST_IN_CELL) for line in lines] for lines in (cell.lines, cell.quiet)]
        return {"lines": shown[0], "quiet": shown[1], "alarm": cell.alarm}


_NARROWEST, _WIDEST = 8, 40


def _shares(table: Table) -> list[int]:
    """The weight of each column, by its longest line."""
    reach = [
        max((len(line) for row in table.rows for line in row[n].all_lines), default=0) for n, _column in enumerate(table.columns)
    ]
    return [min(max(r, len(c.name), _NARROWEST), _WIDEST) for r, c in zip(reach, table.columns, strict=True)]


# Unicode CLDR, supplemental measurementData, paperSize US-Letter; from memory.
_LETTER_MARKETS = frozenset(("bz", "ca", "cl", "co", "cr", "gt", "mx", "ni", "pa", "ph", "pr", "sv", "us", "ve"))


def paper_of(markets: frozenset[str]) -> str:
    """Letter where every market of the scope prints on it, else A4."""
    return LETTER if markets and markets <= _LETTER_MARKETS else A4
