"""`specctl demo`: the paths it names exist, and programs of others accept what it made."""

from __future__ import annotations

import base64
import json
import re
import subprocess
from pathlib import Path

import pytest
from counter_world import Told, World, git, have, run, tree_bytes

needs_ssh = pytest.mark.skipif(not have("ssh-keygen"), reason="needs OpenSSH")


def test_names_paths_that_exist(played: tuple[World, Told]) -> None:
    world, told = played
    paths = told.json
    for name in ("book", "packs", "report", "allowed_signers", "origin", "root", "reports", "clone"):
        assert Path(paths[name]).exists(), name
    assert {"northsands-quay", "saltmarket"} <= paths["sites"].keys()
    for folder in paths["sites"].values():
        assert (Path(folder) / "pages" / "index.html").is_file()
        assert b"Blackcurrant hojicha" in (Path(folder) / "pages" / "cards.html").read_bytes()
    assert Path(paths["report"]).suffix == ".html"
    assert b"lupin" in Path(paths["report"]).read_bytes()


def test_words_go_to_stderr_and_say_what_to_do_next(played: tuple[World, Told]) -> None:
    _, told = played
    assert told.out.lstrip().startswith("{") and "Open in a browser:" in told.err and "Type next:" in told.err
    assert told.err.count("Refused:") == 4, "an objection, a removal signed and released, and a tampered bundle"


def test_a_removal_is_stopped_for_want_of_evidence_and_of_all_three_roles(played: tuple[World, Told]) -> None:
    """Every other thing is in order, and nothing of the attempt stays: the next proposal is number 4."""
    world, told = played
    signing = next(line for line in told.err.splitlines() if line.strip().startswith("Signing:"))
    assert "Refused: 4-no-lupin takes allergens off a declaration" in signing and "lupin" in signing and "--evidence" in signing
    releasing = next(line for line in told.err.splitlines() if line.strip().startswith("Releasing:"))
    assert "Refused:" in releasing
    for role in ("drinks for chain", "food-safety for chain", "franchise-manager for franchise/marram"):
        assert role in releasing
    names = git(world.book, "for-each-ref", "--format=%(refname)") + git(world.root / "origin.git", "for-each-ref", "--format=%(refname)")
    assert "3-holm-foam-powder" in names and "no-lupin" not in names
    holm = (world.book / "ingredients" / "foam-powder-holm.yaml").read_text(encoding="utf-8")
    assert "contains: [lupin]" in holm and not (world.root / "copy-without-origin").exists()


@needs_ssh
def test_plain_git_accepts_commits_and_tags(world: World, played: tuple[World, Told]) -> None:
    signers = world.book / ".git" / "specctl" / "allowed_signers"
    option = ("-c", f"gpg.ssh.allowedSignersFile={signers}")
    git(world.book, *option, "verify-commit", "main")
    for number in (1, 2, 3):
        git(world.book, *option, "verify-tag", f"release/{number}")
    # Seen to fail: with nobody allowed, git accepts none of them.
    nobody = world.root / "nobody"
    nobody.write_text("")
    for words in (("verify-commit", "main"), ("verify-tag", "release/1")):
        done = subprocess.run(
            ["git", "-c", f"gpg.ssh.allowedSignersFile={nobody}", *words], cwd=world.book, capture_output=True
        )
        assert done.returncode != 0


@needs_ssh
def test_ssh_keygen_accepts_a_statement_of_main(world: World) -> None:
    """OpenSSH itself verifies; the namespace is `<purpose>@specctl`, so one purpose never passes as another."""
    signers = world.book / ".git" / "specctl" / "allowed_signers"
    names = git(world.book, "ls-tree", "-r", "--name-only", "main", "statements/").split("\n")
    seen = set()
    for name in names:
        head, body = git(world.book, "show", f"main:{name}").split("\n", 1)
        assert head == "specctl statement 1"
        envelope = json.loads(base64.b64decode(body))
        payload = base64.b64decode(envelope["payload"])
        said = json.loads(payload)
        signature = world.root / "statement.sig"
        signature.write_text(envelope["signature"])
        for namespace, data, accepted in (
            (f"{said['purpose']}@specctl", payload, True),
            ("notice@specctl", payload, False),
            (f"{said['purpose']}@specctl", payload + b" ", False),
        ):
            done = subprocess.run(
                ["ssh-keygen", "-Y", "verify", "-f", signers, "-I", said["person"], "-n", namespace, "-s", signature],
                input=data, capture_output=True,
            )  # fmt: skip
            assert (done.returncode == 0) is accepted, (namespace, done.stderr)
        seen.add(said["purpose"])
    assert seen == {"signoff", "objection"}


def test_refuses_a_folder_with_something_in_it(tmp_path: Path) -> None:
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "note.txt").write_text("mine")
    told = run("demo", tmp_path / "full", code=1)
    assert "not an empty folder" in told.err and told.out == ""
    assert tree_bytes(tmp_path / "full") == {"note.txt": b"mine"}
    (tmp_path / "file").write_text("mine")
    run("demo", tmp_path / "file", code=1)
    assert (tmp_path / "file").read_text() == "mine"


def test_no_price_in_what_is_published_or_at_a_site(played: tuple[World, Told]) -> None:
    """The menu price of the hojicha in two franchises, and a currency: in no byte of packs or sites."""
    world, _ = played
    for folder in (world.packs, world.root / "sites"):
        for name, data in tree_bytes(folder).items():
            # Whether a market's tax stands `in_menu_price` is no price; a site's bundle says it.
            data = data.replace(b'"in_menu_price"', b"")
            for word in (b" EUR", b" GBP", b" USD", b"menu_price"):
                assert word not in data, (name, word)
            # What was signed names every file that changed, price books too; of those only a digest of the whole.
            assert b"price-book.yaml" not in re.sub(rb'"files":\[(\["[^"]*","[0-9a-f]{64}"\],?)*\]', b"", data), name
