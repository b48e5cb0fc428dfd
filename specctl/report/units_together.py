"""Keeps a number and its unit, or a currency and its number, on one line."""

from __future__ import annotations

import re

NO_BREAK = "\u00a0"

_AFTER_NUMBER = re.compile(r"(?<=[0-9]) (?=(?:g|kg|ml|mm|l|%|points?|cups?|sites?|days?)\b|%)")
_AFTER_CURRENCY = re.compile(r"(?<![A-Za-z])([A-Z]{3}) (?=[0-9])")


def together(text: str, joint: str) -> str:
    """`text` with `joint` in place of the space between a number and its unit."""
    return _AFTER_CURRENCY.sub(rf"\1{joint}", _AFTER_NUMBER.sub(joint, text))
