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
    # Every value is looked at, for a float anywhere is refused. A list that grows while it is
    # walked costs half of what a call for each value does; most values are texts, and are left out.
    plain = True
    waiting = [value]
    for one in waiting:
        if isinstance(one, dict):
            try:
                plain = "".join(one).isascii() and plain
            except TypeError:  # a key that is no text
                plain = False
            waiting += [each for each in one.values() if type(each) is not str]
        elif isinstance(one, (list, tuple)):
            waiting += [each for each in one if type(each) is not str]
        elif isinstance(one, float):
            raise TypeError("a float has no place in canonical JSON; use a decimal string")
        elif one is not None and not isinstance(one, (str, bool)):
            plain = plain and isinstance(one, int) and abs(one) <= _LARGEST
    return plain
