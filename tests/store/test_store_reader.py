"""Reading git: the same answers as git where git is right, refusals where it lies.

The hazards were observed with git 2.39; the outside check is plain git itself.
"""

from __future__ import annotations

import os
import zlib
from pathlib import Path

import pytest
from store_books import make_book, plain_git

from specctl.errors import Damaged, NotFound, Refused, Stop, Unreachable
from specctl.store import batch, process
from specctl.store.parse import parse_tree
from specctl.store.reader import Reader


def hash_object(root: Path, kind: str, content: bytes) -> str:
    return plain_git(root, "hash-object", "-t", kind, "-w", "--stdin", "--literally", input=content)


def tree_bytes(*entries: tuple[str, bytes, str]) -> bytes:
    return b"".join(mode.encode() + b" " + name + b"\0" + bytes.fromhex(oid) for mode, name, oid in entries)


def commit_of(root: Path, tree: str, *parents: str) -> str:
    body = f"tree {tree}\n" + "".join(f"parent {p}\n" for p in parents)
    who = "Maud Pellow <maud@tidewick.example> 1700000000 +0000"
    return hash_object(root, "commit", f"{body}author {who}\ncommitter {who}\n\nMade by hand\n".encode())


def loose(root: Path, oid: str) -> Path:
    path = root / ".git" / "objects" / oid[:2] / oid[2:]
    path.chmod(0o644)
    return path


def test_reads_what_git_reads(book: Path) -> None:
    files = {"book.yaml": b"x", "a.yaml": b"1", "a/b.yaml": b"2", "a-b.yaml": b"3", "été.yaml": b"4", "deep/er/x": b""}
    for path, data in files.items():
        (book / path).parent.mkdir(parents=True, exist_ok=True)
        (book / path).write_bytes(data)
    plain_git(book, "add", "-A")
    plain_git(book, "commit", "-q", "-m", "Äußerung\n\nbody")
    tip = plain_git(book, "rev-parse", "HEAD")
    listed = plain_git(book, "-c", "core.quotePath=false", "ls-tree", "-r", tip).splitlines()
    by_git = {line.split("\t")[1]: line.split()[2] for line in listed}
    with Reader(book) as reader:
        assert reader.ids(tip) == by_git
        assert reader.files(tip) == {**files, "drinks/fizz.yaml": b"pear\n"}
        assert reader.files(tip, "a") == {"a/b.yaml": b"2"}
        assert reader.files(tip, "deep/") == {"deep/er/x": b""}
        assert reader.files(tip, "nowhere/at/all") == {}
        assert reader.file(tip, "a.yaml") == b"1"
        assert reader.file(tip, "a") is None
        assert reader.file(tip, "../book/a.yaml") is None
        commit = reader.commit(tip)
        assert commit.author_name == plain_git(book, "log", "-1", "--format=%an")
        assert commit.committed == int(plain_git(book, "log", "-1", "--format=%ct"))
        assert commit.message == "Äußerung\n\nbody\n"
        assert not commit.signed


def test_a_pack_reads_like_loose_objects(book: Path) -> None:
    tip = plain_git(book, "rev-parse", "HEAD")
    with Reader(book) as reader:
        before = reader.files(tip)
    plain_git(book, "gc", "-q")
    with Reader(book) as reader:
        assert reader.files(tip) == before
        assert reader.refs() == {"refs/heads/main": tip}


BLOB = "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"  # git's well-known id of the empty file


