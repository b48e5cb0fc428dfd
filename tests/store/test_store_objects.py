"""Writing trees and files: the same trees as git's own index writes, whole files, one writer.

Outside check: `git write-tree` and `git fsck --strict`.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest
from store_books import make_book, plain_git
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from specctl.errors import LostRace, Refused, Stop
from specctl.store import files
from specctl.store.cache import Cache
from specctl.store.files import Lock, remove_stale_locks, write_atomic
from specctl.store.objects import write_blob, write_tree
from specctl.store.reader import Reader


def test_the_tree_is_the_one_git_would_write(book: Path) -> None:
    base = plain_git(book, "rev-parse", "HEAD^{tree}")
    changes = {"drinks/fizz.yaml": None, "a/b.yaml": b"1", "a.yaml": b"2", "a-b.yaml": b"3", "book.yaml": b"new\n"}
    (book / "drinks/fizz.yaml").unlink()
    for path, data in changes.items():
        if data is not None:
            (book / path).parent.mkdir(exist_ok=True)
            (book / path).write_bytes(data)
    plain_git(book, "add", "-A")
    assert write_tree(book, base, changes) == plain_git(book, "write-tree")
    plain_git(book, "fsck", "--full", "--strict")


def test_a_tree_from_nothing_and_back_to_nothing(book: Path) -> None:
    empty = "4b825dc642cb6eb9a060e54bf8d69288fbee4904"  # git's well-known id of the empty tree
    assert write_tree(book, None, {}) == empty
    tree = write_tree(book, None, {"a/b/c": b"1"})
    assert write_tree(book, tree, {"a/b/c": None, "not/there": None}) == empty


def test_untouched_folders_and_modes_stay(book: Path) -> None:
    (book / "run").write_bytes(b"#!/bin/sh\n")
    (book / "run").chmod(0o755)
    plain_git(book, "add", "-A")
    base = plain_git(book, "write-tree")
    tree = write_tree(book, base, {"run": b"#!/bin/sh\ntrue\n"})
    with Reader(book) as reader:
        before, after = ({e.name: e for e in reader.entries(t)} for t in (base, tree))
    assert after["run"].mode == "100755" and after["run"].oid != before["run"].oid
    assert after["drinks"] == before["drinks"]


@pytest.mark.parametrize(
    "changes",
    [
        {"drinks": b"a file in the place of a folder"},
        {"book.yaml/x": b"a folder in the place of a file"},
        {"../out": b""},
        {"/root": b""},
        {".git/config": b""},
        {"a//b": b""},
        {"a\nb": b""},
        {"": b""},
    ],
)
def test_paths_no_book_may_hold(book: Path, changes: dict[str, bytes]) -> None:
    base = plain_git(book, "rev-parse", "HEAD^{tree}")
    with pytest.raises(Refused):
        write_tree(book, base, changes)


PATHS = st.sampled_from(["a", "b/a", "b/c/d", "b-c", "b.yaml", "é/a", "z/z"])
CHANGES = st.dictionaries(PATHS, st.one_of(st.none(), st.binary(max_size=3)), max_size=6)


@pytest.fixture(scope="module")
def shared_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_book(tmp_path_factory.mktemp("shared") / "book")


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(first=CHANGES, second=CHANGES)
def test_what_was_written_is_read(
    shared_book: Path, first: dict[str, bytes | None], second: dict[str, bytes | None]
) -> None:
    one = write_tree(shared_book, None, first)
    two = write_tree(shared_book, one, second)
    wanted = {path: data for path, data in {**first, **second}.items() if data is not None}
    with Reader(shared_book) as reader:
        assert {path: reader.blob(oid) for path, oid in reader.tree(two).items()} == wanted
    assert write_tree(shared_book, None, wanted) == two  # however it came about


def test_an_empty_object_left_by_a_power_failure_is_written_again(book: Path) -> None:
    oid = write_blob(book, b"hazelnut\n")
    path = book / ".git/objects" / oid[:2] / oid[2:]
    path.chmod(0o644)
    path.write_bytes(b"")
    plain_git(book, "hash-object", "-w", "--stdin", input=b"hazelnut\n")
    assert path.stat().st_size == 0  # the hazard: writing it again with git repairs nothing
    assert write_blob(book, b"hazelnut\n") == oid
    with Reader(book) as reader:
        assert reader.blob(oid) == b"hazelnut\n"


# files


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "folder" / "file"
    write_atomic(target, b"old")
    for name in ("replace", "fsync"):
        with monkeypatch.context() as patch:

            def broken(*args: object) -> None:
                raise OSError(28, "No space left on device")

            patch.setattr(files.os, name, broken)
            with pytest.raises(Stop) as stopped:
                write_atomic(target, b"new")
            assert "No space left" in stopped.value.what
        assert target.read_bytes() == b"old"
        assert os.listdir(target.parent) == ["file"]
    write_atomic(target, b"new")
    assert target.read_bytes() == b"new"


SYNCS = """
import os, stat, sys
from pathlib import Path
from specctl.store import files, objects, process

book, synced, true_fsync = Path(sys.argv[1]), [], os.fsync

