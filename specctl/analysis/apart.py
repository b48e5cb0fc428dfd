"""Which layers are made in a vessel of their own, or changed before they reach the cup.

Promises to say so in doubt: whoever weighs by running totals then tares once
too often, never once too seldom. A layer is made apart where its handling says
so, where a step of it uses equipment other than a spoon, or where a step's
words are those of such work (English words; a book in another language goes by
handling and equipment).
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from specctl.analysis.build import MIX
from specctl.domain.recipe import Drink, Prep, Step

_WORK = re.compile(
    r"\b(?:shak|shook|blend|strain|steam|whisk|whip|froth|brew|boil|simmer|decant|filter|steep|infus|melt|transfer)",
    re.IGNORECASE,
)
_SPOONS = frozenset({"spoon", "spoons"})


def made_apart(recipe: Drink | Prep) -> frozenset[str]:
    """Keys of the layers made apart; `mix` for a prep that is boiled, strained or the like.

    A step that names no layer belongs to the layer of the step before it.
    """
    if isinstance(recipe, Prep):
        return frozenset({MIX} if any(map(_intervenes, recipe.steps.values())) else ())
    found = {key for key, layer in recipe.layers.items() if layer.handling is not None}
    return frozenset(found | set(_by_steps(recipe.layers, recipe.steps.values())))


def _by_steps(keys: Iterable[str], steps: Iterable[Step]) -> Iterable[str]:
    known = list(keys)
    at = known[0] if known else ""
    for step in steps:
        at = step.layer if step.layer in known else at
        if _intervenes(step):
            yield at


def _intervenes(step: Step) -> bool:
    """Whether a step may take a vessel off the scale, or change what is in it."""
    return any(not _SPOONS & set(each.split("-")) for each in step.equipment) or _WORK.search(step.do) is not None
