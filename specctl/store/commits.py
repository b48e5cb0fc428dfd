"""Makes commits and annotated tags, signed with an SSH key.

The object is built from what the caller says and nothing else: no git
configuration, no clock, no environment. An Ed25519 key signs the same bytes
the same way, so the same wish makes the same commit id on any machine. Plain
`git verify-commit` and `git verify-tag` accept what is made here.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from pathlib import Path

from specctl.errors import Refused
from specctl.store.names import is_oid, is_ref
from specctl.store.objects import write_object
from specctl.store.process import plain
from specctl.store.reader import Reader
from specctl.store.references import create_ref
from specctl.store.signature import GIT_NAMESPACE, sign


@dataclass(frozen=True, slots=True)
class CommitWish:
    """A commit to be made. `when` is UTC seconds; `key` signs it (None: unsigned)."""

    tree: str
    parents: tuple[str, ...]
    message: str
    author_name: str
    author_email: str
    when: int
    key: Path | None


@dataclass(frozen=True, slots=True)
class TagWish:
    """An annotated tag to be made on the commit `target`. `name` without refs/tags/."""

    name: str
    target: str
    message: str
    author_name: str
    author_email: str
    when: int
    key: Path | None


def make_commit(root: Path, wish: CommitWish) -> str:
    """Store the commit and give its id. No reference moves."""
    if not all(is_oid(oid) for oid in (wish.tree, *wish.parents)):
        raise ValueError("a commit is made of full object ids")
    who = _who(wish.author_name, wish.author_email, wish.when)
    head = [f"tree {wish.tree}"]
    head += [f"parent {parent}" for parent in wish.parents]
    head += [f"author {who}", f"committer {who}"]
    message = _message(wish.message)
    unsigned = "\n".join(head) + "\n\n" + message
    if wish.key is None:
        return write_object(root, "commit", unsigned.encode())
    armoured = sign(unsigned.encode(), wish.key, GIT_NAMESPACE).rstrip("\n")
    head.append("gpgsig " + armoured.replace("\n", "\n "))
    return write_object(root, "commit", ("\n".join(head) + "\n\n" + message).encode())


def make_tag(root: Path, wish: TagWish) -> str:
    """Make the tag and its reference; the tag object's id.

    A tag of that name on the same commit stands as it is and its id is given;
    on another commit it is Refused: a tag never moves.
    """
    ref = f"refs/tags/{wish.name}"
    if not is_ref(ref) or not is_oid(wish.target):
        raise ValueError(f"not a tag that can be made: {wish.name!r}")
    with Reader(root) as reader:
        standing = reader.ref(ref)
        if standing is not None:
            return _same_target(reader, wish, standing)
        reader.commit(wish.target)
    who = _who(wish.author_name, wish.author_email, wish.when)
    body = f"object {wish.target}\ntype commit\ntag {wish.name}\ntagger {who}\n\n{_message(wish.message)}"
    if wish.key is not None:
        body += sign(body.encode(), wish.key, GIT_NAMESPACE)
    oid = write_object(root, "tag", body.encode())
    create_ref(root, ref, oid)
    return oid


def _same_target(reader: Reader, wish: TagWish, standing: str) -> str:
    kind, _ = reader.kind_of(standing)
    target = reader.tag(standing).target if kind == "tag" else standing
    if kind == "tag" and target == wish.target:
        return standing
    raise Refused(
        f"the tag {wish.name} exists and names {'a plain ' + kind if kind != 'tag' else 'another commit'}: {target}",
        "A tag never moves. Find out who made it: git show --no-patch refs/tags/" + wish.name,
    )


def _who(name: str, email: str, when: int) -> str:
    for text in (name, email):
        if not text.strip() or any(c in "<>" or unicodedata.category(c) in ("Cc", "Cf", "Cs") for c in text):
            raise Refused(f"{plain(text)!r} cannot stand as an author's name or address in git")
    return f"{name.strip()} <{email.strip()}> {when} +0000"


def _message(text: str) -> str:
    if "\0" in text:
        raise Refused("a message cannot hold a NUL")
    return text.rstrip("\n") + "\n"
