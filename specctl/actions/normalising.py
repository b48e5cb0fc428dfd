"""The verb `normalise`: amounts as the bench reads them become grams, in the files on disk."""

from __future__ import annotations

from dataclasses import dataclass

from specctl.actions.source import Source
from specctl.codec.load import load
from specctl.codec.normalise import Normalised, normalise
from specctl.errors import NotFound
from specctl.store.files import write_atomic


@dataclass(frozen=True, slots=True)
class NormaliseDone:
    result: Normalised
    written: tuple[str, ...]


def normalise_book(source: Source, bench: str | None = None, *, write: bool = True) -> NormaliseDone:
    """Normalise every prep and drink; `bench` names the site whose scoop checks count. Each file is replaced whole."""
    files = source.files()
    loaded = load(files, source.shelf)
    if bench is not None and loaded.book is not None and bench not in loaded.book.sites:
        raise NotFound(f"there is no site {bench}", "Sites: " + ", ".join(sorted(loaded.book.sites)))
    result = normalise(files, loaded, bench)
    if write:
        for path, data in result.files.items():
            write_atomic(source.root / path, data)
    return NormaliseDone(result, tuple(result.files) if write else ())
