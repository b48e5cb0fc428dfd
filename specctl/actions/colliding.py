"""`proposals --collisions`: pairs that would each pass and together fail, named while both are open.

Each pair is merged onto main one after the other, as two releases would be, and
the result is checked, weighed and costed as a whole. A proposal that does not
pass alone is left out and said to be: it has its own trouble first.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Any

from specctl.actions.case import Case, compile_kept, edited_from
from specctl.actions.checking import check_kept
from specctl.actions.ledger import Ledger
from specctl.actions.judging import policy_of
from specctl.actions.merging import MergedTree, merge_trees
from specctl.actions.source import Source, book_files
from specctl.actions.starts import starts_of
from specctl.change.classes import hits_of_costs
from specctl.change.collision import (
    CONFLICT,
    COST,
    CROSSING,
    DOUBLE,
    NUMBER,
    TOGETHER,
    Collision,
    doubled,
    only_together,
    totals,
)
from specctl.change.costing import Side, costs_of
from specctl.change.dispute import conflict_between
from specctl.codec.load import load
from specctl.domain.book import Book
from specctl.errors import Refused, Stop
from specctl.problem import Problem, errors_of


@dataclass(frozen=True, slots=True)
class Collisions:
    """Every collision; the open proposals looked at; those left out, with why."""

    found: tuple[Collision, ...]
    compared: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]

    def as_json(self) -> dict[str, Any]:
        return {
            "collisions": 1,
            "found": [c.as_json() for c in self.found],
            "compared": list(self.compared),
            "left_out": [{"proposal": name, "why": why} for name, why in self.left_out],
        }


def collisions(source: Source, today: date) -> Collisions:
    """All pairs of open proposals, each on main as it is now."""
    repository = source.in_git()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    released = {r.proposal for r in Ledger(repository, main).releases}
    cases: list[Case] = []
    left_out: list[tuple[str, str]] = []
    numbers: dict[str, list[str]] = {}
    for name, tip in repository.proposal_tips().items():
        if name in released:
            continue
        numbers.setdefault(name.split("-", 1)[0], []).append(name)
        try:
            case = Case(repository, name, tip, main, edited_from(repository, tip, main), today)
            why = _alone(case)
        except Stop as stop:
            why = stop.what
        if why:
            left_out.append((name, why))
        else:
            cases.append(case)
    found = [
        Collision(one, two, NUMBER, "proposals", f"both have the number {number}, so the number alone names neither")
        for number, names in numbers.items()
        for one, two in combinations(sorted(names), 2)
    ]
    for one, two in combinations(sorted(cases, key=lambda c: c.name), 2):
        found += _pair(one, two)
    return Collisions(tuple(sorted(set(found))), tuple(c.name for c in cases), tuple(left_out))


def _alone(case: Case) -> str:
    """Why a proposal does not pass alone, or nothing."""
    if case.merged.conflicts:
        return "it conflicts with main as it is now"
    if case.proposal.draft:
        return "it is a draft"
    if errors_of(list(case.problems)):
        return "it has errors when merged onto main"
    return ""


def _pair(one: Case, two: Case) -> Iterator[Collision]:
    merged = _both(one, two)
    for conflict in merged.conflicts:
        words = conflict_between(conflict, one.book, one.name, two.name)
        yield Collision(one.name, two.name, CONFLICT, conflict.file, words)
    yield from _crossing(one, two)
    if merged.conflicts:
        return
    shelf = one.repository.cache()
    loaded = load(merged.files, shelf)
    problems = check_kept(shelf, merged.files, loaded, one.today)
    before: tuple[Problem, ...] = check_kept(shelf, one.main_files, one.before, one.today)
    for problem in only_together(before, one.problems, two.problems, problems):
        yield Collision(one.name, two.name, TOGETHER, problem.place.file, f"together: {problem.what}")
    if loaded.book is None:
        return
    yield from _amounts(one, two, loaded.book)
    if not errors_of(list(problems)):
        yield from _costs(one, two, merged, loaded.book)


def _both(one: Case, two: Case) -> MergedTree:
    """The second merged onto main with the first, as the later release would be."""
    reader = one.repository
    return merge_trees(
        book_files(reader, two.base), one.merged.files, book_files(reader, two.tip), one.repository.cache()
    )


def _amounts(one: Case, two: Case, both: Book) -> Iterator[Collision]:
    found = doubled(totals(one.old_book), totals(one.book), totals(two.book), totals(both))
    for item, size, ingredient, now, then in found:
        kind, _, id = item.partition("/")
        recipe = (both.drinks if kind == "drink" else both.preps)[id]
        name = both.ingredients[ingredient].name if ingredient in both.ingredients else ingredient
        way = "raise" if then > now else "lower"
        words = (
            f"both {way} {name} in {recipe.name}{'' if kind == 'prep' else f' ({size})'}: "
            f"{float(now):.2f} g now, {float(then):.2f} g with both, which neither asks for"
        )
        yield Collision(one.name, two.name, DOUBLE, f"{kind}s/{id}.yaml", words)


def _crossing(one: Case, two: Case) -> Iterator[Collision]:
    """Items both move whose starts differ: the earlier start can only be released first."""
    mine, other = ({(r.site, r.item) for r in c.effect.rows} for c in (one, two))
    shared = sorted(mine & other)
    starts = [starts_of(c.book, c.effect.waves, _long_ago(c), False) for c in (one, two)]
    apart = [(site, item) for site, item in shared if starts[0].get(site) != starts[1].get(site)]
    if not apart:
        return
    site, item = apart[0]
    first = one if (starts[0].get(site) or "") < (starts[1].get(site) or "") else two
    yield Collision(
        one.name,
        two.name,
        CROSSING,
        item,
        f"both change {item} at {len({s for s, _ in apart})} sites and start on different days; "
        f"once the later one is released, {first.name} can no longer be",
    )


def _long_ago(case: Case) -> Any:
    """Starts as stated, whatever today is."""
    from datetime import datetime, timezone

    return datetime(case.today.year - 100, 1, 1, tzinfo=timezone.utc)


def _costs(one: Case, two: Case, merged: MergedTree, book: Book) -> Iterator[Collision]:
    """Cups whose cost moves beyond the policy's limit by the two together, and by neither alone."""
    limit = policy_of(one).cost_limit
    both = compile_kept(one.repository, merged.files, book)
    for franchise in sorted(book.price_books):
        before = Side(one.old_book, one.ledger.rows, one.entries)
        alone = set()
        for case in (one, two):
            after = Side(case.book, case.compiled.rows, case.compiled.entries)
            alone |= {h.because for h in hits_of_costs(costs_of(before, after, franchise), limit)}
        after = Side(book, both.rows, both.entries)
        for hit in hits_of_costs(costs_of(before, after, franchise), limit):
            if hit.because not in alone:
                words = f"together, at {book.franchises[franchise].name}: {hit.because}, which neither does alone"
                yield Collision(one.name, two.name, COST, f"franchises/{franchise}.yaml", words)
