"""A security key's signature, its bytes made by hand (OpenSSH PROTOCOL.u2f and PROTOCOL.sshsig); `ssh-keygen -Y verify` is the authority."""

from __future__ import annotations

import base64
import hashlib
import shutil
import subprocess
from pathlib import Path

import pytest
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec, ed25519
from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature

from specctl.site.sshsig import holds

PAYLOAD, SPACE = b'{"effect":"oat foam"}', "signoff@specctl"
TOUCHED, SEEN = 0x01, 0x04
APPLICATION = b"ssh:"
ED, EC = b"sk-ssh-ed25519@openssh.com", b"sk-ecdsa-sha2-nistp256@openssh.com"

pytestmark = pytest.mark.skipif(shutil.which("ssh-keygen") is None, reason="OpenSSH is the authority here")


def text(*parts: bytes) -> bytes:
    return b"".join(len(part).to_bytes(4, "big") + part for part in parts)


def number(value: int) -> bytes:
    return value.to_bytes(value.bit_length() // 8 + 1, "big")


def made(kind: bytes, flags: int = TOUCHED, counter: int = 7, signed: bytes = PAYLOAD, application: bytes = APPLICATION) -> tuple[str, str]:
    """The public line and the armoured signature; `application` is what the device hashes."""
    message = b"SSHSIG" + text(SPACE.encode(), b"", b"sha512", hashlib.sha512(signed).digest())
    tail = bytes([flags]) + counter.to_bytes(4, "big")
    told = hashlib.sha256(application).digest() + tail + hashlib.sha256(message).digest()
    if kind == ED:
        private = ed25519.Ed25519PrivateKey.from_private_bytes(bytes(range(32)))
        blob = text(kind, private.public_key().public_bytes_raw(), APPLICATION)
        raw = private.sign(told)
    else:
        curve = ec.derive_private_key(int.from_bytes(bytes(range(1, 32)), "big"), ec.SECP256R1())
        point = curve.public_key().public_bytes(serialization.Encoding.X962, serialization.PublicFormat.UncompressedPoint)
        blob = text(kind, b"nistp256", point, APPLICATION)
        raw = text(*(number(n) for n in decode_dss_signature(curve.sign(told, ec.ECDSA(hashes.SHA256())))))
    whole = b"SSHSIG\0\0\0\x01" + text(blob, SPACE.encode(), b"", b"sha512", text(kind, raw) + tail)
    lines = base64.encodebytes(whole).decode().replace("\n", "")
    wrapped = "\n".join(lines[at : at + 70] for at in range(0, len(lines), 70))
    armour = f"-----BEGIN SSH SIGNATURE-----\n{wrapped}\n-----END SSH SIGNATURE-----\n"
    return f"{kind.decode()} {base64.b64encode(blob).decode()}", armour


def openssh_says(folder: Path, public: str, signature: str, payload: bytes = PAYLOAD) -> bool:
    (folder / "allowed").write_text(f"maud {public}\n")
    (folder / "sig").write_text(signature)
    words = ["ssh-keygen", "-Y", "verify", "-f", folder / "allowed", "-I", "maud", "-n", SPACE, "-s", folder / "sig"]
    return subprocess.run(words, input=payload, capture_output=True).returncode == 0


@pytest.mark.parametrize("kind", [ED, EC])
@pytest.mark.parametrize("flags", [TOUCHED, TOUCHED | SEEN])
def test_what_was_touched_holds(tmp_path: Path, kind: bytes, flags: int) -> None:
    public, signature = made(kind, flags)
    assert openssh_says(tmp_path, public, signature)
    assert holds(PAYLOAD, signature, SPACE, public)


@pytest.mark.parametrize("kind", [ED, EC])
def test_altered_holds_for_neither(tmp_path: Path, kind: bytes) -> None:
    public, _ = made(kind)
    for spoiled in (made(kind, signed=b"{}"), made(kind, application=b"ssh:other")):
        assert not openssh_says(tmp_path, public, spoiled[1])
        assert not holds(PAYLOAD, spoiled[1], SPACE, public)
    public, signature = made(kind)
    assert not openssh_says(tmp_path, public, signature, b"{} ")
    assert not holds(b"{} ", signature, SPACE, public)
    other = EC if kind == ED else ED
    assert not holds(PAYLOAD, signature, SPACE, made(other)[0])


@pytest.mark.parametrize("kind", [ED, EC])
def test_untouched_does_not_hold_here(kind: bytes) -> None:
    """Our own rule, stricter than a plain verify: a program alone, with the key plugged in, is no person."""
    public, signature = made(kind, flags=SEEN)
    assert not holds(PAYLOAD, signature, SPACE, public)
