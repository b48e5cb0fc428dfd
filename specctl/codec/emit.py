"""Writes values as the YAML of a book.

Promises: one text for one value; reading it gives the value back; whatever an
old reader would take for something else stands in quotes. Refuses what a book
cannot hold. Leaves existing texts to `spans`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from specctl.codec import scalars
from specctl.errors import Refused

_WIDEST = 88


@dataclass(frozen=True, slots=True)
class Block:
    """Text of a value in our YAML, at no indentation, comments included."""

    text: str


def quote(text: str) -> str:
    """A double-quoted scalar. Refused for characters a book may not hold."""
    return scalars.quote(_checked(text))


def is_block(value: Any) -> bool:
    """Whether a value is written on lines of its own, not behind its key."""
    if isinstance(value, Block):
        return "\n" in value.text.strip("\n") or _is_entry(value.text)
    if isinstance(value, dict):
        return bool(value)
    if isinstance(value, list | tuple):
        return bool(value) and not _fits(value)
    return False


def write_value(value: Any, indent: int = 0, *, flow_lists: bool = True) -> str:
    """The text of a value. A map or a long list is whole lines at `indent`
    spaces, each with its line break; anything else is one line without one."""
    pad = " " * indent
    if isinstance(value, Block):
        lines = value.text.strip("\n").split("\n")
        if not is_block(value):
            return value.text.strip()
        return "".join(f"{pad}{line}\n" if line.strip() else "\n" for line in lines)
    if isinstance(value, dict) and value:
        return "".join(write_entry(key, inner, indent) for key, inner in value.items())
    if isinstance(value, list | tuple) and value and not (flow_lists and _fits(value)):
        return "".join(_dashed(inner, indent) for inner in value)
    return write_flow(value)


def write_entry(key: str, value: Any, indent: int = 0) -> str:
    """A key and its value as whole lines at `indent` spaces."""
    head = " " * indent + _key(key) + ":"
    if is_block(value):
        return f"{head}\n{write_value(value, indent + 2)}"
    return f"{head} {write_value(value, indent + 2)}\n"


def write_flow(value: Any) -> str:
    """The text of a value on one line.

    Refused for what a book cannot hold: nothing, floats, over-long numbers,
    keys that are not text, characters outside the book's.
    """
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)}: {write_flow(v)}" for k, v in value.items())
        return "{" + inside + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(write_flow, value)) + "]"
    if isinstance(value, str):
        _checked(value)
    try:
        return scalars.write(value)
    except (TypeError, ValueError) as error:
        raise Refused(str(error), "Write it as text, or as a shorter number.") from None


def _key(key: Any) -> str:
    if not isinstance(key, str) or not key or key == "<<" or len(key) > 200:
        raise Refused("a key that is not a name", "Use text as the key.")
    return write_flow(key)


def _dashed(value: Any, indent: int) -> str:
    pad = " " * indent
    if is_block(value):
        return f"{pad}- {write_value(value, indent + 2).lstrip(' ')}"
    return f"{pad}- {write_value(value, indent + 2)}\n"


def _fits(values: list[Any] | tuple[Any, ...]) -> bool:
    if any(isinstance(v, dict | list | tuple | Block) for v in values):
        return False
    return len(write_flow(values)) <= _WIDEST


def _is_entry(text: str) -> bool:
    line = text.strip("\n").split("\n")[0]
    return line.startswith("- ") or line.rstrip().endswith(":") or ": " in line and line[:1] not in "\"'[{"


def _checked(text: str) -> str:
    for _, what in scalars.stray_characters(text.replace("\n", " ")):
        raise Refused(f"{what} in a text", "Remove it.")
    if not scalars.is_composed(text):
        raise Refused("text that is not in Unicode normalisation form C", "Type it again.")
    return text
