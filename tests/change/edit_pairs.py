"""Seeded pairs of edits that two people make at once to one record of the demo book.

An edit changes one amount in grams where it stands in the text. The two of a
pair change different amounts, so both can be had: the text with both edits
made by hand is what a right merge must mean, whatever the merge is made of.
"""

from __future__ import annotations

import random
import re
from dataclasses import dataclass
from pathlib import Path

SPECS = Path(__file__).resolve().parents[2] / "specs"
_GRAMS = re.compile(rb"(?<![\w.])(\d+(?:\.\d+)?) g(?![\w/])(?! at)")


@dataclass(frozen=True)
class Pair:
    """One file: before, with one edit, with the other, with both made by hand."""

    path: str
    base: bytes
    ours: bytes
    theirs: bytes
    both: bytes


def pairs(count: int, seed: int) -> list[Pair]:
    """So many pairs; the places are drawn evenly from the records' amounts."""
    dice = random.Random(seed)
    files = {p.relative_to(SPECS).as_posix(): p.read_bytes() for kind in ("drinks", "preps") for p in sorted((SPECS / kind).glob("*.yaml"))}
    places = {path: _places(text) for path, text in files.items()}
    able = sorted(path for path, found in places.items() if len(found) > 1)
    made = []
    for _ in range(count):
        path = dice.choice(able)
        one, two = dice.sample(places[path], 2)
        more = {one: dice.randint(1, 9), two: dice.randint(1, 9)}
        ours, theirs, both = (_edited(files[path], {at: more[at] for at in chosen}) for chosen in ((one,), (two,), (one, two)))
        made.append(Pair(path, files[path], ours, theirs, both))
    return made


def _places(text: bytes) -> list[int]:
    """Where amounts stand, but for comments and sentences."""
    found, start = [], 0
    for line in text.splitlines(keepends=True):
        if b"#" not in line and not re.match(rb"\s*(do|note|name|-)\b", line) and b"amount:" in line:
            found += [start + m.start() for m in _GRAMS.finditer(line)]
        start += len(line)
    return found


def _edited(text: bytes, more: dict[int, int]) -> bytes:
    for at in sorted(more, reverse=True):
        match = _GRAMS.match(text, at)
        assert match is not None
        whole, point, rest = match[1].partition(b".")
        text = text[:at] + str(int(whole) + more[at]).encode() + point + rest + text[match.end(1) :]
    return text
