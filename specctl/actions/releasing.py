"""The verb `release`: an approved proposal becomes main, in one signed commit.

The commit holds the merge, the release record and the entries it changed. It
becomes real by one compare-and-swap of main; the tag repeats it and can be made
again. Everything is judged on the merged result, on the very tip it is built on.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from specctl.actions.audit_step import signatories_before
from specctl.actions.case import Case, edited_from, find_proposal
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.judging import Findings, findings_of, is_released, signatories_of, state_of
from specctl.actions.ledger import entry_path
from specctl.actions.removing import refuse_bare_removal
from specctl.actions.reporting import conflict_words
from specctl.actions.source import Source
from specctl.actions.starts import stamp, starts_of
from specctl.canonical import canonical
from specctl.change.audit import keys_revived, mixes_people_with_recipes
from specctl.change.policy import Judgement
from specctl.change.record import Release, crossing
from specctl.domain.people import RELEASER
from specctl.errors import Found, Refused
from specctl.problem import errors_of
from specctl.store.commits import CommitWish, TagWish, make_commit, make_tag
from specctl.store.objects import write_tree_with
from specctl.store.repository import Repository


@dataclass(frozen=True, slots=True)
class Released:
    """What was released. `in_the_way` are the author's files that could not be brought along."""

    release: Release
    commit: str
    tag: str
    in_the_way: tuple[str, ...]


def release(source: Source, which: str, now: datetime, key: Path | None = None) -> Released:
    """Release an approved proposal. Raises Refused with what is still open."""
    repository = source.in_git()
    made: list[tuple[Release, Identity]] = []
    earlier: list[tuple[Release, Identity]] = []

    def build(tip: str | None) -> str:
        if tip is None:
            raise Refused("this book has no main yet", "Begin one with: specctl init")
        tips = repository.proposal_tips()
        name = find_proposal(tips, which)
        case = Case(repository, name, tips[name], tip, edited_from(repository, tips[name], tip), now.date())
        if is_released(case):
            # Perhaps by a run that was cut short after main took it: what is left is finished below.
            record = next((r for r in case.ledger.releases if r.proposal == name), None)
            if record is None:
                raise Refused(f"{name} holds nothing that main does not have", "There is nothing to release.")
            earlier[:] = [(record, identify(signatories_of(case), key_at_hand(repository, key)))]
            return tip
        findings = findings_of(case)
        releaser = identify(signatories_of(case), key_at_hand(repository, key))
        _refuse_unless_ready(case, findings, releaser)
        record = _record(case, findings, releaser, now)
        untried = findings.untried(record.starts)
        if untried:
            raise Refused(
                f"{case.name} is not tried as the policy asks: " + "; ".join(untried),
                "Its author must plan the trial and have it signed: specctl propose --update, with --wave trial=DATE:SITE and a later wave for the rest.",
            )
        crossed = crossing(case.ledger.releases, record.rows, record.starts)
        if crossed:
            raise Refused(
                "this would start before something already released: " + "; ".join(crossed[:5]),
                "Give the proposal a later start and have it signed again.",
            )
        made[:] = [(record, releaser)]
        return _commit(case, record, releaser, now)

    commit = repository.move_main(build)
    if earlier:
        _finish(repository, commit, *earlier[0], now)
        record = earlier[0][0]
        raise Refused(f"{record.proposal} is already released, as release {record.number}")
    record, releaser = made[0]
    tag = tag_release(repository, record, commit, releaser, now)
    in_the_way = repository.catch_up() if repository.behind() else ()
    return Released(record, commit, tag, in_the_way)


def _finish(repository: Repository, main: str, record: Release, releaser: Identity, now: datetime) -> None:
    """What a release that was cut short left undone: its tag, and the files on disk."""
    reader = repository.reader
    commit = next((oid for oid in reader.first_parents(main) if reader.commit(oid).parents == record.parents), None)
    if commit is not None and RELEASER in releaser.person.roles:
        tag_release(repository, record, commit, releaser, now)
    if repository.behind():
        repository.catch_up()


