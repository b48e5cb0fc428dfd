"""What a drink says of itself, held against its allergen facts.

Promises: a claim the standard build's facts contradict is an error, and so is
one an allowed stand-in contradicts, since that goes into the cup unasked. A
claim that unknown or may-contain facts cannot bear out is a warning: unknown is
never "free from". A choice a customer asks for that breaks a claim is a warning
naming the choice: the claim is for the standard build.

A claim forbids substances whatever any market's list says, so the answer is the
same in every market and each finding comes once.
"""

from __future__ import annotations

from typing import Iterable

from specctl.analysis.allergens import (
    CONTAINS,
    Source,
    labelled,
    paths_by_status,
    name_of,
    sources_of,
    strongest,
)
from specctl.analysis.build import Variant, variants
from specctl.domain.book import Book, Claim
from specctl.domain.recipe import Drink
from specctl.problem import ERROR, WARNING, Problem

_MOST_PATHS = 4


def check_claims(book: Book) -> list[Problem]:
    """Findings on the claims of every drink."""
    return [
        problem for _, drink in sorted(book.drinks.items()) for problem in claims_of(book, drink)
    ]


def claims_of(book: Book, drink: Drink) -> list[Problem]:
    """Findings on the claims of one drink. Claims the book does not define are left out."""
    claims = [book.settings.claims[key] for key in drink.claims if key in book.settings.claims]
    if not claims:
        return []
    problems: list[Problem] = []
    settled: set[tuple[str, bool]] = set()
    for variant in variants(drink, None, book):
        sources = sources_of(book, drink, variant)
        for claim in claims:
            against = _against(book, claim, sources)
            doubts = _doubts(book, claim, sources)
            # A variant adds a finding only where it does worse than the standard build.
            if against and (claim.key, True) not in settled:
                unasked = variant.is_standard or (
                    variant.substitute is not None
                    and bool(_against(book, claim, sources_of(book, drink, variant, asked=False)))
                )
                problems.append(_contradicted(drink, claim, variant, against, unasked))
            elif doubts and not against and not {(claim.key, True), (claim.key, False)} & settled:
                problems.append(_unsupported(drink, claim, variant, doubts))
            if variant.is_standard and (against or doubts):
                settled.add((claim.key, bool(against)))
    return problems


def _against(book: Book, claim: Claim, sources: Iterable[Source]) -> list[str]:
    """What speaks against a claim, in words."""
    found = []
    for substance in sorted(claim.forbids):
        paths = paths_by_status(book, sources, substance).get(CONTAINS)
        if paths:
            found.append(f"{name_of(book, substance)} ({_some(sorted(paths))})")
    for source in sources:
        if source.ingredient is not None and claim.key in source.ingredient.contradicts:
            found.append(f"{source.ingredient.name} rules it out ({_some(source.paths)})")
    return found


def _doubts(book: Book, claim: Claim, sources: Iterable[Source]) -> list[str]:
    """What keeps a claim from being borne out, in words."""
    found = []
    for substance in sorted(claim.forbids):
        paths = paths_by_status(book, sources, substance)
        status = strongest(paths)
        if status is not None and status != CONTAINS:
            ways = labelled(paths, status)
            found.append(f"{name_of(book, substance)} is {_word(status)} ({_some(ways)})")
    return found


def _word(status: str) -> str:
    return status if status == "unknown" else "possibly in it"


def _contradicted(
    drink: Drink, claim: Claim, variant: Variant, against: list[str], unasked: bool
) -> Problem:
    listed = "; ".join(against)
    if not unasked:
        return Problem(
            "claim-broken-by-choice",
            drink.place,
            f"'{drink.name}' claims '{claim.name}', and with '{variant.name}' this no longer holds: {listed}",
            "Say on the card that the claim is for the standard build, or drop the claim.",
            WARNING,
        )
    build = "" if variant.is_standard else f" with {variant.name}"
    return Problem(
        "claim-contradicted",
        drink.place,
        f"'{drink.name}' claims '{claim.name}', but{build} its facts contradict that: {listed}",
        "Drop the claim, or the ingredient that contradicts it.",
        ERROR,
    )


def _unsupported(drink: Drink, claim: Claim, variant: Variant, doubts: list[str]) -> Problem:
    build = "" if variant.is_standard else f" with '{variant.name}'"
    return Problem(
        "claim-unsupported",
        drink.place,
        f"'{drink.name}' claims '{claim.name}', and{build} nothing bears that out: {'; '.join(doubts)}",
        "Get the suppliers' statements, or drop the claim.",
        WARNING,
    )


def _some(paths: Iterable[str]) -> str:
    """The first few paths, and how many more there are."""
    listed = list(paths)
    more = len(listed) - _MOST_PATHS
    shown = ", ".join(listed[:_MOST_PATHS])
    return f"{shown}, and {more} more" if more > 0 else shown
