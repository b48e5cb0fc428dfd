"""Reads the YAML of a book, and nothing more of YAML than a book needs.

Promises: one walk over the parser's events, guarded by size, depth and count
before anything is built; no alias, anchor, tag, merge key, directive, second
document, repeated key, empty value, or scalar that another reader would
misread. Every failure is a `Problem` with file, line and column; nothing of
the library's comes out. Leaves what the values mean to `schema` and `decode`.
The only module that knows ruamel.yaml, imported when first needed.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator
from typing import Any

from specctl.codec import scalars
from specctl.codec.node import LIST, MAP, SCALAR, Item, Node
from specctl.codec.yamlguard import MOST_PROBLEMS, decode
from specctl.problem import Place, Problem

MOST_DEPTH = 32
MOST_EVENTS = 20_000

_DIRECTIVE = re.compile(r"^%", re.MULTILINE)


class _Halt(Exception):
    """Reading cannot go on; carries the problem."""

    def __init__(self, problem: Problem) -> None:
        super().__init__(problem.what)
        self.problem = problem


def read(text: bytes, file: str) -> tuple[Node | None, list[Problem]]:
    """The tree of a file and its problems.

    A node that comes with problems is there to look for more problems; nothing
    may be built on it. None where the text has no readable shape at all.
    """
    decoded, problems = decode(text, file)
    if decoded is None or problems:
        return None, problems
    walk = _Walk(decoded, file)
    try:
        node = walk.run()
    except _Halt as halt:
        return None, [*walk.problems, halt.problem][:MOST_PROBLEMS]
    problems = sorted(walk.problems, key=lambda p: (p.place, p.code))
    return node, problems[:MOST_PROBLEMS]


class _Frame:
    """A map or list whose end has not been met yet."""

    __slots__ = ("end", "event", "is_map", "items", "key", "keys")

    def __init__(self, event: Any, is_map: bool) -> None:
        self.event = event
        self.is_map = is_map
        self.items: list[Any] = []
        self.key: Node | None = None
        self.keys: set[str] = set()
        self.end = event.start_mark.index


class _Walk:
    """One pass over the events of one text."""

    def __init__(self, text: str, file: str) -> None:
        self.text = text
        self.file = file
        self.problems: list[Problem] = []
        self.frames: list[_Frame] = []
        self.spans: list[tuple[int, int]] = []
        self.value_lines: dict[int, str] = {}
        self.root: Node | None = None

    def run(self) -> Node | None:
        """The tree, with what is wrong in `problems`; _Halt where it cannot go on."""
        for count, event in enumerate(self._events(), 1):
            if count > MOST_EVENTS:
                self._halt("yaml-too-big", event, f"more than {MOST_EVENTS} values", "Split it.")
            self._take(event)
        if self.root is None:
            self.problems.append(
                Problem("yaml-empty", Place(self.file), "the file is empty", "Write the record, or remove the file.")
            )
            return None
        self._look_between()
        return self.root

    def _events(self) -> Iterator[Any]:
        """The library's events; whatever it raises becomes a problem here."""
        from ruamel.yaml import YAML
        from ruamel.yaml.error import MarkedYAMLError

        events = YAML(typ="safe", pure=True).parse(self.text)
        last: Any = None
        while True:
            try:
                last = next(events)
            except StopIteration:
                return
            except MarkedYAMLError as error:
                mark = error.problem_mark or error.context_mark
                place = Place(self.file, mark.line + 1, mark.column + 1) if mark else self._behind(last)
                raise _Halt(_broken(place, str(error.problem or ""))) from None
            except Exception:
                # Bad escapes and the like leak as any built-in exception.
                raise _Halt(_broken(self._behind(last), "")) from None
            yield last

    def _behind(self, event: Any) -> Place:
        """The place behind the last event that could be read."""
        if event is None:
            return Place(self.file)
        return Place(self.file, event.end_mark.line + 1, event.end_mark.column + 1)

    def _take(self, event: Any) -> None:
        name = type(event).__name__
        if name == "ScalarEvent":
            self._refuse_extras(event)
            self._scalar(event)
        elif name == "MappingStartEvent" or name == "SequenceStartEvent":
            self._refuse_extras(event)
            self._open(event, name == "MappingStartEvent")
        elif name == "MappingEndEvent" or name == "SequenceEndEvent":
            self._close(event)
        elif name == "AliasEvent":
            self._halt("yaml-alias", event, "an alias (*name)", "Write the value out.")
        elif name == "DocumentStartEvent":
            if self.root is not None:
                self._halt("yaml-document", event, "a second document", "One record a file: remove what follows ---.")
            if event.version is not None or event.tags:
                self._halt("yaml-directive", event, "a directive (%…)", "Remove the line that begins with %.")

    def _refuse_extras(self, event: Any) -> None:
        if event.anchor is not None:
            self._halt("yaml-alias", event, "an anchor (&name)", "Remove it and write values out.")
        if event.tag is not None:
            self._halt("yaml-tag", event, "a tag (!name)", "Remove it; a value in quotes is text.")

    def _open(self, event: Any, is_map: bool) -> None:
        if len(self.frames) >= MOST_DEPTH:
            self._halt("yaml-too-deep", event, f"nested deeper than {MOST_DEPTH}", "Flatten it.")
        top = self.frames[-1] if self.frames else None
        if top is not None and top.is_map and top.key is None:
            self._halt("yaml-key", event, "a key that is a map or a list", "Write a name as the key.")
        if event.flow_style:
            self.value_lines[event.start_mark.line] = self._nearest_key()
        self.frames.append(_Frame(event, is_map))

    def _close(self, event: Any) -> None:
        frame = self.frames.pop()
        start = frame.event.start_mark
        flow = bool(frame.event.flow_style)
        if flow:
            frame.end = event.end_mark.index
            self.value_lines[event.end_mark.line] = self._nearest_key()
        node = Node(
            MAP if frame.is_map else LIST, None,
            start.line + 1, start.column + 1, start.index, frame.end,
            "flow" if flow else "block", tuple(frame.items),
        )
        self._place_value(node)

    def _scalar(self, event: Any) -> None:
        text: str = event.value
        start, end = event.start_mark, event.end_mark.index
        self.spans.append((start.index, end))
        style = "" if event.style is None else str(event.style)
        if style in ("|", ">"):
            while end > start.index and self.text[end - 1] in "\r\n ":
                end -= 1
        frame = self.frames[-1] if self.frames else None
        is_key = frame is not None and frame.is_map and frame.key is None
        value = self._value(event, text, style, is_key)
        node = Node(SCALAR, value, start.line + 1, start.column + 1, start.index, end, style)
        if is_key:
            assert frame is not None
            self._place_key(frame, node, event)
            return
        # An empty value stands where the next token does, not on a line of its own.
        if text or style:
            key = self._nearest_key()
            for line in range(start.line, event.end_mark.line + (style not in ("|", ">"))):
                self.value_lines[line] = key
            self.value_lines[start.line] = key
        self._place_value(node)

    def _value(self, event: Any, text: str, style: str, is_key: bool) -> Any:
        if style:
            if style == '"':
                for _, what in scalars.stray_characters(text.replace("\n", " ")):
                    self._add("yaml-character", event, what + " by way of an escape", "Remove it.")
                if not scalars.is_composed(text):
                    self._add("yaml-character", event, "text that is not in Unicode normalisation form C", "Type it without escapes.")
            return text
        if not text:
            if is_key:
                self._add("yaml-key", event, "an empty key", "Write a name as the key.")
            else:
                self._missing(event)
            return ""
        try:
            value = scalars.resolve(text)
        except scalars.Misread:
            shown = text if len(text) <= 40 else text[:40] + "…"
            self._add(
                "yaml-ambiguous", event,
                f"{shown} without quotes is read differently by different readers",
                "Write a value, or remove the key." if text.lower() in ("null", "~")
                else "Write << as an ordinary name." if text == "<<"
                else f"Write it in quotes: {scalars.quote(shown)}.",
            )
            return text
        if is_key and not isinstance(value, str):
            self._add("yaml-key", event, f"the key {text[:40]} is not text", f"Write it in quotes: {scalars.quote(text[:40])}.")
            return text
        return value

    def _missing(self, event: Any) -> None:
        frame = self.frames[-1] if self.frames else None
        key = frame.key if frame is not None and frame.is_map else None
        if key is None:
            self._add("yaml-empty", event, "an empty value", "Write a value, or remove the entry.")
            return
        self.problems.append(
            Problem("yaml-empty", key.place(self.file), f"{_short(str(key.value))} has no value", "Write a value, or remove the key.")
        )

    def _place_key(self, frame: _Frame, node: Node, event: Any) -> None:
        key = str(node.value)
        if key == "<<":
            self._halt("yaml-merge-key", event, "a merge key (<<)", "Write the values out.")
        if "\n" in key or key != key.strip():
            self._add("yaml-key", event, f"the key {_short(key)} has a line break or outer spaces", "Write a name on one line.")
        if key in frame.keys:
            self._add("yaml-duplicate-key", event, f"the key {_short(key)} stands here twice", "Keep one of the two.")
        frame.key = node
        frame.end = node.end

    def _place_value(self, node: Node) -> None:
        if not self.frames:
            self.root = node
            return
        frame = self.frames[-1]
        if not frame.is_map:
            frame.items.append(node)
        else:
            key = frame.key
            assert key is not None
            frame.key = None
            name = str(key.value)
            if name not in frame.keys:
                frame.keys.add(name)
                frame.items.append(Item(name, key, node))
        if node.kind != SCALAR or node.value != "" or node.style:
            frame.end = max(frame.end, node.end)

    def _nearest_key(self) -> str:
        for frame in reversed(self.frames):
            if frame.is_map and frame.key is not None:
                return str(frame.key.value)
        return ""

    def _look_between(self) -> None:
        """Comments, explicit keys and directives stand in the gaps between scalars."""
        text = self.text
        if "#" not in text and "?" not in text and "%" not in text:
            return
        starts = [0]
        for match in re.finditer("\n", text):
            starts.append(match.end())
        before = 0
        for start, end in [*self.spans, (len(text), len(text))]:
            gap = text[before:start]
            if before == 0 and _DIRECTIVE.search(gap):
                raise _Halt(Problem("yaml-directive", Place(self.file, 1, 1), "a directive (%…)", "Remove the line that begins with %."))
            self._gap(gap, before, starts)
            if text[start : start + 1] in ("|", ">"):
                header = text[start : max(start, text.find("\n", start))]
                self._gap(header, start, starts)
            before = end

    def _gap(self, gap: str, offset: int, starts: list[int]) -> None:
        at = 0
        while at < len(gap):
            char = gap[at]
            if char == "#":
                self._comment(offset + at, starts)
                at = gap.find("\n", at)
                if at < 0:
                    return
            elif char == "?":
                line = bisect_right(starts, offset + at)
                place = Place(self.file, line, offset + at - starts[line - 1] + 1)
                raise _Halt(Problem("yaml-key", place, "a key marked with ?", "Write it as key: value."))
            at += 1

    def _comment(self, at: int, starts: list[int]) -> None:
        line = bisect_right(starts, at)
        # "Milk #2" reads as "Milk", and half a step of a method may go the same way: no
        # value may share its line with a comment, whatever it is for.
        if line - 1 not in self.value_lines:
            return
        self.problems.append(
            Problem(
                "yaml-comment",
                Place(self.file, line, at - starts[line - 1] + 1),
                "a comment behind a value",
                "Put the comment on a line of its own, above; or quote the value if # belongs to it.",
            )
        )

    def _add(self, code: str, event: Any, what: str, todo: str) -> None:
        if len(self.problems) < MOST_PROBLEMS:
            self.problems.append(self._problem(code, event, what, todo))

    def _halt(self, code: str, event: Any, what: str, todo: str) -> None:
        raise _Halt(self._problem(code, event, what, todo))

    def _problem(self, code: str, event: Any, what: str, todo: str) -> Problem:
        mark = event.start_mark
        return Problem(code, Place(self.file, mark.line + 1, mark.column + 1), what, todo)


def _short(text: str) -> str:
    shown = "".join(c if c.isprintable() else f"<U+{ord(c):04X}>" for c in text[:40])
    return shown + ("…" if len(text) > 40 else "")


def _broken(place: Place, why: str) -> Problem:
    detail = f": {_short(why) if len(why) <= 40 else why[:100]}" if why.isprintable() and why else ""
    return Problem(
        "yaml-syntax",
        place,
        f"this is not readable as YAML{detail}",
        "Look at the indentation, the colons and the quotes on this line and the one before.",
    )
