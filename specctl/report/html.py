"""The report as one HTML file that opens offline, prints, and runs nothing.

The template is `templates/report.html`. Every text of a view passes `shown`:
made visible, escaped, kept to its own reading direction, and a number is not
parted from its unit at the end of a line. Same view, same bytes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from specctl.report.cup_picture import pair_svg
from specctl.report.page import render
from specctl.report.pages_rows import markup_of, rows_of
from specctl.report.qr import qr_svg
from specctl.report.tables import Block, Cups, Picture, Table
from specctl.report.tongue import _
from specctl.report.view import View


def render_html(view: View) -> bytes:
    """The whole page as UTF-8."""
    page = render("report.html", footer=view.running_foot, view=view, code=drawn_digest(view), **blocks_context())
    return page.encode("utf-8")


def blocks_context() -> dict[str, Callable[..., object]]:
    """What `report/blocks.html` calls: `shown` of a text, `kind` of a block, `shares` and `rows` of a table."""
    return {"shown": _Shown, "kind": _kind, "shares": _shares, "rows": _rows, "cups": _cups, "drawn": _picture}


@dataclass(frozen=True, slots=True)
class _Shown:
    """A text as markup; templates escape everything else themselves."""

    text: str

    def __html__(self) -> str:
        return markup_of(self.text)


@dataclass(frozen=True, slots=True)
class _Drawn:
    """Markup of our own making, whose every text is escaped."""

    svg: str

    def __html__(self) -> str:
        return self.svg


def drawn_digest(view: View) -> object:
    """The effect digest as a QR code, for a template to place."""
    return _Drawn(qr_svg(view.digest, _("QR code of the effect digest {digest}").format(digest=view.digest)))


def _cups(block: Cups) -> _Drawn:
    return _Drawn(pair_svg(block.before, block.after))


def _picture(block: Picture) -> _Drawn:
    return _Drawn(block.svg)


def _rows(table: Table) -> _Drawn:
    return _Drawn("".join(rows_of(table.columns, table.rows)))


def _kind(block: Block) -> str:
    """`note`, `listing`, `facts`, `command` or `table`."""
    return type(block).__name__.lower()


# A column is never narrower than its longest plain word, nor wider than a short sentence.
_WIDEST_WORD = 14
_WIDEST_COLUMN = 40
# A long word in a head is bold and stands alone: languages that write words together need the room.
_LONG_HEAD, _WIDEST_HEAD = 12, 24


def _shares(table: Table) -> list[int]:
    """The width of each column in per cent, by what it holds.

    The page breaks any word rather than run over its edge, so a browser left to
    itself would squeeze short columns until their words break.
    """
    weights = []
    for number, column in enumerate(table.columns):
        lines = [column.name, *(line for row in table.rows for line in row[number].all_lines)]
        word = max((len(word) for line in lines for word in line.split()), default=1)
        line = max(len(line) for line in lines)
        bold = 8 if number == 0 else 0
        head = max((len(word) for word in column.name.split()), default=1)
        least = min(head * 5 // 4, _WIDEST_HEAD) if head > _LONG_HEAD else 0
        weights.append(min(max(min(word, _WIDEST_WORD) + 8, least + 8, line), _WIDEST_COLUMN) + bold)
    return [round(100 * weight / sum(weights)) for weight in weights]
