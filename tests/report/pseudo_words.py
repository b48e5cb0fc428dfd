"""A language made up for tests: every letter of a message in another alphabet, the places kept.

What is left in Latin letters on a page did not come through the catalogue. The
alphabets are real ones, so that a browser sets them as it sets any text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from gettext import NullTranslations
from html.parser import HTMLParser
from typing import Any

LATIN = "abcdefghijklmnopqrstuvwxyz"
CYRILLIC = "абцдефгхийклмнопярстувшжыз"  # 26 letters, each with a capital
ARABIC = "ابجدهوزحطيكلمنسعفصقرشتثخذض"  # right to left
PLACE = re.compile(r"(\{[a-z_]+\})")

COMMAND = r"\bspecctl [^)]*"  # a line to type is the same in every language
# What may stand in Latin letters on any page, and why.
ALLOWED = (
    r"\b[0-9a-f]{64}\b|\b[0-9a-f]{40}\b|\b[0-9a-f]{12}\b",  # digests and commits
    r"\bk?g\b|\bml\b|\bmm\b|\bg/ml\b",  # symbols of units (SI brochure, 5.2: the same in all languages)
    r"\b(?:GBP|EUR|USD)\b",  # ISO 4217
    r"\bUTC\b",  # ITU-R TF.460
    r"^[A-Z]$",  # the letters over a map's columns, told beside it
    r"\((?:chain|franchise/[a-z0-9-]+)\)",  # a scope as commands take it, behind its name
    r"\b(?:[a-z-]+/)+[a-z0-9-]+\.yaml\b",  # a file of the book
)


class Pseudo(NullTranslations):
    """Says every message with its letters exchanged."""

    def __init__(self, alphabet: str) -> None:
        super().__init__()
        assert len(alphabet) == len(LATIN) == len(set(alphabet))
        self._table = str.maketrans(LATIN + LATIN.upper(), alphabet + alphabet.upper())

    def gettext(self, message: str) -> str:
        return "".join(part if PLACE.fullmatch(part) else part.translate(self._table) for part in PLACE.split(message))

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return self.gettext(msgid1 if n == 1 else msgid2)


def strings(value: Any) -> Iterator[str]:
    """Every text in a value, keys included."""
    if isinstance(value, str):
        yield value
    elif is_dataclass(value) and not isinstance(value, type):
        for field in fields(value):
            yield from strings(getattr(value, field.name))
    elif isinstance(value, Mapping):
        for key, held in value.items():
            yield from strings(key)
            yield from strings(held)
    elif isinstance(value, (list, tuple, set, frozenset)):
        for held in value:
            yield from strings(held)


class Texts(HTMLParser):
    """The runs of text a reader meets, a block each; what is read aloud from attributes too."""

    _WITHIN = frozenset(("bdi", "strong", "a", "code", "span"))
    _SPOKEN = frozenset(("alt", "title", "aria-label"))

    def __init__(self, page: str) -> None:
        super().__init__()
        self.runs: list[str] = []
        self.drawn: list[str] = []
        self._held, self._silent, self._svg = "", 0, 0
        self.feed(page)
        self._end()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self._WITHIN:
            self._end()
        self._silent += tag == "style"
        self._svg += tag == "svg"
        self.runs += [value for name, value in attrs if name in self._SPOKEN and value]

    def handle_endtag(self, tag: str) -> None:
        if tag not in self._WITHIN:
            self._end()
        self._silent -= tag == "style"
        self._svg -= tag == "svg"

    def handle_data(self, data: str) -> None:
        self._held += "" if self._silent else data

    def _end(self) -> None:
        text = plain(self._held)
        if text:
            (self.drawn if self._svg else self.runs).append(text)
        self._held = ""


def plain(text: str) -> str:
    """Without what only shapes lines: no-break spaces, joiners, places to part a word."""
    return " ".join(text.replace("\u00a0", " ").replace("\u2060", "").replace("\u200b", "").split())


def unsaid(runs: Iterable[str], data: Iterable[str], pieces: bool = False) -> dict[str, str]:
    """Words in Latin letters that are neither data nor allowed, each with a run that holds it.

    `data`: the texts of specs. With `pieces` a run may also be a part of one, as
    the lines of a label in a picture are.
    """
    known = {plain(text) for text in data if re.search("[A-Za-z]", text)}
    known |= {text.replace("-", " ") for text in known} | {text.partition("/")[2] for text in known if "/" in text}
    known |= {text.partition(",")[0] for text in known}  # a tool by the first part of its name, where no two read alike
    known.discard("")
    longest_first = sorted(known, key=lambda text: (-len(text), text))
    data_words = re.compile("|".join(rf"(?<![A-Za-z0-9]){re.escape(text)}(?![A-Za-z0-9])" for text in longest_first), re.IGNORECASE)
    allowed = re.compile("|".join(ALLOWED))
    commands = re.compile(COMMAND)
    everything = "\n".join(longest_first).casefold()
    found: dict[str, str] = {}
    for run in runs:
        latin = re.search("[A-Za-z](?:.*[A-Za-z])?", run)
        if pieces and (latin is None or latin[0].casefold() in everything):
            continue
        left = allowed.sub("", data_words.sub("", commands.sub("", run)))
        for word in re.findall("[A-Za-z][A-Za-z' ]*", left):
            found.setdefault(word.strip(), run)
    return found


def unsaid_on(page: str, data: Iterable[str]) -> dict[str, str]:
    """The same for a page of HTML, its pictures included."""
    texts, known = Texts(page), tuple(data)
    return {**unsaid(texts.runs, known), **unsaid(texts.drawn, known, pieces=True)}
