"""Suppliers' allergen documents: do they speak of this product, and still hold.

Promises: every substance no list of the book knows, every document that says a
substance is both in and absent, every exempt form no list names and every amount
of something that is not contained, every document for another product, and
every one too old to prove an absence today; the old packs' document too, while
there may be some. What a wrong document does to the facts
is `allergens`' business: unknown, never absent.
"""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches
from typing import Iterable

from specctl.analysis.allergens import trusted_until
from specctl.domain.book import Book
from specctl.domain.ingredient import AllergenFacts, Ingredient
from specctl.problem import NOWHERE, WARNING, Place, Problem


def check_documents(book: Book, today: date) -> list[Problem]:
    """Findings on the allergen facts of every ingredient, and on what claims forbid."""
    known = sorted({s for each in book.lists.values() for s in each.substances()})
    exempt = sorted({form for each in book.lists.values() for group in each.groups.values() for form in group.exempt})
    whole = not any(each.startswith("list/") for each in book.broken)
    problems = []
    for _, ingredient in sorted(book.ingredients.items()):
        facts = ingredient.facts
        if facts is None:
            problems.append(
                Problem(
                    "allergen-document-missing",
                    ingredient.place,
                    f"'{ingredient.name}' has no allergen document: every allergen in it is unknown",
                    "Get the supplier's statement and write it under allergens.",
                    WARNING,
                )
            )
            continue
        for said in (facts, *((ingredient.was.facts,) if ingredient.was else ())):
            if whole:
                problems.extend(_strangers(ingredient, said, known))
                problems.extend(_forms(ingredient, said, exempt))
            problems.extend(_contradictions(ingredient, said))
        problems.extend(_product(ingredient, facts))
        problems.extend(_age(book, ingredient, facts, today))
    for claim in book.settings.claims.values() if whole else ():
        for substance in sorted(claim.forbids - set(known)):
            problems.append(_unknown(substance, known, book.settings.place, f"claim {claim.key}"))
    return problems


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """A sentence offering the nearest known words, or nothing."""
    near = get_close_matches(word, list(known), n=3, cutoff=0.7)
    return f"Did you mean {' or '.join(near)}? " if near else ""


def _strangers(
    ingredient: Ingredient, facts: AllergenFacts, known: list[str]
) -> list[Problem]:
    """Substances no list knows. Not asked while a list cannot be read."""
    return [
        _unknown(substance, known, _place(ingredient, facts, substance), f"'{ingredient.name}'")
        for substance in sorted(facts.contains | facts.may_contain | facts.absent)
        if substance not in known
    ]


def _contradictions(ingredient: Ingredient, facts: AllergenFacts) -> list[Problem]:
    problems = []
    for substance in sorted((facts.contains | facts.may_contain) & facts.absent):
        said = "contained" if substance in facts.contains else "possibly contained"
        problems.append(
            Problem(
                "allergen-contradiction",
                _place(ingredient, facts, substance),
                f"'{ingredient.name}' says {substance} is both {said} and absent",
                "Read the document again; until then it counts as in.",
            )
        )
    return problems


def _forms(ingredient: Ingredient, facts: AllergenFacts, exempt: list[str]) -> list[Problem]:
    """Exempt forms no list names, and forms or amounts of what is not contained."""
    problems = []
    for substance, forms in sorted(facts.forms.items()):
        for form in forms:
            if form not in exempt:
                problems.append(
                    Problem(
                        "allergen-form-unknown",
                        _place(ingredient, facts, substance),
                        f"'{ingredient.name}' names the form '{form}' of {substance}, which no list of the book exempts: it is declared",
                        f"{did_you_mean(form, exempt)}Write the words of the list, or take the form out.",
                        WARNING,
                    )
                )
    for substance in sorted((facts.forms.keys() | facts.mg_per_kg.keys()) - facts.contains):
        problems.append(
            Problem(
                "allergen-amount-idle",
                _place(ingredient, facts, substance),
                f"'{ingredient.name}' states a form or an amount of {substance}, and does not say that it contains it",
                "Add it under contains, or take the form or amount out.",
                WARNING,
            )
        )
    return problems


def _unknown(substance: str, known: list[str], place: Place, where: str) -> Problem:
    return Problem(
        "allergen-unknown-name",
        place,
        f"{where} names {substance}, which no allergen list of the book knows",
        f"{did_you_mean(substance, known)}Use a name from lists/, or add it to a list.",
    )


def _product(ingredient: Ingredient, facts: AllergenFacts) -> list[Problem]:
    if facts.product_code == ingredient.product_code:
        return []
    document = facts.product_code or "no product code"
    own = ingredient.product_code or "no product code"
    return [
        Problem(
            "allergen-document-product",
            facts.place if facts.place != NOWHERE else ingredient.place,
            f"the allergen document of '{ingredient.name}' is for {document}, "
            f"the ingredient has {own}: it proves no absence",
            "Get the statement for this product, or correct the code.",
            WARNING,
        )
    ]


def _age(book: Book, ingredient: Ingredient, facts: AllergenFacts, today: date) -> list[Problem]:
    place = facts.place if facts.place != NOWHERE else ingredient.place
    if facts.dated > today:
        return [
            Problem(
                "allergen-document-ahead",
                place,
                f"the allergen document of '{ingredient.name}' is dated {facts.dated}, after today",
                "Correct the date.",
                WARNING,
            )
        ]
    until = trusted_until(book, facts)
    if today < until:
        return []
    return [
        Problem(
            "allergen-document-old",
            place,
            f"the allergen document of '{ingredient.name}' of {facts.dated} was trusted "
            f"until {until}: its absences are unknown again",
            "Ask the supplier for a new statement.",
            WARNING,
        )
    ]


def _place(ingredient: Ingredient, facts: AllergenFacts, substance: str) -> Place:
    if substance in facts.substance_places:
        return facts.substance_places[substance]
    return facts.place if facts.place != NOWHERE else ingredient.place
