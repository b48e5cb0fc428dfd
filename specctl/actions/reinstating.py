"""The verb `reinstate`: going back is a new proposal, with its own effect, signed and released like any other.

It takes what a release changed, its items' files and the files it moved, as
they were in that release; everything else stays as main has it. Who may sign
and who must are never brought back this way.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path

from specctl.actions.ledger import Ledger
from specctl.actions.proposing import Proposed, ProposeWish, propose_changes
from specctl.actions.source import Source, book_files
from specctl.actions.verifying import commits_of, verified_releases
from specctl.change.audit import PEOPLE_AND_POLICY
from specctl.codec.paths import is_controlled
from specctl.errors import NotFound, Refused
from specctl.store.treediff import differing


@dataclass(frozen=True, slots=True)
class ReinstateWish:
    release: int
    why: str
    now: datetime
    start: date | None = None
    draft: bool = False
    key: Path | None = None


def reinstate(source: Source, wish: ReinstateWish) -> Proposed:
    """Propose what a release changed as it was then. Raises Refused where main still has it so."""
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    ledger = Ledger(repository, main)
    found = next((r for r in verified_releases(ledger) if r.number == wish.release), None)
    if found is None:
        known = len(ledger.releases)
        raise NotFound(f"there is no release {wish.release}", f"Releases: 1 to {known}." if known else "Nothing was released yet.")
    commit = commits_of(ledger)[found.number]
    paths = {p for p in differing(repository.reader, found.parents[0], commit) if is_controlled(p)}
    paths |= {f"{kind}s/{id}.yaml" for kind, _, id in (row.item.partition("/") for row in found.rows)}
    paths = {p for p in paths if not p.startswith("proposals/") and p not in PEOPLE_AND_POLICY}
    if not paths:
        raise Refused(f"release {found.number} changed only people or policy", "Propose who may sign, or who must, by hand.")
    then, now = book_files(repository, commit), book_files(repository, main)
    changes: dict[str, bytes | None] = {p: then.get(p) for p in sorted(paths) if then.get(p) != now.get(p)}
    if not changes:
        raise Refused(f"what release {found.number} changed stands on main as it was then", "There is nothing to reinstate.")
    title = f"Reinstate release {found.number}: {found.title}"
    asked = ProposeWish(title[:120], wish.why, wish.now, start=wish.start, draft=wish.draft, key=wish.key)
    return propose_changes(source, asked, main, changes)
