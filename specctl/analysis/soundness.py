"""Is the book sound: every finding the records allow without reading a file.

Promises: one list, each finding once, in the order of files and lines. What
only the text of a file can show (schema, amounts that cannot be read, a written
form that no longer agrees with its grams, time zones) is the reader's part.
"""

from __future__ import annotations

from datetime import date

from specctl.analysis.changeover import check_changeovers
from specctl.analysis.claims import check_claims
from specctl.analysis.cleanrule import check_cleaning
from specctl.analysis.covers import check_chains, check_covers
from specctl.analysis.cupcheck import check_cups
from specctl.analysis.documents import check_documents
from specctl.analysis.equivalent import check_equivalents
from specctl.analysis.holdrule import check_holds
from specctl.analysis.lines import check_lines
from specctl.analysis.listswitch import check_switches
from specctl.analysis.prices import check_prices
from specctl.analysis.references import check_references
from specctl.analysis.roles import check_roles
from specctl.analysis.serving import check_serving
from specctl.domain.book import Book
from specctl.problem import Problem, in_order


def check_book(book: Book, today: date) -> list[Problem]:
    """Every finding on a book; `today` judges the age of suppliers' documents.

    Who uses a record that could not be read (`Book.broken`) is not blamed for it.
    """
    return in_order([*check_lasting(book), *check_dated(book, today)])


def check_lasting(book: Book) -> list[Problem]:
    """What is found on any day: nearly all of the work, and worth keeping by the book's files."""
    return [
        *check_references(book),
        *check_lines(book),
        *check_claims(book),
        *check_prices(book),
        *check_serving(book),
        *check_equivalents(book),
        *check_cups(book),
        *check_holds(book),
        *check_roles(book),
        *check_chains(book),
    ]


def check_dated(book: Book, today: date) -> list[Problem]:
    """What is found on one day: ages of documents, changeovers, lists that come and go, and covers."""
    return [
        *check_documents(book, today),
        *check_changeovers(book, today),
        *check_cleaning(book, today),
        *check_switches(book, today),
        *check_covers(book, today),
    ]
