"""Who may sign, or who must, changes by two whole quorums: the old one, and the one it would bring.

The rule is that of a root's rotation in The Update Framework 1.0 (5.3): signed
by enough of the old keys and by enough of the new. Keys are made with ssh-keygen.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, SAFETY, SECOND, World, day, plain_git
from forge import commit_of, set_main

import specctl.actions.releasing as releasing
from specctl.actions.auditing import audit
from specctl.actions.collecting import collect
from specctl.actions.explaining import explain
from specctl.actions.judging import Findings
from specctl.actions.publishing import bundles
from specctl.actions.signing import SignWish, sign_in_clone
from specctl.canonical import canonical
from specctl.change.audit import keys_revived
from specctl.change.statement import Envelope, Statement
from specctl.domain.people import Key, Person, Signatories
from specctl.errors import Refused, Untrusted
from specctl.store.signature import make_key, sign

NEWCOMER = "rue-fenn"
FILE = "signatories.yaml"


@pytest.fixture
def key(tmp_path: Path) -> Path:
    make_key(tmp_path / NEWCOMER, NEWCOMER)
    return tmp_path / NEWCOMER


def public(key: Path) -> str:
    return " ".join((key.parent / f"{key.name}.pub").read_text().split()[:2])


def handed_over(world: World, key: Path, at: float = 5) -> str:
    """Food safety passes from both who hold it to a newcomer."""
    text = world.on_main(FILE)
    text = text.replace("roles: [food-safety]", "roles: [author]")
    text += f"\n  {NEWCOMER}:\n    name: Rue Fenn\n    roles: [food-safety]\n    keys:\n      {NEWCOMER}-1:\n        public: {public(key)}\n"
    return proposed(world, text, at)


def proposed(world: World, text: str, at: float) -> str:
    (world.book / FILE).write_text(text)
    name = world.propose(at, f"People, day {at:.0f}").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    return name


def said_by(world: World, name: str, key: Path, at: float) -> tuple[Envelope, ...]:
    with world.open() as source:
        return sign_in_clone(source, name, SignWish("signoff", day(at), key))


def first(world: World) -> tuple[str, str]:
    with world.open() as source:
        found = audit(source, afresh=True).first
    assert found is not None
    return found.code, found.commit


def test_both_quorums_are_asked_and_told_apart(world: World, key: Path) -> None:
    name = handed_over(world, key)
    with world.case(name, 5.1) as case:
        asked = {(n.quorum, n.role) for n in Findings(case).needs}
    assert asked == {("", "drinks"), ("", "food-safety"), ("new", "drinks"), ("new", "food-safety")}
    with world.open() as source:
        needs = explain(source, name, day(5.1).date()).needs
    assert [n.can_sign for n in needs if (n.quorum, n.role) == ("new", "food-safety")] == [("Rue Fenn",)]


def test_the_old_quorum_alone_is_not_enough_nor_the_new(world: World, key: Path) -> None:
    name = handed_over(world, key)
    world.collect(said_by(world, name, world.key(SECOND), 5.1), 5.2)
    with pytest.raises(Refused, match="food-safety for chain; .*food-safety for chain by the new rules"):
        world.release(name, 5.3)
    world.collect(said_by(world, name, world.key(SAFETY), 5.4), 5.5)
    with pytest.raises(Refused, match="not approved: food-safety for chain by the new rules( |$)"):
        world.release(name, 5.6)
    world.collect(said_by(world, name, key, 5.7), 5.8)
    world.release(name, 6)
    with world.open() as source:
        assert audit(source).first is None
        assert bundles(source.in_git(), world.main())
    assert f"{NEWCOMER}:" in world.on_main(FILE)


def test_the_new_quorum_alone_is_not_enough(world: World, key: Path) -> None:
    name = handed_over(world, key)
    world.collect((*said_by(world, name, world.key(SECOND), 5.1), *said_by(world, name, key, 5.1)), 5.2)
    with pytest.raises(Refused, match="not approved: food-safety for chain$"):
        world.release(name, 5.6)


def changed(world: World, key: Path) -> None:
    name = handed_over(world, key)
    envelopes = [e for who in (world.key(SECOND), world.key(SAFETY), key) for e in said_by(world, name, who, 5.1)]
    assert world.collect(envelopes, 5.2).refused == ()
    world.release(name, 6)


def rereleased(world: World, change: Callable[[dict[str, Any]], dict[str, Any]]) -> str:
    """Release 2 made again by plain git and its releaser, with another record."""
    import json

    real = world.main()
    record = json.loads(world.on_main("releases/2.json"))
    files: dict[str, bytes | None] = {}
    for path in plain_git(world.book, "diff", "--name-only", f"{real}^1", real).splitlines():
        files[path] = plain_git(world.book, "show", f"{real}:{path}").encode() + b"\n"
    files["releases/2.json"] = canonical(change(record)) + b"\n"
    plain_git(world.book, "tag", "-d", "release/2")
    plain_git(world.book, "push", "-q", "origin", ":refs/tags/release/2")
    forged = commit_of(world, files, key=world.key(AUTHOR), at=6, parents=tuple(record["parents"]))
    set_main(world, forged)
    return forged


def test_made_again_by_hand_it_holds(world: World, key: Path) -> None:
    changed(world, key)
    rereleased(world, lambda record: record)
    with world.open() as source:
        assert audit(source, afresh=True).first is None


@pytest.mark.parametrize("left_out", [0, 1, 2])
def test_a_threshold_forged_for_either_quorum_is_named(world: World, key: Path, left_out: int) -> None:
    """Whichever of the three the record leaves out, one quorum is one short."""
    changed(world, key)
    forged = rereleased(world, lambda r: r | {"statements": [s for at, s in enumerate(r["statements"]) if at != left_out]})
    assert first(world) == ("quorum", forged)


def test_one_word_told_twice_meets_one_need(world: World, key: Path) -> None:
    changed(world, key)
    forged = rereleased(world, lambda r: r | {"statements": sorted([*r["statements"], r["statements"][0]])})
    assert first(world) == ("threshold", forged)


def test_a_stranger_is_not_taken_in(world: World, key: Path, tmp_path: Path) -> None:
    name = handed_over(world, key)
    make_key(tmp_path / "stranger", "stranger")
    with world.case(name, 5.1) as case:
        said = Statement("signoff", "tidewick", name, "chain", case.digests["chain"], "food-safety", NEWCOMER, "2026-11-07T12:00:00Z")
    forged = Envelope(said, said.payload, sign(said.payload, tmp_path / "stranger", said.namespace))
    assert [r.why for r in world.collect([forged], 5.2).refused] == [f"{NEWCOMER} is not among the signatories on main"]
    commit = commit_of(world, {forged.path: forged.text().encode()}, key=world.key(AUTHOR), at=5.3)
    set_main(world, commit)
    assert first(world) == ("statement", commit)


def test_a_newcomer_counts_for_no_other_proposal(world: World, key: Path) -> None:
    handed_over(world, key)
    world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
    other = world.propose(5.1, "More paste").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    with pytest.raises(Refused, match="belongs to nobody"):
        said_by(world, other, key, 5.2)
    with world.case(other, 5.2) as case:
        said = Statement("signoff", "tidewick", other, "chain", case.digests["chain"], "drinks", NEWCOMER, "2026-11-07T12:00:00Z")
    envelope = Envelope(said, said.payload, sign(said.payload, key, said.namespace))
    with world.open() as source:
        assert collect(source, [("mail", envelope)], day(5.3), world.key(AUTHOR)).taken == ()


def retired(world: World) -> str:
    """Tobin's key is retired; the name of the proposal that brings it back."""
    text = world.on_main(FILE)
    mark = text.split(f"{SECOND}:")[1].split("public: ")[1].split("\n")[0]
    gone = text.replace(f"public: {mark}", f"public: {mark}\n        retired: true")
    # Somebody else must be able to sign for drinks meanwhile.
    gone = gone.replace("roles: [franchise-manager]", "roles: [franchise-manager, drinks]", 1)
    name = proposed(world, gone, 5)
    world.signed(name, 5.1)
    everybody = {p: world.key(p) for p in ("wren-castell",)}
    world.collect([e for k in everybody.values() for e in said_by(world, name, k, 5.2)], 5.3)
    world.release(name, 6)
    return proposed(world, world.on_main(FILE).replace("\n        retired: true", ""), 7)


