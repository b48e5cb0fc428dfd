"""What main remembers: releases, entries and statements, read by id from one commit."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timezone
from functools import cached_property
from typing import TYPE_CHECKING, Any

from specctl.canonical import digest_of
from specctl.change.record import Release, latest_rows, read_release
from specctl.change.statement import Envelope, read_envelope
from specctl.errors import Damaged, Untrusted
from specctl.store.cache import Cache
from specctl.store.repository import Repository

if TYPE_CHECKING:  # reading what is kept needs neither policy nor signatures
    from specctl.change.policy import Said
    from specctl.domain.people import Person, Signatories
    from specctl.store.signature import Signer

RELEASES = "releases/"
ENTRIES = "entries/"
STATEMENTS = "statements/"


def entry_path(digest: str) -> str:
    return f"{ENTRIES}{digest[:2]}/{digest}.json"


@dataclass(frozen=True)
class Ledger:
    """The tool's own files at one commit of main."""

    repository: Repository
    commit: str | None

    @cached_property
    def ids(self) -> Mapping[str, str]:
        return self.repository.reader.ids(self.commit) if self.commit else {}

    def under(self, prefix: str) -> Mapping[str, str]:
        """path -> blob id below one folder, or of one file: the others are not read for it."""
        return self.repository.reader.ids(self.commit, prefix) if self.commit else {}

    @cached_property
    def releases(self) -> tuple[Release, ...]:
        """Every release record, by number. Raises Damaged if one cannot be read or one is missing."""
        found = [read_release(self._blob(oid), path) for path, oid in self.under(RELEASES).items()]
        ordered = tuple(sorted(found, key=lambda r: r.number))
        if [r.number for r in ordered] != list(range(1, len(ordered) + 1)):
            raise Damaged("a release record is missing on main", "Restore it from another clone.")
        return ordered

    @cached_property
    def rows(self) -> dict[tuple[str, str], str]:
        """(site, item) to entry digest, as of the newest release."""
        return latest_rows(self.releases)

    def entry(self, digest: str) -> dict[str, Any]:
        """A stored entry, checked against its own name; read once, for many sites share it. Not to be changed."""
        if digest not in self._read:
            self._read[digest] = self._entry(digest)
        return self._read[digest]

    @cached_property
    def _read(self) -> dict[str, dict[str, Any]]:
        return {}

    def _entry(self, digest: str) -> dict[str, Any]:
        path = entry_path(digest)
        oid = self.under(path).get(path)
        if oid is None:
            raise Damaged(f"the entry {digest[:12]} is missing on main", "Restore it from another clone.")
        data = self._blob(oid)
        if digest_of(data) != digest:
            raise Damaged(f"the entry {digest[:12]} is not what its name says", "Restore it from another clone.")
        entry: dict[str, Any] = json.loads(data)
        return entry

    def entries(self, digests: Iterable[str]) -> dict[str, dict[str, Any]]:
        return {digest: self.entry(digest) for digest in set(digests)}

    def envelopes(self, proposal: str) -> tuple[Envelope, ...]:
        """The statements kept for a proposal, in the order main took them in."""
        order = self._order(f"{STATEMENTS}{proposal}/")
        return tuple(sorted(self.kept(proposal), key=lambda e: (order.get(e.path, 0), e.statement.said, e.digest)))

    def taken_in(self, proposal: str) -> dict[str, date]:
        """By statement, the day (UTC) of the commit of main that took it in: nothing a statement says of itself."""
        prefix = f"{STATEMENTS}{proposal}/"
        order = self._order(prefix)
        history = self.repository.reader.first_parents(self.commit) if self.commit else []
        found = {}
        for path, place in order.items():
            committed = self.repository.reader.commit(history[len(history) - place]).committed
            found[path.removeprefix(prefix).removesuffix(".statement")] = datetime.fromtimestamp(committed, timezone.utc).date()
        return found

    def kept(self, proposal: str) -> tuple[Envelope, ...]:
        """The same in the order they say they were said, which needs no history."""
        prefix = f"{STATEMENTS}{proposal}/"
        found = []
        for path, oid in sorted(self.under(prefix).items()):
            envelope = read_envelope(self._blob(oid).decode("ascii", "replace"))
            if envelope.path != path:
                raise Damaged(f"{path} holds another statement than its name says", "Restore it from another clone.")
            found.append(envelope)
        return tuple(sorted(found, key=lambda e: (e.statement.said, e.digest)))

    def _order(self, prefix: str) -> dict[str, int]:
        """When main took each statement in: its place in main's first-parent history."""
        reader = self.repository.reader
        if self.commit is None:
            return {}
        order: dict[str, int] = {}
        wanted = self.under(prefix).keys()
        history = reader.first_parents(self.commit)
        for age, oid in enumerate(history):
            # Newest first: the last commit that still has the file is where it came in.
            here = reader.ids(oid, prefix)
            present = wanted & here.keys()
            if not present:
                break
            for path in present:
                order[path] = len(history) - age
        return order

    def _blob(self, oid: str) -> bytes:
        return self.repository.reader.blob(oid)


