"""Bad input at the command line: refused in words with exit code 1 or 2, and everything stands as it stood."""

from __future__ import annotations

import base64
import json
import os
import shutil
import stat
from collections.abc import Callable
from pathlib import Path

import pytest
from counter_world import (
    AUTHOR, FOAM, HOJICHA, MANAGERS, SAFETY, SECOND, Told, World, copied, git, run, script, tree_bytes,
)  # fmt: skip

from specctl import resources

ODD_NAMES = (
    "99", "0", "-1", "4.0", "main", "HEAD", "main@{1}", ":/Release", "--help", "; rm -rf .", "$(id)", "../../etc/passwd", "refs/heads/main",
    "4-firmer-foam^", "4-firmer-foam~1", "4-FIRMER-FOAM", "4-firmer", "", " ", "４", "x" * 100_000, "a\nb", "\x1b[2J", "4\u202e",
)  # fmt: skip


@pytest.mark.parametrize("which", ODD_NAMES, ids=range(len(ODD_NAMES)))
def test_a_proposal_that_is_none(which: str, with_open: World) -> None:
    before = with_open.as_stands()
    verbs = (("report",), ("sign", "--key", with_open.key(SECOND)), ("release",), ("object", "--note", "no"))
    # One rule finds a proposal for all of them: every verb meets some names, every name meets a verb.
    number = ODD_NAMES.index(which)
    for words in verbs if number < 3 else (verbs[number % 4],):
        told = run(*words, "--book", with_open.book, "--", which, code=1)
        assert told.out == "" and told.err.startswith("specctl: ")
        assert "\x1b" not in told.err and "\u202e" not in told.err
        assert len(told.err) < 3000, "a very long argument is not said back whole"
    assert with_open.as_stands() == before


def test_numbers_are_read_as_numbers_only(with_open: World) -> None:
    same = {with_open.run("report", which, "--json").out for which in ("4", "#4", "4-firmer-foam")}
    assert len(same) == 1


def test_arguments_that_are_no_text(with_open: World) -> None:
    """Bytes that are no UTF-8 reach a program on Linux as they are."""
    for words in ((b"report", b"\xff\xfe"), (b"show", b"\xffdrink"), (b"trace", b"\xc3("), (b"check", b"--book", b"/\xff"), (b"propose", b"\xff\xfe", b"--why", b"\xff")):  # fmt: skip
        extra = () if b"--book" in words else (b"--book", os.fsencode(with_open.book))
        done = script(*words, *extra)
        assert done.returncode in (1, 2), (words, done.stderr)
        assert b"Traceback" not in done.stderr and b"\xff" not in done.stderr + done.stdout
        done.stderr.decode("utf-8")


