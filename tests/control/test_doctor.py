"""`doctor` finds every planted fault of a repository (HAZARDS, Git), in bounded time, and mends what is safe.

Faults are planted with plain git and bytes; the outside check of what is mended
is `git fsck --full --strict` and `git verify-tag`.
"""

from __future__ import annotations

import os
import time
import zlib
from collections.abc import Callable
from pathlib import Path

import pytest
from chain_world import AUTHOR, SECOND, World, day, git_says, plain_git

from specctl.actions.doctoring import Examined, doctor
from specctl.store import damage
from specctl.store.damage import examine


def looked(world: World, **more: object) -> Examined:
    return doctor(world.book, day(9), **more)  # type: ignore[arg-type]


def loose(world: World, name: str = "main:policy.yaml") -> Path:
    oid = plain_git(world.book, "rev-parse", name)
    path = world.book / ".git/objects" / oid[:2] / oid[2:]
    data = path.read_bytes()
    path.unlink()  # the copy is a link to the made world's
    path.write_bytes(data)
    return path


def aged(path: Path) -> None:
    then = time.time() - 60
    os.utime(path, (then, then))


def stored(world: World, kind: str, content: bytes) -> str:
    """An object git itself would refuse to make, written as git stores objects."""
    import hashlib

    whole = f"{kind} {len(content)}\0".encode() + content
    oid = hashlib.sha1(whole).hexdigest()
    path = world.book / ".git/objects" / oid[:2] / oid[2:]
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(zlib.compress(whole))
    return oid


def entry(name: str, oid: str) -> bytes:
    return f"100644 {name}\0".encode() + bytes.fromhex(oid)


def cut(world: World) -> None:
    path = loose(world)
    path.write_bytes(path.read_bytes()[:-9])


def empty(world: World) -> None:
    loose(world).write_bytes(b"")


def swapped(world: World) -> None:
    loose(world).write_bytes(zlib.compress(b"blob 5\0hello"))


def spoiled(world: World) -> None:
    path = loose(world)
    path.write_bytes(b"\x78\x9c" + b"\xff" * 40)


def missing(world: World) -> None:
    loose(world).unlink()


def doubled(world: World) -> None:
    a, b = (stored(world, "blob", text) for text in (b"milk\n", b"none\n"))
    tree = stored(world, "tree", entry("drink.yaml", a) + entry("drink.yaml", b))
    who = b"x <x@invalid> 1 +0000"
    commit = stored(world, "commit", b"tree " + tree.encode() + b"\nauthor " + who + b"\ncommitter " + who + b"\n\nx\n")
    plain_git(world.book, "update-ref", "refs/heads/side", commit)


def unsorted(world: World) -> None:
    a = stored(world, "blob", b"milk\n")
    stored(world, "tree", entry("b", a) + entry("a", a))


def empty_ref(world: World) -> None:
    (world.book / ".git/refs/tags/release").mkdir(parents=True, exist_ok=True)
    (world.book / ".git/refs/tags/release/1").write_bytes(b"")


def spoiled_ref(world: World) -> None:
    (world.book / ".git/refs/heads/side").write_bytes(b"not a commit\n")


def dangling_ref(world: World) -> None:
    (world.book / ".git/refs/heads/side").write_text("1" * 40 + "\n")


def replaced(world: World) -> None:
    plain_git(world.book, "replace", "main:policy.yaml", "main:book.yaml")


def borrowed(world: World) -> None:
    (world.book / ".git/objects/info").mkdir(exist_ok=True)
    (world.book / ".git/objects/info/alternates").write_text(f"{world.origin}/objects\n")


def grafted(world: World) -> None:
    (world.book / ".git/info").mkdir(exist_ok=True)
    (world.book / ".git/info/grafts").write_text(world.main() + "\n")