def counting(handle):
    synced.append(stat.S_IFMT(os.fstat(handle).st_mode))
    true_fsync(handle)

os.fsync = counting
files.write_atomic(book / "x", b"x")
print(objects.SYNCED, *(process.run_git(book, ["config", "--get", f"core.{n}"]).text for n in ("fsync", "fsyncMethod")))
print(synced == [stat.S_IFREG, stat.S_IFDIR])
"""


def test_writes_reach_the_disk(book: Path) -> None:
    # After a power failure 20 of 20 commits were lost with git's defaults; git's documentation
    # of core.fsync names "all" as the setting that hardens every component. Asked of a Python of
    # its own, because other tests of the session switch the waiting off.
    done = subprocess.run([sys.executable, "-c", SYNCS, str(book)], capture_output=True, text=True)
    assert (done.stdout.split("\n")[:2], done.returncode) == (["True all fsync", "True"], 0), done.stderr


HOLDER = (
    "import sys; from pathlib import Path; from specctl.store.files import Lock\n"
    "with Lock(Path(sys.argv[1])): print('held', flush=True); sys.stdin.read()"
)


def test_one_writer_at_a_time_and_a_dead_one_holds_nothing(book: Path) -> None:
    holder = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(book / ".git")], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    )
    assert holder.stdout is not None and holder.stdin is not None
    with holder:
        assert holder.stdout.readline() == b"held\n"
        with pytest.raises(LostRace):
            with Lock(book / ".git", wait=0):
                pass
        holder.kill()
    with Lock(book / ".git", wait=5):
        pass
    with Lock(book / ".git", wait=0):
        with pytest.raises(LostRace):
            with Lock(book / ".git", wait=0):
                pass


def old_lock(path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(b"")
    os.utime(path, (1_700_000_000, 1_700_000_000))
    return path


def test_locks_of_a_killed_git_are_removed(book: Path) -> None:
    git_dir = book / ".git"
    left = [old_lock(git_dir / n) for n in ("index.lock", "packed-refs.lock", "HEAD.lock", "refs/heads/main.lock")]
    young = git_dir / "refs/heads/other.lock"
    young.write_bytes(b"")
    (book / "x").write_bytes(b"x")
    with Lock(git_dir):
        assert not any(path.exists() for path in left)
        assert young.exists()
    plain_git(book, "add", "x")
    plain_git(book, "commit", "-q", "-m", "Goes on")


@pytest.mark.skipif(not Path("/proc/self/comm").exists(), reason="the system does not list programs")
def test_locks_stay_while_a_git_lives(book: Path) -> None:
    lock = old_lock(book / ".git/index.lock")
    living = subprocess.Popen(["git", "fast-import"], cwd=book, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
    assert living.stdin is not None and living.stdout is not None
    with living:
        living.stdin.write(b"progress here\n")
        living.stdin.flush()
        assert living.stdout.readline() == b"progress here\n"
        assert remove_stale_locks(book / ".git") == ()
        living.kill()
    with Reader(book) as reader:  # its child is a git too, but takes no locks
        assert reader.commit(plain_git(book, "rev-parse", "HEAD")).oid
        assert remove_stale_locks(book / ".git") == (lock,)


# cache


def test_cache_keeps_and_misses(tmp_path: Path) -> None:
    cache = Cache(tmp_path / "cache")
    key = "ab" * 20
    assert cache.get("decoded.1", key) is None
    cache.put("decoded.1", key, b"value")
    cache.put("decoded.1", "cd" * 20, b"")
    assert Cache(tmp_path / "cache").get("decoded.1", key) == b"value"
    assert cache.get("decoded.1", "cd" * 20) == b""
    assert cache.get("decoded.2", key) is None
    (stored,) = (p for p in (tmp_path / "cache").rglob("*") if p.is_file() and p.parent.name == "ab")
    data = bytearray(stored.read_bytes())
    for at in (0, len(data) - 1):
        flipped = bytearray(data)
        flipped[at] ^= 1
        stored.write_bytes(flipped)
        assert cache.get("decoded.1", key) is None
    stored.write_bytes(b"")
    assert cache.get("decoded.1", key) is None


def test_a_cache_that_cannot_be_written_is_off(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    cache = Cache(tmp_path / "file")
    cache.put("x", "ab" * 20, b"value")
    assert cache.get("x", "ab" * 20) is None


@pytest.mark.parametrize(("namespace", "key"), [("x", "../../etc"), ("../x", "ab" * 20), ("x", ""), ("x", "AB" * 20)])
def test_a_cache_key_is_hex(tmp_path: Path, namespace: str, key: str) -> None:
    with pytest.raises(ValueError):
        Cache(tmp_path).get(namespace, key)


def test_where_caches_lie(book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert Cache.of_repository(book / ".git").folder == book / ".git/specctl/cache"
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert Cache.of_user().folder == tmp_path / "specctl"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")  # the XDG specification: such a value is ignored
    monkeypatch.setenv("HOME", str(tmp_path))
    assert Cache.of_user().folder == tmp_path / ".cache/specctl"
