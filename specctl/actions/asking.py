"""The verb `in-force`: what a site was shown at a minute, from records and git alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from specctl.actions.ledger import Ledger
from specctl.actions.remembering import past_of
from specctl.actions.source import Source
from specctl.actions.starts import stamp
from specctl.errors import NotFound, Refused


@dataclass(frozen=True, slots=True)
class Answer:
    """One item in force: its release, since when, its entry, who signed and why."""

    site: str
    item: str
    at: str
    release: int
    since: str
    entry: str | None
    title: str
    why: str
    proposal: str
    released: str
    released_by: str
    commit: str
    signers: tuple[dict[str, str], ...]

    def as_json(self) -> dict[str, Any]:
        return {name: list(v) if isinstance(v := getattr(self, name), tuple) else v for name in self.__slots__}


def ask(source: Source, site: str, at: datetime, item: str | None = None) -> tuple[list[Answer], Ledger]:
    """Every item in force at a site at a time, or one drink or prep. Reads stored records only."""
    repository = source.in_git()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    ledger = Ledger(repository, main)
    past = past_of(ledger, site)
    if not past.known:
        known = {s for r in ledger.releases for s in r.starts} | {row.site for r in ledger.releases for row in r.rows}
        raise NotFound(f"no release names a site {site}", "Sites released to: " + (", ".join(sorted(known)) or "none"))
    moment = stamp(at)
    answers = []
    for name, standing in sorted(past.at(moment).items()):
        if item is not None and item not in (name, name.partition("/")[2]):
            continue
        release = past.release(standing.release)
        answers.append(
            Answer(
                site=site,
                item=name,
                at=moment,
                release=standing.release,
                since=standing.since,
                entry=standing.entry,
                title=release.title,
                why=release.why,
                proposal=release.proposal,
                released=release.released,
                released_by=release.released_by,
                commit=release.commit,
                signers=_signers(ledger, release.proposal, set(release.statements)),
            )
        )
    if item is not None and not answers:
        raise NotFound(f"nothing named {item} was in force at {site} at {moment}", "Ask without a name to see what was.")
    return answers, ledger


def _signers(ledger: Ledger, proposal: str, counted: set[str]) -> tuple[dict[str, str], ...]:
    return tuple(
        {"person": e.statement.person, "role": e.statement.role, "scope": e.statement.scope, "said": e.statement.said}
        for e in ledger.kept(proposal)
        if e.digest in counted
    )
