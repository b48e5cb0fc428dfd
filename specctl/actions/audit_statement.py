"""What an audit asks of statements that come into main."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from specctl.actions.audit_step import Step
from specctl.actions.collecting import proposed_signatories
from specctl.actions.ledger import STATEMENTS
from specctl.change.audit import CLOCKS_APART, Finding
from specctl.change.deviation import FOLDER as DEVIATIONS
from specctl.change.deviation import may_pass, read_passed
from specctl.change.notice import FOLDER, may_post, read_posted
from specctl.change.statement import read_envelope
from specctl.domain.people import Signatories
from specctl.errors import Untrusted
from specctl.store.signature import Signer, verify


def findings_of_statements(step: Step) -> Iterator[Finding]:
    """Each statement a commit brings in: whole, under its own name, of this book, by a key that counted."""
    for path, (before, after) in sorted(step.differing.items()):
        if before is not None or after is None or not path.startswith(STATEMENTS):
            continue
        text = step.blob(path).decode("ascii", "replace")
        try:
            if path.startswith(FOLDER):
                yield from _notice(step, path, text)
            elif path.startswith(DEVIATIONS):
                yield from _deviation(step, path, text)
            else:
                yield from _statement(step, path, text)
        except Untrusted as stop:
            yield step.finding("statement", f"{path}: {stop.what}")


def _statement(step: Step, path: str, text: str) -> Iterator[Finding]:
    envelope = read_envelope(text)
    said = envelope.statement
    if envelope.path != path:
        yield Finding("replay", step.oid, f"{path} holds a statement that was made as {envelope.path}", said.person)
    if said.book != step.book_id:
        yield Finding("replay", step.oid, f"{path} is about the book {said.book}", said.person)
    signed = (envelope.payload, envelope.signature, said.namespace)
    # Who is to come in by this proposal says so with the key it brings; that counts for its new quorum alone.
    if said.person in step.signatories.people and holds(step.signatories, said.person, signed, retired=False):
        return
    if any(holds(people, said.person, signed, retired=False) for people in proposed_signatories(step.repository, said.proposal)):
        return
    yield from of_key(step, said.person, signed, path)


def _notice(step: Step, path: str, text: str) -> Iterator[Finding]:
    posted = read_posted(text)
    notice = posted.notice
    if posted.path != path:
        yield Finding("replay", step.oid, f"{path} holds a notice that was made as {posted.path}", notice.person)
    if notice.book != step.book_id:
        yield Finding("replay", step.oid, f"{path} is about the book {notice.book}", notice.person)
    yield from of_key(step, notice.person, (posted.payload, posted.signature, notice.namespace), path)
    person = step.signatories.people.get(notice.person)
    if person is not None and may_post(person, step.signatories.people, step.days_with(notice.said)) is None:
        yield Finding("statement", step.oid, f"{notice.person} may not take anything off sale", notice.person)


def _deviation(step: Step, path: str, text: str) -> Iterator[Finding]:
    passed = read_passed(text)
    said = passed.deviation
    if passed.path != path:
        yield Finding("replay", step.oid, f"{path} holds a deviation that was made as {passed.path}", said.person)
    if said.book != step.book_id:
        yield Finding("replay", step.oid, f"{path} is about the book {said.book}", said.person)
    yield from of_key(step, said.person, (passed.payload, passed.signature, said.namespace), path)
    person = step.signatories.people.get(said.person)
    if person is not None and not may_pass(person, step.signatories.people, step.days_with(said.said)):
        yield Finding("statement", step.oid, f"{said.person} may not allow a deviation", said.person)
    if abs(datetime.fromisoformat(said.said).timestamp() - step.commit.committed) > CLOCKS_APART:
        yield Finding("backdated", step.oid, f"{path} says another time than its commit", said.person)


def of_key(step: Step, person: str, signed: tuple[bytes, str, str], path: str) -> Iterator[Finding]:
    """Whether a current key of the person made (payload, signature, namespace)."""
    if holds(step.signatories, person, signed, retired=False):
        return
    if holds(step.signatories, person, signed, retired=True):
        yield Finding("retired-key", step.oid, f"{path} is signed with a retired key of {person}", person)
    else:
        yield Finding("statement", step.oid, f"{path} is signed by no key of {person}", person)


def holds(signatories: Signatories, person: str, signed: tuple[bytes, str, str], *, retired: bool) -> bool:
    """Whether a key of the person, counting retired ones or not, made the signature."""
    known = signatories.people.get(person)
    keys = [Signer(person, k.public) for k in known.keys.values() if retired or not k.retired] if known else []
    return bool(keys) and verify(*signed, keys) == person
