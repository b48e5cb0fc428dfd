"""Signatures made by `ssh-keygen -Y sign` hold at a counter that has no OpenSSH; anything altered does not.

The outside authority is OpenSSH itself: it makes the keys and the signatures.
"""

from __future__ import annotations

import base64
import shutil
import subprocess
from pathlib import Path

import pytest

from specctl.site.sshsig import holds

PAYLOAD = b'{"effect":"oat foam"}'
SPACE = "signoff@specctl"
KINDS = {"ed25519": (), "ecdsa-256": ("-b", "256"), "ecdsa-384": ("-b", "384"), "ecdsa-521": ("-b", "521"), "rsa": ("-b", "2048")}

pytestmark = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="OpenSSH is the authority here")


@pytest.fixture(scope="module")
def signed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[str, str]]:
    """Kind to (public line, signature)."""
    made = {}
    folder = tmp_path_factory.mktemp("keys")
    for kind, bits in KINDS.items():
        key = folder / kind
        subprocess.run(["ssh-keygen", "-q", "-t", kind.split("-")[0], *bits, "-N", "", "-C", "", "-f", key], check=True)
        made[kind] = (_public(key), _sign(key, PAYLOAD))
    return made


def _public(key: Path) -> str:
    return " ".join(key.with_name(key.name + ".pub").read_text().split()[:2])


def _sign(key: Path, payload: bytes, *options: str) -> str:
    words = ["ssh-keygen", "-q", "-Y", "sign", "-n", SPACE, *options, "-f", str(key)]
    return subprocess.run(words, input=payload, capture_output=True, check=True).stdout.decode()


@pytest.mark.parametrize("kind", KINDS)
def test_what_openssh_signed_holds_and_nothing_else(signed: dict[str, tuple[str, str]], kind: str) -> None:
    public, signature = signed[kind]
    assert holds(PAYLOAD, signature, SPACE, public)
    assert not holds(PAYLOAD + b" ", signature, SPACE, public)
    assert not holds(PAYLOAD, signature, "notice@specctl", public)
    for other, (key, _) in signed.items():
        assert holds(PAYLOAD, signature, SPACE, key) is (other == kind)


@pytest.mark.parametrize("kind", KINDS)
def test_no_flipped_bit_holds_or_raises(signed: dict[str, tuple[str, str]], kind: str) -> None:
    public, signature = signed[kind]
    lines = signature.strip().split("\n")
    data = base64.b64decode("".join(lines[1:-1]))
    for at in range(0, len(data), 3):
        body = base64.b64encode(data[:at] + bytes([data[at] ^ 0x04]) + data[at + 1 :]).decode()
        assert not holds(PAYLOAD, "\n".join([lines[0], body, lines[-1]]), SPACE, public), at


def test_both_hashes_of_openssh(signed: dict[str, tuple[str, str]], tmp_path: Path) -> None:
    key = tmp_path / "key"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
    for name in ("sha256", "sha512"):
        assert holds(PAYLOAD, _sign(key, PAYLOAD, "-O", f"hashalg={name}"), SPACE, _public(key))


def test_what_is_no_signature() -> None:
    for text in ("", "x", "-----BEGIN SSH SIGNATURE-----\nAAAA\n-----END SSH SIGNATURE-----\n"):
        assert not holds(PAYLOAD, text, SPACE, "ssh-ed25519 AAAA")