@pytest.mark.parametrize(
    ("entries", "error"),
    [
        ([("100644", b"a", BLOB), ("100644", b"a", BLOB)], Damaged),
        ([("100644", b"a", BLOB), ("40000", b"a", BLOB)], Damaged),
        ([("100644", b"b", BLOB), ("100644", b"a", BLOB)], Damaged),
        ([("40000", b"a", BLOB), ("100644", b"a.b", BLOB)], Damaged),  # "a/" sorts after "a."
        ([("100664", b"a", BLOB)], Damaged),
        ([("040000", b"a", BLOB)], Damaged),
        ([("120000", b"a", BLOB)], Refused),
        ([("160000", b"a", BLOB)], Refused),
        ([("100644", b".git", BLOB)], Refused),
        ([("40000", b".GIT", BLOB)], Refused),
        ([("40000", b"git~1", BLOB)], Refused),
        ([("40000", b".git. ", BLOB)], Refused),
        ([("100644", b"..", BLOB)], Refused),
        ([("100644", b".", BLOB)], Refused),
        ([("100644", b"", BLOB)], Refused),
        ([("100644", b"a/b", BLOB)], Refused),
        ([("100644", b"a\\b", BLOB)], Refused),
        ([("100644", b"a\x1bb", BLOB)], Refused),
        ([("100644", "a\u202eb".encode(), BLOB)], Refused),
        ([("100644", "e\u0301te".encode(), BLOB)], Refused),
        ([("100644", b"\xff\xfe", BLOB)], Refused),
    ],
)
def test_trees_no_book_may_hold(
    book: Path, entries: list[tuple[str, bytes, str]], error: type[Stop]
) -> None:
    with pytest.raises(error):
        parse_tree(BLOB, tree_bytes(*entries))
    hash_object(book, "blob", b"")
    tip = commit_of(book, hash_object(book, "tree", tree_bytes(*entries)))
    with Reader(book) as reader:
        with pytest.raises(error):
            reader.ids(tip)


def test_order_of_an_honest_tree_is_accepted() -> None:
    content = tree_bytes(("100644", b"a.b", BLOB), ("40000", b"a", BLOB), ("100755", b"a0", BLOB))
    assert [e.name for e in parse_tree(BLOB, content)] == ["a.b", "a", "a0"]


@pytest.mark.parametrize("cut", [1, 10, 25])
def test_a_cut_off_tree_is_damage(cut: int) -> None:
    content = tree_bytes(("100644", b"a", BLOB))
    with pytest.raises(Damaged):
        parse_tree(BLOB, content[:-cut])


def test_swapped_content_is_damage_though_git_prints_it(book: Path) -> None:
    milk = hash_object(book, "blob", b"milk, hazelnut\n")
    bare = hash_object(book, "blob", b"milk\n")
    loose(book, milk).write_bytes(loose(book, bare).read_bytes())
    assert plain_git(book, "cat-file", "-p", milk) == "milk"  # the hazard
    with Reader(book) as reader:
        with pytest.raises(Damaged):
            reader.blob(milk)
        assert reader.blob(bare) == b"milk\n"  # the reader goes on after it


