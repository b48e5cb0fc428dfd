"""`audit` names the first thing on main that does not hold; each forgery here is made with plain git and ssh-keygen.

The forgeries are those of HAZARDS and of The Update Framework's list of attacks
(arbitrary change, rollback, replay, key compromise, faked threshold), turned to
main. The untouched book is the counter-check of each.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, SAFETY, SECOND, World, plain_git
from forge import FROST, PASTE, commit_of, set_main

from specctl.actions.auditing import audit
from specctl.canonical import canonical
from specctl.change.audit import Audited


def audited(world: World, **more: Any) -> Audited:
    with world.open() as source:
        return audit(source, **more)


def found(world: World) -> tuple[str, str, str]:
    first = audited(world).first
    assert first is not None
    return first.code, first.commit, first.who


def amount_changed(world: World, at: float = 5) -> str:
    world.edit(FROST, PASTE, "{regular: 22 g, large: 31 g}")
    made = world.propose(at, "More paste")
    plain_git(world.book, "checkout", "-q", "--", ".")
    return made.name


def records(world: World, number: int) -> dict[str, Any]:
    return dict(json.loads(world.on_main(f"releases/{number}.json")))


def rereleased(world: World, *, key: str = AUTHOR, at: float = 6, record: dict[str, Any] | None = None, **files: bytes) -> str:
    """Release 2 taken back and made again by plain git with another record; what it brought otherwise stays."""
    real = world.main()
    parents = tuple(plain_git(world.book, "rev-parse", f"{real}^1", f"{real}^2").split())
    changed = {}
    for path in plain_git(world.book, "diff", "--name-only", f"{real}^1", real).splitlines():
        changed[path] = plain_git(world.book, "show", f"{real}:{path}").encode()
        changed[path] += b"\n" if not path.startswith("entries/") else b""
    changed["releases/2.json"] = canonical(records(world, 2) | (record or {})) + b"\n"
    changed |= {path.replace("__", "/"): data for path, data in files.items()}
    plain_git(world.book, "tag", "-d", "release/2")
    plain_git(world.book, "push", "-q", "origin", ":refs/tags/release/2")
    forged = commit_of(world, changed, key=world.key(key), at=at, parents=parents)
    set_main(world, forged)
    return forged


def test_an_honest_book_holds_and_says_what_was_covered(world: World) -> None:
    world.done(amount_changed(world), 6)
    answer = audited(world)
    assert answer.first is None and answer.notes == ()
    assert (answer.covered.releases, answer.covered.commits) == (2, len(plain_git(world.book, "rev-list", "--first-parent", "main").split()))
    assert answer.covered.statements > 5 and answer.covered.kept == 0
    again = audited(world)
    assert again.covered.kept == again.covered.commits and again.first is None
    assert audited(world, afresh=True).covered.kept == 0


def test_the_same_release_made_again_by_hand_holds(world: World) -> None:
    """The counter-check of the forgeries below: only what they change makes them fail."""
    world.done(amount_changed(world), 6)
    rereleased(world)
    assert audited(world).first is None


@pytest.mark.parametrize("signer", [None, SECOND, AUTHOR])
def test_an_edit_outside_a_release(world: World, signer: str | None) -> None:
    text = world.on_main(FROST).replace(PASTE, "{regular: 2 g, large: 3 g}").encode() + b"\n"
    forged = commit_of(world, {FROST: text}, key=world.key(signer) if signer else None, at=5)
    set_main(world, forged)
    code, commit, who = found(world)
    assert commit == forged and code == ("stray-edit" if signer else "unsigned")
    assert who.startswith(signer or "Maud Pellow")


def test_the_first_is_named_not_the_last(world: World) -> None:
    first = commit_of(world, {"policy.yaml": world.on_main("policy.yaml").encode() + b"\n# lighter\n"}, key=world.key(AUTHOR), at=5)
    set_main(world, first)
    second = commit_of(world, {FROST: None}, key=None, at=6)
    set_main(world, second)
    assert found(world) == ("stray-edit", first, AUTHOR)


@pytest.mark.parametrize(("path", "code"), [("releases/1.json", "removed"), ("statements", "removed"), ("entries", "removed"), ("proposals", "removed")])
def test_nothing_main_keeps_may_go(world: World, path: str, code: str) -> None:
    victim = next(p for p in plain_git(world.book, "ls-tree", "-r", "--name-only", "main").splitlines() if p.startswith(path))
    forged = commit_of(world, {victim: None}, key=world.key(AUTHOR), at=5)
    set_main(world, forged)
    assert found(world) == (code, forged, AUTHOR)


def test_a_statement_changed_in_place(world: World) -> None:
    names = [p for p in plain_git(world.book, "ls-tree", "-r", "--name-only", "main").splitlines() if p.startswith("statements/")]
    other = world.on_main(names[1]).encode() + b"\n"
    forged = commit_of(world, {names[0]: other}, key=world.key(AUTHOR), at=5)
    set_main(world, forged)
    assert found(world)[:2] == ("changed", forged)


def test_a_statement_replayed_under_another_proposal(world: World) -> None:
    name = next(p for p in plain_git(world.book, "ls-tree", "-r", "--name-only", "main").splitlines() if p.startswith("statements/"))
    copy = f"statements/2-more-paste/{name.rsplit('/', 1)[1]}"
    forged = commit_of(world, {copy: world.on_main(name).encode() + b"\n"}, key=world.key(AUTHOR), at=5)
    set_main(world, forged)
    assert found(world)[:2] == ("replay", forged)


def test_a_record_that_counts_too_few(world: World) -> None:
    """Every sign-off lies on main; the record leaves one out, and the record is what sites are given."""
    world.done(amount_changed(world), 6)
    forged = rereleased(world, record={"statements": records(world, 2)["statements"][1:]})
    assert found(world)[:2] == ("quorum", forged)


def test_a_release_nobody_signed_for(world: World) -> None:
    """The releaser alone, with the true effect and the true merge: the sign-offs never came to main."""
    name = amount_changed(world)
    before = world.main()
    world.done(name, 6)
    real = records(world, 2)
    tip = real["parents"][1]
    changed = {}
    for path in plain_git(world.book, "diff", "--name-only", "main^1", "main").splitlines():
        changed[path] = plain_git(world.book, "show", f"main:{path}").encode() + (b"" if path.startswith("entries/") else b"\n")
    changed["releases/2.json"] = canonical(real | {"parents": [before, tip], "statements": []}) + b"\n"
    plain_git(world.book, "tag", "-d", "release/2")
    plain_git(world.book, "push", "-q", "origin", ":refs/tags/release/2")
    forged = commit_of(world, changed, key=world.key(AUTHOR), at=6, parents=(before, tip))
    set_main(world, forged)
    code, commit, who = found(world)
    assert (code, commit, who) == ("quorum", forged, AUTHOR)


@pytest.mark.parametrize(
    ("record", "code"),
    [
        ({"title": "Less paste"}, "record"),
        ({"released": "2026-11-01T09:00:00Z"}, "backdated"),
        ({"starts": {"northsands-quay": "2026-11-03T04:00:00Z"}}, "backdated"),
        ({"effects": {"chain": "0" * 64}}, "effect"),
        ({"statements": ["0" * 64]}, "statement"),
        ({"book": "other"}, "replay"),
        ({"number": 3}, "damaged"),
        ({"sites": [], "entries": []}, "merge"),
        ({"released_by": SECOND}, "unsigned"),
        ({"start": "2026-11-09"}, "effect"),
    ],
)
def test_a_record_that_says_something_else(world: World, record: dict[str, Any], code: str) -> None:
    world.done(amount_changed(world), 6)
    forged = rereleased(world, record=record)
    assert found(world)[:2] == (code, forged)


def test_a_release_by_somebody_who_may_not(world: World) -> None:
    world.done(amount_changed(world), 6)
    forged = rereleased(world, key=SAFETY, record={"released_by": SAFETY})
    assert found(world) == ("unsigned", forged, SAFETY)


def test_one_more_edit_inside_a_release(world: World) -> None:
    world.done(amount_changed(world), 6)
    text = world.on_main("ingredients/hazelnut-paste.yaml").encode() + b"\n# as before\n"
    forged = rereleased(world, **{"ingredients__hazelnut-paste.yaml": text})
    assert found(world)[:2] == ("merge", forged)


def test_a_commit_dated_back(world: World) -> None:
    name = amount_changed(world)
    envelope = world.sign(name, SECOND, 5.2)[0]
    forged = commit_of(world, {envelope.path: envelope.text().encode()}, key=world.key(AUTHOR), at=0.1)
    set_main(world, forged)
    assert found(world)[:2] == ("backdated", forged)


def test_main_set_back_is_told_by_its_tags(world: World) -> None:
    """Release 2 and all that led to it is gone from main here and at origin; the tag remembers."""
    before = world.main()
    world.done(amount_changed(world), 6)
    set_main(world, before)
    assert found(world)[0] == "rewound"


def test_origin_rewritten(world: World) -> None:
    world.done(amount_changed(world), 6)
    plain_git(world.origin, "update-ref", "refs/heads/main", "refs/tags/release/1^{commit}")
    other = commit_of(world, {"README.md": b"x\n"}, key=None, at=7, parents=(plain_git(world.origin, "rev-parse", "main"),))
    plain_git(world.book, "push", "-q", "--force", "origin", f"{other}:refs/heads/main")
    plain_git(world.book, "update-ref", "refs/remotes/origin/main", world.main())
    assert found(world)[0] in ("rewound", "forked")


def test_a_tag_moved(world: World) -> None:
    key = world.key(AUTHOR)
    plain_git(world.book, "-c", "gpg.format=ssh", "-c", f"user.signingkey={key}", "tag", "-f", "-s", "-m", "x", "release/1", "main^")
    first = audited(world).first
    assert first is not None and first.code == "tag"


def test_a_missing_tag_is_a_note(world: World) -> None:
    plain_git(world.book, "tag", "-d", "release/1")
    plain_git(world.origin, "tag", "-d", "release/1")
    answer = audited(world)
    assert answer.first is None and "release/1" in answer.notes[0]


def test_a_damaged_commit_is_a_finding_not_a_crash(world: World, tmp_path: Path) -> None:
    path = plain_git(world.book, "rev-parse", "main:releases/1.json")
    loose = world.book / ".git/objects" / path[:2] / path[2:]
    data = loose.read_bytes()
    loose.unlink()
    loose.write_bytes(data[: len(data) // 2])
    first = audited(world, afresh=True).first
    assert first is not None and first.code == "damaged"