def packed_flip(world: World) -> None:
    plain_git(world.book, "repack", "-q", "-a", "-d")
    index = next((world.book / ".git/objects/pack").glob("*.idx"))
    data = bytearray(index.read_bytes())
    data[len(data) // 2] ^= 4
    os.chmod(index, 0o644)
    index.write_bytes(bytes(data))


def no_index_of_pack(world: World) -> None:
    plain_git(world.book, "repack", "-q", "-a", "-d")
    next((world.book / ".git/objects/pack").glob("*.idx")).unlink()


def spoiled_staging(world: World) -> None:
    path = world.book / ".git/index"
    path.write_bytes(path.read_bytes()[:-3])


def headless(world: World) -> None:
    (world.book / ".git/HEAD").write_bytes(b"\0\0\0")


FAULTS: dict[str, tuple[Callable[[World], None], str, str]] = {
    "cut off": (cut, "damage", "object"),
    "empty object": (empty, "damage", "object"),
    "other content": (swapped, "damage", "object"),
    "spoiled": (spoiled, "damage", "object"),
    "missing": (missing, "damage", "fsck"),
    "one name twice": (doubled, "damage", "tree"),
    "unsorted": (unsorted, "damage", "tree"),
    "empty reference": (empty_ref, "damage", "reference"),
    "spoiled reference": (spoiled_ref, "damage", "reference"),
    "reference to nothing": (dangling_ref, "damage", "reference"),
    "replace reference": (replaced, "disguise", "replace"),
    "alternates": (borrowed, "disguise", "alternates"),
    "grafts": (grafted, "disguise", "grafts"),
    "flipped bit in a pack index": (packed_flip, "damage", "pack"),
    "pack without index": (no_index_of_pack, "damage", "pack"),
    "spoiled staging": (spoiled_staging, "damage", "index"),
    "no HEAD": (headless, "damage", "repository"),
}


def test_a_sound_book_has_no_fault(world: World) -> None:
    assert looked(world).faults == ()


@pytest.mark.parametrize("name", FAULTS)
def test_each_planted_fault_is_found_with_what_to_do(world: World, name: str) -> None:
    plant, kind, code = FAULTS[name]
    plant(world)
    found = looked(world)
    assert not found.sound
    mine = [f for f in found.faults if (f.kind, f.code) == (kind, code)]
    assert mine and all(f.todo for f in mine), found.faults


def test_a_cut_off_object_is_told_from_a_swapped_one(world: World) -> None:
    cut(world)
    assert "the object was cut off" in {f.what for f in looked(world).faults}


def test_a_stale_lock_is_found_and_mended(world: World) -> None:
    locks = [world.book / ".git" / n for n in ("index.lock", "refs/heads/main.lock", "packed-refs.lock")]
    for path in locks:
        path.write_bytes(b"")
        aged(path)
    assert {f.where for f in looked(world).faults} == {"index.lock", "refs/heads/main.lock", "packed-refs.lock"}
    assert looked(world, mend=True).sound
    assert not any(p.exists() for p in locks)


def test_a_missing_tag_is_made_again(world: World) -> None:
    for root in (world.book, world.origin):
        plain_git(root, "tag", "-d", "release/1")
    assert [f.code for f in looked(world).faults] == ["tag"]
    assert not looked(world, mend=True, key=world.key(SECOND)).sound  # no releaser
    found = looked(world, mend=True, key=world.key(AUTHOR))
    assert found.sound and found.mended == ("the tag release/1 was made again",)
    assert git_says(world.book, "verify-tag", "release/1")[0] == 0
    assert plain_git(world.book, "rev-parse", "release/1^{commit}") == world.main()


def test_files_left_behind_are_brought_along(world: World) -> None:
    old = plain_git(world.book, "rev-parse", "main^")
    (world.book / ".git/specctl").mkdir(exist_ok=True)
    (world.book / ".git/specctl/behind").write_text(old + "\n")
    assert [f.code for f in looked(world).faults] == ["behind"]
    looked(world, mend=True)
    assert looked(world).faults == ()


def test_an_unreadable_note_is_told(world: World) -> None:
    (world.book / ".git/specctl/behind").write_text("rubbish")
    assert [(f.kind, f.code) for f in looked(world).faults] == [("damage", "behind")]


def test_mending_touches_no_object(world: World) -> None:
    cut(world)
    before = {p: p.read_bytes() for p in (world.book / ".git/objects").rglob("*") if p.is_file()}
    looked(world, mend=True)
    assert {p: p.read_bytes() for p in (world.book / ".git/objects").rglob("*") if p.is_file()} == before


def test_what_was_not_reached_is_said(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    """A clock that has run out: no loose object is read, and it says so instead of finding nothing."""
    clock = iter([0.0] + [100.0] * 100000)
    monkeypatch.setattr(damage.time, "monotonic", lambda: next(clock))
    notes = [f for f in examine(world.book, 10) if f.code == "unfinished"]
    assert any("0 of" in f.what for f in notes)
