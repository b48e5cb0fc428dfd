"""One commit of main as an audit sees it: what it changed, who signed it, who counted before it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, timezone
from functools import cached_property

from specctl.actions.ledger import RELEASES, signers_of
from specctl.change.audit import Finding
from specctl.change.cover import days_of
from specctl.codec.decode_people import signatories
from specctl.codec.cursor import Cursor
from specctl.codec.load import read_file
from specctl.domain.people import Person, Signatories
from specctl.errors import Damaged, Untrusted
from specctl.problem import errors_of
from specctl.store.parse import Commit
from specctl.store.repository import Repository
from specctl.store.signature import commit_key, commit_signer
from specctl.store.treediff import Differing

SIGNATORIES = "signatories.yaml"


@dataclass(frozen=True)
class Step:
    """A commit, its first parent, and the files that differ between them."""

    repository: Repository
    oid: str
    parent: str | None
    differing: Differing

    @cached_property
    def commit(self) -> Commit:
        return self.repository.reader.commit(self.oid)

    def days_with(self, said: str) -> tuple[date, ...]:
        """The days on which a cover must have held for words this commit brings in: theirs, and the commit's own."""
        return days_of(said, datetime.fromtimestamp(self.commit.committed, timezone.utc).isoformat())

    @cached_property
    def record_path(self) -> str | None:
        """The release record this commit brings in, if it brings in one."""
        added = [p for p, (before, _) in self.differing.items() if p.startswith(RELEASES) and before is None]
        return min(added, key=lambda p: (len(p), p), default=None)

    @cached_property
    def proposal_name(self) -> str:
        """The proposal its record names; its own file may change with it."""
        if self.record_path is None:
            return ""
        from specctl.change.record import read_release

        return read_release(self.blob(self.record_path), self.record_path).proposal

    @cached_property
    def book_id(self) -> str:
        """The id of the book, as this commit has it."""
        data = self.repository.reader.file(self.oid, "book.yaml")
        node = read_file("book", "book.yaml", data, self.repository.cache())[0] if data is not None else None
        found = node.get("id") if node is not None else None
        if found is None:
            raise Damaged(f"book.yaml cannot be read at {self.oid[:12]}")
        return str(found.value)

    @cached_property
    def signatories(self) -> Signatories:
        """Who counted before this commit; for the first, who counts by itself."""
        return self._signatories(self.parent or self.oid)

    @cached_property
    def signatories_after(self) -> Signatories:
        return self._signatories(self.oid)

    @cached_property
    def signer(self) -> Person | None:
        """Who signed it with a key that counted before it."""
        person = commit_signer(self.repository.reader, self.oid, signers_of(self.signatories))
        return self.signatories.people[person] if person else None

    def unsigned(self) -> Iterator[Finding]:
        """Why nobody's current key stands under it."""
        try:
            if commit_key(self.repository.reader, self.oid) is None:
                yield self.finding("unsigned", "the commit is not signed")
                return
        except Untrusted as stop:
            yield self.finding("unsigned", stop.what)
            return
        old = commit_signer(self.repository.reader, self.oid, signers_of(self.signatories, retired=True))
        if old is not None:
            yield Finding("retired-key", self.oid, f"the commit is signed with a retired key of {old}", old)
        else:
            yield self.finding("unsigned", "the commit is signed by nobody who counted then")

    def blob(self, path: str) -> bytes:
        """A file as this commit has it."""
        oid = self.differing[path][1]
        if oid is None:
            raise Damaged(f"{path} is gone")
        return self.repository.reader.blob(oid)

    def finding(self, code: str, what: str) -> Finding:
        """A finding on this commit, by whom it says it is."""
        who = self.signer.id if self.signer else f"{self.commit.author_name} (by the commit's own word)"
        return Finding(code, self.oid, what, who)

    def _signatories(self, commit: str) -> Signatories:
        return signatories_at(self.repository, commit)


def signatories_at(repository: Repository, commit: str) -> Signatories:
    """Read alone: a key that stands twice must be found, not refused by the reader."""
    data = repository.reader.file(commit, SIGNATORIES)
    if data is None:
        raise Damaged(f"{SIGNATORIES} is missing at {commit[:12]}")
    node, problems = read_file("signatories", SIGNATORIES, data, repository.cache())
    if node is None or errors_of(problems):
        raise Damaged(f"{SIGNATORIES} cannot be read at {commit[:12]}")
    return signatories(Cursor(node, SIGNATORIES, []), SIGNATORIES)


def signatories_before(repository: Repository, commit: str) -> list[Signatories]:
    """Every signatories there ever were on main up to a commit, each once, newest first."""
    reader = repository.reader
    commits: dict[str, str] = {}
    for oid in reader.first_parents(commit):
        blob = reader.ids(oid, SIGNATORIES).get(SIGNATORIES)
        if blob is not None:
            commits.setdefault(blob, oid)
    return [signatories_at(repository, oid) for oid in commits.values()]
