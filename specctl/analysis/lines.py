"""Amounts of lines and choices: each one there, weighed, and possible to meet.

Promises: amounts not yet weighed, amounts missing at a size, sizes nobody
defines, tolerances of nothing, choices that change nothing, and preps that
yield more than goes in. Whether a written form still agrees with its grams is
the reader's check, who can read it.
"""

from __future__ import annotations

from decimal import Decimal
from typing import Iterable, Iterator, Mapping

from specctl.analysis.build import BATCH, layers_of, sizes_of
from specctl.domain.amount import Absent, Amount, Each, Grams, Tolerance, TopTo, Unweighed, plain
from specctl.domain.book import Book
from specctl.domain.recipe import ALL_SIZES, Choice, Drink, Line, LineChange, Option, Prep
from specctl.problem import NOWHERE, WARNING, Place, Problem


def check_lines(book: Book) -> list[Problem]:
    """Findings on the amounts of every prep and drink."""
    problems: list[Problem] = []
    if _is_zero(book.settings.tolerance):
        problems.append(_zero_tolerance(book.settings.place, "the book's own tolerance"))
    for recipe in book.recipes():
        for layer, lines in layers_of(recipe).items():
            for line in lines.values():
                problems.extend(_line(book, recipe, layer, line))
        if isinstance(recipe, Prep):
            problems.extend(_yield(book, recipe))
        else:
            for option in recipe.options.values():
                for choice in option.choices.values():
                    problems.extend(_choice(book, recipe, option, choice))
    return problems


def _line(book: Book, recipe: Drink | Prep, layer: str, line: Line) -> Iterator[Problem]:
    who = f"'{recipe.name}' {layer}/{line.key}"
    missing = [size for size in sizes_of(recipe) if line.amount(size) is None]
    if missing:
        yield Problem(
            "line-amount-missing",
            line.place,
            f"{who} has no amount for {_sizes(missing)}",
            "Write an amount for every size, or none to leave it out of one.",
        )
    yield from _amounts(recipe, line.amounts, line.place, line.amount_places, who)
    yield from _tolerance(book, line.tolerance, line.amounts.values(), line.place, who)


def _choice(book: Book, drink: Drink, option: Option, choice: Choice) -> Iterator[Problem]:
    for change in choice.changes.values():
        if change.out:
            continue
        place = change.place if change.place != NOWHERE else choice.place
        who = f"choice {option.key}={choice.key} of '{drink.name}', {change.path},"
        own = drink.line(change.path)
        if own is not None or change.use is not None:
            yield from _choice_amounts(drink, change, own, place, who)
        yield from _amounts(drink, change.amounts, place, change.amount_places, who)
        tolerance = change.tolerance or (own.tolerance if own is not None else None)
        if change.tolerance is None and tolerance is not None and _is_zero(tolerance):
            continue  # told at the line itself
        yield from _tolerance(book, tolerance, change.amounts.values(), place, who)


def _choice_amounts(
    drink: Drink, change: LineChange, own: Line | None, place: Place, who: str
) -> Iterator[Problem]:
    if own is not None and not change.amounts:
        if change.use in (None, own.use) and change.tolerance in (None, own.tolerance):
            yield Problem(
                "option-changes-nothing",
                place,
                f"{who} changes nothing",
                "Say what it uses, how much, or none; or take the line out of the choice.",
                WARNING,
            )
        return
    given = change.amounts
    missing = [size for size in drink.sizes if size not in given and ALL_SIZES not in given]
    if missing:
        yield Problem(
            "option-amount-missing",
            place,
            f"{who} has no amount for {_sizes(missing)}",
            "Write an amount for every size, or none to leave it out of one.",
        )


def _amounts(
    recipe: Drink | Prep,
    amounts: Mapping[str, Amount],
    place: Place,
    places: Mapping[str, Place],
    who: str,
) -> Iterator[Problem]:
    known = {ALL_SIZES, *sizes_of(recipe)}
    for size, amount in amounts.items():
        at = places.get(size, place)
        if size not in known:
            defined = "a prep has none" if isinstance(recipe, Prep) else f"it has {', '.join(recipe.sizes)}"
            yield Problem(
                "size-unknown",
                at,
                f"{who} has an amount for size {size}, which '{recipe.name}' does not define: {defined}",
                "Correct the size, or define it under sizes.",
            )
        if isinstance(amount, Unweighed):
            yield Problem(
                "amount-unweighed",
                at,
                f"{who} is written as {amount} and not yet in grams",
                "Run normalise, or write the grams.",
            )
        if isinstance(amount, TopTo) and isinstance(recipe, Prep):
            yield Problem(
                "rule-in-prep",
                at,
                f"{who} is filled up to a line, so a batch has no known mass",
                "Weigh it once and write the grams.",
            )


def _tolerance(
    book: Book,
    own: Tolerance | None,
    amounts: Iterable[Amount],
    place: Place,
    who: str,
) -> Iterator[Problem]:
    if own is not None and _is_zero(own):
        yield _zero_tolerance(place, f"the tolerance of {who.rstrip(',')}")
        return
    tolerance = own or book.settings.tolerance
    if _is_zero(tolerance):
        return
    for amount in amounts:
        if isinstance(amount, Grams) and not any(tolerance.grams(amount.value)):
            yield Problem(
                "tolerance-zero",
                place,
                f"the tolerance of {who.rstrip(',')} comes to 0 g at {amount}",
                "Give the line a tolerance in grams that a tool can meet.",
            )
            return


def _yield(book: Book, prep: Prep) -> Iterator[Problem]:
    if prep.yields <= 0 or prep.discard >= 1:
        yield Problem(
            "prep-serves-nothing",
            prep.place,
            f"nothing of a batch of '{prep.name}' reaches a cup",
            "Correct yields or discard.",
        )
    total = Decimal(0)
    for line in prep.all_lines():
        mass = _mass(book, line.use, line.amount(BATCH))
        if mass is None:
            return
        total += mass
    if prep.yields > total:
        yield Problem(
            "yield-more-than-lines",
            prep.place,
            f"'{prep.name}' yields {plain(prep.yields)} g from {plain(total)} g of lines",
            "Add the line that is missing (water, ice), or weigh the batch again. Air weighs nothing: "
            "that is overrun.",
        )


def _mass(book: Book, use: str, amount: Amount | None) -> Decimal | None:
    """Grams of a batch's line; None where it cannot be known."""
    if isinstance(amount, Grams):
        return amount.value
    if isinstance(amount, Absent):
        return Decimal(0)
    ingredient = book.ingredients.get(use)
    if isinstance(amount, Each) and ingredient is not None and ingredient.each is not None:
        return amount.count * ingredient.each
    return None


def _is_zero(tolerance: Tolerance) -> bool:
    return tolerance.under == 0 and tolerance.over == 0


def _zero_tolerance(place: Place, who: str) -> Problem:
    return Problem(
        "tolerance-zero",
        place,
        f"{who} is zero: no tool can meet it",
        "Say how far a dose may be off, such as 2 g or 5 %.",
    )


def _sizes(keys: list[str]) -> str:
    return "a batch" if keys == [BATCH] else f"size {', '.join(keys)}"
