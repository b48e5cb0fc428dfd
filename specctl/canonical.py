"""One way to turn a value into bytes, and bytes into a name.

RFC 8785 (JSON Canonicalization Scheme) gives the same bytes on every machine;
SHA-256 of those bytes is the digest that people sign and sites check. Values
are str, int, bool, None, list and dict with str keys. Decimals, floats and
integers past 2**53 are refused: an entry must not depend on how a number is
printed.
"""

from __future__ import annotations

import hashlib
import json
from typing import Any

import rfc8785

_LARGEST = 2**53 - 1


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes of `value`. Raises TypeError for a float or a Decimal."""
    if _is_plain(value):
        # Without floats, and with ASCII keys, the standard library writes the very same
        # bytes (tests compare them) ten times faster; entries are always of this kind.
        return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode("utf-8")
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeEncodeError) as error:
        raise TypeError(f"not canonical JSON: {error}") from None


def digest(value: Any) -> str:
    """SHA-256, in lower-case hex, of the canonical bytes of `value`."""
    return digest_of(canonical(value))


def digest_of(data: bytes) -> str:
    """SHA-256 of raw bytes, in lower-case hex."""
    return hashlib.sha256(data).hexdigest()


def _is_plain(value: Any) -> bool:
    """Whether keys are ASCII and integers small throughout. Raises TypeError for a float."""
    if isinstance(value, str):
        return True
    if isinstance(value, float):
        raise TypeError("a float has no place in canonical JSON; use a decimal string")
    if isinstance(value, dict):
        keys = all(isinstance(key, str) and key.isascii() for key in value)
        return all([_is_plain(inner) for inner in value.values()]) and keys
    if isinstance(value, (list, tuple)):
        return all([_is_plain(inner) for inner in value])
    if value is None or isinstance(value, bool):
        return True
    return isinstance(value, int) and abs(value) <= _LARGEST
