"""Which allergens a drink brings, and how surely: one row for each variant.

Promises: nothing is lost. A row names every substance of the market's list that
is not declared absent all the way down, and every fact any ingredient states,
on the list or off it; an exempt form or an amount below a list's limit makes a
fact one the list does not ask for (`declarable`), and never drops it. A substance has one status in a row, the strongest:
contains, then may contain, then unknown. Weaker statements on the same
substance stay in its paths, labelled.

Absence is only what a supplier's document declares: by name, or by answering
for a whole list of the book that holds the substance. A missing statement is
unknown. A document for another product code proves no absence, and neither does
one that names no code where the ingredient has one; what it says is contained
still counts. Lists name things at different grains (crustaceans; shrimp, crab):
a document that names one grain and answers for a list leaves the coarser and
the finer name of the same thing unknown, unless it says absent by name:
"contains crustaceans" is no statement that there is no shrimp. No clock here:
`absent_until` is the first day on which an absence the row relies on rests on a
document too old to trust.

A row is the union over all sizes. A line whose amount is missing counts as in.
While an ingredient names the product it was before, a row is the union of both,
unless the site is among the `cleared` ones for it (`changeover`).
At a site that stocks a stand-in, a row is the union of the original's facts and
the stand-in's: either may be in the cup, and no fact of one hides the other's.
The row of a stand-in also holds what it brings where only a choice would use it.

Source: Regulation (EU) No 1169/2011, articles 9(1)(c), 21 and 44, for what is
to be declared and at the finest grain; Codex CXC 80-2020 for tracing through
preparation. Precautionary ("may contain") statements are the supplier's own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Iterable, Mapping

from specctl.analysis.build import STANDARD, OpenLine, Variant, open_lines, sizes_of, variants
from specctl.analysis.changeover import old_stock
from specctl.analysis.declarable import not_asked
from specctl.analysis.ways import ways
from specctl.domain.amount import Absent
from specctl.domain.book import Book
from specctl.domain.ingredient import AllergenFacts, Ingredient
from specctl.domain.place import AllergenList
from specctl.domain.recipe import Drink, Prep

CONTAINS = "contains"
MAY_CONTAIN = "may contain"
UNKNOWN = "unknown"
ABSENT = "absent"
STRENGTH = (CONTAINS, MAY_CONTAIN, UNKNOWN)
_BARE = {ord("("): "[", ord(")"): "]"}
"""Round brackets close off what is said of a way; a supplier's own become square."""


@dataclass(frozen=True, slots=True)
class Fact:
    """One substance in a row. `group` is the list's group, None off the list.

    `paths` lead to the ingredients, strongest first; those weaker than the row's
    status end in ` (may contain)` or ` (unknown)`.
    """

    substance: str
    group: str | None
    name: str
    listed: bool
    paths: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AllergenRow:
    """What one variant brings; substances in the order of the list, then by id."""

    choice: str
    name: str
    contains: tuple[Fact, ...]
    may_contain: tuple[Fact, ...]
    unknown: tuple[Fact, ...]
    absent_until: date | None

    def status(self, substance: str) -> str:
        """`contains`, `may contain`, `unknown` or, where the row is silent, `absent`."""
        for status, facts in zip(STRENGTH, (self.contains, self.may_contain, self.unknown)):
            if any(fact.substance == substance for fact in facts):
                return status
        return ABSENT


@dataclass(frozen=True, slots=True)
class Source:
    """An ingredient in a build and the ways to it. `ingredient` None: not in the book."""

    id: str
    ingredient: Ingredient | None
    paths: tuple[str, ...]

    @property
    def facts(self) -> AllergenFacts | None:
        return self.ingredient.facts if self.ingredient is not None else None


