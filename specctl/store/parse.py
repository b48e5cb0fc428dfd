"""Raw git objects to small values, strictly.

Pure: bytes in, values out, `Damaged` or `Refused` for what no honest git would
write or a book may not hold. Two readers of one tree must see one content, so
repeated, unsorted and oddly named entries are refused here.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from specctl.errors import Damaged, Refused
from specctl.store.names import objection_to_name
from specctl.store.process import plain

FILE_MODES = ("100644", "100755")
FOLDER_MODE = "40000"

_PERSON = re.compile(rb"(?P<name>[^<>\n\0]*) <(?P<email>[^<>\n\0]*)> (?P<when>-?\d{1,12}) [+-]\d{4}")
_OID = re.compile(rb"[0-9a-f]{40}")


@dataclass(frozen=True, slots=True)
class Commit:
    """One commit. `committed` is the committer's UTC seconds: a claim, never evidence.
    `signed` says that a signature is present, not that it holds."""

    oid: str
    tree: str
    parents: tuple[str, ...]
    author_name: str
    author_email: str
    committed: int
    message: str
    signed: bool


@dataclass(frozen=True, slots=True)
class Tag:
    """One annotated tag: what it names, its own name, its text without the signature."""

    oid: str
    target: str
    target_kind: str
    name: str
    message: str
    signed: bool


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of a tree: `mode` as git writes it, `name` one step of a path."""

    mode: str
    name: str
    oid: str

    @property
    def is_folder(self) -> bool:
        """True when `oid` is a tree."""
        return self.mode == FOLDER_MODE


def headers(content: bytes, oid: str) -> tuple[list[tuple[bytes, bytes]], bytes]:
    """Header fields (continuation lines joined by newline) and the message."""
    head, gap, message = content.partition(b"\n\n")
    if not gap:
        head, message = content.rstrip(b"\n"), b""
    fields: list[tuple[bytes, bytes]] = []
    for line in head.split(b"\n"):
        if line.startswith(b" "):
            if not fields:
                raise Damaged(f"object {oid} begins with a continuation line")
            key, value = fields[-1]
            fields[-1] = (key, value + b"\n" + line[1:])
        else:
            key, _, value = line.partition(b" ")
            fields.append((key, value))
    return fields, message


def parse_commit(oid: str, content: bytes) -> Commit:
    """A commit from its raw content. Damaged when fields are absent, repeated or out of order."""
    if b"\0" in content:
        raise Damaged(f"commit {oid} holds a NUL byte")
    fields, message = headers(content, oid)
    keys = [key for key, _ in fields]
    count = 1
    while count < len(keys) and keys[count] == b"parent":
        count += 1
    if keys[0] != b"tree" or keys[count : count + 2] != [b"author", b"committer"]:
        raise Damaged(f"commit {oid} is not made as git makes commits")
    rest = keys[count + 2 :]
    if any(key in (b"tree", b"parent", b"author", b"committer") for key in rest) or rest.count(b"gpgsig") > 1:
        raise Damaged(f"commit {oid} repeats a field")
    author = _person(oid, fields[count][1])
    committer = _person(oid, fields[count + 1][1])
    return Commit(
        oid=oid,
        tree=_oid(oid, fields[0][1]),
        parents=tuple(_oid(oid, value) for _, value in fields[1:count]),
        author_name=_text(author["name"]),
        author_email=_text(author["email"]),
        committed=int(committer["when"]),
        message=_text(message),
        signed=b"gpgsig" in rest,
    )


def parse_tag(oid: str, content: bytes) -> Tag:
    """An annotated tag from its raw content."""
    if b"\0" in content:
        raise Damaged(f"tag {oid} holds a NUL byte")
    fields, message = headers(content, oid)
    if [key for key, _ in fields] != [b"object", b"type", b"tag", b"tagger"]:
        raise Damaged(f"tag {oid} is not made as git makes tags")
    text, mark, _ = message.partition(b"-----BEGIN SSH SIGNATURE-----")
    return Tag(
        oid=oid,
        target=_oid(oid, fields[0][1]),
        target_kind=_text(fields[1][1]),
        name=_text(fields[2][1]),
        message=_text(text),
        signed=bool(mark),
    )


def parse_tree(oid: str, content: bytes) -> tuple[Entry, ...]:
    """The entries of a tree in their order. Damaged or Refused, see the module's words."""
    entries: list[Entry] = []
    position = 0
    before: bytes | None = None
    seen: set[bytes] = set()
    while position < len(content):
        space = content.find(b" ", position, position + 8)
        nul = content.find(b"\0", space + 1) if space > 0 else -1
        if space <= 0 or nul < 0 or nul + 21 > len(content):
            raise Damaged(f"tree {oid} is cut off or malformed")
        mode = content[position:space].decode("ascii", "replace")
        raw = content[space + 1 : nul]
        key = raw + b"/" if mode == FOLDER_MODE else raw
        if raw in seen:
            raise Damaged(f"tree {oid} holds the name {_shown(raw)} twice")
        if before is not None and key <= before:
            raise Damaged(f"tree {oid} is not in order at {_shown(raw)}")
        seen.add(raw)
        before = key
        entries.append(Entry(_mode(oid, mode, raw), _name(oid, raw), content[nul + 1 : nul + 21].hex()))
        position = nul + 21
    return tuple(entries)


def _mode(oid: str, mode: str, raw: bytes) -> str:
    if mode in FILE_MODES or mode == FOLDER_MODE:
        return mode
    what = {"120000": "a symbolic link", "160000": "a submodule"}.get(mode)
    if what:
        raise Refused(f"{_shown(raw)} (tree {oid}) is {what}", "A book holds plain files and folders only.")
    raise Damaged(f"tree {oid} gives {_shown(raw)} the mode {plain(mode)!r}")


def _name(oid: str, raw: bytes) -> str:
    try:
        name = raw.decode("utf-8")
    except UnicodeDecodeError:
        raise Refused(f"the file name {_shown(raw)} (tree {oid}) is not UTF-8", "Rename the file.") from None
    why = objection_to_name(name)
    if why:
        raise Refused(f"the file name {_shown(raw)} (tree {oid}) {why}", "Rename the file.")
    return name


def _person(oid: str, value: bytes) -> re.Match[bytes]:
    match = _PERSON.fullmatch(value)
    if match is None:
        raise Damaged(f"commit {oid} names its author or committer in no readable way")
    return match


def _oid(oid: str, value: bytes) -> str:
    if _OID.fullmatch(value) is None:
        raise Damaged(f"object {oid} points at something that is no object id")
    return value.decode()


def _text(value: bytes) -> str:
    return value.decode("utf-8", "backslashreplace")


def _shown(raw: bytes) -> str:
    return repr(plain(raw.decode("utf-8", "backslashreplace"), 120))
