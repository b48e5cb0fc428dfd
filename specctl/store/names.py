"""Which file names a book may hold.

One rule for names read from git, names read from disk and names about to be
written: a name must mean the same file on every system and show as what it is.
"""

from __future__ import annotations

import re
import unicodedata

_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_OID = re.compile(r"[0-9a-f]{40}")
_REF = re.compile(r"refs(?:/(?!\.)(?:(?!\.\.|@\{)[A-Za-z0-9._+@-])+(?<!\.lock)(?<!\.))+")
# What nearly every step of a path is; nothing below could object to it.
_PLAIN_NAME = re.compile(r"[a-z0-9]+(?:[.-][a-z0-9]+)*")
_SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")


def objection_to_name(name: str) -> str | None:
    """Why `name` cannot be one step of a path in a book, or None."""
    if _PLAIN_NAME.fullmatch(name):
        return None
    if name in ("", ".", ".."):
        return "is empty or a dot name"
    if "/" in name or "\\" in name:
        return "holds a slash"
    # How NTFS and HFS+ would fold a name before opening it.
    if name.split(":")[0].rstrip(" .").casefold() in (".git", "git~1"):
        return "would be read as git's own folder"
    if any(unicodedata.category(c) in _HIDDEN for c in name):
        return "holds a control or invisible character"
    if not unicodedata.is_normalized("NFC", name):
        return "is not in Unicode normal form C"
    return None


def objection_to_path(path: str) -> str | None:
    """Why `path` (slashes between steps) cannot be a file of a book, or None."""
    for step in path.split("/"):
        why = objection_to_name(step)
        if why:
            return why
    return None


def is_oid(text: str) -> bool:
    """Exactly 40 lower-case hex digits."""
    return _OID.fullmatch(text) is not None


def is_ref(text: str) -> bool:
    """A full reference name made of plain characters."""
    return _REF.fullmatch(text) is not None


def is_slug(text: str) -> bool:
    """Lower-case words and digits joined by single hyphens."""
    return _SLUG.fullmatch(text) is not None
