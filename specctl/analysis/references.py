"""Names that must name something: every id one record uses of another.

Promises: each id that names nothing, where it stands, with the nearest known
ones; one id for two things; preps that are made from themselves. A record that
was left out because its file cannot be read (`Book.broken`) is not reported
again by everyone who uses it.
"""

from __future__ import annotations

from typing import Collection, Iterable, Iterator, Mapping

from specctl.analysis.build import layers_of
from specctl.analysis.documents import did_you_mean
from specctl.domain.book import Book
from specctl.domain.people import FRANCHISE_MANAGER
from specctl.domain.place import Site
from specctl.domain.recipe import Choice, Drink, LineChange, Option, Prep, Step
from specctl.problem import ERROR, NOWHERE, WARNING, Place, Problem

POLICY = Place("policy.yaml")
SIGNATORIES = Place("signatories.yaml")
_KINDS_OF = {"item": ("ingredient", "prep")}


def check_references(book: Book) -> list[Problem]:
    """Every name that names nothing, every id that names two things, every ring."""
    names = _Names(book.broken)
    parts: tuple[Iterable[Problem | None], ...] = (
        _recipes(book, names),
        _drinks(book, names),
        _places(book, names),
        _scoop_checks(book, names),
        _price_books(book, names),
        _documents(book, names),
        _people(book, names),
        _proposals(book, names),
        _twice(book),
        _rings(book),
    )
    return [problem for part in parts for problem in part if problem is not None]


class _Names:
    """Says that a name names nothing, unless the record it names is broken."""

    def __init__(self, broken: frozenset[str]) -> None:
        self._broken = broken

    def check(
        self, kind: str, id: str, known: Collection[str], place: Place, who: str
    ) -> Problem | None:
        """None where `id` is known or broken; else `<kind>-unknown`."""
        kinds = _KINDS_OF.get(kind, (kind,))
        if id in known or any(f"{each}/{id}" in self._broken for each in kinds):
            return None
        words = kind.replace("-", " ")
        return Problem(
            f"{kind}-unknown",
            place,
            f"{who} names {words} {id}, which the book does not have",
            f"{did_you_mean(id, sorted(known))}Correct the name, or add the {words}.",
        )


def _recipes(book: Book, names: _Names) -> Iterator[Problem | None]:
    """Lines and steps of preps and drinks."""
    items = {*book.ingredients, *book.preps}
    for recipe in book.recipes():
        who = f"'{recipe.name}'"
        layers = layers_of(recipe)
        for layer, lines in layers.items():
            for line in lines.values():
                yield names.check("item", line.use, items, line.place, f"{who} {layer}/{line.key}")
        for step in recipe.steps.values():
            yield _step(names, step, layers, recipe)


def _step(
    names: _Names, step: Step, layers: Collection[str], recipe: Prep | Drink
) -> Problem | None:
    if step.layer is None:
        return None
    return names.check(
        "layer", step.layer, layers, step.place, f"step {step.key} of '{recipe.name}'"
    )


def _drinks(book: Book, names: _Names) -> Iterator[Problem | None]:
    items = {*book.ingredients, *book.preps}
    for drink in book.drinks.values():
        who = f"'{drink.name}'"
        for size in drink.sizes.values():
            yield names.check("vessel", size.vessel, book.vessels, size.place, who)
        for market in sorted(drink.markets):
            yield names.check("market", market, book.markets, drink.place, who)
        for claim in drink.claims:
            yield names.check("claim", claim, book.settings.claims, drink.place, who)
        for option in drink.options.values():
            for choice in option.choices.values():
                yield from _choice(names, items, drink, option, choice)
        for stand_in in drink.substitutes.values():
            named = f"substitute {stand_in.key} of {who}"
            for id in (stand_in.of, stand_in.by):
                yield names.check("item", id, items, stand_in.place, named)
            for market in sorted(stand_in.markets):
                yield names.check("market", market, book.markets, stand_in.place, named)
    for prep in book.preps.values():
        if prep.vessel is not None:
            yield names.check("vessel", prep.vessel, book.vessels, prep.place, f"'{prep.name}'")
    for ingredient in book.ingredients.values():
        for claim in sorted(ingredient.contradicts):
            yield names.check(
                "claim", claim, book.settings.claims, ingredient.place, f"'{ingredient.name}'"
            )


