"""Texts and rows of tables as markup, fast enough for a hundred thousand cells.

The same markup whatever the page; every text is made visible, escaped and kept
to its own reading direction before it gets here or on its way through.
"""

from __future__ import annotations

import html
from collections.abc import Iterable, Iterator
from functools import lru_cache
from unicodedata import bidirectional

from specctl.report.clean import visible
from specctl.report.numbers_whole import figures
from specctl.report.tables import Cell, Column
from specctl.report.tongue import direction

Row = tuple[Cell, ...]


def markup_of(text: str) -> str:
    """A text as markup: a number is not parted from its unit."""
    return _mirrored(text) if direction() == "rtl" else _markup(text)


@lru_cache(maxsize=1 << 15)  # the same few words stand in most cells of a table
def _markup(text: str) -> str:
    pieces = figures(visible(text))
    return f"<bdi>{''.join(_piece(text, whole) for text, whole in pieces)}</bdi>"


def _piece(text: str, whole: bool) -> str:
    escaped = html.escape(text, quote=True)
    return f'<span class="kept">{escaped}</span>' if whole else escaped


@lru_cache(maxsize=1 << 15)
def _mirrored(text: str) -> str:
    """The same on a page that runs from right to left.

    A text of that script runs so even where a Latin name begins it; a figure with
    its sign and unit stays as it is written; and an arrow points from before to
    after, whatever stands beside it (Unicode Standard Annex #9).
    """
    shown = visible(text)
    if not any(bidirectional(c) in ("R", "AL") for c in shown):
        return _markup(text)
    told = "".join(
        _piece(piece, whole).replace('<span class="kept">', '<span class="kept" dir="ltr">') if whole else _piece(piece, whole)
        for piece, whole in figures(shown)
    )
    return f'<bdi dir="rtl">{told.replace("→", "&rlm;←&rlm;")}</bdi>'


def rows_of(columns: tuple[Column, ...], rows: Iterable[Row]) -> Iterator[str]:
    """Each row as one `<tr>`; its first cell heads it."""
    starts = [_start(number, column) for number, column in enumerate(columns)]
    for row in rows:
        cells = [
            f"{starts[number]}{field_markup(field, number == 0)}</{'td' if number else 'th'}>"
            for number, field in enumerate(row)
        ]
        yield f'<tr role="row">\n{"".join(cells)}</tr>\n'


def _start(number: int, column: Column) -> str:
    if number == 0:
        return '<th scope="row" role="rowheader">'
    label = html.escape(visible(column.name), quote=True)
    kind = ' class="number"' if column.number else ""
    return f'<td role="cell" data-label="{label}"{kind}>'


def field_markup(field: Cell, head: bool) -> str:
    """The lines of one cell; what is alarming, or heads its row, in strong."""
    lines = "<br>".join(markup_of(line) for line in field.lines)
    told = f"<strong>{lines}</strong>" if field.alarm or head else lines
    if not field.quiet:
        return told
    quiet = "<br>".join(markup_of(line) for line in field.quiet)
    return f'{told}{"<br>" if field.lines else ""}<span class="quiet">{quiet}</span>'
