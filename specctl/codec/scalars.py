"""What a plain scalar of a book means, and when it must be quoted.

Promises: a plain scalar is true or false, an integer, a decimal or text, and
never something that a YAML 1.1 reader would take for something else: such a
scalar is refused until it is quoted. Also the characters a book may hold.
"""

from __future__ import annotations

import json
import re
import unicodedata
from collections.abc import Iterator
from decimal import Decimal

_INTEGER = re.compile(r"0|-?[1-9][0-9]*")
_DECIMAL = re.compile(r"(?!-0\.0*\Z)-?(?:0|[1-9][0-9]*)\.[0-9]+")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_MISREAD = re.compile(
    r"""y|n|yes|no|on|off|true|false|null|~|=|<<
    | [-+]?0[xob][0-9a-f_]*
    | [-+]?\.(?:inf|nan)
    | [-+]?[0-9][0-9_]*(?::[0-9]+)+(?:\.[0-9_]*)?
    | [-+]?(?=\.?[0-9])[0-9_]*\.?[0-9_]*(?:e[-+]?[0-9]*)?
    | [0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[t\ ].*)?""",
    re.VERBOSE | re.IGNORECASE,
)
_MOST_DIGITS = 15
_SAFE = re.compile(r"[\w(][^\[\]{},\"'\\&*!|>%@`\n\t]*")

_CONTROL = re.compile(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f]|\r(?!\n)")
_REFUSED_KINDS = {
    "Cc": "a control character",
    "Cf": "an invisible format character",
    "Co": "a private-use character",
    "Cn": "an unassigned character",
    "Cs": "half a character",
    "Zl": "a line separator",
    "Zp": "a paragraph separator",
}
# Letters and marks that show nothing at all; their category does not tell.
_INVISIBLE = frozenset("\u034f\u115f\u1160\u17b4\u17b5\u2800\u3164\uffa0")


class Misread(ValueError):
    """A plain scalar that another YAML reader would take for something else."""


def resolve(text: str) -> str | bool | int | Decimal:
    """The value of a plain scalar; Misread if it must be quoted first."""
    first = text[:1]
    if first.isalpha() and first not in "yYnNoOtTfF":
        return text
    if text == "true":
        return True
    if text == "false":
        return False
    if _INTEGER.fullmatch(text):
        if len(text.lstrip("-")) > _MOST_DIGITS:
            raise Misread(text)
        return int(text)
    if _DECIMAL.fullmatch(text):
        if len(text.lstrip("-")) > _MOST_DIGITS + 1:
            raise Misread(text)
        return Decimal(text)
    if _DATE.fullmatch(text):
        return text
    if _MISREAD.fullmatch(text):
        raise Misread(text)
    return text


def quote(text: str) -> str:
    """A double-quoted scalar."""
    return json.dumps(text, ensure_ascii=False)


def write(value: str | bool | int | Decimal) -> str:
    """The text of a scalar on one line, quoted where it must be.

    TypeError for anything else, ValueError for a number that a book cannot hold.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Decimal | int):
        return _number(value)
    if not isinstance(value, str):
        raise TypeError(f"a book cannot hold a {type(value).__name__}")
    return value if may_stay_plain(value) else quote(value)


def may_stay_plain(text: str) -> bool:
    """Whether text reads back as the same text without quotes, by old readers too."""
    if not _SAFE.fullmatch(text) or text != text.strip():
        return False
    if ": " in text or " #" in text or text.endswith(":") or "  " in text:
        return False
    if _DATE.fullmatch(text):
        return False
    try:
        return isinstance(resolve(text), str)
    except Misread:
        return False


def _number(value: Decimal | int) -> str:
    if isinstance(value, Decimal):
        if not value.is_finite():
            raise ValueError("a book cannot hold a number that is not finite")
        text = f"{value:f}"
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        text = "0" if text in ("-0", "") else text
    else:
        text = str(value)
    try:
        resolve(text)
    except Misread:
        raise ValueError("a book cannot hold so long a number") from None
    return text


def stray_characters(text: str) -> Iterator[tuple[int, str]]:
    """Offset and description of each character a book may not hold, first of its kind only."""
    seen: set[str] = set()
    for match in _CONTROL.finditer(text):
        char = match[0]
        if char not in seen:
            seen.add(char)
            name = "a tab" if char == "\t" else "a control character"
            yield match.start(), f"{name} (U+{ord(char):04X})"
    if text.isascii():
        return
    for char in sorted(set(text)):
        if char in seen or char in "\r\n":
            continue
        kind = _REFUSED_KINDS.get(unicodedata.category(char))
        if kind is None and char in _INVISIBLE:
            kind = "an invisible character"
        if kind is not None:
            yield text.index(char), f"{kind} (U+{ord(char):04X})"


def is_composed(text: str) -> bool:
    """Whether text is in Unicode normalisation form C."""
    return text.isascii() or unicodedata.is_normalized("NFC", text)