def _choice(
    names: _Names, items: Collection[str], drink: Drink, option: Option, choice: Choice
) -> Iterator[Problem | None]:
    who = f"choice {option.key}={choice.key} of '{drink.name}'"
    added = {c.path for c in choice.changes.values() if c.use is not None and not c.out}
    for change in choice.changes.values():
        place = change.place if change.place != NOWHERE else choice.place
        if change.use is not None:
            yield names.check("item", change.use, items, place, who)
        yield _change_path(names, drink, change, place, who)
    if choice.top_up is not None and drink.line(choice.top_up) is None:
        if choice.top_up not in added:
            yield _unknown_line(drink, choice.top_up, choice.place, who)


def _change_path(
    names: _Names, drink: Drink, change: LineChange, place: Place, who: str
) -> Problem | None:
    if change.layer not in drink.layers:
        return names.check("layer", change.layer, drink.layers, place, who)
    if drink.line(change.path) is None and (change.out or change.use is None):
        return _unknown_line(drink, change.path, place, who)
    return None


def _unknown_line(drink: Drink, path: str, place: Place, who: str) -> Problem:
    known = [f"{layer}/{key}" for layer, lines in layers_of(drink).items() for key in lines]
    return Problem(
        "option-path-unknown",
        place,
        f"{who} changes line {path}, which the drink does not have",
        f"{did_you_mean(path, known)}Correct the path; a new line needs use and amount.",
    )


def _places(book: Book, names: _Names) -> Iterator[Problem | None]:
    for market in book.markets.values():
        yield names.check("list", market.allergen_list, book.lists, market.place, f"'{market.name}'")
    for site in book.sites.values():
        yield from _site(book, names, site)


def _site(book: Book, names: _Names, site: Site) -> Iterator[Problem | None]:
    who = f"'{site.name}'"
    items = {*book.ingredients, *book.preps}
    named: tuple[tuple[str, Iterable[str], Mapping[str, object]], ...] = (
        ("franchise", (site.franchise,), book.franchises),
        ("market", (site.market,), book.markets),
        ("tool", site.tools, book.tools),
        ("vessel", sorted(site.vessels), book.vessels),
        ("drink", sorted(site.not_served), book.drinks),
    )
    for kind, ids, known in named:
        for id in ids:
            yield names.check(kind, id, known, site.place, who)
    for of, by in site.stocks.items():
        for id in (of, by):
            yield names.check("item", id, items, site.place, who)


def _scoop_checks(book: Book, names: _Names) -> Iterator[Problem | None]:
    items = {*book.ingredients, *book.preps}
    for id, check in book.scoop_checks.items():
        who = f"scoop check {id}"
        yield names.check("item", check.ingredient, items, check.place, who)
        yield names.check("tool", check.tool, book.tools, check.place, who)
        yield names.check("site", check.site, book.sites, check.place, who)


def _price_books(book: Book, names: _Names) -> Iterator[Problem | None]:
    for prices in book.price_books.values():
        who = f"the price book of {prices.franchise}"
        yield names.check("franchise", prices.franchise, book.franchises, prices.place, who)
        for id, price in prices.packs.items():
            unknown = names.check("ingredient", id, book.ingredients, price.place, who)
            yield unknown
            if unknown is None and id in book.ingredients:
                packs = book.ingredients[id].packs
                yield names.check("pack", price.pack, packs, price.place, f"{who}, {id},")
        for kind, table in (("menu", prices.menu), ("cups a week", prices.cups_a_week)):
            for id, sizes in table.items():
                unknown = names.check("drink", id, book.drinks, prices.place, f"{who}, {kind},")
                yield unknown
                if unknown is None and id in book.drinks:
                    for size in sizes:
                        known = book.drinks[id].sizes
                        yield names.check("size", size, known, prices.place, f"{who}, {kind}, {id},")


def _documents(book: Book, names: _Names) -> Iterator[Problem | None]:
    for ingredient in book.ingredients.values():
        for id in sorted(ingredient.facts.answers_for if ingredient.facts else ()):
            place = ingredient.facts.place if ingredient.facts else NOWHERE
            place = place if place != NOWHERE else ingredient.place
            who = f"the allergen document of '{ingredient.name}'"
            yield names.check("list", id, book.lists, place, who)