def _refuse_unless_ready(case: Case, findings: Findings, releaser: Identity) -> None:
    if RELEASER not in releaser.person.roles:
        raise Refused(f"{releaser.person.name} may not release", f"The policy's role for it is {RELEASER}.")
    state = state_of(case, None)
    if case.merged.conflicts:
        raise Refused(
            f"{case.name} conflicts with main: " + "; ".join(conflict_words(c) for c in case.merged.conflicts[:5]),
            "Its author must settle that and propose again: specctl propose --update",
        )
    if case.base_stated not in ("", case.base):
        raise Refused(
            f"{case.name} was edited from {case.base_stated[:12]} and follows {case.base[:12]}: its base is wrong",
            "What main gained between the two would be undone. Its author must propose it again from main.",
        )
    if mixes_people_with_recipes(case.merged.changed):
        raise Refused(
            f"{case.name} changes who may sign, or who must, together with something else",
            "Its author must propose one and then the other.",
        )
    if state == "draft":
        raise Refused(f"{case.name} is a draft", "Its author must propose it: specctl propose --update")
    wrong = errors_of(list(case.problems))
    if wrong:
        raise Found(f"{case.name} has errors when merged onto main", wrong, "Correct them and propose again.")
    if "signatories.yaml" in case.merged.changed:
        _refuse_bad_keys(case)
    if case.effect.is_empty:
        raise Refused(f"{case.name} changes nothing on today's main")
    judgement = findings.judgement
    if not judgement.approved:
        raise Refused(f"{case.name} is not approved: " + open_words(judgement), f"See: specctl report {case.name}")
    refuse_bare_removal(findings)


def _refuse_bad_keys(case: Case) -> None:
    """A retired key stays retired, a key stays its person's, and somebody can release afterwards."""
    after = case.book.signatories
    assert after is not None
    bad = next(keys_revived(signatories_before(case.repository, case.main), after), None)
    if bad is not None:
        raise Refused(bad[2], "Its author must bring a new key instead: ssh-keygen -t ed25519")
    if not any(RELEASER in p.roles and any(not k.retired for k in p.keys.values()) for p in after.people.values()):
        raise Refused("after this release nobody could release anything", f"Somebody with a key must be {RELEASER}.")


def open_words(judgement: Judgement) -> str:
    """What is still missing, in one line."""
    parts = [
        f"{s.need.role} for {s.need.scope}{' by the new rules' if s.need.quorum else ''}" + (f" ({s.stale})" if s.stale else "")
        for s in judgement.open
    ]
    parts += [f"objection by {o.person}: {o.note}" if o.note else f"objection by {o.person}" for o in judgement.objections]
    return "; ".join(parts)


def _record(case: Case, findings: Findings, releaser: Identity, now: datetime) -> Release:
    judgement = findings.judgement
    effect = case.effect
    scopes = {"chain", *(s.need.scope for s in judgement.standings)}
    return Release(
        number=len(case.ledger.releases) + 1,
        book=case.book.settings.id,
        proposal=case.name,
        title=case.proposal.title,
        why=case.proposal.why,
        parents=(case.main, case.tip),
        effects={scope: case.digests[scope] for scope in sorted(scopes)},
        start=effect.start,
        waves=effect.waves,
        starts=starts_of(case.book, effect.waves, now, judgement.fast),
        rows=effect.rows,
        statements=tuple(sorted({s.met_by.digest for s in judgement.standings if s.met_by})),
        released_by=releaser.person.id,
        released=stamp(now),
    )


def _commit(case: Case, record: Release, releaser: Identity, now: datetime) -> str:
    repository = case.repository
    changes: dict[str, bytes | None] = {path: case.merged.files.get(path) for path in case.merged.changed}
    for row in record.rows:
        if row.after and entry_path(row.after) not in case.ledger.ids:
            changes[entry_path(row.after)] = canonical(case.compiled.entries[row.after])
    changes[record.path] = record.bytes()
    tree = write_tree_with(repository.reader, repository.reader.commit(case.main).tree, changes)
    return make_commit(
        repository.root,
        CommitWish(
            tree,
            (case.main, case.tip),
            f"Release {record.number}: {record.title}\n\n{record.why}\n\nProposal: {record.proposal}\n",
            releaser.person.name,
            releaser.email,
            int(now.timestamp()),
            releaser.key,
        ),
    )


def tag_release(repository: Repository, record: Release, commit: str, releaser: Identity, now: datetime) -> str:
    """The signed tag `release/<n>`; made again if it is missing, refused if it points elsewhere."""
    name = f"release/{record.number}"
    make_tag(
        repository.root,
        TagWish(
            name,
            commit,
            f"Release {record.number}: {record.title}\n",
            releaser.person.name,
            releaser.email,
            int(now.timestamp()),
            releaser.key,
        ),
    )
    if repository.has_origin():
        repository.push_tag(name)
    return name
