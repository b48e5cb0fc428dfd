"""Print rules that depend on the page: what stands at the head of each printed page, as a style sheet.

It is text from outside inside a style sheet, so every character but
plain letters, digits and spaces is written as its code point (CSS Syntax
Level 3, section 4.3.7); nothing in it can end the string.
"""

from __future__ import annotations

from specctl.report.clean import visible


def page_rules(footer: str) -> str:
    """CSS that repeats `footer` and the page count at the head of each printed page."""
    words = css_string(footer)
    # One box over the whole width: it reads the same from the right as from the left.
    return (
        "@page{margin:20mm 12mm 12mm}"
        f'@page{{@top-center{{content:{words} " \\b7  " counter(page) " / " counter(pages);'
        "font:8pt sans-serif;width:100%;text-align:start;vertical-align:bottom;padding-bottom:3mm}}"
    )


def css_string(text: str) -> str:
    """`text` as a quoted CSS string that holds nothing active."""
    return '"' + "".join(_escaped(character) for character in visible(text)) + '"'


def _escaped(character: str) -> str:
    if character == " " or (character.isascii() and character.isalnum()):
        return character
    # One space after an escape belongs to it (section 4.3.7), so it is always written.
    return f"\\{ord(character):x} "