def signers_of(signatories: Signatories, retired: bool = False) -> tuple[Signer, ...]:
    """Every key that counts, with its person."""
    from specctl.store.signature import Signer

    return tuple(
        Signer(person.id, key.public)
        for person in signatories.people.values()
        for key in person.keys.values()
        if retired or not key.retired
    )


def verified(
    envelopes: Iterable[Envelope], signatories: Signatories, shelf: Cache | None = None, taken_in: Mapping[str, date] | None = None
) -> tuple[Said, ...]:
    """Statements whose signature holds by a key of the person they name; others are passed over.

    Verification depends on payload, signature and keys alone, so its answer is kept.
    `taken_in`: the day main took each in, by digest; without it no cover counts.
    """
    from specctl.change.cover import days_of
    from specctl.change.policy import Said

    found = []
    for order, envelope in enumerate(envelopes):
        statement = envelope.statement
        person = signatories.people.get(statement.person)
        if person is None:
            continue
        key = _verified_key(envelope, person, shelf)
        if key is None:
            continue
        found.append(
            Said(
                purpose=statement.purpose,
                person=statement.person,
                key=key,
                role=statement.role,
                scope=statement.scope,
                effect=statement.effect,
                said=statement.said,
                note=statement.note,
                digest=envelope.digest,
                order=order,
                days=(*days_of(statement.said), day) if taken_in and (day := taken_in.get(envelope.digest)) and days_of(statement.said) else (),
            )
        )
    return tuple(found)


def _verified_key(envelope: Envelope, person: Person, shelf: Cache | None) -> str | None:
    """The fingerprint of the person's key that made the signature, or None."""
    from specctl.store.signature import Signer, signer_of_armour, verify

    signers = [Signer(person.id, k.public) for k in person.keys.values() if not k.retired]
    if not signers:
        return None
    asked = digest_of(
        "\n".join([envelope.digest, envelope.signature, envelope.statement.namespace, *sorted(s.public_key for s in signers)]).encode()
    )
    kept = shelf.get("signature-1", asked) if shelf else None
    if kept is not None:
        return kept.decode("ascii") or None
    try:
        who = verify(envelope.payload, envelope.signature, envelope.statement.namespace, signers)
    except Untrusted:
        who = None
    key = signer_of_armour(envelope.signature) if who == person.id else None
    if shelf:
        shelf.put("signature-1", asked, (key or "").encode("ascii"))
    return key


def person_of_key(signatories: Signatories, public: str) -> Person | None:
    """Who holds a public key."""
    from specctl.store.signature import fingerprint

    wanted = fingerprint(public)
    for person in signatories.people.values():
        for key in person.keys.values():
            if fingerprint(key.public) == wanted:
                return person
    return None
