"""Reads JSON that must be exactly what it says: the border between bytes and values.

Every failure is Untrusted with the path of the place; nothing is guessed,
defaulted or dropped. Texts keep whatever characters they have: whoever shows
them escapes them.
"""

from __future__ import annotations

import json
import re
from datetime import datetime
from typing import Any, NoReturn

from specctl import canonical
from specctl.errors import Untrusted

ID = re.compile(r"(?=.{1,64}\Z)[a-z0-9]+(?:-[a-z0-9]+)*")
ITEM = re.compile(r"(?:drink|prep)/(?=.{1,64}\Z)[a-z0-9]+(?:-[a-z0-9]+)*")
GOODS = re.compile(r"(?:ingredient|drink|prep)/(?=.{1,64}\Z)[a-z0-9]+(?:-[a-z0-9]+)*")
DIGEST = re.compile(r"[0-9a-f]{64}")
COMMIT = re.compile(r"[0-9a-f]{40}|[0-9a-f]{64}")
ZONE = re.compile(r"[A-Za-z0-9_+-]+(?:/[A-Za-z0-9_+-]+){0,2}")
TONGUE = re.compile(r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8}){0,3}")
CLOCK = re.compile(r"(?:[01][0-9]|2[0-3]):[0-5][0-9]")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_LARGEST = 2**53 - 1

_WORDS = {str: "text", int: "a whole number", dict: "a mapping", list: "a list"}

_ENTRY = {
    "entry": int,
    "item": str,
    "name": str,
    "market": str,
    "list": dict,
    "sizes": list,
    "steps": list,
    "options": list,
    "substitutes": list,
    "allergens": list,
    "hold": object,
    "equipment": list,
    "cautions": list,
    "claims": list,
}
# Entries made before these were told do not have them, and never change.
_LATER = {"contact": list, "advisories": list}


def wrong(path: str, what: str) -> Untrusted:
    """The refusal of a value at `path`."""
    return Untrusted(
        f"the bundle is not well made at {path}: {what}",
        "Tell head office: the fault is in what was published, not at this site.",
    )


def load(data: bytes) -> Any:
    """JSON to values. Floats, constants, repeated keys and lone surrogates are refused."""
    try:
        value = json.loads(
            data.decode("utf-8"),
            object_pairs_hook=_once,
            parse_float=_no_float,
            parse_constant=_no_float,
        )
        # A lone surrogate passes the reader and would break every writer after it.
        json.dumps(value, ensure_ascii=False).encode("utf-8")
    except (ValueError, RecursionError):
        raise wrong("$", "it is not strict JSON") from None
    return value


def fields(value: Any, path: str, /, **types: type) -> dict[str, Any]:
    """`value` as a mapping of exactly these fields with these types."""
    typed(value, dict, path)
    for name in sorted(value.keys() ^ types.keys()):
        raise wrong(f"{path}.{name}", "missing" if name in types else "no such field is known")
    for name, kind in types.items():
        typed(value[name], kind, f"{path}.{name}")
    return value


def typed(value: Any, kind: type, path: str) -> Any:
    """`value`, if it is of `kind`; true and false are no numbers."""
    if not isinstance(value, kind) or (kind is int and isinstance(value, bool)):
        raise wrong(path, f"not {_WORDS.get(kind, kind.__name__)}")
    return value


def matches(value: Any, path: str, pattern: re.Pattern[str]) -> str:
    """`value`, if it is text that matches the whole pattern."""
    if not pattern.fullmatch(typed(value, str, path)):
        raise wrong(path, "not in the form it must have")
    return value


def count(value: Any, path: str) -> int:
    """`value`, if it is a whole number from 1 that every JSON reader keeps exactly."""
    if not 1 <= typed(value, int, path) <= _LARGEST:
        raise wrong(path, "not a number that counts something")
    return value


def time(value: Any, path: str) -> datetime:
    """A UTC time written YYYY-MM-DDTHH:MM:SSZ."""
    matches(value, path, _TIME)
    try:
        return datetime.fromisoformat(value)
    except ValueError:
        raise wrong(path, "not a day or time that exists") from None


def entry(name: str, value: Any, market: str) -> None:
    """Refuses an entry that is not its digest, or could drop or blank an allergen.

    Digest: SHA-256 of the RFC 8785 bytes. Each row of allergens must hold all
    three lists, and the standard build its row: an absent list must never read
    as "free from".
    """
    path = f"$.entries.{name[:12]}"
    try:
        same = canonical.digest(value) == name
    except (TypeError, ValueError, RecursionError):
        same = False
    if not same:
        raise wrong(path, "its bytes are not what its digest says")
    typed(value, dict, path)
    fields(value, path, **_ENTRY, **{name: kind for name, kind in _LATER.items() if name in value})
    if value["entry"] != 1:
        raise wrong(f"{path}.entry", "an entry format this specctl does not know")
    matches(value["item"], f"{path}.item", ITEM)
    if value["market"] != market:
        raise wrong(f"{path}.market", "made for another market's allergen list")
    choices = set()
    for at, row in enumerate(value["allergens"]):
        here = f"{path}.allergens[{at}]"
        typed(row, dict, here)
        choices.add(typed(row.get("choice"), str, f"{here}.choice"))
        for part in ("contains", "may_contain", "unknown"):
            for fact in typed(row.get(part), list, f"{here}.{part}"):
                typed(fact, dict, f"{here}.{part}")
                typed(fact.get("name"), str, f"{here}.{part}")
    if "" not in choices:
        raise wrong(f"{path}.allergens", "the standard build has no row")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a key stands twice")
    return made


def _no_float(_text: str) -> NoReturn:
    raise ValueError("a number that is not whole")
