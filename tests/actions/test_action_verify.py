"""A record on main is not yet a release: the commit and the statements behind it must hold.

Whoever may push can add files to main with plain git. Each case here does so,
and publishing and asking must refuse; the untouched book is the counter-check.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from chain_world import AUTHOR, SECOND, World, day, plain_git

from specctl.actions.asking import ask
from specctl.actions.publishing import bundles
from specctl.canonical import canonical
from specctl.errors import Stop, Untrusted


def pushed(world: World, files: dict[str, bytes], key: Path | None = None) -> None:
    """Files added to main by plain git, signed with a key or not, and pushed to origin."""
    for path, data in files.items():
        target = world.book / path
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_bytes(data)
    plain_git(world.book, "add", "-A")
    signing = ("-c", "gpg.format=ssh", "-c", f"user.signingkey={key}") if key else ()
    plain_git(world.book, *signing, "commit", "-q", *(("-S",) if key else ("--no-gpg-sign",)), "-m", "A small fix")
    plain_git(world.book, "push", "-q", "origin", "main")


def first(world: World) -> dict[str, object]:
    record: dict[str, object] = json.loads((world.book / "releases/1.json").read_bytes())
    return record


def forged(world: World, **changes: object) -> dict[str, bytes]:
    """A second record like the first, with one entry put in by hand."""
    record = first(world) | {"number": 2, "parents": [world.main(), world.main()]} | changes
    return {"releases/2.json": canonical(record) + b"\n"}


def published(world: World) -> dict[str, bytes]:
    with world.open() as source:
        return bundles(source.in_git(), world.main())


def test_the_untouched_book_is_published_and_asked(world: World) -> None:
    assert set(published(world)) >= {"northsands-quay.json"}
    with world.open() as source:
        assert ask(source, "northsands-quay", day(5))[0]


@pytest.mark.parametrize("signer", [None, SECOND, AUTHOR])
def test_a_record_pushed_by_hand_is_no_release(world: World, signer: str | None) -> None:
    """Not even the releaser's key makes one outside a merge of what the record names."""
    pushed(world, forged(world), world.key(signer) if signer else None)
    with pytest.raises(Untrusted, match="release 2 on main does not hold"):
        published(world)
    with world.open() as source, pytest.raises(Untrusted, match="release 2"):
        ask(source, "northsands-quay", day(5))


def test_a_changed_record_is_noticed(world: World) -> None:
    pushed(world, {"releases/1.json": canonical(first(world) | {"why": "Because."}) + b"\n"}, world.key(AUTHOR))
    with pytest.raises(Untrusted, match="release 1 on main does not hold"):
        published(world)


def test_a_merge_by_somebody_else_is_no_release(world: World) -> None:
    """The right shape, the right parents, the wrong key."""
    world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
    made = world.propose(5, "More paste")
    plain_git(world.book, "checkout", "-q", "--", ".")
    tip = plain_git(world.book, "rev-parse", f"refs/heads/proposals/{made.name}")
    record = first(world) | {"number": 2, "proposal": made.name, "parents": [world.main(), tip], "released_by": AUTHOR}
    (world.book / "releases/2.json").write_bytes(canonical(record) + b"\n")
    plain_git(world.book, "add", "-A")
    tree = plain_git(world.book, "write-tree")
    key = world.key(SECOND)
    commit = plain_git(
        world.book, "-c", "gpg.format=ssh", "-c", f"user.signingkey={key}", "commit-tree", "-S",
        "-p", world.main(), "-p", tip, "-m", "Release 2", tree,
    )
    plain_git(world.book, "update-ref", "refs/heads/main", commit)
    with pytest.raises(Untrusted, match="not signed by a releaser"):
        published(world)


def test_a_missing_statement_is_noticed(world: World) -> None:
    """The record stays; a sign-off it counts was never in its commit."""
    record = first(world)
    statements = record["statements"]
    assert isinstance(statements, list)
    with world.open() as source:
        repository = source.in_git()
        from specctl.actions.ledger import Ledger
        from specctl.actions.verifying import _verify_statements
        from specctl.change.record import read_release

        data = canonical(record | {"statements": sorted([*statements, "0" * 64])}) + b"\n"
        release = read_release(data, "releases/1.json")
        with pytest.raises(Stop, match="is missing"):
            _verify_statements(repository, release, Ledger(repository, world.main()).commit or "")
