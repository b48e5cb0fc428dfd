"""SSH signatures: made and checked by ssh-keygen.

Promises: who signed is decided by the key inside the signature and the list of
signers handed in, never by a name, date or file that came with the thing
judged. A signature holds for one namespace only. No wildcard, no principal
taken from text, no verification time: a date inside a commit changes nothing.
"""

from __future__ import annotations

import re
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Sequence

from specctl.errors import NotFound, Refused, Stop, Untrusted
from specctl.publickey import (
    armour_of,
    bare,
    blob_of,
    fingerprint_of_blob,
    is_public_key,
    line_of_blob,
    public_of_private,
)
from specctl.store.parse import headers
from specctl.store.process import SIGNING_DEADLINE, run
from specctl.store.reader import Reader

__all__ = [
    "Signer",
    "allowed_signers_text",
    "commit_key",
    "commit_signer",
    "fingerprint",
    "is_public_key",
    "make_key",
    "public_of",
    "sign",
    "signer_of_armour",
    "tag_signer",
    "verify",
]

GIT_NAMESPACE = "git"
_PERSON = re.compile(r"[a-z0-9-]+")
_NAMESPACE = re.compile(r"[a-z0-9.-]+(?:@[a-z0-9.-]+)?")
_BEGIN = b"-----BEGIN SSH SIGNATURE-----\n"


@dataclass(frozen=True, slots=True)
class Signer:
    """A person and one of their public keys (`type base64 [comment]`)."""

    person: str
    public_key: str


def sign(payload: bytes, key: Path, namespace: str) -> str:
    """The armoured SSHSIG of `payload`. May ask for a passphrase on the terminal."""
    _check_namespace(namespace)
    path = _existing(key)
    result = run(
        ["ssh-keygen", "-q", "-Y", "sign", "-n", namespace, "-f", str(path)],
        input=payload,
        deadline=SIGNING_DEADLINE,
        interactive=True,
    )
    text = result.stdout.decode("ascii", "replace")
    if not result.ok or armour_of(text) is None:
        raise Stop(
            f"{path.name} did not sign: {result.words or 'no signature came back'}",
            "Check that this is your private key (or its .pub while an agent holds it) and that its file mode is 600.",
        )
    return text


def verify(payload: bytes, signature: str, namespace: str, signers: Sequence[Signer]) -> str | None:
    """The person among `signers` whose key made this signature for `namespace`, or None.

    A key listed for two persons proves neither and gives None.
    """
    _check_namespace(namespace)
    armour = armour_of(signature)
    if armour is None or armour.namespace != namespace:
        return None
    person = _owner(armour.key, signers)
    if person is None:
        return None
    holders = [s for s in signers if s.person == person and blob_of(s.public_key) == armour.key]
    with tempfile.TemporaryDirectory(prefix="specctl-") as folder:  # mode 700
        allowed, armoured = Path(folder, "allowed"), Path(folder, "signature")
        allowed.write_text(allowed_signers_text(holders, [namespace]), encoding="ascii")
        armoured.write_text(signature.strip("\n") + "\n", encoding="ascii")
        result = run(
            ["ssh-keygen", "-Y", "verify", "-f", str(allowed), "-I", person, "-n", namespace, "-s", str(armoured)],
            input=payload,
        )
    return person if result.ok and result.stdout.startswith(b"Good ") else None


def signer_of_armour(signature: str) -> str | None:
    """The fingerprint of the key inside an armoured signature: a claim, not a proof."""
    armour = armour_of(signature)
    return None if armour is None else fingerprint_of_blob(armour.key)


def allowed_signers_text(signers: Sequence[Signer], namespaces: Sequence[str]) -> str:
    """An allowed-signers file: one key a line, for exactly these namespaces."""
    for namespace in namespaces:
        _check_namespace(namespace)
    lines = []
    for signer in signers:
        if _PERSON.fullmatch(signer.person) is None:
            raise Refused(f"{signer.person!r} cannot name a signer", "Use lower-case letters, digits and hyphens.")
        if not is_public_key(signer.public_key):
            raise Refused(f"the public key of {signer.person} is not one line of a key we know")
        lines.append(f'{signer.person} namespaces="{",".join(namespaces)}" {bare(signer.public_key)}\n')
    return "".join(lines)


