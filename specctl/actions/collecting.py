"""The verb `collect`: statements become part of main, so that no branch can drop one.

Each statement is checked whole: its form, its book, the person's key on main,
and that its signature holds for its purpose. Whether it counts is judged later,
against today's main; a statement that no longer counts is kept all the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from specctl.actions.identity import identify, key_at_hand
from specctl.actions.ledger import Ledger, verified
from specctl.actions.source import Source, book_files
from specctl.change.statement import Envelope
from specctl.codec.cursor import Cursor
from specctl.codec.decode_people import signatories as read_signatories
from specctl.codec.load import load, read_file
from specctl.domain.book import Book
from specctl.domain.people import Signatories
from specctl.errors import Refused, Stop, Untrusted
from specctl.problem import errors_of
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree_with
from specctl.store.repository import Repository


SIGNATORIES = "signatories.yaml"


@dataclass(frozen=True, slots=True)
class Refusal:
    """An envelope that was not taken in, and why."""

    name: str
    why: str
    todo: str


@dataclass(frozen=True, slots=True)
class Collected:
    taken: tuple[Envelope, ...]
    known: tuple[Envelope, ...]
    refused: tuple[Refusal, ...]
    commit: str | None


def collect(
    source: Source, envelopes: Sequence[tuple[str, Envelope]], now: datetime, key: Path | None = None
) -> Collected:
    """Take envelopes (with a name to speak of each) into main. Good ones go in even beside bad ones."""
    repository = source.in_git()
    outcome: dict[str, list[Envelope]] = {}
    refused: list[Refusal] = []

    def build(tip: str | None) -> str:
        if tip is None:
            raise Refused("this book has no main yet", "Begin one with: specctl init")
        book = main_book(repository, tip)
        collector = identify(book.signatories, key_at_hand(repository, key))  # type: ignore[arg-type]
        ledger = Ledger(repository, tip)
        proposals = {*repository.proposal_tips(), *book.proposals}
        refused.clear()
        taken: list[Envelope] = []
        known: list[Envelope] = []
        for name, envelope in envelopes:
            try:
                _admit(envelope, book, proposals, repository)
            except Stop as stop:
                refused.append(Refusal(name, stop.what, stop.todo))
                continue
            (known if envelope.path in ledger.ids else taken).append(envelope)
        outcome.update(taken=taken, known=known)
        if not taken:
            return tip
        changes: dict[str, bytes | None] = {e.path: e.text().encode("ascii") for e in taken}
        tree = write_tree_with(repository.reader, repository.reader.commit(tip).tree, changes)
        who = collector.person
        return make_commit(
            repository.root,
            CommitWish(tree, (tip,), _message(taken), who.name, collector.email, int(now.timestamp()), collector.key),
        )

    commit = repository.move_main(build)
    taken = tuple(outcome.get("taken", ()))
    return Collected(taken, tuple(outcome.get("known", ())), tuple(refused), commit if taken else None)


def main_book(repository: Repository, tip: str) -> Book:
    """Main's book with its signatories, or a refusal."""
    book = load(book_files(repository, tip), repository.cache()).book
    if book is None or book.signatories is None:
        raise Refused("main has no signatories that can be read", "Restore signatories.yaml on main.")
    return book


def _admit(envelope: Envelope, book: Book, proposals: set[str], repository: Repository) -> None:
    statement = envelope.statement
    if statement.book != book.settings.id:
        raise Untrusted(
            f"this statement is about the book {statement.book}, not {book.settings.id}", "Collect it where it belongs."
        )
    if statement.proposal not in proposals:
        raise Refused(f"there is no proposal {statement.proposal} here", "Fetch it first: specctl proposals --fetch")
    assert book.signatories is not None
    if verified([envelope], book.signatories):
        return
    if any(verified([envelope], people) for people in proposed_signatories(repository, statement.proposal)):
        return  # it counts for the new quorum only, and only if that proposal is released
    if statement.person not in book.signatories.people:
        raise Untrusted(f"{statement.person} is not among the signatories on main", "Check who it is from.")
    raise Untrusted(
        f"the signature does not hold by any current key of {statement.person}",
        "Ask for it again, signed with the key that stands in signatories.yaml.",
    )


def proposed_signatories(repository: Repository, proposal: str) -> Iterator[Signatories]:
    """Everybody a proposal, open or released, would ever have brought in: the signatories of each of its own commits."""
    reader = repository.reader
    main = repository.latest_main()
    if main is None:
        return
    record = next((r for r in Ledger(repository, main).releases if r.proposal == proposal), None)
    tip = record.parents[1] if record is not None else repository.proposal_tips().get(proposal)
    if tip is None:
        return
    base = record.parents[0] if record is not None else reader.merge_base(tip, main)
    seen: set[str] = set()
    for oid in reader.commits_between(base, tip):
        blob = reader.ids(oid).get(SIGNATORIES)
        if blob is None or blob in seen:
            continue
        seen.add(blob)
        node, problems = read_file("signatories", SIGNATORIES, reader.blob(blob), repository.cache())
        if node is not None and not errors_of(problems):
            yield read_signatories(Cursor(node, SIGNATORIES, []), SIGNATORIES)


def _message(taken: Sequence[Envelope]) -> str:
    lines = [
        f"{e.statement.purpose} by {e.statement.person} as {e.statement.role} for {e.statement.scope}" for e in taken
    ]
    names = sorted({e.statement.proposal for e in taken})
    return f"Statements on {', '.join(names)}\n\n" + "\n".join(lines) + "\n"


