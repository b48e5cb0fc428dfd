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
from collections.abc import Iterable
from typing import Any

_LARGEST = 2**53 - 1


def canonical(value: Any) -> bytes:
    """RFC 8785 bytes of `value`. Raises TypeError for a float or a Decimal."""
    try:
        if _is_plain(value):
            # Without floats, and with ASCII keys, the standard library writes the very same
            # bytes (tests compare them) ten times faster; entries are always of this kind.
            return json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode("utf-8")
    except UnicodeEncodeError as error:  # half a character
        raise TypeError(f"not canonical JSON: {error}") from None
    import rfc8785  # rarely needed, and not free to import

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
    if isinstance(value, dict):
        keys = all(isinstance(key, str) and key.isascii() for key in value)
        return _all_plain(value.values()) and keys
    if isinstance(value, (list, tuple)):
        return _all_plain(value)
    if isinstance(value, float):
        raise TypeError("a float has no place in canonical JSON; use a decimal string")
    if value is None or isinstance(value, (str, bool)):
        return True
    return isinstance(value, int) and abs(value) <= _LARGEST


def _all_plain(values: Iterable[Any]) -> bool:
    # Every value is looked at, for a float anywhere is refused; most are texts, and need no call.
    return all([_is_plain(value) for value in values if type(value) is not str])