def test_a_book_that_is_not_there(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    (tmp_path / "empty").mkdir()
    for where in (tmp_path / "nowhere", tmp_path / "file", tmp_path / "empty", tmp_path / ("x" * 300)):
        for words in (("check",), ("show", "x"), ("trace", "x"), ("normalise",), ("proposals",), ("report", "1"), ("release", "1"), ("in-force", "x"),
                      ("propose", "T", "--why", "w"), ("publish", tmp_path / "out", "--keys", tmp_path / "k", "--new")):  # fmt: skip
            told = run(*words, "--book", where, code=1)
            assert told.both.strip(), (words, where)
            assert told.out == "" or words[0] == "check"
    assert not (tmp_path / "out").exists() and not (tmp_path / "k").exists()


def test_a_plain_folder_serves_what_reads_and_refuses_what_needs_git(tmp_path: Path) -> None:
    root = tmp_path / "plain"
    shutil.copytree(resources.demo_book(), root)
    assert run("check", "--book", root).code == 0
    assert run("show", "pear-sage-fizz", "--book", root, "--json").json["entry"]["item"] == "drink/pear-sage-fizz"
    assert run("trace", "oat-drink", "--book", root).out
    before = tree_bytes(root)
    for words in (("proposals",), ("report", "1"), ("sign", "1"), ("release", "1"), ("in-force", "saltmarket"), ("propose", "T", "--why", "w"),
                  ("publish", tmp_path / "out", "--keys", tmp_path / "k", "--new"), ("collect", root / "book.yaml"),
                  ("card", "--site", "saltmarket")):  # fmt: skip
        told = run(*words, "--book", root, code=1)
        assert "plain folder" in told.err and told.out == "", words
    assert tree_bytes(root) == before and not (tmp_path / "k").exists()


def test_a_bare_repository_answers_and_is_not_edited(with_open: World) -> None:
    bare = with_open.origin
    before = git(bare, "for-each-ref")
    assert run("check", "--book", bare).code == 0
    assert run("in-force", "saltmarket", "--book", bare, "--json").json["answers"]
    assert run("report", "4", "--book", bare, "--json").json == with_open.run("report", "4", "--json").json
    told = run("propose", "T", "--why", "w", "--key", with_open.key(AUTHOR), "--book", bare, code=1)
    assert told.out == "" and "bare" in told.err
    told = run("normalise", "--book", bare, code=None)
    assert told.code in (0, 1)
    assert git(bare, "for-each-ref") == before


def test_detached_head_and_another_branch(world: World) -> None:
    git(world.book, "checkout", "-q", "--detach")
    world.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    assert world.propose("Firmer foam").out == "4-firmer-foam\n"
    head = git(world.book, "rev-parse", "HEAD")
    world.run("sign", "4", "--key", world.key(SECOND))
    assert git(world.book, "rev-parse", "HEAD") == head and world.main() != head
    assert git(world.book, "status", "--porcelain").strip() == f"M {HOJICHA}", "only the author's own edit"
    # What main gained meanwhile is not undone by the detached work tree.
    done = world.run("propose", "--update", "4", "--json").json
    assert done["files"] == [HOJICHA]


def test_a_missing_key_and_a_foreign_key(world: World, tmp_path: Path) -> None:
    world.edit(HOJICHA, FOAM, "{regular: 36 g, large: 48 g}")
    stranger = tmp_path / "stranger"
    git(tmp_path, "init", "-q", "x")
    import subprocess

    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", stranger], check=True)
    (tmp_path / "no-key").write_text("not a key")
    (tmp_path / "folder").mkdir()
    before = world.as_stands()
    for key in (tmp_path / "missing", stranger, tmp_path / "no-key", tmp_path / "folder", Path("/dev/null"), stranger.with_suffix(".pub")):
        told = world.propose("Firmer foam", "--key", key, code=1)
        assert told.out == "" and "specctl: " in told.err, key
        assert "PRIVATE KEY-----" not in told.err
    git(world.book, "config", "--unset", "user.signingkey")
    assert "user.signingkey" in world.propose("Firmer foam", code=1).err
    assert world.as_stands()[::2] == before[::2]


def test_a_retired_or_unreleasing_person_may_not_release(opened: World) -> None:
    before = opened.as_stands()
    for person in (SECOND, SAFETY, *MANAGERS.values()):
        assert opened.run("release", "4", "--key", opened.key(person), code=1).out == ""
    assert opened.as_stands() == before


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser is refused nothing")
def test_a_folder_nobody_may_write(opened: World, tmp_path: Path) -> None:
    _read_only(opened, tmp_path)


def test_a_folder_that_is_a_file_or_takes_no_file(opened: World, tmp_path: Path) -> None:
    """What also the superuser cannot do: write below a file, or into /proc."""
    (tmp_path / "file").write_text("x")
    for out in (tmp_path / "file" / "r.html", Path("/proc/r.html"), tmp_path):
        told = opened.run("report", "4", "--as", "html", "--out", out, code=1)
        assert told.out == "" and str(out.name) in told.err or "specctl: " in told.err
    told = opened.run("sign", "4", "--key", opened.key(SECOND), "--out", tmp_path / "file" / "s", code=1)
    assert told.out == ""
    told = run("init", tmp_path / "file" / "book", "--id", "a", "--person", "b", "--key", opened.key(AUTHOR), code=1)
    assert told.out == ""


def _read_only(opened: World, tmp_path: Path) -> None:
    folder = tmp_path / "locked"
    folder.mkdir()
    folder.chmod(stat.S_IRUSR | stat.S_IXUSR)
    assert opened.run("report", "4", "--as", "html", "--out", folder / "r.html", code=1).out == ""
    assert run("demo", folder / "d", code=1).err
    objects = opened.book / ".git" / "objects"
    objects.chmod(stat.S_IRUSR | stat.S_IXUSR)
    before = opened.as_stands()
    assert opened.run("sign", "4", "--key", opened.key(SECOND), code=1).out == ""
    objects.chmod(0o755)
    assert opened.as_stands() == before
    assert opened.run("sign", "4", "--key", opened.key(SECOND)).code == 0


@pytest.mark.parametrize("scope", ["nowhere", "../marram", "MARRAM", "", "\x1b[1m", "chain"])
def test_a_franchise_that_is_none(scope: str, with_open: World) -> None:
    told = run("report", "4", "--for", scope, "--book", with_open.book, code=None)
    if scope == "":
        assert told.code in (0, 1, 2)
        return
    assert told.code in (1, 2) and told.out == "" and "\x1b" not in told.err


# --- collect ------------------------------------------------------------------------------------

@pytest.fixture
def statement(opened: World, tmp_path: Path) -> bytes:
    out = tmp_path / "s.statement"
    opened.run("sign", "4", "--key", opened.key(SECOND), "--out", out)
    return out.read_bytes()


def garbage(statement: bytes) -> dict[str, bytes]:
    head, body = statement.split(b"\n", 1)
    inner = json.loads(base64.b64decode(body))
    payload = json.loads(base64.b64decode(inner["payload"]))

    def sealed(**other: object) -> bytes:
        changed = json.dumps({**payload, **other}, sort_keys=True, separators=(",", ":")).encode()
        outer = {"payload": base64.b64encode(changed).decode(), "signature": inner["signature"]}
        return head + b"\n" + base64.b64encode(json.dumps(outer).encode()) + b"\n"

    return {
        "empty": b"", "noise": bytes(range(256)) * 50, "text": b"Dear Isla, I agree. Wren\n", "head only": head + b"\n",
        "cut": statement[: len(statement) // 2], "one character": statement[:200] + b"A" + statement[201:],
        "other person": sealed(person=SAFETY), "other role": sealed(role="food-safety"), "other effect": sealed(effect="0" * 64),
        "other purpose": sealed(purpose="objection"), "other book": sealed(book="other"), "other proposal": sealed(proposal="9-other"),
        "path": sealed(proposal="../../main"), "escape": sealed(note="\x1b[2J"), "no object": head + b"\n" + base64.b64encode(b"[]") + b"\n",
        "deep": head + b"\n" + base64.b64encode(b"[" * 9000) + b"\n", "large": head + b"\n" + b"A" * 3_000_000,
        "another format": statement.replace(b"specctl statement 1", b"specctl statement 2"),
    }  # fmt: skip


def test_collect_takes_no_garbage_and_the_good_beside_it(opened: World, tmp_path: Path, statement: bytes) -> None:
    cases = garbage(statement)
    before = opened.main()
    files = []
    for number, data in enumerate(cases.values()):
        file = tmp_path / f"{number}.txt"
        file.write_bytes(data)
        files.append(file)
    told = opened.run("collect", *files, tmp_path / "missing", tmp_path, "--json", code=1)
    value = told.json
    assert value["taken"] == [] and value["commit"] is None and opened.main() == before
    assert {r["file"] for r in value["refused"]} == {*(f.name for f in files), "missing", tmp_path.name}
    assert all(r["what"] for r in value["refused"]) and "\x1b" not in told.both
    # Each alone is refused too, and never a fault of ours.
    for name, file in zip(cases, files, strict=True):
        assert opened.run("collect", file, code=1).err.startswith("Not taken, "), name
    mixed = opened.run("collect", files[0], tmp_path / "s.statement", files[3], "--json", code=1)
    assert len(mixed.json["taken"]) == 1 and mixed.json["commit"] == opened.main() != before


def test_collect_takes_what_mail_made_of_it(opened: World, tmp_path: Path, statement: bytes) -> None:
    """Eight ways a text arrives, each with a statement of its own."""
    said = [statement]
    for number in range(7):
        words = ("object", "4", "--key", opened.key(SAFETY), "--note", f"Reason {number}.", "--out", tmp_path / "o")
        opened.run(*words)  # type: ignore[arg-type]
        said.append((tmp_path / "o").read_bytes())
    forms: dict[str, Callable[[bytes], bytes]] = {
        "as it is": lambda text: text,
        "crlf": lambda text: text.replace(b"\n", b"\r\n"),
        "quoted": lambda text: b"> " + text.strip().replace(b"\n", b"\n> ") + b"\n",
        "quoted twice": lambda text: b">> " + text.strip().replace(b"\n", b"\n>> ") + b"\n",
        "footer": lambda text: b"Subject: x\r\n\r\nHello,\r\n\r\n" + text.replace(b"\n", b"\r\n") + b"\r\n-- \r\nTobin\r\nSent from a phone\r\n",
        "spaces": lambda text: text.replace(b"\n", b"  \n"),
        "two in one": lambda text: text + b"\n" + text,
        "stdin": lambda text: text,
    }
    for (form, made), text in zip(forms.items(), said, strict=True):
        if form == "stdin":
            told = opened.run("collect", "-", "--json", stdin=made(text))
        else:
            (tmp_path / "mail").write_bytes(made(text))
            told = opened.run("collect", tmp_path / "mail", "--json")
        assert len(set(told.json["taken"])) == 1 and told.json["refused"] == [], form
        assert told.json["commit"] == opened.main()
    names = git(opened.book, "ls-tree", "-r", "--name-only", "main", "statements/4-firmer-foam/").split()
    assert len(names) == len(forms)


# --- publish and pull ---------------------------------------------------------------------------

@pytest.fixture
def packed(played: tuple[World, Told], tmp_path: Path) -> World:
    return copied(played[0], tmp_path, "book", "origin.git", "keys", "packs", "publishing-keys", "sites")


def test_keys_never_lie_in_a_book_or_a_published_folder(packed: World, tmp_path: Path) -> None:
    before = packed.as_stands()
    for folder, keys in (
        (tmp_path / "out", packed.book / "keys"), (tmp_path / "out", packed.book / ".git" / "keys"),
        (tmp_path / "out", tmp_path / "out" / "keys"), (tmp_path / "out", packed.book),
    ):  # fmt: skip
        told = packed.run("publish", folder, "--keys", keys, "--new", code=1)
        assert "key" in told.err and told.out == ""
        assert not (packed.book / "keys").exists() and not (packed.book / ".git" / "keys").exists()
        assert not list(tmp_path.glob("out/**/*.pem")) and not list(packed.book.glob("**/root*"))
    assert packed.as_stands() == before


def test_publish_into_what_it_must_not_touch(packed: World, tmp_path: Path) -> None:
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "holiday.jpg").write_bytes(b"x")
    told = packed.run("publish", tmp_path / "mine", "--keys", tmp_path / "k", code=1)
    assert told.out == ""
    told = packed.run("publish", packed.packs, "--keys", packed.publishing_keys, "--new", code=1)
    assert told.out == "", "begun already"
    told = packed.run("publish", packed.packs, "--keys", tmp_path / "no-keys", code=1)
    assert told.out == ""
    told = packed.run("publish", tmp_path / "unknown", "--keys", packed.publishing_keys, "--refresh", code=1)
    assert told.out == ""
    before = tree_bytes(packed.packs)
    (tmp_path / "file").write_text("x")
    assert packed.run("publish", tmp_path / "file", "--keys", packed.publishing_keys, code=1).out == ""
    assert tree_bytes(packed.packs) == before


def test_publish_refuses_a_folder_ahead_of_main(packed: World) -> None:
    """Main set back behind what sites were shown: versions would run backwards."""
    old = git(packed.book, "rev-parse", "release/2^{commit}")
    for repository in (packed.book, packed.origin):
        git(repository, "update-ref", "refs/heads/main", old)
    git(packed.book, "update-ref", "refs/remotes/origin/main", old)
    before = tree_bytes(packed.packs)
    told = packed.run("publish", packed.packs, "--keys", packed.publishing_keys, code=1)
    assert "ahead" in told.err and told.out == "" and tree_bytes(packed.packs) == before


def test_refresh_renews_the_timestamp_alone_and_needs_no_book(packed: World) -> None:
    shutil.rmtree(packed.book)
    before = tree_bytes(packed.packs)
    told = run("publish", packed.packs, "--keys", packed.publishing_keys, "--refresh", "--json", now="2026-11-28T12:00:00Z")
    assert told.json["roles"]["timestamp"]["expires"] == "2026-12-05T12:00:00Z", "seven days"
    after = tree_bytes(packed.packs)
    assert [name for name in after if after[name] != before.get(name)] == ["metadata/timestamp.json"] and before.keys() == after.keys()


def test_warnings_thirty_days_before_an_expiry(packed: World) -> None:
    far = run("publish", packed.packs, "--keys", packed.publishing_keys, "--refresh", "--json", now="2027-11-01T12:00:00Z")
    assert far.json["warnings"] and "Warning: " in far.err
    near = run("publish", packed.packs, "--keys", packed.publishing_keys, "--refresh", "--json", now="2026-12-01T12:00:00Z", code=None)
    assert near.code in (0, 1)


def test_pull_that_cannot_be_right(packed: World, tmp_path: Path) -> None:
    (tmp_path / "garbage.json").write_bytes(b"{]")
    (tmp_path / "empty").write_bytes(b"")
    root = packed.first_root
    cases: tuple[tuple[str | Path, ...], ...] = (
        (packed.packs, "--site", "no-such-site", "--root", root), (packed.packs, "--site", "../kelp-lane", "--root", root),
        (packed.packs, "--site", "", "--root", root), (packed.packs, "--site", "kelp-lane", "--root", tmp_path / "garbage.json"),
        (packed.packs, "--site", "kelp-lane", "--root", tmp_path / "empty"), (packed.packs, "--site", "kelp-lane", "--root", tmp_path),
        (packed.packs, "--site", "kelp-lane", "--root", tmp_path / "missing"), (packed.packs, "--site", "kelp-lane", "--root", packed.packs / "metadata" / "timestamp.json"),
        (tmp_path / "missing", "--site", "kelp-lane", "--root", root), (packed.book, "--site", "kelp-lane", "--root", root),
        ("ftp://tidewick.example/packs", "--site", "kelp-lane", "--root", root), ("file:///etc", "--site", "kelp-lane", "--root", root),
        (tmp_path / "empty", "--site", "kelp-lane", "--root", root),
    )  # fmt: skip
    for words in cases:
        told = run("pull", *words, "--state", tmp_path / "state", code=None)
        assert told.code in (1, 2) and told.out == "" and told.err.startswith("specctl: "), (words, told)
        assert not (tmp_path / "state" / "pages").exists()
    told = run("card", "--state", tmp_path / "state", code=1)
    assert told.out == "" and "Pull first" in told.err
    # A good pull succeeds after all of that.
    assert run("pull", packed.packs, "--site", "kelp-lane", "--root", root, "--state", tmp_path / "state", "--json").json["first"]


def test_a_bundle_of_another_time_or_place_leaves_the_cards(packed: World, tmp_path: Path) -> None:
    state = packed.site("saltmarket")
    before = run("card", "--state", state, "--json").json["entries"]
    for harm in ("truncate", "swap", "delete"):
        broken = tmp_path / harm
        shutil.copytree(packed.packs, broken)
        target = next(broken.glob("targets/*saltmarket.json"), None) or next((broken / "targets").rglob("*saltmarket.json"))
        other = next((broken / "targets").rglob("*kelp-lane.json"))
        if harm == "truncate":
            target.write_bytes(target.read_bytes()[:-100])
        elif harm == "swap":
            target.write_bytes(other.read_bytes())
        else:
            target.unlink()
        for name in (broken / "targets").rglob("*saltmarket.json"):
            if harm != "delete" and name != target:
                name.write_bytes(target.read_bytes())
            elif harm == "delete":
                name.unlink()
        told = run("pull", broken, "--site", "saltmarket", "--state", state, code=1)
        assert told.out == "" and told.err.count("\n") >= 2
        assert run("card", "--state", state, "--json").json["entries"] == before
    assert run("pull", packed.packs, "--site", "saltmarket", "--state", state).code == 0


def test_a_book_is_laid_out_sealed_and_joined(tmp_path: Path, world: World) -> None:
    key, new = world.key(AUTHOR), tmp_path / "new"
    words = ("--id", "gullet", "--name", "Gullet", "--person", AUTHOR, "--person-name", "Isla Varn", "--key", key)
    run("init", new, *words)
    alone = run("init", "--seal", "--book", new, "--key", key, code=1)
    assert alone.out == "" and git(new, "for-each-ref") == "", "one person alone is no ground of trust"
    shutil.copy(world.book / "signatories.yaml", new / "signatories.yaml")
    for person in MANAGERS.values():
        assert person in (new / "signatories.yaml").read_text()
    for franchise in ("northsands", "marram", "gull-rock"):
        (new / "franchises").mkdir(exist_ok=True)
        shutil.copy(world.book / "franchises" / f"{franchise}.yaml", new / "franchises")
    stranger = run("init", "--seal", "--book", new, "--key", tmp_path / "none", code=1)
    assert stranger.out == "" and git(new, "for-each-ref") == ""
    commit = run("init", "--seal", "--book", new, "--key", key).out.strip()
    assert git(new, "rev-parse", "main") == commit and git(new, "status", "--porcelain") == ""
    git(new, "verify-commit", "main")
    assert run("init", "--seal", "--book", new, "--key", key, code=1).out == "", "begun already"
    assert git(new, "rev-parse", "main") == commit
    git(tmp_path, "clone", "-q", str(world.origin), "third")
    told = run("init", "--join", "--book", tmp_path / "third", "--key", world.key(SAFETY))
    assert "Maren Oduya (food-safety)" in told.err
    git(tmp_path / "third", "verify-commit", "main")


def test_no_book_is_begun_of_what_is_none(tmp_path: Path, world: World) -> None:
    key = world.key(AUTHOR)
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "x").write_text("mine")
    for words in (
        (tmp_path / "full", "--id", "gullet", "--person", "ada-moor", "--key", key), (tmp_path / "b", "--id", "Not An Id", "--person", "ada-moor", "--key", key),
        (tmp_path / "b", "--id", "x", "--person", "Ada Moor", "--key", key), (tmp_path / "b", "--id", "x", "--person", "ada", "--key", tmp_path / "none"),
        (tmp_path / "b", "--id", "../x", "--person", "ada", "--key", key),
    ):  # fmt: skip
        told = run("init", *words, code=None)
        assert told.code in (1, 2) and told.out == "" and not (tmp_path / "b").exists(), (words, told)
    assert tree_bytes(tmp_path / "full") == {"x": b"mine"}
