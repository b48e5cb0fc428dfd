"""Seeded pairs of edits that two people make at once to one record of the demo book.

An edit of `pairs` changes one amount in grams where it stands in the text. The
two of a pair change different amounts, so both can be had: the text with both
edits made by hand is what a right merge must mean, whatever the merge is made
of. Those of `mixed` are of every kind: amounts, sentences, lines, steps, members
of sets that come, go or change.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from specctl.codec import spans
from specctl.codec.edits import (
    DeleteKey,
    Edit,
    add_item,
    delete_key,
    insert_key,
    meaning_after,
    remove_item,
    set_scalar,
    tree_of,
)

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


@dataclass(frozen=True)
class Mixed:
    """One file: before, with one edit, with the other, and what both of them mean (plain data)."""

    path: str
    base: bytes
    ours: bytes
    theirs: bytes
    meant: Any


def mixed(count: int, seed: int) -> list[Mixed]:
    """Pairs of edits of every kind authors make, in different places of one record: nothing in dispute.

    The texts are made by edits of text; what both mean is worked out on plain data alone.
    """
    dice = random.Random(seed)
    files = {p.relative_to(SPECS).as_posix(): p.read_text() for kind in ("drinks", "preps", "ingredients") for p in sorted((SPECS / kind).glob("*.yaml"))}
    trees = {path: tree_of(text).plain() for path, text in files.items()}
    made: list[Mixed] = []
    while len(made) < count:
        path = dice.choice(sorted(files))
        one, two = (_edit(trees[path], dice, tag) for tag in ("a", "b"))
        if one is None or two is None or not _apart(_where(one), _where(two)):
            continue
        ours, theirs = (spans.apply(files[path], [edit]) for edit in (one, two))
        made.append(Mixed(path, files[path].encode(), ours.encode(), theirs.encode(), meaning_after(trees[path], [one, two])))
    return made


def _where(edit: Edit) -> tuple[Any, ...]:
    """The mapping, set or scalar an edit moves: one that comes or goes moves the mapping it stands in."""
    return edit.path[:-1] if isinstance(edit, DeleteKey) else edit.path


def _apart(one: tuple[Any, ...], two: tuple[Any, ...]) -> bool:
    return one[: len(two)] != two and two[: len(one)] != one


def _edit(plain: Any, dice: random.Random, tag: str) -> Edit | None:
    kind = dice.choice(["amount", "words", "line", "no line", "step", "member", "no member", "field"])
    places = [(path, value) for path, value in _all(plain, ()) if _fits(kind, path, value)]
    if not places:
        return None
    path, value = dice.choice(places)
    match kind:
        case "amount":
            number, unit = value.split(" ")
            return set_scalar(path, f"{int(number.partition('.')[0]) + dice.randint(1, 9)} {unit}")
        case "words":
            return set_scalar(path, f"{value.rstrip('.')}, {dice.choice(['gently', 'at once', 'as said: twice'])}")
        case "line":
            return insert_key(path, f"extra-{tag}", {"use": "water", "amount": f"{dice.randint(1, 30)} g"}, dice.choice([None, "", *value]))
        case "step":
            return insert_key(path, f"extra-{tag}", {"do": "Look at the cup from the side."}, dice.choice([None, "", *value]))
        case "no line":
            return delete_key((*path, dice.choice(sorted(value))))
        case "member":
            return add_item(path, f"extra-{tag}")
        case "no member":
            return remove_item(path, dice.randrange(len(value)))
    return insert_key(path, "note", f"Seen by {tag}.")


def _fits(kind: str, path: tuple[Any, ...], value: Any) -> bool:
    if kind == "amount":
        return isinstance(value, str) and re.fullmatch(r"\d+(\.\d+)? (g|h|d|%|ml)", value) is not None
    if kind == "words":
        return path[-1:] in (("do",), ("note",)) and isinstance(value, str)
    if kind in ("line", "no line"):
        return path[-1:] == ("lines",) and isinstance(value, dict) and len(value) > 1 and "choices" not in path
    if kind == "step":
        return path == ("steps",)
    if kind in ("member", "no member"):
        return isinstance(value, list) and len(value) > 1 and path[0] in ("claims", "allergens", "steps") and "answers_for" not in path
    return isinstance(value, dict) and "note" not in value and (not path or path[-2:-1] == ("lines",)) and "choices" not in path


def _all(value: Any, path: tuple[Any, ...]) -> Iterator[tuple[tuple[Any, ...], Any]]:
    yield path, value
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _all(inner, (*path, key))
