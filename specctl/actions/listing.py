"""The verb `proposals`: what is open, what each waits for, and what became of the rest."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from specctl.actions.case import Case, edited_from
from specctl.actions.judging import findings_of, state_of
from specctl.actions.ledger import Ledger
from specctl.actions.releasing import open_words
from specctl.actions.source import Source
from specctl.errors import Stop


@dataclass(frozen=True, slots=True)
class Listed:
    name: str
    title: str
    state: str
    start: str
    waits_for: str
    release: int | None

    def as_json(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in self.__slots__}


def proposals(source: Source, today: date, *, fetch: bool = False) -> list[Listed]:
    """Every proposal that can be seen here, open ones first, then by number."""
    repository = source.in_git()
    if fetch and repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        return []
    ledger = Ledger(repository, main)
    released = {r.proposal: r for r in ledger.releases}
    found = [
        Listed(r.proposal, r.title, "released", r.start, "", r.number) for r in ledger.releases
    ]
    for name, tip in repository.proposal_tips().items():
        if name not in released:
            found.append(_open(Case(repository, name, tip, main, edited_from(repository, tip, main), today)))
    return sorted(found, key=lambda l: (l.state == "released", int(l.name.split("-", 1)[0])))


def _open(case: Case) -> Listed:
    try:
        title, start = case.proposal.title, case.proposal.start.isoformat()
        if case.merged.conflicts:
            return Listed(case.name, title, "in review", start, "its author: it conflicts with main", None)
        judgement = findings_of(case).judgement
        state = state_of(case, judgement)
        waits = "nothing: it can be released" if state == "approved" else open_words(judgement)
        return Listed(case.name, title, state, start, waits, None)
    except Stop as stop:
        # One proposal that cannot be judged must not hide the others.
        known = case.book.proposals.get(case.name) if case.after.book else None
        title, start = (known.title, known.start.isoformat()) if known else (case.name, "")
        return Listed(case.name, title, "draft" if known and known.draft else "in review", start, f"its author: {stop.what}", None)