@pytest.mark.parametrize("harm", ["empty", "cut", "gone", "noise"])
def test_a_harmed_object_is_damage_and_never_absence(book: Path, harm: str) -> None:
    oid = hash_object(book, "blob", os.urandom(5000))
    path = loose(book, oid)
    if harm == "gone":
        path.unlink()
    else:
        data = path.read_bytes()
        path.write_bytes({"empty": b"", "cut": data[: len(data) // 2], "noise": zlib.compress(b"blob 1\0")}[harm])
    with Reader(book, deadline=1.0) as reader:  # "noise" makes git 2.39 read for ever
        with pytest.raises(Damaged):
            reader.blob(oid)
        assert reader.ref("refs/heads/main") is not None


def test_a_flipped_bit_in_a_pack_is_damage(book: Path) -> None:
    oid = hash_object(book, "blob", os.urandom(4000))
    plain_git(book, "tag", "keep", oid)
    plain_git(book, "gc", "-q")
    pack = next((book / ".git/objects/pack").glob("*.pack"))
    pack.chmod(0o644)
    data = bytearray(pack.read_bytes())
    data[len(data) // 2] ^= 1
    pack.write_bytes(data)
    with Reader(book) as reader:
        with pytest.raises(Damaged):
            reader.blob(oid)


def test_a_huge_object_is_refused(book: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    oid = hash_object(book, "blob", b"x" * 2000)
    monkeypatch.setattr(batch, "MOST_BYTES", 1999)
    with Reader(book) as reader:
        with pytest.raises(Refused):
            reader.blob(oid)


def test_the_wrong_kind_is_damage(book: Path) -> None:
    tip = plain_git(book, "rev-parse", "HEAD")
    with Reader(book) as reader:
        with pytest.raises(Damaged):
            reader.blob(tip)


@pytest.mark.parametrize("content", [b"", b"xyz\n", b"0" * 40 + b"\n"])
def test_a_corrupt_reference_is_damage_not_absence(book: Path, content: bytes) -> None:
    (book / ".git/refs/tags/release").mkdir()
    (book / ".git/refs/tags/release/7").write_bytes(content)
    assert "release" not in plain_git(book, "for-each-ref")  # the hazard
    with Reader(book) as reader:
        for ask in (lambda: reader.refs("refs/tags"), lambda: reader.ref("refs/tags/release/7")):
            with pytest.raises(Damaged):
                ask()
        assert reader.ref("refs/tags/release/8") is None


def test_corrupt_packed_references_are_damage(book: Path) -> None:
    plain_git(book, "pack-refs", "--all")
    (book / ".git/packed-refs").write_bytes(b"not a line of references\n")
    with Reader(book) as reader:
        with pytest.raises(Damaged):
            reader.refs()


def test_a_lock_or_a_symbolic_reference_is_no_damage(book: Path) -> None:
    (book / ".git/refs/heads/main.lock").write_bytes(b"")
    (book / ".git/refs/remotes/origin").mkdir(parents=True)
    (book / ".git/refs/remotes/origin/HEAD").write_text("ref: refs/remotes/origin/main\n")
    with Reader(book) as reader:
        assert set(reader.refs()) == {"refs/heads/main"}


def test_disguises_are_refused(book: Path, tmp_path: Path) -> None:
    tip = plain_git(book, "rev-parse", "HEAD")
    other = commit_of(book, plain_git(book, "rev-parse", "HEAD^{tree}"))
    with Reader(book):
        pass
    plain_git(book, "replace", tip, other)
    with pytest.raises(Refused):
        Reader(book)
    plain_git(book, "pack-refs", "--all")
    with pytest.raises(Refused):
        Reader(book)
    plain_git(book, "replace", "-d", tip)
    info = book / ".git/objects/info"
    info.mkdir(exist_ok=True)
    (info / "alternates").write_text(f"{make_book(tmp_path / 'other')}/.git/objects\n")
    with pytest.raises(Refused):
        Reader(book)
    (info / "alternates").write_text("\n")
    (book / ".git/info").mkdir(exist_ok=True)
    (book / ".git/info/grafts").write_text(f"{tip} {other}\n")
    with pytest.raises(Refused):
        Reader(book)
    (book / ".git/info/grafts").unlink()
    with Reader(book) as reader:
        assert reader.ref("refs/heads/main") == tip


@pytest.mark.parametrize("text", ["main", "HEAD", "main@{0}", ":/Begin", "HEAD~0", "", "--help", "0" * 40, "f" * 40])
def test_no_text_of_a_person_is_resolved(book: Path, text: str) -> None:
    with Reader(book) as reader:
        with pytest.raises(NotFound):
            reader.resolve_oid(text)


def test_only_the_full_id_of_a_commit_resolves(book: Path) -> None:
    tip = plain_git(book, "rev-parse", "HEAD")
    with Reader(book) as reader:
        assert reader.resolve_oid(tip) == tip
        for text in (tip[:12], tip.upper(), tip + "\n", plain_git(book, "rev-parse", "HEAD^{tree}")):
            with pytest.raises(NotFound):
                reader.resolve_oid(text)


def test_the_environment_cannot_point_elsewhere(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    other = make_book(tmp_path / "other", {"book.yaml": b"another\n"})
    hidden = hash_object(other, "blob", b"borrowed\n")
    tip = plain_git(book, "rev-parse", "HEAD")
    monkeypatch.setenv("GIT_DIR", str(other / ".git"))
    monkeypatch.setenv("GIT_INDEX_FILE", str(other / ".git/index"))
    monkeypatch.setenv("GIT_ALTERNATE_OBJECT_DIRECTORIES", str(other / ".git/objects"))
    monkeypatch.setenv("GIT_CONFIG_COUNT", "1")
    monkeypatch.setenv("GIT_CONFIG_KEY_0", "core.worktree")
    monkeypatch.setenv("GIT_CONFIG_VALUE_0", str(other))
    with Reader(book) as reader:
        assert reader.ref("refs/heads/main") == tip
        with pytest.raises(Damaged):
            reader.blob(hidden)


def test_history_as_git_tells_it(book: Path) -> None:
    begin = plain_git(book, "rev-parse", "HEAD")
    tree = plain_git(book, "rev-parse", "HEAD^{tree}")
    left = commit_of(book, tree, begin)
    right = hash_object(book, "commit", _other(tree, begin))
    one, two = commit_of(book, tree, left, right), commit_of(book, tree, right, left)
    stranger = commit_of(book, tree)
    with Reader(book) as reader:
        assert reader.is_ancestor(begin, one) and reader.is_ancestor(one, one)
        assert not reader.is_ancestor(one, begin)
        assert reader.merge_base(left, right) == plain_git(book, "merge-base", left, right) == begin
        assert reader.merge_base(one, two) == reader.merge_base(two, one) == min(left, right)  # criss-cross
        assert reader.merge_base(one, stranger) is None
        assert reader.first_parents(one) == [one, left, begin]
        assert reader.first_parents(one, 2) == [one, left]
        assert set(reader.commits_between(begin, one)) == {one, left, right}
        assert set(reader.commits_between(None, left)) == {left, begin}


def _other(tree: str, parent: str) -> bytes:
    who = "Piran Vose <piran@tidewick.example> 1700000001 +0000"
    return f"tree {tree}\nparent {parent}\nauthor {who}\ncommitter {who}\n\nThe other side\n".encode()


def test_history_with_a_hole_is_damage(book: Path) -> None:
    begin = plain_git(book, "rev-parse", "HEAD")
    tree = plain_git(book, "rev-parse", "HEAD^{tree}")
    middle = commit_of(book, tree, begin)
    tip = commit_of(book, tree, middle)
    loose(book, middle).unlink()
    with Reader(book) as reader:
        for ask in (
            lambda: reader.is_ancestor(begin, tip),
            lambda: reader.merge_base(begin, tip),
            lambda: reader.first_parents(tip),
            lambda: reader.commits_between(begin, tip),
        ):
            with pytest.raises(Damaged):
                ask()


def test_a_shallow_clone_has_files_and_no_history(book: Path, tmp_path: Path) -> None:
    plain_git(book, "commit", "-q", "--allow-empty", "-m", "Second")
    plain_git(tmp_path, "clone", "-q", "--depth=1", book.as_uri(), "cut")
    with Reader(tmp_path / "cut") as reader:
        tip = reader.ref("refs/heads/main")
        assert tip is not None and "book.yaml" in reader.files(tip)
        with pytest.raises(Refused):
            reader.first_parents(tip)


def test_a_repository_of_another_hash_is_refused(tmp_path: Path) -> None:
    plain_git(tmp_path, "init", "-q", "--object-format=sha256", "other")
    with pytest.raises(Refused):
        Reader(tmp_path / "other")


def test_outside_any_repository(tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        Reader(tmp_path)


@pytest.fixture
def fake_git(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    folder = tmp_path / "bin"
    folder.mkdir()
    monkeypatch.setenv("PATH", f"{folder}:{os.environ['PATH']}")
    return folder / "git"


def test_a_read_that_hangs_is_ended(book: Path, fake_git: Path) -> None:
    with Reader(book, deadline=0.2) as reader:
        tip = reader.ref("refs/heads/main")
        fake_git.write_text("#!/bin/sh\nexec tail -f /dev/null\n")
        fake_git.chmod(0o755)
        assert tip is not None
        with pytest.raises(Damaged):
            reader.commit(tip)
        fake_git.unlink()
        assert reader.commit(tip).oid == tip


def test_a_command_that_hangs_is_ended_with_its_children(book: Path, fake_git: Path, tmp_path: Path) -> None:
    note = tmp_path / "child"
    fake_git.write_text(f"#!/bin/sh\ntail -f /dev/null & echo $! > {note}; wait\n")
    fake_git.chmod(0o755)
    with pytest.raises(Unreachable):
        process.run_git(book, ["status"], deadline=0.5)
    grandchild = Path("/proc") / note.read_text().strip() / "stat"
    assert not grandchild.exists() or grandchild.read_text().split(") ")[1][0] == "Z"


def test_a_missing_program_says_what_to_install(book: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(Stop) as stopped:
        process.run_git(book, ["status"])
    assert "Install git" in stopped.value.todo
    with pytest.raises(Stop) as stopped:
        process.run(["ssh-keygen", "-l"])
    assert "OpenSSH" in stopped.value.todo


def test_words_of_a_child_reach_a_message_only_as_plain_text() -> None:
    shown = process.Result(1, b"", b"bad\x1b[31m \xe2\x80\xaered\nnext\xff\n").words
    assert shown == "bad<U+001B>[31m <U+202E>red; next\\xff"