def facts_of(
    book: Book,
    recipe: Drink | Prep,
    market_list: AllergenList,
    variant: Variant = STANDARD,
    stocks: Mapping[str, str] | None = None,
    cleared: frozenset[str] = frozenset(),
) -> AllergenRow:
    """The row of one variant. Raises KeyError for a variant the recipe lacks.

    `cleared` are the ingredients whose old packs are known to be gone.
    """
    sources = sources_of(book, recipe, variant, stocks, cleared=cleared)
    listed = [s for group in market_list.groups.values() for s in group.members]
    stated = {s for source in sources for s in stated_by(source)}
    found: dict[str, list[Fact]] = {status: [] for status in STRENGTH}
    relied: set[date] = set()
    grains = _grains(book)
    for substance in [*listed, *sorted(stated - set(listed))]:
        group = market_list.group_of(substance)
        named = grains.get(substance, frozenset())
        paths = paths_by_status(book, sources, substance, named)
        if group is None:
            # Off the list nobody is asked for an answer: silence is no finding.
            paths.pop(UNKNOWN, None)
        status = strongest(paths)
        if status is None:
            relied.update(_trust_ends(book, sources, substance, named))
            continue
        spared = None
        if group is not None and set(paths) == {CONTAINS} and (group.limit is not None or group.exempt):
            # Only where nothing else may bring it: what may be in, or is unknown, has no amount and no form.
            holders = [s.ingredient for s in sources if s.ingredient and substance in stated_by(s)]
            spared = not_asked(book, recipe, variant, group, substance, holders, stocks)
        if spared is not None:
            relied.update(trusted_until(book, h.facts) for h in holders if h.facts is not None)
        found[status].append(
            Fact(
                substance=substance,
                group=group.key if group else None,
                name=group.members[substance] if group else name_of(book, substance),
                listed=group is not None and spared is None,
                paths=labelled(paths, status) if spared is None else tuple(f"{p} ({spared})" for p in labelled(paths, status)),
            )
        )
    return AllergenRow(
        choice=variant.choice,
        name=variant.name,
        contains=tuple(found[CONTAINS]),
        may_contain=tuple(found[MAY_CONTAIN]),
        unknown=tuple(found[UNKNOWN]),
        absent_until=min(relied, default=None),
    )


def rows_of(
    book: Book,
    recipe: Drink | Prep,
    market_list: AllergenList,
    market: str | None = None,
    stocks: Mapping[str, str] | None = None,
) -> list[AllergenRow]:
    """A row for every variant a market allows, standard first."""
    return [
        facts_of(book, recipe, market_list, variant, stocks)
        for variant in variants(recipe, market, book)
    ]


def sources_of(
    book: Book,
    recipe: Drink | Prep,
    variant: Variant = STANDARD,
    stocks: Mapping[str, str] | None = None,
    asked: bool = True,
    cleared: frozenset[str] = frozenset(),
) -> list[Source]:
    """Every ingredient of a variant, over all sizes, with the ways to it.

    For a stand-in, `asked` adds the lines a choice would bring in with it. The
    product an ingredient was before is a source beside it until it is `cleared`.
    """
    lines = [
        (line.path, line.use)
        for line in open_lines(recipe, variant).values()
        if not _left_out(line, sizes_of(recipe))
    ]
    if asked and variant.substitute is not None and isinstance(recipe, Drink):
        lines.extend(_asked_lines(recipe, variant.substitute))
    followed = dict(stocks or {})
    if variant.substitute is not None and isinstance(recipe, Drink):
        # A kitchen that runs out of something runs out of it in its preps too: the
        # stand-in is followed there beside the original, so no fact of either hides.
        stand_in = recipe.substitutes[variant.substitute]
        followed.setdefault(stand_in.of, stand_in.by)
    paths: dict[str, list[str]] = {}
    for path, use in lines:
        for way in ways(book, use, followed):
            paths.setdefault(way.ingredient, []).append(way.text(path))
    found = []
    for id, texts in paths.items():
        ingredient = book.ingredients.get(id)
        found.append(Source(id, ingredient, tuple(dict.fromkeys(texts))))
        old = old_stock(ingredient) if ingredient is not None and id not in cleared else None
        if old is not None:
            ways_in = tuple(f"{text} (old stock {old.product_code})" for text in found[-1].paths)
            found.append(Source(id, old, ways_in))
    return found


def _asked_lines(drink: Drink, substitute: str) -> list[tuple[str, str]]:
    """Lines of choices that use what a stand-in stands in for, with the stand-in."""
    stand_in = drink.substitutes[substitute]
    return [
        (change.path, stand_in.by)
        for option in drink.options.values()
        for choice in option.choices.values()
        for change in choice.changes.values()
        if change.use == stand_in.of and not change.out
    ]


