"""What a drink says of itself, held against its allergen facts.

Promises: a claim the standard build's facts contradict is an error, and so is
one an allowed stand-in contradicts, since that goes into the cup unasked. A
claim that unknown or may-contain facts cannot bear out is a warning: unknown is
never "free from". A choice a customer asks for that breaks a claim is a warning
naming the choice: the claim is for the standard build. What is unknown because
a record cannot be read is that record's finding, and no claim's.

Gluten-free is never computed: 20 mg/kg is a limit on a tested product (Implementing
Regulation (EU) No 828/2014). Only contradictions are looked for. Oats contradict
unless the ingredient has a certificate for the claim; a certificate excuses
nothing else. A claim that watches part of a composition (sugars, for "no added
sugar") is left open by whatever holds some of it, or does not state it, without
a certificate: the tool cannot tell what was added.

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
    stated_by,
    strongest,
)
from specctl.analysis.build import Variant, variants
from specctl.domain.book import Book, Claim
from specctl.domain.recipe import Drink
from specctl.problem import ERROR, WARNING, Problem

_MOST_PATHS = 4
_EXCUSED = frozenset({"oats"})
"""What a certificate may excuse: pure oats can be gluten-free, wheat cannot."""
_PART = {"caffeine_mg": "caffeine"}


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


def _against(book: Book, claim: Claim, sources: list[Source]) -> list[str]:
    """What speaks against a claim, in words."""
    found = []
    for substance in sorted(claim.forbids):
        paths = paths_by_status(book, _uncertified(claim, sources, substance), substance).get(CONTAINS)
        if paths:
            found.append(f"{name_of(book, substance)} ({_some(sorted(paths))})")
    for source in sources:
        if source.ingredient is not None and claim.key in source.ingredient.contradicts:
            found.append(f"{source.ingredient.name} rules it out ({_some(source.paths)})")
        for about in sorted(claim.forbids_advisories & set(source.ingredient.advisories if source.ingredient else ())):
            if source.ingredient is not None and claim.key not in source.ingredient.certified:
                found.append(f"{source.ingredient.name} brings {about} ({_some(source.paths)})")
    return found


def _uncertified(claim: Claim, sources: Iterable[Source], substance: str) -> list[Source]:
    """Sources whose substance counts against a claim: a certificate excuses oats alone."""
    return [
        source
        for source in sources
        if substance not in _EXCUSED or source.ingredient is None or claim.key not in source.ingredient.certified
    ]


def _watched(claim: Claim, sources: Iterable[Source]) -> list[str]:
    """Composition a claim watches that nobody bears out, in words."""
    found = []
    for source in sources:
        item = source.ingredient
        if item is None or claim.key in item.certified:
            continue
        for part in sorted(claim.watches):
            value = item.composition.get(part)
            if value is None and part == "sugars" and item.composition.get("carbohydrate") == 0:
                value = item.composition["carbohydrate"]
            if value is None:
                found.append(f"{item.name} does not state its {_PART.get(part, part)}")
            elif value > 0:
                found.append(f"{item.name} has {_PART.get(part, part)}, and nothing says whether they were added")
    return found


def _doubts(book: Book, claim: Claim, sources: list[Source]) -> list[str]:
    """What keeps a claim from being borne out, in words; a record that cannot be read is told by itself."""
    found = []
    sources = [source for source in sources if not _broken(book, source)]
    for substance in sorted(claim.forbids):
        asked = [s for s in _uncertified(claim, sources, substance) if not _list_broken(book, s, substance)]
        paths = paths_by_status(book, asked, substance)
        status = strongest(paths)
        if status is not None and status != CONTAINS:
            ways = labelled(paths, status)
            found.append(f"{name_of(book, substance)} is {_word(status)} ({_some(ways)})")
    return found + _watched(claim, sources)


def _broken(book: Book, source: Source) -> bool:
    """Whether a source is unknown only because its record, or the prep it stands for, cannot be read."""
    return source.ingredient is None and not {f"ingredient/{source.id}", f"prep/{source.id}"}.isdisjoint(book.broken)


def _list_broken(book: Book, source: Source, substance: str) -> bool:
    """Whether a source would answer for the substance by a list that cannot be read."""
    facts = source.facts
    if facts is None or substance in stated_by(source):
        return False
    return any(f"list/{id}" in book.broken for id in facts.answers_for)


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
