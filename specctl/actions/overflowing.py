"""The cups that stop a proposal: which sizes and choices overflow, before and after, though nothing compiles.

A merged book with an overflow past its doubt has errors, so it has no entries
and no effect; these cups are made from its specs alone, to be looked at and
mended. Nothing here can be signed.
"""

from __future__ import annotations

from specctl.actions.case import Case
from specctl.analysis.cupcheck import Cup, cups_of
from specctl.analysis.matter import Larder
from specctl.change.cup_change import CupChange
from specctl.change.cup_entry import CupMade, made_of
from specctl.domain.book import Book
from specctl.domain.recipe import Drink
from specctl.problem import errors_of


def overflowing(case: Case) -> tuple[CupChange, ...]:
    """Every build of the merged book that an overflow stops, beside what main has; none for a book that cannot be read.

    A choice is left out where its standard build overflows too.
    """
    if case.after.book is None:
        return ()
    book, old = case.after.book, case.old_book
    files = {problem.place.file for problem in errors_of(list(case.problems)) if problem.code == "cup-overflow"}
    found: list[CupChange] = []
    for drink in book.drinks.values():
        if drink.place.file not in files:
            continue
        was = _cups(old, old.drinks.get(drink.id))
        now = _cups(book, drink)
        for (size, choice), cup in now.items():
            standard = now.get((size, ""))
            if cup.state.room != "overflows" or (choice and standard is not None and standard.state.room == "overflows"):
                continue
            before = was.get((size, choice))
            found.append(
                CupChange(
                    f"drink/{drink.id}", drink.name, size, drink.sizes[size].name, choice, cup.variant.name if choice else "", (),
                    _made(old, old.drinks.get(drink.id), before), _made(book, drink, cup),
                )
            )  # fmt: skip
    return tuple(found)


def _cups(book: Book, drink: Drink | None) -> dict[tuple[str, str], Cup]:
    return {} if drink is None else {(cup.size, cup.variant.choice): cup for cup in cups_of(Larder(book), drink)}


def _made(book: Book, drink: Drink | None, cup: Cup | None) -> CupMade | None:
    if drink is None or cup is None:
        return None
    asked = "" if cup.variant.is_standard else cup.variant.name
    return made_of(book, drink, cup.size, cup.vessel, cup.state, asked)