def _people(book: Book, names: _Names) -> Iterator[Problem | None]:
    people = book.signatories.people if book.signatories else {}
    for person in people.values():
        place = person.place if person.place != NOWHERE else SIGNATORIES
        for id in sorted(person.franchises):
            yield names.check("franchise", id, book.franchises, place, person.name)
        for id in sorted(person.deputy_for):
            yield names.check("person", id, people, place, person.name)
        for cover in person.covers:
            yield names.check("person", cover.by, people, cover.place, f"the cover of {person.name}")
    if book.policy is None or book.signatories is None:
        return
    for rule in book.policy.rules.values():
        for id in sorted(rule.trial.sites if rule.trial else ()):
            yield names.check("site", id, book.sites, POLICY, f"the trial of the rule {rule.change}")
    rules = [rule.signs for rule in book.policy.rules.values()]
    asked = {role for signs in (*rules, book.policy.otherwise) for role in signs}
    held = {role for person in people.values() for role in person.roles}
    for role in sorted(asked - held):
        yield Problem(
            "role-unheld",
            POLICY,
            f"the policy asks for {role}, which nobody in signatories.yaml holds",
            f"{did_you_mean(role, sorted(held))}Give the role to a person, or correct the rule.",
        )
    if FRANCHISE_MANAGER in asked & held:
        open_for = {site.franchise for site in book.sites.values()}
        for franchise in book.franchises.values():
            if not any(
                FRANCHISE_MANAGER in person.roles and franchise.id in person.franchises
                for person in people.values()
            ):
                # A new franchise is there before its manager can be named, for people change apart
                # from the rest; nothing is asked of it until it has a counter.
                yield Problem(
                    "role-unheld",
                    franchise.place,
                    f"nobody is {FRANCHISE_MANAGER} of '{franchise.name}'",
                    "Name the franchise under a person with that role in signatories.yaml."
                    + ("" if franchise.id in open_for else " No site of it can open until then."),
                    ERROR if franchise.id in open_for else WARNING,
                )


def _proposals(book: Book, names: _Names) -> Iterator[Problem | None]:
    for proposal in book.proposals.values():
        seen: dict[str, str] = {}
        rest = [wave.key for wave in proposal.waves.values() if wave.sites is None]
        if len(rest) > 1:
            yield Problem(
                "wave-rest-twice",
                proposal.place,
                f"the waves {', '.join(rest)} all take the rest of the sites",
                "Let one of them take the rest and name the sites of the others.",
            )
        for wave in proposal.waves.values():
            for id in wave.sites or ():
                who = f"wave {wave.key} of proposal {proposal.name}"
                yield names.check("site", id, book.sites, proposal.place, who)
                if seen.setdefault(id, wave.key) != wave.key:
                    yield Problem(
                        "wave-site-twice",
                        proposal.place,
                        f"site {id} is in wave {seen[id]} and in wave {wave.key}",
                        "Leave it in one wave.",
                    )


def _twice(book: Book) -> Iterator[Problem]:
    for id in sorted(set(book.ingredients) & set(book.preps)):
        yield Problem(
            "id-twice",
            book.preps[id].place,
            f"{id} is the id of an ingredient and of a prep",
            "Rename one: a line could mean either.",
        )


def _rings(book: Book) -> Iterator[Problem]:
    """Each ring of preps once, named from its first id; found without recursion."""
    done: set[str] = set()
    told: set[frozenset[str]] = set()
    for start in sorted(book.preps):
        path: list[str] = []
        waiting: list[tuple[str, bool]] = [(start, True)]
        while waiting:
            id, entering = waiting.pop()
            if not entering:
                path.pop()
                done.add(id)
            elif id in path:
                ring = path[path.index(id):]
                if frozenset(ring) not in told:
                    told.add(frozenset(ring))
                    yield _ring(book, ring)
            elif id in book.preps and id not in done:
                path.append(id)
                waiting.append((id, False))
                uses = {line.use for line in book.preps[id].all_lines()}
                waiting.extend((use, True) for use in sorted(uses, reverse=True))


def _ring(book: Book, ring: list[str]) -> Problem:
    first = ring.index(min(ring))
    ring = [*ring[first:], *ring[:first]]
    prep = book.preps[ring[0]]
    closing = next(line for line in prep.all_lines() if line.use == ring[1 % len(ring)])
    return Problem(
        "prep-cycle",
        closing.place if closing.place != NOWHERE else prep.place,
        f"preps are made from one another in a ring: {' > '.join([*ring, ring[0]])}",
        "Take one of them out of another.",
    )
