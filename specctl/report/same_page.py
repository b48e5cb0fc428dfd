"""Holds a page against the one the book gives: equal, or where they first part."""

from __future__ import annotations

import json
from typing import Any

from specctl.canonical import canonical, digest_of
from specctl.report.clean import visible

_LONGEST = 160


def text_of(data: bytes) -> str:
    """The bytes as text wherever they are text; the rest shows as itself in Latin-1, for searching only."""
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def strict_json(data: bytes) -> dict[str, Any] | None:
    """A JSON object that every reader reads alike: no key twice, no number out of the standard; None for anything else."""
    try:
        value = json.loads(data.decode("utf-8"), object_pairs_hook=_once, parse_constant=_none)
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _none(name: str) -> None:
    raise ValueError(f"{name} is no JSON")


def digest_holds(report: dict[str, Any]) -> bool:
    """Whether the effect a report's JSON holds is the one its digest names (RFC 8785, SHA-256)."""
    try:
        found = digest_of(canonical(report.get("effect")))
    except (TypeError, ValueError, RecursionError):
        return False
    effect = report.get("effect")
    return found == report.get("effect_digest") and isinstance(effect, dict) and effect.get("scope") == report.get("scope")


def first_difference(page: bytes, made: bytes) -> str:
    """Where a page of text first departs from the one the book gives, on one harmless line."""
    here, there = text_of(page).splitlines(), text_of(made).splitlines()
    for number, (one, other) in enumerate(zip(here, there, strict=False), 1):
        if one != other:
            start = _parting(one, other)
            return f"line {number}: the page has {_near(one, start)}, the book gives {_near(other, start)}"
    if len(here) == len(there):
        return "the ends of its lines"
    return f"line {min(len(here), len(there)) + 1}: {'the page goes on' if len(here) > len(there) else 'the page ends'}"


def json_difference(page: Any, made: Any, path: str = "") -> str:
    """The first place where two JSON values differ, by its path; empty where they do not."""
    if isinstance(page, dict) and isinstance(made, dict):
        for key in sorted(page.keys() | made.keys()):
            if key not in page or key not in made:
                return f"{visible(path)}/{visible(str(key))[:_LONGEST]} is {'missing' if key not in page else 'not in the book'}"
            found = json_difference(page[key], made[key], f"{path}/{key}")
            if found:
                return found
        return ""
    if isinstance(page, list) and isinstance(made, list):
        for number, (one, other) in enumerate(zip(page, made, strict=False)):
            found = json_difference(one, other, f"{path}/{number}")
            if found:
                return found
        return "" if len(page) == len(made) else f"{path} holds {len(page)}, the book gives {len(made)}"
    if type(page) is type(made) and page == made:
        return ""
    return f"{path}: the page has {_near(json.dumps(page, ensure_ascii=False), 0)}, the book gives {_near(json.dumps(made, ensure_ascii=False), 0)}"


def _parting(one: str, other: str) -> int:
    same = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    return max(0, same - 20)


def _near(text: str, start: int) -> str:
    shown = visible(text[start : start + 60])
    return f"“{shown}”"
