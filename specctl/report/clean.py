"""Hostile text made harmless before anybody reads it.

Names and steps come out of files that somebody else wrote. A character that
draws nothing, moves the cursor or turns the reading direction can hide an
allergen, so each is shown as its code point, `⟨U+202E⟩`, and never dropped:
a reader must see that something is there. `visible` comes first everywhere;
the others add what one medium needs besides. HTML escaping itself is done by
the autoescape of `specctl.report.page`.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

from specctl.errors import Refused

# Unicode, DerivedCoreProperties, Default_Ignorable_Code_Point: drawn as nothing
# though some of them count as letters or marks. A test asks a browser's own
# Unicode data for the same property.
_DRAWN_AS_NOTHING = (
    (0x00AD, 0x00AD), (0x034F, 0x034F), (0x061C, 0x061C), (0x115F, 0x1160),
    (0x17B4, 0x17B5), (0x180B, 0x180F), (0x200B, 0x200F), (0x202A, 0x202E),
    (0x2060, 0x206F), (0x3164, 0x3164), (0xFE00, 0xFE0F), (0xFEFF, 0xFEFF),
    (0xFFA0, 0xFFA0), (0xFFF0, 0xFFF8), (0x1BCA0, 0x1BCA3),
    (0x1D173, 0x1D17A), (0xE0000, 0xE0FFF),
)  # fmt: skip
_BLANK_SYMBOLS = frozenset("\u2800")
_HIDDEN_CATEGORIES = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))
_MARKS = frozenset(("Mn", "Me"))
# Living scripts stack two or three marks on a letter; a longer stack only
# serves to write over the neighbouring lines.
_MOST_MARKS = 3

# What nearly every text is made of: printable ASCII, the letters of Latin-1 and Latin
# Extended-A (without the no-break space and the soft hyphen), and common punctuation.
_HARMLESS = re.compile("[ -~¡-¬®-ſ–—‘’“”…€×]*")
_PLAIN_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_FORMULA_STARTS = frozenset("=+-@\uff1d\uff0b\uff0d\uff20\u2212")
_MARKDOWN_ACTIVE = re.compile(r"([!-/:-@\[-`{-~])")
_FILE_NAME = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*(\.[a-z0-9]+)?")
_DEVICE_NAMES = frozenset(
    ["con", "prn", "aux", "nul"]
    + [f"{port}{number}" for port in ("com", "lpt") for number in range(10)]
)


def visible(text: str) -> str:
    """`text` on one line, every character that hides or steers shown as `⟨U+XXXX⟩`.

    Safe for a terminal: no escape, no control, no direction mark is left.
    Spaces of any width become a plain space. Idempotent.
    """
    if _HARMLESS.fullmatch(text):
        return text
    shown: list[str] = []
    marks = _MOST_MARKS  # a mark at the very start has nothing to sit on
    for character in text:
        category = unicodedata.category(character)
        if category in _MARKS:
            marks += 1
        elif category == "Zs":
            marks = _MOST_MARKS
        else:
            marks = 0
        if category == "Zs":
            shown.append(" ")
        elif _hides(character, category) or marks > _MOST_MARKS:
            shown.append(code_point(character))
        else:
            shown.append(character)
    return "".join(shown)


def code_point(character: str) -> str:
    """One character as `⟨U+202E⟩`."""
    return f"⟨U+{ord(character):04X}⟩"


def visible_lines(text: str) -> list[str]:
    """`text` cut at its line feeds, each line as `visible` shows it."""
    return [visible(line) for line in text.split("\n")]


def for_markdown(text: str) -> str:
    """`text` as inline Markdown that means nothing but itself, table cells included.

    Every ASCII punctuation character is escaped by a backslash, which CommonMark
    0.31 (section 2.4) allows for all of them; outer spaces, which could open a
    code block, go.
    """
    return _MARKDOWN_ACTIVE.sub(r"\\\1", visible(text).strip(" "))


def for_csv(text: str) -> str:
    """`text` as one CSV cell a spreadsheet will not run; quoting is the writer's.

    A cell that starts like a formula gets an apostrophe in front. A plain signed
    number stays one.
    """
    shown = visible(text)
    if _PLAIN_NUMBER.fullmatch(shown):
        return shown
    if shown.lstrip(" ")[:1] in _FORMULA_STARTS and shown.strip(" "):
        return "'" + shown
    return shown


def file_name(name: str) -> str:
    """`name` itself when it is a plain lower-case file name; raises Refused otherwise.

    No folder, no leading dot, no space, no name a desktop system keeps for a
    device; at most 100 characters.
    """
    if len(name) > 100 or not _FILE_NAME.fullmatch(name):
        raise Refused(
            f"'{visible(name)[:120]}' will not do as a file name",
            "Use lower-case letters, digits and single hyphens, and one ending.",
        )
    if name.split(".")[0] in _DEVICE_NAMES:
        raise Refused(f"'{name}' is a device name on some systems", "Use another name.")
    return name


def columns(text: str) -> int:
    """How many terminal columns `text` takes once made visible.

    East Asian wide and full-width characters take two (Unicode UAX 11), marks none.
    """
    if text.isascii() or _HARMLESS.fullmatch(text):
        return len(text)
    return sum(_columns_of(character) for character in text)


def _columns_of(character: str) -> int:
    if unicodedata.category(character) in _MARKS:
        return 0
    return 2 if unicodedata.east_asian_width(character) in ("W", "F") else 1


@lru_cache(maxsize=4096)
def _hides(character: str, category: str) -> bool:
    if category in _HIDDEN_CATEGORIES or character in _BLANK_SYMBOLS:
        return True
    number = ord(character)
    return any(first <= number <= last for first, last in _DRAWN_AS_NOTHING)
