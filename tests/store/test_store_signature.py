"""Signatures: plain git and plain ssh-keygen accept ours, we accept theirs, and nothing else holds.

Outside checks: OpenSSH's ssh-keygen (-Y sign, -Y verify, -l) and git's
verify-commit, verify-tag, commit -S.
"""

from __future__ import annotations

import base64
import subprocess
from pathlib import Path
from typing import Callable

import pytest
from store_books import WHEN, Key, plain_git

from specctl.errors import NotFound, Refused, Untrusted
from specctl.publickey import armour_of
from specctl.store.commits import CommitWish, TagWish, make_commit, make_tag
from specctl.store.objects import write_object
from specctl.store.reader import Reader
from specctl.store.signature import (
    Signer,
    allowed_signers_text,
    commit_key,
    commit_signer,
    fingerprint,
    is_public_key,
    make_key,
    public_of,
    sign,
    tag_signer,
    verify,
)

Keys = Callable[..., Key]
SIGNOFF = "signoff@specctl"


def keygen(*args: str, input: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(["ssh-keygen", *args], input=input, capture_output=True)


def wish(book: Path, key: Key | None, message: str = "Say so", when: int = WHEN) -> CommitWish:
    tree, tip = plain_git(book, "rev-parse", "HEAD^{tree}", "HEAD").split()
    return CommitWish(tree, (tip,), message, "Maud Pellow", "maud@tidewick.example", when, key and key.path)


def test_ssh_keygen_accepts_ours(keys: Keys, tmp_path: Path) -> None:
    maud = keys("maud")
    (tmp_path / "allowed").write_text(allowed_signers_text([Signer("maud", maud.public)], [SIGNOFF]))
    (tmp_path / "sig").write_text(sign(b"payload", maud.path, SIGNOFF))
    words = ["-Y", "verify", "-f", str(tmp_path / "allowed"), "-I", "maud", "-s", str(tmp_path / "sig"), "-n"]
    assert keygen(*words, SIGNOFF, input=b"payload").returncode == 0
    assert keygen(*words, SIGNOFF, input=b"payload\n").returncode != 0
    assert keygen(*words, "notice@specctl", input=b"payload").returncode != 0


@pytest.mark.parametrize("kind", [("-t", "ed25519"), ("-t", "ecdsa", "-b", "384"), ("-t", "rsa", "-b", "2048")])
def test_we_accept_ssh_keygen(keys: Keys, kind: tuple[str, ...]) -> None:
    key = keys("kind-" + kind[1], *kind)
    theirs = keygen("-Y", "sign", "-n", SIGNOFF, "-f", str(key.path), input=b"payload").stdout.decode()
    assert verify(b"payload", theirs, SIGNOFF, [Signer("maud", key.public)]) == "maud"


def test_what_does_not_hold(keys: Keys) -> None:
    maud, piran = keys("maud"), keys("piran")
    signature = sign(b"payload", maud.path, SIGNOFF)
    people = [Signer("piran", piran.public), Signer("maud", maud.public + " a comment")]
    assert verify(b"payload", signature, SIGNOFF, people) == "maud"
    assert verify(b"payload", signature.strip(), SIGNOFF, people) == "maud"
    assert verify(b"payload\n", signature, SIGNOFF, people) is None
    assert verify(b"payload", signature, "notice@specctl", people) is None
    assert verify(b"payload", signature, SIGNOFF, people[:1]) is None
    assert verify(b"payload", signature, SIGNOFF, []) is None
    assert verify(b"payload", "", SIGNOFF, people) is None
    assert verify(b"payload", "x" + signature, SIGNOFF, people) is None
    assert verify(b"payload", signature + signature, SIGNOFF, people) is None
    assert armour_of(signature) is not None
    for text in (signature.replace("END SSH", "END THE"), signature + "more\n", signature.replace("\n", "\r\n")):
        assert armour_of(text) is None and verify(b"payload", text, SIGNOFF, people) is None


def test_a_namespace_rewritten_in_the_armour_does_not_hold(keys: Keys) -> None:
    maud = keys("maud")
    lines = sign(b"payload", maud.path, SIGNOFF).split("\n")
    data = base64.b64decode("".join(lines[1:-2]))
    forged = base64.b64encode(data.replace(b"signoff@", b"sign0ff@")).decode()
    text = "\n".join([lines[0], forged, lines[-2], ""])
    assert verify(b"payload", text, "sign0ff@specctl", [Signer("maud", maud.public)]) is None


def test_one_key_listed_for_two_persons_proves_neither(keys: Keys) -> None:
    maud = keys("maud")
    signature = sign(b"payload", maud.path, SIGNOFF)
    assert verify(b"payload", signature, SIGNOFF, [Signer("maud", maud.public), Signer("piran", maud.public)]) is None
    assert verify(b"payload", signature, SIGNOFF, [Signer("maud", maud.public)] * 2) == "maud"


@pytest.mark.parametrize("person", ["*", "maud,*", "!maud", "Maud", "maud pellow", "", "maud\npiran"])
def test_a_signer_is_a_plain_name(keys: Keys, person: str) -> None:
    with pytest.raises(Refused):
        allowed_signers_text([Signer(person, keys("maud").public)], [SIGNOFF])


@pytest.mark.parametrize("namespace", ["*", "", "a,b", 'x" zeroconf', "signoff@*"])
def test_a_namespace_is_a_plain_name(keys: Keys, namespace: str) -> None:
    with pytest.raises(Refused):
        sign(b"payload", keys("maud").path, namespace)
    with pytest.raises(Refused):
        allowed_signers_text([Signer("maud", keys("maud").public)], [namespace])


def test_git_accepts_our_commit_and_tag(book: Path, keys: Keys, tmp_path: Path) -> None:
    maud = keys("maud")
    oid = make_commit(book, wish(book, maud, "Release 1\n\n-----BEGIN SSH SIGNATURE-----\n"))
    assert make_commit(book, wish(book, maud, "Release 1\n\n-----BEGIN SSH SIGNATURE-----\n")) == oid
    tag = make_tag(book, TagWish("release/1", oid, "Release 1", "Maud", "m@tidewick.example", WHEN, maud.path))
    (tmp_path / "allowed").write_text(allowed_signers_text([Signer("maud", maud.public)], ["git"]))
    trust = ["-c", f"gpg.ssh.allowedSignersFile={tmp_path / 'allowed'}"]
    plain_git(book, *trust, "verify-commit", oid)
    plain_git(book, *trust, "verify-tag", "release/1")
    plain_git(book, "fsck", "--full", "--strict")
    with Reader(book) as reader:
        assert commit_signer(reader, oid, [Signer("maud", maud.public)]) == "maud"
        assert tag_signer(reader, tag, [Signer("maud", maud.public)]) == "maud"
        assert commit_signer(reader, oid, [Signer("piran", keys("piran").public)]) is None
        assert tag_signer(reader, tag, [Signer("piran", keys("piran").public)]) is None
        assert commit_key(reader, oid) == maud.public
        assert reader.commit(oid).signed and reader.tag(tag).signed
        assert reader.tag(tag).message == "Release 1\n" and reader.tag(tag).target == oid


def test_we_accept_what_git_signed(book: Path, keys: Keys) -> None:
    maud = keys("maud")
    how = ["-c", "gpg.format=ssh", "-c", f"user.signingkey={maud.path}"]
    plain_git(book, *how, "commit", "-S", "--allow-empty", "-q", "-m", "By git")
    plain_git(book, *how, "tag", "-s", "-m", "By git", "t")
    oid, tag = plain_git(book, "rev-parse", "HEAD", "t").split()
    with Reader(book) as reader:
        assert commit_signer(reader, oid, [Signer("maud", maud.public)]) == "maud"
        assert tag_signer(reader, tag, [Signer("maud", maud.public)]) == "maud"


def signed_body(book: Path, key: Key) -> bytes:
    oid = make_commit(book, wish(book, key))
    return subprocess.run(["git", "cat-file", "commit", oid], cwd=book, capture_output=True, check=True).stdout


def test_message_text_is_no_signature(book: Path, keys: Keys) -> None:
    maud = keys("maud")
    body = signed_body(book, maud)
    head, message = body.split(b"\n\n", 1)
    at = head.index(b"\ngpgsig ")
    fake = head[:at] + b"\n\nSay so" + head[at:] + b"\n\n" + message
    oid = write_object(book, "commit", fake)
    with Reader(book) as reader:
        assert not reader.commit(oid).signed
        assert commit_signer(reader, oid, [Signer("maud", maud.public)]) is None
        assert commit_key(reader, oid) is None


def test_two_signatures_are_none(book: Path, keys: Keys) -> None:
    maud, piran = keys("maud"), keys("piran")
    head, message = signed_body(book, maud).split(b"\n\n", 1)
    other = signed_body(book, piran).split(b"\n\n", 1)[0]
    signature = other[other.index(b"\ngpgsig ") :]
    for extra in (signature, signature.replace(b"\ngpgsig ", b"\ngpgsig-sha256 ")):
        oid = write_object(book, "commit", head + extra + b"\n\n" + message)
        with Reader(book) as reader:
            for signers in ([Signer("maud", maud.public)], [Signer("piran", piran.public)]):
                assert commit_signer(reader, oid, signers) is None



def test_a_signature_of_another_hash_inside_what_was_signed_is_none(book: Path, keys: Keys) -> None:
    maud = keys("maud")
    plain = make_commit(book, wish(book, None))
    body = subprocess.run(["git", "cat-file", "commit", plain], cwd=book, capture_output=True, check=True).stdout
    head, message = body.split(b"\n\n", 1)
    head += b"\ngpgsig-sha256 something"
    armoured = sign(head + b"\n\n" + message, maud.path, "git").rstrip("\n").replace("\n", "\n ").encode()
    oid = write_object(book, "commit", head + b"\ngpgsig " + armoured + b"\n\n" + message)
    with Reader(book) as reader:
        assert commit_signer(reader, oid, [Signer("maud", maud.public)]) is None


@pytest.mark.parametrize(
    ("find", "put"),
    [(b"Say so", b"Say no"), (b"author Maud", b"author Mina"), (b"committer", b"encoding latin-1\ncommitter")],
)
def test_a_changed_commit_does_not_hold(book: Path, keys: Keys, find: bytes, put: bytes) -> None:
    maud = keys("maud")
    oid = write_object(book, "commit", signed_body(book, maud).replace(find, put, 1))
    with Reader(book) as reader:
        assert commit_signer(reader, oid, [Signer("maud", maud.public)]) is None
        with pytest.raises(Untrusted):
            commit_key(reader, oid)


def test_the_date_of_a_commit_changes_nothing(book: Path, keys: Keys) -> None:
    maud = keys("maud")
    for when in (0, WHEN, 4_000_000_000):
        oid = make_commit(book, wish(book, maud, when=when))
        with Reader(book) as reader:
            assert commit_signer(reader, oid, [Signer("maud", maud.public)]) == "maud"
            assert commit_signer(reader, oid, []) is None


def test_nothing_may_follow_the_signature_of_a_tag(book: Path, keys: Keys) -> None:
    maud = keys("maud")
    tip = plain_git(book, "rev-parse", "HEAD")
    tag = make_tag(book, TagWish("t", tip, "Text", "Maud", "m@tidewick.example", WHEN, maud.path))
    body = subprocess.run(["git", "cat-file", "tag", tag], cwd=book, capture_output=True, check=True).stdout
    people = [Signer("maud", maud.public)]
    with Reader(book) as reader:
        assert tag_signer(reader, tag, people) == "maud"
        for content in (body + b"and more\n", body.replace(b"Text", b"Next"), body.split(b"-----BEGIN")[0]):
            assert tag_signer(reader, write_object(book, "tag", content), people) is None


def test_a_tag_never_moves(book: Path, keys: Keys) -> None:
    tip = plain_git(book, "rev-parse", "HEAD")
    oid = make_commit(book, wish(book, keys("maud")))
    how = ("Text", "Maud", "m@tidewick.example", WHEN, keys("maud").path)
    tag = make_tag(book, TagWish("release/1", tip, *how))
    assert make_tag(book, TagWish("release/1", tip, "Other text", *how[1:])) == tag
    with pytest.raises(Refused):
        make_tag(book, TagWish("release/1", oid, *how))
    plain_git(book, "tag", "plain", oid)
    with pytest.raises(Refused):
        make_tag(book, TagWish("plain", oid, *how))


@pytest.mark.parametrize("name", ["Maud <x> Pellow", "Maud\nPellow", "", " ", "Maud\x00"])
def test_a_name_that_git_could_not_hold_is_refused(book: Path, name: str) -> None:
    tree = plain_git(book, "rev-parse", "HEAD^{tree}")
    with pytest.raises(Refused):
        make_commit(book, CommitWish(tree, (), "x", name, "m@tidewick.example", WHEN, None))


def test_public_keys(keys: Keys, tmp_path: Path) -> None:
    kinds = [("-t", "ed25519"), ("-t", "ecdsa", "-b", "384"), ("-t", "ecdsa", "-b", "521"), ("-t", "rsa", "-b", "2048")]
    for kind in kinds:
        key = keys("public-" + "".join(kind).replace("-", ""), *kind)
        assert is_public_key(key.public) and is_public_key(key.public + " at the bench\n")
        shown = keygen("-l", "-f", str(key.path)).stdout.decode().split()[1]
        assert fingerprint(key.public) == shown
        assert public_of(key.path) == public_of(key.path.with_name(key.path.name + ".pub")) == key.public
    good = keys("maud").public
    kind_name, blob = good.split()
    weak = keys("weak", "-t", "rsa", "-b", "1024").public
    bad = [
        "",
        blob,
        f"{kind_name} ",
        f"ssh-rsa {blob}",
        f"{kind_name} {blob[:-4]}",
        f"{kind_name} {blob}AAAA",
        f'namespaces="*" {good}',
        f"cert-authority {good}",
        f"{good}\n{good}",
        f"{good} a\x1b[31m",
        f"{kind_name}  {blob}",
        weak,
        "ssh-dss AAAAB3NzaC1kc3M=",
    ]
    for text in bad:
        assert not is_public_key(text), text


def test_the_public_half_of_a_locked_key_needs_no_passphrase(tmp_path: Path) -> None:
    path = tmp_path / "locked"
    assert keygen("-q", "-t", "ed25519", "-N", "harbour wall", "-f", str(path)).returncode == 0
    public = " ".join((tmp_path / "locked.pub").read_text().split()[:2])
    (tmp_path / "locked.pub").unlink()
    assert public_of(path) == public


def test_make_key(tmp_path: Path) -> None:
    public = make_key(tmp_path / "new" / "key", "maud at the bench")
    assert is_public_key(public) and public_of(tmp_path / "new" / "key") == public
    assert (tmp_path / "new" / "key").stat().st_mode & 0o77 == 0
    with pytest.raises(Refused):
        make_key(tmp_path / "new" / "key", "again")
    with pytest.raises(NotFound):
        sign(b"x", tmp_path / "none", SIGNOFF)
