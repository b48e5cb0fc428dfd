"""The report as one HTML file that opens offline, prints, and runs nothing.

The template is `templates/report.html`. Every text of a view passes `shown`:
made visible, escaped, kept to its own reading direction, and a number is not
parted from its unit at the end of a line. Same view, same bytes.
"""

from __future__ import annotations

import html
from dataclasses import dataclass

from specctl.report.clean import visible
from specctl.report.page import render
from specctl.report.tables import Block
from specctl.report.units_together import NO_BREAK, together
from specctl.report.view import View


def render_html(view: View) -> bytes:
    """The whole page as UTF-8."""
    page = render("report.html", footer=view.running_foot, view=view, shown=_Shown, kind=_kind)
    return page.encode("utf-8")


@dataclass(frozen=True, slots=True)
class _Shown:
    """A text as markup; templates escape everything else themselves."""

    text: str

    def __html__(self) -> str:
        escaped = html.escape(visible(self.text), quote=True)
        return f"<bdi>{together(escaped, NO_BREAK)}</bdi>"


def _kind(block: Block) -> str:
    """`note`, `listing`, `facts`, `command` or `table`."""
    return type(block).__name__.lower()
