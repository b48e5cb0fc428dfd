"""A conflict settled by a person: each fact in dispute taken from one side, whole.

A settled value is always one side's, never a mixture within one fact. Where one
side took a whole part away (a layer, a line, a file) and the other edited inside
it, the part comes or goes whole. Facts that were not in dispute stay as merged.
"""

from __future__ import annotations

from collections.abc import Mapping

from specctl.change.facts import MAP, ORDER, SET, Facts, Path
from specctl.change.merge import Conflict, merge

MAIN = "main"
PROPOSAL = "proposal"
SIDES = (MAIN, PROPOSAL)


def fact_words(path: Path) -> str:
    """A fact's path as it is typed and shown: `layers/foam/lines/cream/amount/regular`, `layers/order`."""
    return "/".join(p.lstrip("$") if p in (ORDER,) else p for p in path if p not in (MAP, SET))


def settle(base: Facts, ours: Facts, theirs: Facts, file: str, choices: Mapping[Path, str]) -> Facts:
    """The merged facts of a file with every conflict taken from the side chosen for it."""
    result = dict(merge(base, ours, theirs, file).facts)
    # The widest first, so that a choice inside a part both sides kept is not undone.
    for path, side in sorted(choices.items(), key=lambda c: len(_scope(c[0], ours, theirs))):
        scope = _scope(path, ours, theirs)
        chosen = ours if side == MAIN else theirs
        for old in [p for p in result if p[: len(scope)] == scope]:
            del result[old]
        for new, value in chosen.items():
            if new[: len(scope)] == scope:
                result[new] = value
        _keep_order(result, scope, chosen)
    return result


def allergen(conflict: Conflict) -> bool:
    """Whether an allergen fact is in dispute, or a part or file that may hold one."""
    return "allergens" in conflict.path or (conflict.file.startswith("ingredients/") and len(conflict.path) <= 1)


def _scope(path: Path, ours: Facts, theirs: Facts) -> Path:
    """The part that comes or goes whole: the outermost mapping or set only one side has, else the fact itself."""
    for depth in range(len(path)):
        for mark in (MAP, SET):
            where = path[:depth] + (mark,)
            if (where in ours) != (where in theirs):
                return path[:depth]
    return path[:-1] if path[-1:] == (MAP,) else path


def _keep_order(result: Facts, scope: Path, chosen: Facts) -> None:
    """A key that came back stands in its mapping where the chosen side has it; one that went is gone from the order."""
    if not scope or scope[-1] in (MAP, SET, ORDER):
        return
    where, key = scope[:-1] + (ORDER,), scope[-1]
    order = [k for k in _keys(result.get(where)) if k != key]
    there = any(p[: len(scope)] == scope for p in result)
    side = _keys(chosen.get(where))
    if there:
        before = side[: side.index(key)] if key in side else ()
        at = max((order.index(k) + 1 for k in before if k in order), default=0)
        order.insert(at, key)
    if where in result or there:
        result[where] = tuple(order)


def _keys(value: object) -> tuple[str, ...]:
    return value if isinstance(value, tuple) else ()
