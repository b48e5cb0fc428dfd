"""Opens a book where it stands: a repository, or a plain folder for the read verbs."""

from __future__ import annotations

from contextlib import contextmanager
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from specctl.codec.paths import is_readable
from specctl.errors import NotFound, Refused
from specctl.store.cache import Cache
from specctl.store.folder import read_folder
from specctl.store.repository import Repository

if TYPE_CHECKING:
    from specctl.codec.load import Loaded

BOOK_FILE = "book.yaml"


@dataclass(frozen=True, slots=True)
class Source:
    """A book's folder, its repository where it has one, and the shelf for read files."""

    root: Path
    repository: Repository | None
    shelf: Cache

    def files(self) -> dict[str, bytes]:
        """The book's files as they are on disk; of a bare repository, as main has them."""
        if self.repository is None:
            return read_folder(self.root, is_readable)
        if self.repository.bare:
            tip = self.repository.main_tip()
            return book_files(self.repository, tip) if tip else {}
        return self.repository.work_files(is_readable)

    def load(self) -> Loaded:
        from specctl.codec.load import load  # verbs that read stored records decode no book

        return load(self.files(), self.shelf)

    def in_git(self) -> Repository:
        """The repository, or a refusal for a verb that needs one."""
        if self.repository is None:
            raise Refused(
                f"{self.root} is a plain folder, not a git repository",
                "Begin a book in git with: specctl init",
            )
        return self.repository


@contextmanager
def open_source(path: Path) -> Iterator[Source]:
    """The book at `path`. A folder with a book.yaml of its own counts before a repository around it."""
    here = Path(path).resolve()
    plain = (here / BOOK_FILE).is_file()
    try:
        repository = Repository.open(here)
    except NotFound:
        if not plain:
            raise
        yield Source(here, None, Cache.of_user())
        return
    with repository:
        if plain and repository.root.resolve() != here:
            yield Source(here, None, Cache.of_user())
        else:
            yield Source(repository.root, repository, repository.cache())


def book_files(repository: Repository, commit: str) -> dict[str, bytes]:
    """The book's records as a commit has them: no releases, entries or statements."""
    reader = repository.reader
    return {path: reader.blob(oid) for path, oid in reader.ids(commit).items() if is_readable(path)}
