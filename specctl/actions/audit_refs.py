"""What an audit asks of references: that main was neither set back nor parted, and that tags name their releases."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from specctl.actions.ledger import RELEASES, Ledger, signers_of
from specctl.change.audit import Finding
from specctl.errors import Refused, Stop, Unreachable
from specctl.store.mainline import MAIN, ORIGIN_MAIN
from specctl.store.repository import Repository

_TAGS = "refs/tags/release/"
_NUMBER = re.compile(r"[1-9][0-9]{0,8}")


def findings_of_origin(repository: Repository, notes: list[str]) -> Iterator[Finding]:
    """Whether origin's main only grew and ours is part of the same line. No answer is a note, not a finding."""
    if repository.has_origin():
        try:
            differing = repository.fetch()
            if differing:
                yield Finding("tag", "", f"origin has another {differing[0]} than this clone")
        except Unreachable as stop:
            notes.append(f"origin did not answer, so this is main as it was last seen: {stop.what}")
        except Refused as stop:
            yield Finding("rewound", "", stop.what, "whoever can write to origin")
    reader = repository.reader
    refs = reader.refs_named(MAIN, ORIGIN_MAIN)
    ours, theirs = refs.get(MAIN), refs.get(ORIGIN_MAIN)
    if ours and theirs and not reader.is_ancestor(ours, theirs) and not reader.is_ancestor(theirs, ours):
        yield Finding("forked", ours, "local main and origin's main have parted; neither follows the other")


def findings_of_refs(repository: Repository, history: Sequence[str]) -> Iterator[Finding]:
    """Each tag `release/<n>` names the commit of main that brought the record in, and a releaser signed it."""
    reader = repository.reader
    main = history[-1]
    records = records_of(repository, history)
    for ref, oid in sorted(reader.refs(_TAGS).items()):
        name = ref.removeprefix(_TAGS)
        kind, _ = reader.kind_of(oid)
        if kind != "tag":
            yield Finding("tag", oid, f"the tag release/{name} is no signed tag")
            continue
        tag = reader.tag(oid)
        if tag.target not in history:
            yield Finding("rewound", main, f"main no longer holds {tag.target[:12]}, which the tag release/{name} names")
            continue
        if not _NUMBER.fullmatch(name) or records.get(int(name)) != tag.target or tag.name != f"release/{name}":
            yield Finding("tag", tag.target, f"the tag release/{name} names a commit that is not release {name}")
            continue
        yield from _tagger(repository, oid, name, tag.target)


def notes_of_tags(repository: Repository, history: Sequence[str]) -> list[str]:
    """Tags that are missing: no damage, for they only repeat what main says."""
    held = repository.reader.refs(_TAGS)
    missing = [n for n in sorted(records_of(repository, history)) if f"{_TAGS}{n}" not in held]
    return [f"the tag release/{n} is missing; fetch it, or make it again with: specctl doctor --mend" for n in missing]


def _tagger(repository: Repository, oid: str, name: str, target: str) -> Iterator[Finding]:
    from specctl.actions.collecting import main_book
    from specctl.store.signature import tag_signer

    signatories = main_book(repository, target).signatories
    if signatories is None or tag_signer(repository.reader, oid, signers_of(signatories, retired=True)) is None:
        yield Finding("tag", target, f"the tag release/{name} is signed by nobody main knows")


def records_of(repository: Repository, history: Sequence[str]) -> dict[int, str]:
    """Release number to the commit that brought its record in: the second parent it names tells it apart."""
    reader = repository.reader
    by_parents = {reader.commit(oid).parents: oid for oid in history}
    found = {}
    try:
        releases = Ledger(repository, history[-1]).releases
    except Stop:
        return {}
    for release in releases:
        oid = by_parents.get(release.parents)
        if oid is not None and release.path in reader.ids(oid, RELEASES):
            found[release.number] = oid
    return found
