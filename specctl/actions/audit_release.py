"""What an audit asks of a release: that it follows from what it merges, and that enough people signed that.

The merge, the effect and the quorum are worked out again from the commit's two
parents, with the policy and the people of the first. Entries are taken as they
were stored, for people signed those; how this version of the tool would compile
them plays no part. Which class a difference falls into is this version's word.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, timezone
from functools import cached_property

from specctl.actions.audit_statement import holds
from specctl.actions.audit_step import Step
from specctl.actions.case import Case, edited_from
from specctl.actions.judging import Findings
from specctl.actions.ledger import STATEMENTS, Ledger, entry_path
from specctl.actions.releasing import open_words
from specctl.actions.reporting import conflict_words
from specctl.actions.starts import stamp, starts_of
from specctl.change.audit import PEOPLE_AND_POLICY, Finding, counted_twice, mixes_people_with_recipes
from specctl.change.compiled import Compiled
from specctl.change.policy import Judgement
from specctl.change.record import Release, crossing, read_release
from specctl.change.statement import SIGNOFF, Envelope, read_envelope
from specctl.codec.load import blob_id
from specctl.domain.people import RELEASER
from specctl.store.signature import signer_of_armour

# Zone rules change after a start was resolved; nobody's rules move by more than this.
_ZONES_APART = timedelta(hours=2)


@dataclass(frozen=True)
class RecordedCase(Case):
    """The case of a release: entries as its commit stored them, not as they would compile today."""

    release: Release
    commit: str

    @cached_property
    def compiled(self) -> Compiled:
        rows = dict(self.ledger.rows)
        for row in self.release.rows:
            rows.pop((row.site, row.item), None)
            if row.after is not None:
                rows[row.site, row.item] = row.after
        return Compiled(Ledger(self.repository, self.commit).entries(rows.values()), rows)


def findings_of_release(step: Step, path: str) -> Iterator[Finding]:
    """Everything wrong with a release commit, the plainest first."""
    record = read_release(step.blob(path), path)
    assert step.parent is not None
    before = Ledger(step.repository, step.parent)
    yield from _record(step, record, before)
    case = RecordedCase(
        repository=step.repository,
        name=record.proposal,
        tip=record.parents[1],
        main=step.parent,
        base=edited_from(step.repository, record.parents[1], step.parent),
        today=date.fromisoformat(record.released[:10]),
        release=record,
        commit=step.oid,
    )
    yield from _merge(step, case)
    yield from _effect(step, case)
    yield from _statements(step, case)
    findings = Findings(case)
    judgement = _counted_only(case, findings)
    if not judgement.approved:
        yield step.finding("quorum", f"release {record.number} was not approved: {open_words(judgement)}")
    yield from _starts(step, case, before, judgement.fast)
    for what in findings.untried(record.starts):
        yield step.finding("trial", what)


def _counted_only(case: RecordedCase, findings: Findings) -> Judgement:
    """The judgement with the sign-offs the record counts, and every objection that stood."""
    # A sign-off that answers an objection need not be among the counted ones.
    return replace(findings.judged(frozenset(case.release.statements)), objections=findings.judgement.objections)


def _record(step: Step, record: Release, before: Ledger) -> Iterator[Finding]:
    what = f"release {record.number}"
    if record.number != len(before.releases) + 1:
        yield step.finding("record", f"{what} follows release {len(before.releases)}")
    if len(record.parents) != 2 or step.commit.parents != record.parents:
        yield step.finding("wrong-base", f"{what} does not merge what its record names")
    if record.book != step.book_id:
        yield step.finding("replay", f"{what} is a record of the book {record.book}")
    if step.signer is None or RELEASER not in step.signer.roles or step.signer.id != record.released_by:
        yield step.finding("unsigned", f"{what} is not signed by a releaser who counted then")
    if record.released != stamp(datetime.fromtimestamp(step.commit.committed, timezone.utc)):
        yield step.finding("backdated", f"{what} gives another time than its commit")
    if mixes_people_with_recipes(step.differing):
        yield step.finding("mixed", f"{what} changes who may sign, or who must, together with something else")


def _merge(step: Step, case: RecordedCase) -> Iterator[Finding]:
    record = case.release
    stated = case.base_stated
    if stated and stated != case.base:
        yield step.finding("wrong-base", f"{case.name} says it was edited from {stated[:12]} and was merged from {case.base[:12]}")
    if case.merged.conflicts:
        yield step.finding("merge", "it was merged over a conflict: " + conflict_words(case.merged.conflicts[0]))
    expected = {p: blob_id(d) if (d := case.merged.files.get(p)) is not None else None for p in case.merged.changed}
    expected[record.path] = blob_id(record.bytes())
    for digest in {row.after for row in record.rows if row.after}:
        path = entry_path(digest)
        if path not in case.ledger.ids:
            expected[path] = step.differing.get(path, (None, None))[1]
            if expected[path] is None:
                yield step.finding("entries", f"the entry {digest[:12]} is not stored")
    found = {path: after for path, (_, after) in step.differing.items()}
    for path in sorted(expected.keys() | found.keys()):
        if path not in found or path not in expected or found[path] != expected[path]:
            yield step.finding("merge", f"{path} is not as the merge of main and {case.name} has it")
    if (record.title, record.why) != (case.proposal.title, case.proposal.why):
        yield step.finding("record", f"the record's title or reason is not that of {case.name}")


def _effect(step: Step, case: RecordedCase) -> Iterator[Finding]:
    record = case.release
    # Reading every stored entry re-hashes it: one that is not what its name says stops here.
    if case.effect.rows != record.rows:
        wrong = sorted(set(case.effect.rows) ^ set(record.rows), key=lambda r: (r.site, r.item))
        at = f" ({wrong[0].item} at {wrong[0].site})" if wrong else ""
        yield step.finding("entries", f"the record's entries do not follow from the release before it{at}")
    items = case.compiled.entries
    for row in record.rows:
        if row.after and items[row.after]["item"] != row.item:
            yield step.finding("entries", f"the entry given for {row.item} at {row.site} is another item's")
    if case.effect.waves != record.waves or case.effect.start != record.start:
        yield step.finding("effect", "the record's start or waves are not the proposal's")
    if "chain" not in record.effects:
        yield step.finding("effect", "the record names no effect of the chain")
    for scope, digest in sorted(record.effects.items()):
        if case.effect_of(scope).digest != digest:
            yield step.finding("effect", f"the effect of {scope} is not the one the record names")


def _statements(step: Step, case: RecordedCase) -> Iterator[Finding]:
    record = case.release
    ids = case.ledger.under(f"{STATEMENTS}{record.proposal}/")
    counted: list[Envelope] = []
    for digest in record.statements:
        oid = ids.get(f"{STATEMENTS}{record.proposal}/{digest}.statement")
        if oid is None:
            yield step.finding("statement", f"the statement {digest[:12]} it counts was not on main before it")
            continue
        envelope = read_envelope(step.repository.reader.blob(oid).decode("ascii", "replace"))
        said = envelope.statement
        signed = (envelope.payload, envelope.signature, said.namespace)
        # Who comes in by this very release signs for it with the key it brings.
        by_new = "signatories.yaml" in step.differing and holds(step.signatories_after, said.person, signed, retired=False)
        if not by_new and not holds(step.signatories, said.person, signed, retired=False):
            code = "retired-key" if holds(step.signatories, said.person, signed, retired=True) else "statement"
            yield Finding(code, step.oid, f"it counts a sign-off by {said.person} that no current key of theirs made", said.person)
        if said.purpose != SIGNOFF or said.proposal != record.proposal:
            yield Finding("replay", step.oid, f"it counts a statement of {said.person} that signs off something else", said.person)
        elif said.effect != record.effects.get(said.scope):
            yield Finding("effect", step.oid, f"{said.person} signed another effect than was released", said.person)
        if said.person in case.authors:
            yield Finding("threshold", step.oid, f"{said.person} is an author and is counted", said.person)
        counted.append(envelope)
    # Old and new rules may ask one person in two roles, once for each quorum; how many each counts is judged below.
    apart = bool(set(PEOPLE_AND_POLICY) & step.differing.keys())
    rows = [
        (e.statement.person, signer_of_armour(e.signature) or "", f"{e.statement.scope} as {e.statement.role}" if apart else e.statement.scope)
        for e in counted
    ]
    for person, what in counted_twice(rows):
        yield Finding("threshold", step.oid, what, person)


def _starts(step: Step, case: RecordedCase, before: Ledger, fast: bool) -> Iterator[Finding]:
    record = case.release
    early = sorted(site for site, start in record.starts.items() if start < record.released)
    if early:
        yield step.finding("backdated", f"it starts at {early[0]} before it was released")
    now = datetime.fromisoformat(record.released)
    stated = starts_of(case.book, record.waves, now, fast)
    for site in sorted(stated.keys() | record.starts.keys()):
        one, two = stated.get(site), record.starts.get(site)
        if one is None or two is None or abs(datetime.fromisoformat(one) - datetime.fromisoformat(two)) > _ZONES_APART:
            yield step.finding("effect", f"its start at {site} is not the one its waves state")
    crossed = crossing(before.releases, record.rows, record.starts)
    if crossed:
        yield step.finding("crossing", f"it starts before something already released: {crossed[0]}")
