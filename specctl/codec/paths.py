"""Which file of a tree holds which kind of record, and what must not be there.

A book's files are controlled when they stand where a record stands. Files the
tool itself writes (releases, entries, statements) and anything else (a README,
dot-files) are not records.
"""

from __future__ import annotations

import difflib
import re

from specctl.problem import Place, Problem

FOLDERS = {
    "lists": "list",
    "markets": "market",
    "franchises": "franchise",
    "sites": "site",
    "tools": "tool",
    "vessels": "vessel",
    "ingredients": "ingredient",
    "preps": "prep",
    "drinks": "drink",
    "scoop-checks": "scoop-check",
    "proposals": "proposal",
}
ROOT_FILES = {"book.yaml": "book", "policy.yaml": "policy", "signatories.yaml": "signatories"}
WRITTEN_BY_TOOL = ("releases/", "entries/", "statements/")
PRICES = "prices"
PRICE_FILE = "price-book.yaml"
LONGEST_ID = 64

_ID = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def is_id(text: str) -> bool:
    """Whether a text can name a record: lower-case words joined by single hyphens."""
    return len(text) <= LONGEST_ID and _ID.fullmatch(text) is not None


def record_at(path: str) -> tuple[str, str] | None:
    """(kind, id) of the record a path holds, or None for no record."""
    if path in ROOT_FILES:
        return ROOT_FILES[path], ROOT_FILES[path]
    parts = path.split("/")
    if len(parts) == 2 and parts[0] in FOLDERS and parts[1].endswith(".yaml"):
        name = parts[1].removesuffix(".yaml")
        return (FOLDERS[parts[0]], name) if is_id(name) else None
    if len(parts) == 3 and parts[0] == PRICES and parts[2] == PRICE_FILE:
        return ("price-book", parts[1]) if is_id(parts[1]) else None
    return None


def is_controlled(path: str) -> bool:
    """Whether a change of this file is a change of the book."""
    if path.startswith(WRITTEN_BY_TOOL):
        return False
    return record_at(path) is not None or stray(path) is not None


def is_readable(path: str) -> bool:
    """Whether a path of a plain folder belongs to the book at all."""
    return path in ROOT_FILES or path.split("/", 1)[0] in {*FOLDERS, PRICES}


def stray(path: str) -> Problem | None:
    """A file that looks like a record but cannot be one."""
    head, _, rest = path.partition("/")
    if path in ROOT_FILES or record_at(path):
        return None
    place = Place(path)
    if head in FOLDERS or head == PRICES:
        if path.endswith((".yaml", ".yml", ".json")):
            return Problem(
                "file-name",
                place,
                "this file is not where a record of its kind stands, or its name is no id",
                "Name it with lower-case words joined by hyphens and the ending .yaml, such as "
                + (f"{PRICES}/northsands/{PRICE_FILE}." if head == PRICES else f"{head}/oat-drink.yaml."),
            )
        return None
    if rest and path.endswith((".yaml", ".yml")) and not head.startswith("."):
        close = difflib.get_close_matches(head, [*FOLDERS, PRICES], 1, 0.7)
        if close:
            return Problem(
                "file-name",
                place,
                f"the folder {head}/ is not one of a book's folders",
                f"Did you mean {close[0]}/?",
            )
    return None