def stated_by(source: Source) -> frozenset[str]:
    """Substances an ingredient's document says are, or may be, in it."""
    facts = source.facts
    return facts.contains | facts.may_contain if facts else frozenset()


def paths_by_status(
    book: Book, sources: Iterable[Source], substance: str, grains: frozenset[str] | None = None
) -> dict[str, list[str]]:
    """Ways to the ingredients that contain, may contain or do not answer for it.

    `grains` are its `other_grains`, where the caller has them already.
    """
    grains = other_grains(book, substance) if grains is None else grains
    paths: dict[str, list[str]] = {}
    for source in sources:
        status = status_in(book, source.ingredient, substance, grains)
        if status != ABSENT:
            paths.setdefault(status, []).extend(_scoped(source, status))
    return paths


def _scoped(source: Source, status: str) -> Iterable[str]:
    """The ways to a source; of what may be in it, with the supplier's own words on that."""
    words = source.facts.scope.translate(_BARE).strip() if source.facts and status == MAY_CONTAIN else ""
    return (f"{path} (its document: {words})" for path in source.paths) if words else source.paths


def status_in(
    book: Book, ingredient: Ingredient | None, substance: str, grains: frozenset[str]
) -> str:
    """What one ingredient's document says of one substance; silence is unknown.

    `grains` are the substance's `other_grains`.
    """
    facts = ingredient.facts if ingredient is not None else None
    if ingredient is None or facts is None:
        return UNKNOWN
    if substance in facts.contains:
        return CONTAINS
    if substance in facts.may_contain:
        return MAY_CONTAIN
    if facts.product_code != ingredient.product_code:
        return UNKNOWN
    if substance in facts.absent:
        return ABSENT
    if grains & (facts.contains | facts.may_contain):
        return UNKNOWN
    for id in facts.answers_for:
        answered = book.lists.get(id)
        if answered is not None and answered.group_of(substance) is not None:
            return ABSENT
    return UNKNOWN


def other_grains(book: Book, substance: str) -> frozenset[str]:
    """Coarser and finer names of the same thing, by the book's lists.

    A group that holds a member of the group's own key (crustaceans, with shrimp
    and crab beside it) says that the member is the coarse name of the others.
    """
    return _grains(book).get(substance, frozenset())


def _grains(book: Book) -> dict[str, frozenset[str]]:
    """`other_grains` of every substance that has some."""
    found: dict[str, set[str]] = {}
    for allergen_list in book.lists.values():
        for group in allergen_list.groups.values():
            if group.key not in group.members:
                continue
            for member in group.members:
                others = group.members if member == group.key else (group.key,)
                found.setdefault(member, set()).update(others)
    return {substance: frozenset(names - {substance}) for substance, names in found.items()}


def strongest(paths: Mapping[str, object]) -> str | None:
    """The strongest status among the keys; None where everything is absent."""
    return next((status for status in STRENGTH if status in paths), None)


def labelled(paths: Mapping[str, list[str]], status: str) -> tuple[str, ...]:
    """Paths of every status, strongest first; the weaker ones say what they are."""
    texts: list[str] = []
    for each in STRENGTH:
        ending = "" if each == status else f" ({each})"
        texts.extend(f"{path}{ending}" for path in sorted(paths.get(each, ())))
    return tuple(texts)


def trusted_until(book: Book, facts: AllergenFacts) -> date:
    """The first day on which a document proves no absence; `date.max` past the calendar."""
    try:
        return facts.trusted_until(book.settings.documents_last)
    except OverflowError:
        return date.max


def name_of(book: Book, substance: str) -> str:
    """The word to show for a substance: from the book's lists by id, else its id."""
    for _, allergen_list in sorted(book.lists.items()):
        group = allergen_list.group_of(substance)
        if group is not None:
            return group.members[substance]
    return substance


def _left_out(line: OpenLine, sizes: Iterable[str]) -> bool:
    """Whether the spec says outright, at every size, that the line is not there."""
    return all(isinstance(line.amount(size), Absent) for size in sizes)


def _trust_ends(
    book: Book, sources: Iterable[Source], substance: str, grains: frozenset[str]
) -> list[date]:
    """First untrusted days of the documents that declare `substance` absent."""
    return [
        trusted_until(book, source.facts)
        for source in sources
        if source.facts is not None
        and status_in(book, source.ingredient, substance, grains) == ABSENT
    ]
