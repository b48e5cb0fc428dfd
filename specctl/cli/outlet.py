"""Where words go: results on stdout, words about them on stderr, harmless on any screen."""

from __future__ import annotations

import json
import os
import shutil
import sys
from typing import Any

from specctl.report.clean import visible


def result(text: str) -> None:
    """A result, on stdout. The text has been made for the screen already."""
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


def result_json(value: Any) -> None:
    """A result as JSON: stable keys, readable, no character that could move a cursor."""
    text = json.dumps(value, ensure_ascii=False, indent=2, sort_keys=True)
    sys.stdout.write("".join(c if c == "\n" or c.isprintable() else f"\\u{ord(c):04x}" for c in text) + "\n")


def say(text: str) -> None:
    """Words about the result, on stderr; whatever they quote is made visible first."""
    sys.stderr.write("\n".join(visible(line) for line in text.split("\n")) + "\n")


def count(number: int, thing: str) -> str:
    """`1 file`, `2 files`: a number with its word."""
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def width() -> int:
    """Columns to write for: the terminal's, or 80 where there is none."""
    return max(40, shutil.get_terminal_size((80, 24)).columns)


def colour() -> bool:
    """Colour only on a terminal, and never against NO_COLOR."""
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def progress(text: str) -> None:
    """A note on slow work, only where somebody watches."""
    if sys.stderr.isatty():
        say(text)
