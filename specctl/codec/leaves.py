"""What was written over in a text, seen without reading it again.

Most edits put another number before a unit, or other words in a sentence. Two
texts that differ in nothing but such scalars have one tree but for these, and
where the first reads without a problem so does the second: a number before
its unit, and words that could stand there plain, change neither how a line is
taken apart nor what a schema says of it. Whatever else differs, a comment
included, there is no answer, and the text is read as any other.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from specctl.codec import scalars
from specctl.codec.meaning import base_form
from specctl.codec.node import MAP, SCALAR, Node

MOST_QUANTITY = 12
MOST_WRITTEN = 60
MOST_WORDS = 40
# Sentences and names: texts that no schema holds to a form of its own.
WORDS = frozenset({"name", "title", "why", "note", "do", "caution"})

_NUMBER = r"(?:0|[1-9][0-9]{0,5})(?:\.[0-9]{1,4})?"
_UNIT = r"(?:[A-Za-z][A-Za-z0-9/-]{0,63}|°C|%)"
# `30 g`; and as it was measured: `38 ml at 1.2295 g/ml`, `2 scoop-amber at 6 g each`.
_QUANTITY = re.compile(rf"{_NUMBER} ({_UNIT})(?: at {_NUMBER} ({_UNIT}(?: each)?))?")

Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Leaf:
    """A plain scalar on one line: its path, its line from 0, its columns there, its text."""

    path: Path
    line: int
    start: int
    end: int
    text: str

    @property
    def words(self) -> bool:
        return self.path[-1] in WORDS

    @property
    def meaning(self) -> str:
        """What change control takes it for (`codec.meaning`)."""
        return self.text if self.words else base_form(self.text)


@dataclass(frozen=True)
class Leaves:
    """The lines of a text that reads without a problem, and the scalars that may be written over in place."""

    lines: tuple[str, ...]
    by_path: Mapping[Path, Leaf]

    @cached_property
    def by_line(self) -> dict[int, list[Leaf]]:
        """The leaves of each line, from left to right."""
        found: dict[int, list[Leaf]] = {}
        for leaf in sorted(self.by_path.values(), key=lambda one: (one.line, one.start)):
            found.setdefault(leaf.line, []).append(leaf)
        return found

    @cached_property
    def _patterns(self) -> dict[int, re.Pattern[str]]:
        return {}

    def written_over(self, text: str) -> dict[Path, Leaf] | None:
        """The leaves that `text` has otherwise; None where anything else differs from this text."""
        lines = text.split("\n")
        if len(lines) != len(self.lines):
            return None
        found: dict[Path, Leaf] = {}
        for number in [n for n, (was, now) in enumerate(zip(self.lines, lines, strict=True)) if was != now]:
            leaves = self._taken_apart(number, lines[number])
            if leaves is None:
                return None
            found.update((leaf.path, leaf) for leaf in leaves)
        return found

    def _taken_apart(self, number: int, line: str) -> list[Leaf] | None:
        """The leaves of a line that differ, if they are all that does."""
        leaves = self.by_line.get(number)
        if leaves is None or not _clean(line):
            return None
        pattern = self._patterns.get(number)
        if pattern is None:
            pattern = self._patterns[number] = _pattern(self.lines[number], leaves)
        match = pattern.fullmatch(line)
        if match is None:
            return None
        found = []
        for place, leaf in enumerate(leaves, 1):
            if match[place] != leaf.text:
                new = Leaf(leaf.path, number, *match.span(place), match[place])
                if not _may_follow(leaf, new.text):
                    return None
                found.append(new)
        return found

    def with_over(self, over: Mapping[Path, str]) -> str | None:
        """The text with other scalars at these paths; None where there is no leaf at one of them."""
        lines = list(self.lines)
        by_line: dict[int, list[tuple[int, int, str]]] = {}
        for path, text in over.items():
            leaf = self.by_path.get(path)
            if leaf is None:
                return None
            by_line.setdefault(leaf.line, []).append((leaf.start, leaf.end, text))
        for number, changes in by_line.items():
            line = lines[number]
            for start, end, text in sorted(changes, reverse=True):
                line = line[:start] + text + line[end:]
            lines[number] = line
        return "\n".join(lines)


def leaves_of(tree: Node, text: str) -> Leaves:
    """The leaves of a text and its tree, which must have been read without a problem."""
    lines = tuple(text.split("\n"))
    found: dict[Path, Leaf] = {}
    _walk(tree, (), lines, found)
    return Leaves(lines, found)


def _walk(node: Node, path: Path, lines: tuple[str, ...], found: dict[Path, Leaf]) -> None:
    if node.kind == MAP:
        for item in node.items:
            _walk(item.node, (*path, item.key), lines, found)
    elif node.kind == SCALAR and isinstance(node.value, str) and not node.style and path:
        start = node.column - 1
        leaf = Leaf(path, node.line - 1, start, start + node.end - node.start, node.value)
        # A scalar that goes on over lines has other text there than its value.
        if lines[leaf.line][start : leaf.end] == leaf.text and (leaf.words or _QUANTITY.fullmatch(leaf.text)):
            found[path] = leaf


def _pattern(line: str, leaves: list[Leaf]) -> re.Pattern[str]:
    """The line with anything that could stand at its leaves; all else to the letter."""
    parts, at = [], 0
    for leaf in leaves:
        match = None if leaf.words else _QUANTITY.fullmatch(leaf.text)
        if match is None:
            value = r"([^\[\]{},\r\n]+)"
        else:
            behind = f" at {_NUMBER} {re.escape(match[2])}" if match[2] else ""
            value = f"({_NUMBER} {re.escape(match[1])}{behind})"
        parts += [re.escape(line[at : leaf.start]), value]
        at = leaf.end
    return re.compile("".join([*parts, re.escape(line[at:])]))


def _may_follow(leaf: Leaf, text: str) -> bool:
    """Whether a text reads, and passes its schema, where this leaf does."""
    if leaf.words:
        return len(text) <= max(MOST_WORDS, len(leaf.text)) and scalars.may_stay_plain(text)
    most = MOST_WRITTEN if " at " in leaf.text else MOST_QUANTITY
    return len(text) <= max(most, len(leaf.text))


def _clean(line: str) -> bool:
    """Whether the guards before YAML let a line pass."""
    return scalars.is_composed(line) and next(scalars.stray_characters(line), None) is None
