"""The verb `trace`: where an ingredient or prep is used."""

from __future__ import annotations

import difflib

from specctl.actions.source import Source
from specctl.analysis.trace import Trace, trace
from specctl.domain.book import Book
from specctl.errors import Found, NotFound


def loaded_book(source: Source) -> Book:
    """The book on disk. Raises Found if it cannot be read at all."""
    loaded = source.load()
    if loaded.book is None:
        raise Found("this book cannot be read", loaded.problems)
    return loaded.book


def trace_item(source: Source, id: str) -> tuple[Trace, Book]:
    """Where `id` (an ingredient or a prep) is used: preps, drinks, options, sites."""
    book = loaded_book(source)
    name = id.removeprefix("ingredient/").removeprefix("prep/")
    if book.item(name) is None:
        close = difflib.get_close_matches(name, [*book.ingredients, *book.preps], 3)
        raise NotFound(
            f"{name} is neither an ingredient nor a prep of this book",
            f"Did you mean {', '.join(close)}?" if close else "See the folders ingredients/ and preps/.",
        )
    return trace(book, name), book
