"""One way to turn a value into bytes, and bytes into a name.

RFC 8785 (JSON Canonicalization Scheme) gives the same bytes on every machine;
SHA-256 of those bytes is the digest that people sign and sites check. Values
are str, int, bool, None, list and dict with str keys. Decimals, floats and
integers past 2**53 are refused: an entry must not depend on how a number is
printed.
"""

from __future__ import annotations

import hashlib
from typing import Any

import rfc8785


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes of `value`. Raises TypeError for a float or a Decimal."""
    _refuse_floats(value)
    try:
        return rfc8785.dumps(value)
    except rfc8785.CanonicalizationError as error:
        raise TypeError(f"not canonical JSON: {error}") from None


def digest(value: Any) -> str:
    """SHA-256, in lower-case hex, of the canonical bytes of `value`."""
    return digest_of(canonical(value))


def digest_of(data: bytes) -> str:
    """SHA-256 of raw bytes, in lower-case hex."""
    return hashlib.sha256(data).hexdigest()


def _refuse_floats(value: Any) -> None:
    if isinstance(value, float):
        raise TypeError("a float has no place in canonical JSON; use a decimal string")
    if isinstance(value, dict):
        for inner in value.values():
            _refuse_floats(inner)
    elif isinstance(value, (list, tuple)):
        for inner in value:
            _refuse_floats(inner)
