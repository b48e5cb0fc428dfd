"""The verb `audit`: main's first-parent history replayed from its first commit.

Every commit must be one of three: the signed beginning, statements taken in, or
a release that follows from what it merges. The first that is none of them is
named, and nothing after it is judged. A commit's answer holds for all before it
and never changes, so it is kept; `afresh` looks at everything again.

What it cannot see: whether the first commit is the one everybody agreed on
(compare its id by a way that is not git), and what never reached main.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from specctl.actions.audit_release import findings_of_release
from specctl.actions.audit_statement import findings_of_statements
from specctl.actions.audit_step import Step, signatories_before
from specctl.actions.ledger import RELEASES, STATEMENTS
from specctl.actions.source import Source
from specctl.actions.audit_refs import findings_of_origin, findings_of_refs, notes_of_tags
from specctl.change.audit import CLOCKS_APART, Audited, Covered, Finding, doubled_keys, kept_broken, keys_revived
from specctl.change.notice import FOLDER
from specctl.errors import Refused, Stop
from specctl.store.repository import Repository
from specctl.store.treediff import differing

AUDITOR = "audit-1"
_HOLDS = b"holds"


@dataclass
class _Walk:
    """How far the replay has come."""

    repository: Repository
    kept: int = 0
    notes: list[str] = field(default_factory=list)


def audit(source: Source, *, afresh: bool = False) -> Audited:
    """Replay main. The finding is the first in main's order; references are judged after all commits."""
    repository = source.in_git()
    notes: list[str] = []
    first = next(findings_of_origin(repository, notes), None)
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    walk = _Walk(repository, notes=notes)
    history: list[str] = []
    try:
        history = repository.reader.first_parents(main)[::-1]
        first = next(_history(walk, history, afresh), first) or next(findings_of_refs(repository, history), None)
        notes += notes_of_tags(repository, history) if first is None else []
    except Stop as stop:
        # What cannot be read cannot be followed further back; that itself is the finding.
        first = Finding("damaged", main, stop.what)
    return Audited(main, history[0] if history else "", first, _covered(walk, history, first), tuple(notes))


def _history(walk: _Walk, history: list[str], afresh: bool) -> Iterator[Finding]:
    shelf = walk.repository.cache()
    begin = 0
    if not afresh:
        begin = next((at + 1 for at in reversed(range(len(history))) if shelf.get(AUDITOR, history[at]) == _HOLDS), 0)
    walk.kept = begin
    for at in range(begin, len(history)):
        oid = history[at]
        parent = history[at - 1] if at else None
        try:
            found = next(_findings(Step(walk.repository, oid, parent, differing(walk.repository.reader, parent, oid))), None)
        except Stop as stop:
            found = Finding("damaged", oid, stop.what)
        if found is not None:
            yield found
            return
        shelf.put(AUDITOR, oid, _HOLDS)


def _findings(step: Step) -> Iterator[Finding]:
    """Everything wrong with one commit, the plainest first."""
    if step.parent is None:
        yield from _beginning(step)
        return
    record = step.record_path
    yield from (step.finding(code, what) for code, what in kept_broken(step.differing, step.proposal_name))
    commit, before = step.commit, step.repository.reader.commit(step.parent)
    if commit.committed < before.committed - CLOCKS_APART:
        yield step.finding("backdated", "the commit is dated before the one it follows")
    if step.signer is None:
        yield from step.unsigned()
    if record is not None:
        yield from findings_of_release(step, record)
        yield from _keys(step)
    else:
        strays = sorted(p for p in step.differing if not p.startswith(STATEMENTS))
        if strays:
            yield step.finding("stray-edit", f"{strays[0]} was changed outside a release")
        if len(commit.parents) > 1:
            yield step.finding("wrong-base", "it merges something without being a release")
        yield from findings_of_statements(step)


def _beginning(step: Step) -> Iterator[Finding]:
    if step.commit.parents:
        yield step.finding("start", "main's first commit has parents")
    if any(p.startswith((RELEASES, STATEMENTS, "entries/")) for p in step.differing):
        yield step.finding("start", "the first commit already holds releases, entries or statements")
    if step.signer is None:
        yield step.finding("start", "the first commit is not signed by one of its own signatories")
    yield from _keys(step)


def _keys(step: Step) -> Iterator[Finding]:
    if "signatories.yaml" in step.differing:
        for person, what in doubled_keys(step.signatories_after):
            yield Finding("doubled-key", step.oid, what, person)
        if step.parent is not None:
            before = signatories_before(step.repository, step.parent)
            for code, person, what in keys_revived(before, step.signatories_after):
                yield Finding(code, step.oid, what, person)


def _covered(walk: _Walk, history: list[str], first: Finding | None) -> Covered:
    """Counts up to the finding; what comes after it was not judged."""
    upto = history.index(first.commit) if first and first.commit in history else len(history)
    if not upto:
        return Covered(0, 0, 0, 0, 0)
    ids = walk.repository.reader.ids(history[upto - 1])
    statements = [p for p in ids if p.startswith(STATEMENTS)]
    notices = sum(p.startswith(FOLDER) for p in statements)
    releases = sum(p.startswith(RELEASES) for p in ids)
    return Covered(upto, releases, len(statements) - notices, notices, min(walk.kept, upto))
