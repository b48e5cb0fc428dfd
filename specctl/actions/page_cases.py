"""The cases a page may have been made from: by the commits it names, or as the book stands now.

What a page says of itself is somebody's word. A commit it names counts only where
this book's own main holds it, and a tip only where the proposal's branch here does.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from specctl.actions.case import Case, edited_from, open_case
from specctl.actions.source import Source
from specctl.errors import Stop


@dataclass(frozen=True, slots=True)
class Claim:
    """What a page says it was made from; commits empty where it names none."""

    proposal: str
    scope: str
    main: str
    tip: str
    day: date


def cases_of(source: Source, claim: Claim) -> tuple[Case, ...]:
    """The proposal on today's main first, then as the page names it, where this book knows those commits.

    Raises NotFound for a proposal this book does not have.
    """
    now = open_case(source, claim.proposal, claim.day)
    if (claim.main, claim.tip) == (now.main, now.tip) or not (claim.main and claim.tip):
        return (now,)
    try:
        reader = now.repository.reader
        known = reader.is_ancestor(claim.main, now.main) and reader.is_ancestor(claim.tip, now.tip)
        if not known:
            return (now,)
        then = Case(now.repository, now.name, claim.tip, claim.main, edited_from(now.repository, claim.tip, claim.main), claim.day)
    except Stop:
        return (now,)
    return now, then


def digest_today(source: Source, claim: Claim, today: date) -> str | None:
    """The digest a signature of that scope names today; None where there is nothing to sign any more."""
    case = open_case(source, claim.proposal, today)
    if case.repository.reader.is_ancestor(case.tip, case.main):
        return None
    return case.effect_of(claim.scope).digest
