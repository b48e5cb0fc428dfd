"""Private keys of a published folder: made, read, and kept out of where they must not lie.

Ed25519, PKCS8 PEM without a passphrase, one file a key, 0600. The only module
that opens a private key; securesystemslib and its cryptography are imported
late, for they cost more than most commands.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from specctl.errors import Damaged, NotFound, Refused, Stop
from specctl.store import published

if TYPE_CHECKING:
    from securesystemslib.signer import CryptoSigner

ROOT_KEYS = ("root-1", "root-2", "root-3")
KEYS = (*ROOT_KEYS, "releaser", "timestamp")


def make_keys(folder: Path, names: Sequence[str] = KEYS) -> None:
    """Makes ed25519 private keys (PKCS8 PEM, 0600), one file `<name>.pem` each.

    To replace one key, move its file away and name it alone. Raises Refused
    inside a book, or where a key of that name already lies.
    """
    from securesystemslib.signer import CryptoSigner

    _outside_books(folder)
    unknown = [name for name in names if name not in KEYS]
    if unknown:
        raise Refused(f"there is no key named {unknown[0]}", f"Keys are {', '.join(KEYS)}.")
    there = [name for name in names if (folder / f"{name}.pem").exists()]
    if there:
        raise Refused(
            f"{folder} already holds {', '.join(there)}",
            "Keys are never overwritten: use another folder, or move the old file away.",
        )
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise Stop(f"could not make {folder}: {error.strerror}", "Check its rights.") from None
    for name in names:
        made = CryptoSigner.generate_ed25519()
        published.write(folder / f"{name}.pem", made.private_bytes, mode=0o600)


def _outside_books(folder: Path) -> None:
    place = folder.resolve()
    for parent in (place, *place.parents):
        if (parent / "book.yaml").exists():
            raise Refused(
                f"private keys never lie in a book, and {parent} holds one",
                "Choose a folder outside it, best on a stick or an encrypted disk.",
            )


def apart(folder: Path, keys: Path) -> None:
    """Raises Refused where `keys` lie in a book, or in the published `folder` itself."""
    _outside_books(keys)
    if keys.resolve().is_relative_to(folder.resolve()):
        raise Refused(
            "private keys never lie in the folder that is served",
            "Move the keys elsewhere, and replace them if that folder was ever served.",
        )


def signer(keys: Path, name: str) -> CryptoSigner:
    """The key `name` of a folder of keys. Raises NotFound, or Damaged if it is no key."""
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.serialization import load_pem_private_key
    from securesystemslib.signer import CryptoSigner

    data = published.read(keys / f"{name}.pem")
    if data is None:
        raise NotFound(
            f"the {name} key is not in {keys}",
            "Name the folder that holds it, or make the keys first.",
        )
    try:
        return CryptoSigner(load_pem_private_key(data, None))
    except (ValueError, TypeError, UnsupportedAlgorithm):
        raise Damaged(
            f"{name}.pem is not a private key this tool can read",
            "Put back a good copy; keys are PKCS8 PEM without a passphrase.",
        ) from None
