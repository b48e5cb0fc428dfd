"""Whether an OpenSSH signature holds, worked out without OpenSSH: a counter need not have it.

Answers one question about bytes: did the private half of this key make this
signature over this payload for this namespace? Whose key that is, and whether
it counts, is the caller's. As in OpenSSH's PROTOCOL.sshsig and PROTOCOL.u2f;
signature forms of RFC 8709 (Ed25519), RFC 5656 (ECDSA) and RFC 8332 (RSA with
SHA-2; RSA with SHA-1 does not hold). A hardware key must have been touched.
"""

from __future__ import annotations

import hashlib
from typing import Any

from specctl.publickey import armour_of, blob_of, strings_in

_TOUCHED = 0x01
_SK_TAIL = 5  # one byte of flags, four of counter


def holds(payload: bytes, signature: str, namespace: str, public_key: str) -> bool:
    """Whether `public_key` (`type base64`) signed `payload` for `namespace`. Never raises for what it is given."""
    armour = armour_of(signature)
    blob = blob_of(public_key)
    if armour is None or blob is None or armour.key != blob or armour.namespace != namespace:
        return False
    hashed = hashlib.new(armour.hash_name, payload).digest()
    signed = b"SSHSIG" + b"".join(_string(part) for part in (namespace.encode(), b"", armour.hash_name.encode(), hashed))
    return _verified(strings_in(blob) or [], armour.signature, signed)


def _verified(key: list[bytes], signature: bytes, signed: bytes) -> bool:
    kind, tail = key[0], b""
    if kind.startswith(b"sk-"):
        # Application, flags and counter are signed with the hash (PROTOCOL.u2f); they follow the signature.
        signature, tail = signature[:-_SK_TAIL], signature[-_SK_TAIL:]
        if len(tail) != _SK_TAIL or not tail[0] & _TOUCHED:
            return False
        signed = hashlib.sha256(key[-1]).digest() + tail + hashlib.sha256(signed).digest()
    fields = strings_in(signature)
    if fields is None or len(fields) != 2:
        return False
    form, raw = fields
    from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm

    try:
        if kind in (b"ssh-ed25519", b"sk-ssh-ed25519@openssh.com") and form == kind:
            _ed25519(key[1], raw, signed)
        elif b"ecdsa-sha2-" in kind and form == kind:
            _ecdsa(key[1], key[2], raw, signed)
        elif kind == b"ssh-rsa" and form in (b"rsa-sha2-256", b"rsa-sha2-512"):
            _rsa(key[1], key[2], raw, signed, form)
        else:
            return False
    except (InvalidSignature, UnsupportedAlgorithm, ValueError):
        return False
    return True


def _ed25519(point: bytes, raw: bytes, signed: bytes) -> None:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    Ed25519PublicKey.from_public_bytes(point).verify(raw, signed)


def _ecdsa(curve: bytes, point: bytes, raw: bytes, signed: bytes) -> None:
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.asymmetric.utils import encode_dss_signature

    forms: dict[bytes, tuple[Any, Any]] = {
        b"nistp256": (ec.SECP256R1(), hashes.SHA256()),
        b"nistp384": (ec.SECP384R1(), hashes.SHA384()),
        b"nistp521": (ec.SECP521R1(), hashes.SHA512()),
    }
    numbers = strings_in(raw)
    if numbers is None or len(numbers) != 2 or curve not in forms:
        raise ValueError("not two numbers on a curve we know")
    on, hashed = forms[curve]
    r, s = (int.from_bytes(number, "big", signed=True) for number in numbers)
    ec.EllipticCurvePublicKey.from_encoded_point(on, point).verify(encode_dss_signature(r, s), signed, ec.ECDSA(hashed))


def _rsa(exponent: bytes, modulus: bytes, raw: bytes, signed: bytes, form: bytes) -> None:
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import padding
    from cryptography.hazmat.primitives.asymmetric.rsa import RSAPublicNumbers

    hashed = hashes.SHA256() if form == b"rsa-sha2-256" else hashes.SHA512()
    numbers = RSAPublicNumbers(int.from_bytes(exponent, "big"), int.from_bytes(modulus, "big"))
    numbers.public_key().verify(raw, signed, padding.PKCS1v15(), hashed)


def _string(data: bytes) -> bytes:
    return len(data).to_bytes(4, "big") + data