def test_a_retired_key_stays_retired(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    name = retired(world)
    world.signed(name, 7.1, SAFETY, "wren-castell")
    with pytest.raises(Refused, match="was retired, and counts again"):
        world.release(name, 7.2)
    monkeypatch.setattr(releasing, "_refuse_bad_keys", lambda case: None)  # a tool that does not look
    done = world.release(name, 8)
    assert first(world) == ("retired-key", done.commit)


def test_a_key_stays_its_persons(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    text = world.on_main(FILE)
    mine = text.split(f"{SAFETY}:")[1].split("public: ")[1].split("\n")[0]
    theirs = text.split("piet-sorrel:")[1].split("public: ")[1].split("\n")[0] if "piet-sorrel" in text else text.split(f"{SECOND}:")[1].split("public: ")[1].split("\n")[0]
    name = proposed(world, text.replace(mine, "@").replace(theirs, mine).replace("@", theirs), 5)
    world.signed(name, 5.1)
    with pytest.raises(Refused, match="was .*'s$"):
        world.release(name, 5.2)


def person(id: str, **keys: bool) -> Person:
    return Person(id=id, name=id, roles=frozenset({"drinks"}), keys={k: Key(k, f"ssh-ed25519 {k}", gone) for k, gone in keys.items()})


def people(*persons: Person) -> Signatories:
    return Signatories({p.id: p for p in persons})


def test_keys_over_time() -> None:
    """Truth table: kept, retired, revived, revived after it was left out for a while, handed on, new."""
    before = [people(person("a", x=False, y=True), person("b", z=False))]
    assert list(keys_revived(before, people(person("a", x=False, y=True, w=False), person("b", z=True)))) == []
    assert [c for c, _, _ in keys_revived(before, people(person("a", x=False, y=False), person("b", z=False)))] == ["retired-key"]
    gap = [people(person("b", z=False)), *before]
    assert [c for c, _, _ in keys_revived(gap, people(person("a", y=False)))] == ["retired-key"]
    assert [(c, p) for c, p, _ in keys_revived(before, people(person("a", z=False)))] == [("doubled-key", "a")]


def test_somebody_must_be_able_to_release_afterwards(world: World) -> None:
    text = world.on_main(FILE).replace("drinks, releaser]", "drinks]").replace("roles: [author, drinks, releaser]", "roles: [author, drinks]")
    assert "releaser" not in text
    name = proposed(world, text, 5)
    world.signed(name, 5.1)
    with pytest.raises(Refused, match="nobody could release"):
        world.release(name, 5.2)


def test_a_bundle_of_the_change_is_not_trusted_with_a_statement_missing(world: World, key: Path) -> None:
    changed(world, key)
    rereleased(world, lambda r: r | {"statements": ["0" * 64, *r["statements"]]})
    with world.open() as source, pytest.raises(Untrusted):
        bundles(source.in_git(), world.main())
