"""Old packs and new packs of one ingredient at once: dates do not empty fridges.

Promises: while an ingredient names the product it was before, a site declares
the union of both. It leaves the union only when the site has confirmed the
clear-out of exactly those packs on a day from which every one of them, and
every prep made of one, is past its life. A date alone never ends it; a
confirmation given too early never does either. No clock here: the day the
confirmation bears is compared with the day the book states.

Source: common practice of stock control, no published rule; Codex CXC 80-2020
asks that changes of supply be managed so that declarations stay true.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Iterator

from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import Site
from specctl.problem import ERROR, WARNING, Problem

_DAY = 86_400


def old_stock(ingredient: Ingredient) -> Ingredient | None:
    """The product an ingredient was before, as an ingredient of its own."""
    was = ingredient.was
    if was is None:
        return None
    return replace(
        ingredient,
        product_code=was.product_code,
        supplier=was.supplier or ingredient.supplier,
        facts=was.facts,
        was=None,
    )


def cleared_at(book: Book, site: Site) -> frozenset[str]:
    """Ingredients of which a site has confirmed that nothing old is left.

    Only a confirmation for the old packs' own code, dated on or after the day
    they are past their life, counts.
    """
    return frozenset(
        id
        for id, word in site.cleared.items()
        if (ingredient := book.ingredients.get(id)) is not None
        and ingredient.was is not None
        and word.product_code == ingredient.was.product_code
        and word.on >= ingredient.was.until
    )


def past_life(ingredient: Ingredient, last_opened: date) -> date | None:
    """The first day on which packs opened on `last_opened` at the latest, and preps
    made of them, are past their life; None where no opened life is stated.

    A prep's discard is the earliest of all its limits, the opened pack among
    them, so no prep outlives the pack it was made from.
    """
    if ingredient.opened_life is None:
        return None
    days = -(-ingredient.opened_life // _DAY)
    return last_opened + timedelta(days=days + 1)


def check_changeovers(book: Book, today: date) -> list[Problem]:
    """Findings on changeovers: still open past their day, or confirmed wrongly."""
    problems = []
    for _, ingredient in sorted(book.ingredients.items()):
        was = ingredient.was
        if was is None or today < was.until:
            continue
        waiting = [
            site.name
            for _, site in sorted(book.sites.items())
            if ingredient.id not in cleared_at(book, site)
        ]
        if waiting:
            problems.append(
                Problem(
                    "changeover-open",
                    was.place,
                    f"old packs of '{ingredient.name}' ({was.product_code}) were past their life on {was.until}, "
                    f"and {len(waiting)} sites have not confirmed the clear-out: {', '.join(waiting)}",
                    "They go on declaring old and new. Have them look, then write it under cleared.",
                    WARNING,
                )
            )
    for _, site in sorted(book.sites.items()):
        problems.extend(_clear_outs(book, site, today))
    return problems


def _clear_outs(book: Book, site: Site, today: date) -> Iterator[Problem]:
    for id, word in site.cleared.items():
        ingredient = book.ingredients.get(id)
        if ingredient is None:
            if f"ingredient/{id}" not in book.broken:
                yield Problem(
                    "ingredient-unknown",
                    word.place,
                    f"'{site.name}' cleared out {id}, which the book does not have",
                    "Correct the name.",
                )
            continue
        was = ingredient.was
        if word.on > today:
            yield Problem(
                "clear-out-ahead",
                word.place,
                f"'{site.name}' confirms the clear-out of '{ingredient.name}' on {word.on}, after today",
                "A clear-out is confirmed after it was looked at. Correct the day.",
                ERROR,
            )
        elif was is not None and word.product_code != was.product_code:
            yield Problem(
                "clear-out-product",
                word.place,
                f"'{site.name}' cleared out {word.product_code} of '{ingredient.name}', "
                f"the old packs are {was.product_code}: it goes on declaring both",
                "Look for those packs and write their code.",
                WARNING,
            )
        elif was is not None and word.on < was.until:
            yield Problem(
                "clear-out-early",
                word.place,
                f"'{site.name}' confirmed the clear-out of '{ingredient.name}' on {word.on}, before "
                f"{was.until}, when the last of it is past its life: it goes on declaring both",
                "Look again on that day or later.",
                WARNING,
            )
