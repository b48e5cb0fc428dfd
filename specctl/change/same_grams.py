"""Same grams, other scoops: what the hand does changes while the recipe stands.

A powder whose bulk density moves leaves every gram alone and moves every level
scoop of it. Promises the amounts that move so, where, what moved them (read
from the facts of the very ingredients and preps in those lines), which were
proven and no longer are, and which can no longer be measured. No words.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from specctl.change.impact import AmountChange, AtSites, Impact

BEARING = ("bulk_density/is", "density/is", "product_code", "supplier", "film", "state")
"""Facts of an ingredient or prep that its tool amounts rest on, and that say nothing of grams."""

FAILS = ("outside", "no-tool")


@dataclass(frozen=True, slots=True)
class Cause:
    """A fact of one ingredient or prep, by its file, before and after as shown text."""

    file: str
    name: str
    fact: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class SameGrams:
    """Amounts (each with its item, size, choice and path) that move in tools alone, and their sites.

    `unproven` and `failing` count amounts that were proven, or could be measured,
    at some site before this change and there no longer. `weighed` where a scale is among what moves.
    """

    causes: tuple[Cause, ...]
    amounts: int
    items: tuple[str, ...]
    sites: tuple[str, ...]
    unproven: int
    failing: int
    weighed: bool


def same_grams_of(impact: Impact) -> SameGrams | None:
    """What moves in tools while its grams stand; None where nothing does."""
    moved = [(change, at) for change in impact.amounts for at in _moves(change)]
    if not moved:
        return None
    return SameGrams(
        causes=tuple(dict.fromkeys(cause for change, _ in moved for cause in _causes(impact, change))),
        amounts=len({_slot(change) for change, _ in moved}),
        items=tuple(sorted({change.item for change, _ in moved})),
        sites=tuple(sorted({site for _, at in moved for site in at.sites})),
        unproven=len({_slot(c) for c, at in moved if _verdicts(at) == ("within", "unproven")}),
        failing=len({_slot(c) for c, at in moved if _verdicts(at)[0] not in FAILS and _verdicts(at)[1] in FAILS}),
        weighed=any("scale" in (side["by"] for side in (at.before, at.after) if side) for _, at in moved),
    )


def _slot(change: AmountChange) -> tuple[str, str, str, str]:
    return change.item, change.size, change.choice, change.path


def _moves(change: AmountChange) -> Iterator[AtSites]:
    """The groups of sites whose tools move; a tolerance that moves them is a change of the recipe."""
    if not change.same_grams:
        return
    for at in change.at:
        before, after = at.before_line, at.after_line
        if before and after and at.before != at.after and before["tolerance"] == after["tolerance"]:
            yield at


def _verdicts(at: AtSites) -> tuple[str, str]:
    return (at.before or {}).get("verdict", ""), (at.after or {}).get("verdict", "")


def _causes(impact: Impact, change: AmountChange) -> Iterator[Cause]:
    kind, _, id = (change.after_of or "").partition("/")
    file = f"{kind}s/{id}.yaml"
    for path, fact, before, after in impact.file_changes:
        if path == file and fact in BEARING:
            yield Cause(file, change.line_name, fact, before, after)
