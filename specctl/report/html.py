"""The report as one HTML file that opens offline, prints, and runs nothing.

The template is `templates/report.html`. Every text of a view passes `shown`:
made visible, escaped, kept to its own reading direction, and a number is not
parted from its unit at the end of a line. Same view, same bytes.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

from specctl.report.clean import visible
from specctl.report.numbers_whole import figures
from specctl.report.page import render
from specctl.report.tables import Block, Table
from specctl.report.view import View


def render_html(view: View) -> bytes:
    """The whole page as UTF-8."""
    page = render(
        "report.html", footer=view.running_foot, view=view, shown=_Shown, kind=_kind, shares=_shares
    )
    return page.encode("utf-8")


@dataclass(frozen=True, slots=True)
class _Shown:
    """A text as markup; templates escape everything else themselves."""

    text: str

    def __html__(self) -> str:
        pieces = figures(visible(self.text))
        return f"<bdi>{''.join(_piece(text, whole) for text, whole in pieces)}</bdi>"


def _piece(text: str, whole: bool) -> str:
    escaped = html.escape(text, quote=True)
    return f'<span class="kept">{escaped}</span>' if whole else escaped


def _kind(block: Block) -> str:
    """`note`, `listing`, `facts`, `command` or `table`."""
    return type(block).__name__.lower()


# A column is never narrower than its longest plain word, nor wider than a short sentence.
_WIDEST_WORD = 14
_WIDEST_COLUMN = 40


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
        bold = 4 if number == 0 else 0
        weights.append(min(max(min(word, _WIDEST_WORD) + 8, line), _WIDEST_COLUMN) + bold)
    return [round(100 * weight / sum(weights)) for weight in weights]
