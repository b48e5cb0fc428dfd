"""The guards before YAML is read: size, encoding and characters.

Promises: text comes out only if it is small enough, UTF-8 without a byte order
mark, in normalisation form C, and free of characters that hide or disturb
words. Leaves the shape of the text to `yamltext`.
"""

from __future__ import annotations

from specctl.codec import scalars
from specctl.problem import Place, Problem

MOST_BYTES = 256 * 1024
MOST_PROBLEMS = 50


def decode(raw: bytes, file: str) -> tuple[str | None, list[Problem]]:
    """The text of a file, or None; any problem means it must not be read further."""
    if len(raw) > MOST_BYTES:
        return None, [
            Problem(
                "yaml-too-big",
                Place(file),
                f"the file has {len(raw)} bytes; the most is {MOST_BYTES}",
                "Split it into records of its own.",
            )
        ]
    if raw.startswith((b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")):
        return None, [
            Problem(
                "yaml-encoding",
                Place(file, 1, 1),
                "the file begins with a byte order mark",
                "Save it as UTF-8 without a byte order mark.",
            )
        ]
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        column = error.start - raw.rfind(b"\n", 0, error.start)
        return None, [
            Problem(
                "yaml-encoding",
                Place(file, line, column),
                f"a byte (0x{raw[error.start]:02X}) that is not UTF-8",
                "Save the file as UTF-8.",
            )
        ]
    found = [
        Problem(
            "yaml-character",
            _place(text, at, file),
            what,
            "Use spaces instead." if "tab" in what else "Remove it, or type the character again.",
        )
        for at, what in scalars.stray_characters(text)
    ]
    if not scalars.is_composed(text):
        for number, line_text in enumerate(text.split("\n"), 1):
            if not scalars.is_composed(line_text):
                found.append(
                    Problem(
                        "yaml-character",
                        Place(file, number, 1),
                        "text that is not in Unicode normalisation form C",
                        "Type the accented letter again as one character.",
                    )
                )
                break
    return text, found[:MOST_PROBLEMS]


def _place(text: str, at: int, file: str) -> Place:
    return Place(file, text.count("\n", 0, at) + 1, at - text.rfind("\n", 0, at))
