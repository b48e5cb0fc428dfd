"""The verb `init`: a new book in git, or a clone made ready for the person who sits at it.

A new book is laid out first: its settings, the lists of allergens that ship
with the tool, who may sign and who must. Once its people stand in it, it is
sealed by one signed commit. Everything after that is a proposal.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from specctl import resources
from specctl.actions.checking import check_files
from specctl.actions.collecting import main_book
from specctl.actions.drivers import ATTRIBUTES, install
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.source import Source
from specctl.actions.trust import remember_key, write_signers
from specctl.codec.emit import write_value
from specctl.codec.load import load
from specctl.codec.paths import is_id
from specctl.domain.people import Person
from specctl.errors import Found, Refused
from specctl.problem import errors_of
from specctl.store.commits import CommitWish, make_commit
from specctl.store.files import write_atomic
from specctl.store.objects import write_tree
from specctl.store.process import git
from specctl.store.repository import Repository
from specctl.store.signature import public_of

SCHEMAS = ".schema"
_HEADER = re.compile(rb"(yaml-language-server: \$schema=)((?:\.\./)+)schema/")


@dataclass(frozen=True, slots=True)
class InitWish:
    """A new book: its folder, id and name, and the person and key that begin it."""

    folder: Path
    id: str
    name: str
    person: str
    person_name: str
    key: Path


def lay_out(wish: InitWish) -> tuple[str, ...]:
    """Write the first files of a new book and begin its repository; nothing is committed yet."""
    for what, id in (("book", wish.id), ("person", wish.person)):
        if not is_id(id):
            raise Refused(f"{id!r} cannot name a {what}", "Use lower-case words joined by hyphens.")
    files = dict(_first_files(wish))
    _write(wish.folder, files)
    return tuple(sorted(files))


def seal(source: Source, key: Path | None, now: datetime) -> tuple[str, Person]:
    """Make the first commit of a book: the ground of trust, signed by one of its signatories.

    Who signs and who must are taken from the files, so every role the policy
    asks for must be held before this; afterwards only a proposal changes them.
    """
    repository = source.in_git()
    if repository.main_tip() is not None:
        raise Refused("this book has begun already", "Change who signs by a proposal: specctl propose")
    files = source.files()
    loaded = load(files, source.shelf)
    wrong = errors_of(check_files(files, loaded, now.date()))
    if wrong or loaded.book is None or loaded.book.signatories is None:
        raise Found("these files are not ready to be sealed", wrong or loaded.problems, "Correct them first.")
    who = identify(loaded.book.signatories, key_at_hand(repository, key))
    _first_commit(repository, {**files, **_beside()}, who, now)
    return repository.main_tip() or "", who.person


def begin_with(folder: Path, files: Mapping[str, bytes], key: Path, now: datetime) -> str:
    """Make a book of these files: git, the work tree, and one signed commit on main."""
    if folder.exists() and any(folder.iterdir()):
        raise Refused(f"{folder} is not empty", "Name a new folder.")
    loaded = load(files)
    if loaded.book is None or errors_of(list(loaded.problems)):
        raise Found("these files are no book", loaded.problems)
    if loaded.book.signatories is None:
        raise Refused("a book begins with its signatories", "Add signatories.yaml.")
    who = identify(loaded.book.signatories, key)
    _write(folder, files)
    with Repository.open(folder) as repository:
        return _first_commit(repository, {**files, **_beside()}, who, now)


def _beside() -> dict[str, bytes]:
    """What lies beside the records: schemas for editors, and that git joins records by meaning."""
    return {**_schemas(), ".gitignore": b"/.cache/\n", ".gitattributes": ATTRIBUTES}


def _write(folder: Path, files: Mapping[str, bytes]) -> None:
    if folder.exists() and any(folder.iterdir()):
        raise Refused(f"{folder} is not empty", "Name a new folder.")
    folder.mkdir(parents=True, exist_ok=True)
    git(folder, ["init", "-q", "-b", "main"])
    for path, data in {**files, **_beside()}.items():
        target = folder / path
        target.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(target, data)


def _first_commit(repository: Repository, files: Mapping[str, bytes], who: Identity, now: datetime) -> str:
    book = load(files).book
    assert book is not None and book.signatories is not None
    tree = write_tree(repository.root, None, dict(files))
    commit = make_commit(
        repository.root,
        CommitWish(
            tree,
            (),
            f"Begin the book of {book.settings.name}\n",
            who.person.name,
            who.email,
            int(now.timestamp()),
            who.key,
        ),
    )
    repository.move_main(lambda tip: commit if tip is None else tip)
    remember_key(repository, who.key, who.person.name, who.email)
    write_signers(repository, book.signatories)
    install(repository)
    return commit


def join(source: Source, key: Path | None) -> Person:
    """Make a clone ready: git knows the key, the person, and whose signatures hold."""
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    signatories = main_book(repository, main).signatories
    assert signatories is not None
    who = identify(signatories, key_at_hand(repository, key))
    remember_key(repository, who.key, who.person.name, who.email)
    write_signers(repository, signatories)
    install(repository)
    return who.person


def book_header(data: bytes, path: str) -> bytes:
    """A shipped record's schema line, turned to where a book keeps its schemas."""
    up = b"../" * path.count("/")
    return _HEADER.sub(lambda m: m[1] + (up or b"./") + SCHEMAS.encode() + b"/", data, count=1)


def _schemas() -> dict[str, bytes]:
    folder = resources.schema_folder()
    return {f"{SCHEMAS}/{p.name}": p.read_bytes() for p in sorted(folder.glob("*.schema.json"))}


def _first_files(wish: InitWish) -> Mapping[str, bytes]:
    shipped = resources.demo_book()
    files = {
        path: book_header(file.read_bytes(), path)
        for file in sorted((shipped / "lists").glob("*.yaml"))
        if (path := f"lists/{file.name}")
    }
    files["book.yaml"] = _yaml(
        "book",
        {
            "format": 1,
            "id": wish.id,
            "name": wish.name,
            "spoons": "metric",
            "day_starts": "04:00",
            "tolerance": "5 %",
            "allergen_documents_last": "730 d",
        },
    )
    files["policy.yaml"] = book_header((shipped / "policy.yaml").read_bytes(), "policy.yaml")
    files["signatories.yaml"] = _yaml(
        "signatories",
        {
            "people": {
                wish.person: {
                    "name": wish.person_name,
                    "roles": ["author", "drinks", "releaser"],
                    "keys": {f"{wish.person}-1": {"public": public_of(wish.key)}},
                }
            }
        },
    )
    return files


def _yaml(kind: str, record: Mapping[str, object]) -> bytes:
    head = f"# yaml-language-server: $schema=./{SCHEMAS}/{kind}.schema.json\n"
    return (head + write_value(record).strip("\n") + "\n").encode("utf-8")
