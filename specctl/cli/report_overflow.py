"""Cups that overflow, drawn beside the problems that stop a report."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date
from typing import TYPE_CHECKING

from specctl.errors import Found

if TYPE_CHECKING:
    from specctl.actions.source import Source


@contextmanager
def drawn_where_it_overflows(source: Source, proposal: str, today: date, *, wanted: bool = True) -> Iterator[None]:
    """Draws what overflows, before and after, on stderr; the problems follow where every problem is told."""
    try:
        yield
    except Found:
        if wanted:
            _draw(source, proposal, today)
        raise


def _draw(source: Source, proposal: str, today: date) -> None:
    from specctl.actions.case import open_case
    from specctl.actions.overflowing import overflowing
    from specctl.cli import outlet
    from specctl.report.cup_text import pair_text
    from specctl.report.cup_view import view_made
    from specctl.report.cup_words import ESTIMATE

    changes = overflowing(open_case(source, proposal, today))
    for change in changes:
        before, after = (None if made is None else view_made(made) for made in (change.before, change.after))
        outlet.say("\n".join([*pair_text(before, after, outlet.width()), ""]))
    if changes:
        outlet.say(ESTIMATE + "\n")
