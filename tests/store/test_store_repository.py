"""Moving a book: two clones and a bare origin, dirty files, races.

Outside check: plain git's own view of the clones after each move (`status`,
`rev-parse`, `fsck`).
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from store_books import Pair, change, make_book, plain_git

from specctl.errors import Damaged, LostRace, NotFound, Refused, Unreachable
from specctl.store import mainline, remote
from specctl.store.repository import Repository


def status(repository: Repository) -> str:
    return plain_git(repository.root, "status", "--porcelain")


def tip_of(root: Path, ref: str = "refs/heads/main") -> str:
    return plain_git(root, "rev-parse", ref)


# opening


def test_a_book_is_found_from_inside_and_only_at_the_top(book: Path, tmp_path: Path) -> None:
    with Repository.open(book / "drinks") as repository:
        assert repository.root == book.resolve()
        assert not repository.bare and not repository.has_origin()
        assert repository.main_tip() == repository.head_commit() == tip_of(book)
        assert repository.behind() is None
    make_book(tmp_path / "other", {"inner/book.yaml": b"x"})
    for folder in (tmp_path / "other" / "inner", tmp_path, tmp_path / "none", book / ".git"):
        with pytest.raises(NotFound):
            Repository.open(folder)


def test_a_bare_repository_is_read_and_moved(pair: Pair) -> None:
    with Repository.open(pair.origin) as bare:
        assert bare.bare and "book.yaml" in bare.reader.files(bare.main_tip() or "")
        new = bare.move_main(change(bare, {"a.yaml": b"1"}))
        assert bare.main_tip() == new and bare.bring_along(None, new) == ()
        with pytest.raises(Refused):
            bare.work_files(lambda path: True)


# the author's files


def test_work_files_are_raw_bytes_that_git_would_add(book: Path) -> None:
    (book / ".gitattributes").write_text("* text eol=lf\n")
    (book / ".gitignore").write_text("secret/\n*.bak\n")
    (book / "drinks/new.yaml").write_bytes(b"one\r\ntwo\r\n")
    (book / "drinks/new.yaml.bak").write_bytes(b"")
    (book / "secret").mkdir()
    (book / "secret/prices.yaml").write_bytes(b"9.99")
    make_book(book / "nested", {"prices.yaml": b"8.88"})
    (book / "drinks/fizz.yaml").unlink()
    with Repository.open(book) as repository:
        found = repository.work_files(lambda path: path.endswith(".yaml"))
    assert found == {"book.yaml": b"name: Tidewick\n", "drinks/new.yaml": b"one\r\ntwo\r\n"}


@pytest.mark.parametrize("how", ["file", "folder", "pipe", "name"])
def test_what_is_no_plain_file_is_refused(book: Path, tmp_path: Path, how: str) -> None:
    (tmp_path / "outside").mkdir()
    (tmp_path / "outside/fizz.yaml").write_bytes(b"from elsewhere")
    if how == "file":
        (book / "drinks/link.yaml").symlink_to(tmp_path / "outside/fizz.yaml")
    elif how == "folder":
        (book / "drinks/fizz.yaml").unlink()
        (book / "drinks").rmdir()
        (book / "drinks").symlink_to(tmp_path / "outside")
    elif how == "pipe":
        (book / "drinks/fizz.yaml").unlink()
        os.mkfifo(book / "drinks/fizz.yaml")
    else:
        (book / "drinks/a\u202eb.yaml").write_bytes(b"")
    with Repository.open(book) as repository:
        with pytest.raises(Refused):
            repository.work_files(lambda path: path.startswith("drinks/"))
        assert set(repository.work_files(lambda path: path == "book.yaml")) == {"book.yaml"}


# bringing files along


def test_files_follow_main_and_other_edits_survive(book: Path) -> None:
    (book / "notes.txt").write_bytes(b"mine, untracked")
    (book / "book.yaml").write_bytes(b"mine, unrelated")
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"drinks/fizz.yaml": None, "drinks/roast/latte.yaml": b"new"}))
        assert status(repository) == "M book.yaml\n?? notes.txt"
        assert (book / "drinks/roast/latte.yaml").read_bytes() == b"new"
        repository.move_main(change(repository, {"drinks/roast/latte.yaml": None}))
        assert not (book / "drinks").exists()
        assert status(repository) == "M book.yaml\n?? notes.txt"
        assert repository.behind() is None
    assert (book / "book.yaml").read_bytes() == b"mine, unrelated"
    assert (book / "notes.txt").read_bytes() == b"mine, untracked"


@pytest.mark.parametrize("edit", ["changed", "removed", "staged", "untracked", "folder", "link"])
def test_an_edit_in_the_way_stays_and_is_told(book: Path, tmp_path: Path, edit: str) -> None:
    fizz = book / "drinks/fizz.yaml"
    path = "drinks/fizz.yaml"
    if edit == "changed":
        fizz.write_bytes(b"mine\n")
    elif edit == "removed":
        fizz.unlink()
    elif edit == "staged":
        fizz.write_bytes(b"mine\n")
        plain_git(book, "add", "drinks/fizz.yaml")
        fizz.write_bytes(b"pear\n")
    elif edit == "untracked":
        path = "drinks/new.yaml"
        (book / path).write_bytes(b"mine\n")
    elif edit == "folder":
        fizz.unlink()
        fizz.mkdir()
        (fizz / "x").write_bytes(b"mine\n")
    else:
        fizz.unlink()
        fizz.symlink_to(tmp_path / "elsewhere")
        (tmp_path / "elsewhere").write_bytes(b"pear\n")
    before = (status_of(book), plain_git(book, "ls-files", "-s"))
    with Repository.open(book) as repository:
        old = repository.main_tip()
        new = repository.move_main(change(repository, {path: b"pear, sage\n", "book.yaml": b"other\n"}))
        assert repository.main_tip() == new and repository.behind() == old
        assert plain_git(book, "ls-files", "-s") == before[1]
        assert (book / "book.yaml").read_bytes() == b"name: Tidewick\n"
        assert repository.catch_up() == (path,)
        assert repository.behind() == old
        # main moves on; the files are still from the first commit
        repository.move_main(change(repository, {"a.yaml": b"1"}))
        assert repository.behind() == old and not (book / "a.yaml").exists()


def status_of(book: Path) -> str:
    return plain_git(book, "status", "--porcelain")


def test_once_the_edit_is_gone_the_files_catch_up(book: Path) -> None:
    (book / "drinks/fizz.yaml").write_bytes(b"mine\n")
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"drinks/fizz.yaml": b"theirs\n", "a.yaml": b"1"}))
        assert repository.behind() is not None
        (book / "drinks/fizz.yaml").write_bytes(b"pear\n")
        assert repository.catch_up() == () and repository.behind() is None
        assert (book / "drinks/fizz.yaml").read_bytes() == b"theirs\n"
        assert status(repository) == ""


def test_files_that_git_itself_brought_along_settle_an_old_note(book: Path) -> None:
    (book / "drinks/fizz.yaml").write_bytes(b"mine\n")
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"drinks/fizz.yaml": b"theirs\n"}))
        assert repository.behind() is not None
        plain_git(book, "reset", "-q", "--hard")
        repository.move_main(change(repository, {"drinks/fizz.yaml": b"later\n"}))
        assert repository.behind() is None and (book / "drinks/fizz.yaml").read_bytes() == b"later\n"


@pytest.mark.parametrize("staged", [False, True])
def test_an_edit_equal_to_what_was_approved_passes(book: Path, staged: bool) -> None:
    (book / "drinks/fizz.yaml").write_bytes(b"pear, sage\n")
    (book / "drinks/new.yaml").write_bytes(b"new\n")
    if staged:
        plain_git(book, "add", "-A")
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"drinks/fizz.yaml": b"pear, sage\n", "drinks/new.yaml": b"new\n"}))
        assert status(repository) == "" and repository.behind() is None


def test_files_arrive_raw_whatever_attributes_say(book: Path) -> None:
    (book / ".gitattributes").write_text("*.yaml text eol=crlf\n")
    plain_git(book, "config", "core.autocrlf", "true")
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"a.yaml": b"one\ntwo\n"}))
    assert (book / "a.yaml").read_bytes() == b"one\ntwo\n"


def test_on_another_branch_nothing_on_disk_moves(book: Path) -> None:
    plain_git(book, "checkout", "-q", "-b", "mine")
    with Repository.open(book) as repository:
        old = repository.main_tip()
        new = repository.move_main(change(repository, {"a.yaml": b"1"}))
        assert tip_of(book) == new and repository.head_commit() == old
        assert repository.bring_along(old, new) == () == repository.catch_up()
        assert status(repository) == "" and not (book / "a.yaml").exists()
        assert repository.behind() is None


def test_main_in_another_work_tree_is_refused(book: Path, tmp_path: Path) -> None:
    plain_git(book, "checkout", "-q", "-b", "mine")
    plain_git(book, "worktree", "add", "-q", str(tmp_path / "second"), "main")
    with Repository.open(book) as repository:
        with pytest.raises(Refused):
            repository.move_main(change(repository, {"a.yaml": b"1"}))
    with Repository.open(tmp_path / "second") as second:
        second.move_main(change(second, {"a.yaml": b"1"}))
        assert status(second) == ""


def test_files_that_an_older_main_left_are_recognised(book: Path) -> None:
    with Repository.open(book) as repository:
        repository.move_main(change(repository, {"drinks/fizz.yaml": b"pear, hazelnut\n"}))
        new = change(repository, {"drinks/fizz.yaml": b"pear, walnut\n"})(repository.main_tip())
        plain_git(book, "update-ref", "refs/heads/main", new)  # somebody moved main with plain git
        paths = ["drinks/fizz.yaml", "book.yaml"]
        assert repository.behind() is None
        assert repository.stale_paths(paths, new) == ("drinks/fizz.yaml",)
        plain_git(book, "reset", "-q", "--hard")
        assert repository.stale_paths(paths, new) == ()
        (book / "drinks/fizz.yaml").write_bytes(b"a true edit\n")
        plain_git(book, "add", "-A")
        assert repository.stale_paths(paths, new) == ()


def test_an_unreadable_note_is_damage(book: Path) -> None:
    with Repository.open(book) as repository:
        (book / ".git/specctl").mkdir()
        (book / ".git/specctl/behind").write_bytes(b"")
        with pytest.raises(Damaged):
            repository.behind()


# main, here and at origin


def test_the_first_commit(tmp_path: Path) -> None:
    root, origin = tmp_path / "new", tmp_path / "origin.git"
    plain_git(tmp_path, "init", "-q", "-b", "main", str(root))
    plain_git(tmp_path, "init", "-q", "--bare", "-b", "main", str(origin))
    plain_git(root, "remote", "add", "origin", str(origin))
    (root / "book.yaml").write_bytes(b"x")
    with Repository.open(root) as repository:
        assert repository.main_tip() is None and repository.head_commit() is None
        new = repository.move_main(change(repository, {"book.yaml": b"x"}))
        assert status(repository) == "" and repository.behind() is None
        assert tip_of(origin) == repository.main_tip() == repository.head_commit() == new


def test_nothing_to_do_moves_nothing(pair: Pair) -> None:
    tip = pair.one.main_tip()
    assert pair.one.move_main(lambda at: at or "") == tip == tip_of(pair.origin)


def test_a_commit_that_does_not_follow_the_tip_is_a_bug(book: Path) -> None:
    with Repository.open(book) as repository:
        with pytest.raises(ValueError):
            repository.move_main(lambda tip: change(repository, {"a": b"1"})(None))


def test_two_authors_race_and_both_land(pair: Pair) -> None:
    built: list[str | None] = []

    def slow(tip: str | None) -> str:
        if not built:
            pair.two.move_main(change(pair.two, {"two.yaml": b"2"}))
        built.append(tip)
        return change(pair.one, {"one.yaml": b"1"})(tip)

    new = pair.one.move_main(slow)
    assert len(built) == 2 and tip_of(pair.origin) == new == pair.one.main_tip()
    assert {"one.yaml", "two.yaml"} <= set(pair.one.reader.ids(new))
    assert status(pair.one) == "" and (pair.one.root / "two.yaml").exists()
    pair.two.move_main(lambda tip: tip or "")
    assert pair.two.main_tip() == new and status(pair.two) == ""


def test_a_race_that_is_always_lost_ends(pair: Pair) -> None:
    count = iter(range(10))

    def slow(tip: str | None) -> str:
        pair.two.move_main(change(pair.two, {f"two-{next(count)}.yaml": b"2"}))
        return change(pair.one, {"one.yaml": b"1"})(tip)

    with pytest.raises(LostRace):
        pair.one.move_main(slow, attempts=2)
    assert "one.yaml" not in plain_git(pair.origin, "ls-tree", "--name-only", "main")


def test_writers_in_four_processes_all_land(pair: Pair) -> None:
    children = []
    for number in range(4):
        child = os.fork()
        if child == 0:
            code = 1
            try:
                root = (pair.one if number % 2 else pair.two).root
                with Repository.open(root) as repository:
                    for turn in range(2):
                        repository.move_main(change(repository, {f"{number}-{turn}": b"x"}), attempts=20)
                code = 0
            finally:
                os._exit(code)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * 4
    tip = tip_of(pair.origin)
    landed = plain_git(pair.origin, "ls-tree", "--name-only", "main").split()
    assert {f"{n}-{t}" for n in range(4) for t in range(2)} <= set(landed)
    assert plain_git(pair.origin, "rev-list", "--count", tip) == "9"
    plain_git(pair.origin, "fsck", "--full", "--strict")


def test_main_that_parted_is_refused(pair: Pair) -> None:
    pair.two.move_main(change(pair.two, {"two.yaml": b"2"}))
    plain_git(pair.one.root, "commit", "-q", "--allow-empty", "-m", "Mine")
    before = tip_of(pair.one.root)
    with pytest.raises(Refused) as refused:
        pair.one.move_main(change(pair.one, {"one.yaml": b"1"}))
    assert before in refused.value.what and tip_of(pair.origin) in refused.value.what
    assert tip_of(pair.one.root) == before


def test_a_rewritten_origin_is_refused(pair: Pair) -> None:
    pair.two.move_main(change(pair.two, {"two.yaml": b"2"}))
    pair.one.fetch()
    kept = tip_of(pair.one.root, "refs/remotes/origin/main")
    old = tip_of(pair.one.root)
    plain_git(pair.origin, "update-ref", "refs/heads/main", old)
    with pytest.raises(Refused):
        pair.one.fetch()
    assert tip_of(pair.one.root, "refs/remotes/origin/main") == kept
    plain_git(pair.origin, "update-ref", "-d", "refs/heads/main")
    with pytest.raises(Refused):
        pair.one.fetch()


def test_an_origin_that_does_not_answer(pair: Pair, tmp_path: Path) -> None:
    pair.origin.rename(tmp_path / "away.git")
    before = pair.one.main_tip()
    for ask in (pair.one.fetch, lambda: pair.one.move_main(change(pair.one, {"one.yaml": b"1"}))):
        with pytest.raises(Unreachable):
            ask()
    assert pair.one.main_tip() == before and pair.one.behind() is None


@pytest.mark.parametrize("where", ["config", "environment"])
def test_ssh_is_the_one_set_up_and_cannot_ask(
    pair: Pair, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    said = tmp_path / "said"
    ssh = tmp_path / "own-ssh"
    ssh.write_text(f'#!/bin/sh\necho "$@" >> {said}\nexit 255\n')
    ssh.chmod(0o755)
    plain_git(pair.one.root, "remote", "set-url", "origin", "ssh://harbour.example/book.git")
    if where == "config":
        plain_git(pair.one.root, "config", "core.sshCommand", str(ssh))
    else:
        monkeypatch.setenv("GIT_SSH_COMMAND", str(ssh))
    with pytest.raises(Unreachable):
        pair.one.fetch()
    asked = [line for line in said.read_text().splitlines() if "git-upload-pack" in line]
    assert len(asked) == 2 and all("BatchMode=yes" in line for line in asked)  # two attempts


def test_an_origin_that_says_no(pair: Pair) -> None:
    hook = pair.origin / "hooks/pre-receive"
    hook.write_text("#!/bin/sh\necho 'main is \033[31mprotected' >&2\nexit 1\n")
    hook.chmod(0o755)
    before = pair.one.main_tip()
    with pytest.raises(Refused) as refused:
        pair.one.move_main(change(pair.one, {"one.yaml": b"1"}))
    assert "protected" in refused.value.what and "\033" not in refused.value.what
    assert pair.one.main_tip() == before and status(pair.one) == ""


def test_an_origin_that_sends_unsound_objects(pair: Pair) -> None:
    blob = plain_git(pair.origin, "hash-object", "-w", "--stdin", input=b"x")
    entry = b"100644 a\0" + bytes.fromhex(blob)
    tree = plain_git(pair.origin, "hash-object", "-t", "tree", "-w", "--stdin", "--literally", input=entry + entry)
    who = "Maud Pellow <maud@tidewick.example> 1700000000 +0000"
    parent = tip_of(pair.origin)
    body = f"tree {tree}\nparent {parent}\nauthor {who}\ncommitter {who}\n\nx\n".encode()
    commit = plain_git(pair.origin, "hash-object", "-t", "commit", "-w", "--stdin", input=body)
    plain_git(pair.origin, "update-ref", "refs/heads/main", commit)
    with pytest.raises(Damaged):
        pair.one.fetch()
    assert tip_of(pair.one.root, "refs/remotes/origin/main") == parent


def test_a_push_whose_answer_was_lost_counts_when_it_arrived(pair: Pair, monkeypatch: pytest.MonkeyPatch) -> None:
    true_push = remote.push

    def lossy(*args: object) -> None:
        true_push(*args)  # type: ignore[arg-type]
        raise Unreachable("the line broke")

    monkeypatch.setattr(mainline.remote, "push", lossy)
    new = pair.one.move_main(change(pair.one, {"one.yaml": b"1"}))
    assert tip_of(pair.origin) == new == pair.one.main_tip() and status(pair.one) == ""


def test_local_main_moved_by_another_program_after_the_push(pair: Pair, monkeypatch: pytest.MonkeyPatch) -> None:
    true_push = remote.push
    built = []

    def meddle(*args: object) -> None:
        true_push(*args)  # type: ignore[arg-type]
        plain_git(pair.one.root, "commit", "-q", "--allow-empty", "-m", "Mine")

    def build(tip: str | None) -> str:
        built.append(tip)
        return change(pair.one, {"one.yaml": b"1"})(tip)

    monkeypatch.setattr(mainline.remote, "push", meddle)
    with pytest.raises(Refused) as refused:
        pair.one.move_main(build)
    assert "The change stands" in refused.value.todo and len(built) == 1  # never released twice
    assert "one.yaml" in plain_git(pair.origin, "ls-tree", "--name-only", "main")


# proposals and tags


def test_a_proposal_reaches_the_other_clone(pair: Pair) -> None:
    first = change(pair.one, {"a.yaml": b"1"})(pair.one.main_tip())
    second = change(pair.one, {"a.yaml": b"2"})(first)
    pair.one.push_branch("12-oat-foam", first)
    assert pair.one.proposal_tips() == {"12-oat-foam": first}
    pair.two.fetch()
    assert pair.two.proposal_tips() == {"12-oat-foam": first}
    pair.one.push_branch("12-oat-foam", second)
    pair.one.push_branch("12-oat-foam", second)
    assert pair.two.proposal_tips() == {"12-oat-foam": first}
    pair.two.fetch()
    assert pair.two.proposal_tips() == {"12-oat-foam": second}
    with pytest.raises(Refused):
        pair.one.push_branch("12-oat-foam", first)  # backwards
    assert tip_of(pair.origin, "refs/heads/proposals/12-oat-foam") == second
    plain_git(pair.origin, "update-ref", "-d", "refs/heads/proposals/12-oat-foam")
    pair.two.fetch()
    assert pair.two.proposal_tips() == {}


def test_a_proposal_moved_first_by_somebody_else(pair: Pair) -> None:
    pair.one.push_branch("12-oat-foam", change(pair.one, {"a": b"1"})(pair.one.main_tip()))
    with pytest.raises(LostRace):
        pair.two.push_branch("12-oat-foam", change(pair.two, {"a": b"2"})(pair.two.main_tip()))
    assert pair.two.proposal_tips() == {}


def test_of_two_tips_the_later_and_of_parted_ones_origins(pair: Pair) -> None:
    base = pair.one.main_tip()
    first = change(pair.one, {"a": b"1"})(base)
    second = change(pair.one, {"a": b"2"})(first)
    parted = change(pair.one, {"a": b"3"})(base)
    for ours, theirs, wanted in ((first, second, second), (second, first, second), (parted, second, second)):
        plain_git(pair.one.root, "update-ref", "refs/heads/proposals/3-x", ours)
        plain_git(pair.one.root, "update-ref", "refs/remotes/origin/proposals/3-x", theirs)
        assert pair.one.proposal_tips() == {"3-x": wanted}


@pytest.mark.parametrize("name", ["", "../main", "a b", "-x", "A", "x.lock", "a--b"])
def test_a_proposal_has_a_plain_name(pair: Pair, name: str) -> None:
    with pytest.raises(Refused):
        pair.one.push_branch(name, pair.one.main_tip() or "")


def test_tags_travel_and_never_move(pair: Pair) -> None:
    plain_git(pair.one.root, "tag", "-a", "-m", "One", "release/1", "main")
    pair.one.push_tag("release/1")
    pair.one.push_tag("release/1")
    assert pair.two.fetch() == ()
    assert pair.two.reader.ref("refs/tags/release/1") == tip_of(pair.one.root, "refs/tags/release/1")
    plain_git(pair.two.root, "tag", "-f", "-a", "-m", "Another", "release/1", "main")
    plain_git(pair.two.root, "tag", "-a", "-m", "Kept", "release/2", "main")
    with pytest.raises(Refused):
        pair.two.push_tag("release/1")
    ours = tip_of(pair.two.root, "refs/tags/release/1")
    assert pair.two.fetch() == ("release/1",)
    assert tip_of(pair.two.root, "refs/tags/release/1") == ours
    assert pair.two.reader.ref("refs/tags/release/2") is not None  # ours alone, and not pruned


def test_the_latest_main(pair: Pair) -> None:
    new = pair.two.move_main(change(pair.two, {"two.yaml": b"2"}))
    old = pair.one.main_tip()
    assert pair.one.latest_main() == old
    pair.one.fetch()
    assert pair.one.latest_main() == new and pair.one.main_tip() == old


def test_settings(book: Path) -> None:
    plain_git(book, "config", "specctl.key", "somewhere")
    with Repository.open(book) as repository:
        assert repository.setting("specctl.key") == "somewhere"
        assert repository.setting("specctl.none") is None