def fingerprint(public_key: str) -> str:
    """`SHA256:…` of a public key line, as `ssh-keygen -l` shows it."""
    blob = blob_of(public_key)
    if blob is None:
        raise Refused("this is not one line of a public key we know")
    return fingerprint_of_blob(blob)


def public_of(key: Path) -> str:
    """`type base64` of a private key file, or of a .pub file."""
    path = _existing(key)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise NotFound(f"the key {path} cannot be read") from None
    if is_public_key(text):
        return bare(text)
    public = public_of_private(text)
    if public is not None:
        return public
    result = run(["ssh-keygen", "-y", "-f", str(path)], deadline=SIGNING_DEADLINE, interactive=True)
    if not result.ok or not is_public_key(result.text):
        raise Refused(f"{path.name} is not a private key that ssh-keygen can open: {result.words}")
    return bare(result.text)


def make_key(path: Path, comment: str) -> str:
    """Make an Ed25519 key pair without a passphrase at `path` and `path`.pub; its public line."""
    path = Path(path).absolute()
    if path.exists() or path.with_name(path.name + ".pub").exists():
        raise Refused(f"{path} exists; a key is never overwritten", "Choose another name.")
    path.parent.mkdir(parents=True, exist_ok=True)
    result = run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-C", comment, "-f", str(path)])
    if not result.ok:
        raise Stop(f"no key was made: {result.words}")
    return bare(path.with_name(path.name + ".pub").read_text(encoding="utf-8"))


def commit_signer(reader: Reader, oid: str, signers: Sequence[Signer]) -> str | None:
    """The person whose key signed commit `oid`, or None: unsigned, foreign, or signed twice."""
    found = _commit_parts(reader.raw(oid, "commit"), oid)
    return None if found is None else verify(found[0], found[1], GIT_NAMESPACE, signers)


def tag_signer(reader: Reader, oid: str, signers: Sequence[Signer]) -> str | None:
    """The person whose key signed the annotated tag object `oid`, or None."""
    found = _tag_parts(reader.raw(oid, "tag"))
    return None if found is None else verify(found[0], found[1], GIT_NAMESPACE, signers)


def commit_key(reader: Reader, oid: str) -> str | None:
    """The public line of the key that truly signed commit `oid`, known to us or not; None if unsigned.

    Untrusted when a signature is there and does not hold.
    """
    found = _commit_parts(reader.raw(oid, "commit"), oid)
    if found is None:
        return None
    armour = armour_of(found[1])
    line = line_of_blob(armour.key) if armour is not None else None
    if line is None or verify(found[0], found[1], GIT_NAMESPACE, [Signer("someone", line)]) is None:
        raise Untrusted(f"the signature of commit {oid} does not hold")
    return line


def _commit_parts(content: bytes, oid: str) -> tuple[bytes, str] | None:
    """What was signed and the signature. From the header alone, so message text cannot fool it."""
    fields, _ = headers(content, oid)
    found = [value for key, value in fields if key.startswith(b"gpgsig")]
    if len(found) != 1 or not any(key == b"gpgsig" for key, _ in fields):
        return None
    head, gap, message = content.partition(b"\n\n")
    kept: list[bytes] = []
    skipping = False
    for line in head.split(b"\n"):
        skipping = line.startswith(b"gpgsig ") or (skipping and line.startswith(b" "))
        if not skipping:
            kept.append(line)
    return b"\n".join(kept) + gap + message, found[0].decode("ascii", "replace")


def _tag_parts(content: bytes) -> tuple[bytes, str] | None:
    """A tag's signature is what stands from the last armour on; nothing may follow it."""
    at = content.rfind(b"\n" + _BEGIN)
    if at < 0:
        return None
    return content[: at + 1], content[at + 1 :].decode("ascii", "replace")


def _owner(blob: bytes, signers: Sequence[Signer]) -> str | None:
    persons = {s.person for s in signers if blob_of(s.public_key) == blob}
    return persons.pop() if len(persons) == 1 else None


def _check_namespace(namespace: str) -> None:
    if _NAMESPACE.fullmatch(namespace) is None:
        raise Refused(f"{namespace!r} cannot be a signature's namespace")


def _existing(key: Path) -> Path:
    path = Path(key).expanduser().absolute()
    if not path.is_file():
        raise NotFound(f"there is no key at {path}", "Name the file of your private SSH key.")
    return path
