"""Does each release on main rest on what its record claims?

A record counts only if the commit that brought it in is signed by a releaser of
the main it was built on, merges exactly the parents it names, and the
statements it counts are there, signed by the people they name, over the
effects it names. Whoever can push to main can add a file; that does not make
it a release. A commit's answer never changes, so it is kept.
"""

from __future__ import annotations

from specctl.actions.ledger import RELEASES, STATEMENTS, Ledger, signers_of, verified
from specctl.change.record import Release, read_release
from specctl.change.statement import read_envelope
from specctl.errors import Damaged, Untrusted
from specctl.store.repository import Repository

VERIFIER = "release-1"


def verified_releases(ledger: Ledger) -> tuple[Release, ...]:
    """Every release of a ledger. Raises Untrusted for the first that does not hold."""
    commits = commits_of(ledger)
    for release in ledger.releases:
        _verify(ledger.repository, release, commits.get(release.number))
    return ledger.releases


def verify_later(ledger: Ledger, upto: int) -> list[tuple[Release, str]]:
    """Every release after number `upto`, with the commit that brought it in. Raises Untrusted as above; the earlier are not read."""
    reader = ledger.repository.reader
    stands = ledger.under(RELEASES)
    numbers = range(upto + 1, len(stands) + 1)
    if any(f"{RELEASES}{n}.json" not in stands for n in numbers):
        raise Damaged("a release record is missing on main", "Restore it from another clone.")
    releases = {r.path: r for n in numbers for r in [read_release(reader.blob(stands[f"{RELEASES}{n}.json"]), f"{RELEASES}{n}.json")]}
    commits: dict[str, str] = {}
    waiting = set(releases)
    for oid in reader.first_parents(ledger.commit) if ledger.commit and waiting else []:
        here = reader.ids(oid, RELEASES)
        waiting = {path for path in waiting if here.get(path) == stands[path]}
        commits.update(dict.fromkeys(waiting, oid))
        if not waiting:
            break
    for path, release in releases.items():
        _verify(ledger.repository, release, commits.get(path))
    return [(release, commits[path]) for path, release in releases.items()]


def commits_of(ledger: Ledger) -> dict[int, str]:
    """The first-parent commit of main that brought each record in, by number."""
    reader = ledger.repository.reader
    found: dict[int, str] = {}
    stands = ledger.under(RELEASES)
    waiting = {r.path: r.number for r in ledger.releases}
    history = reader.first_parents(ledger.commit) if ledger.commit else []
    for oid in history:
        here = reader.ids(oid, RELEASES)
        # Newest first: a record belongs to the oldest commit of the run that holds it unchanged.
        for path, number in list(waiting.items()):
            if here.get(path) == stands[path]:
                found[number] = oid
            else:
                del waiting[path]
        if not waiting:
            break
    return found


def _verify(repository: Repository, release: Release, commit: str | None) -> None:
    if commit is None:
        raise _broken(release, "its record is not part of main's history")
    shelf = repository.cache()
    if shelf.get(VERIFIER, commit) == release.bytes():
        return
    # What was verified once is kept, so most runs never need these.
    from specctl.actions.collecting import main_book
    from specctl.domain.people import RELEASER
    from specctl.store.signature import commit_signer

    reader = repository.reader
    parents = reader.commit(commit).parents
    if parents != release.parents:
        raise _broken(release, "it was not made by merging what its record names")
    book = main_book(repository, parents[0])
    assert book.signatories is not None
    person = commit_signer(reader, commit, signers_of(book.signatories))
    if person != release.released_by or RELEASER not in book.signatories.people[person].roles:
        raise _broken(release, "its commit is not signed by a releaser of the main it was built on")
    _verify_statements(repository, release, commit)
    shelf.put(VERIFIER, commit, release.bytes())


def _verify_statements(repository: Repository, release: Release, commit: str) -> None:
    from specctl.actions.collecting import main_book

    reader = repository.reader
    prefix = f"{STATEMENTS}{release.proposal}/"
    ids = reader.ids(commit, prefix)
    envelopes = []
    for digest in release.statements:
        oid = ids.get(f"{prefix}{digest}.statement")
        if oid is None:
            raise _broken(release, f"the statement {digest[:12]} it counts is missing")
        envelopes.append(read_envelope(reader.blob(oid).decode("ascii", "replace")))
    book = main_book(repository, release.parents[0])
    assert book.signatories is not None
    held = {said.digest for said in verified(envelopes, book.signatories, repository.cache())}
    after = main_book(repository, commit).signatories
    if after is not None and after != book.signatories:
        # Who comes in by this release signs for it with the key it brings; audit asks for both quorums.
        held |= {said.digest for said in verified(envelopes, after, repository.cache())}
    for envelope in envelopes:
        statement = envelope.statement
        if envelope.digest not in held or statement.purpose != "signoff":
            raise _broken(release, f"the sign-off of {statement.person} does not hold")
        if (statement.proposal, statement.effect) != (release.proposal, release.effects.get(statement.scope)):
            raise _broken(release, f"{statement.person} signed something else than what was released")


def _broken(release: Release, why: str) -> Untrusted:
    return Untrusted(
        f"release {release.number} on main does not hold: {why}",
        "Publish nothing. Compare main with another clone and ask who pushed it.",
    )
