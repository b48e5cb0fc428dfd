"""Three-way merge of records, path by path. A conflict is data, never a guess.

For one fact there are four cases: neither side moved, one did, the other did,
both did. Both moving to the same value agree; to different values they
conflict. Deleting against editing conflicts, because the deleted mapping's own
fact is gone while something inside it still moved. Order is one value, except
that keys added on both sides at different places interleave; two layers or
steps added at the same place are a conflict, for the order of a build is what
goes in the cup. Allergen facts never settle by themselves: any allergen fact
touched on both sides, in any way that is not the same, is a conflict.

Laws: `merge(b, x, b) = merge(b, b, x) = merge(b, x, x) = x`; symmetric but for
labels; every merged value was in an input.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Mapping

from specctl.change.facts import MAP, ORDER, Facts, Path, Value

# Mappings whose order is the order of the build.
_BUILD_ORDER = ("layers", "steps")


@dataclass(frozen=True, slots=True)
class Conflict:
    """Both sides moved one fact of one file, apart."""

    file: str
    path: Path
    base: Value | None
    ours: Value | None
    theirs: Value | None


@dataclass(frozen=True, slots=True)
class Merged:
    facts: Facts
    conflicts: tuple[Conflict, ...]


def merge(
    base: Mapping[Path, Value], ours: Mapping[Path, Value], theirs: Mapping[Path, Value], file: str
) -> Merged:
    """Merge two descendants of `base`; an absent record is an empty mapping."""
    merged: Facts = {}
    conflicts: list[Conflict] = []
    for path in sorted(base.keys() | ours.keys() | theirs.keys()):
        if path[-1] == ORDER:
            continue
        b, o, t = base.get(path), ours.get(path), theirs.get(path)
        if o == t:
            value = o
        elif o == b:
            value = t
        elif t == b:
            value = o
        else:
            conflicts.append(Conflict(file, path, b, o, t))
            value = b
        if value is not None:
            merged[path] = value
    conflicts += _edits_inside_deleted(base, ours, theirs, merged, file)
    _merge_orders(base, ours, theirs, merged, conflicts, file)
    return Merged(merged, tuple(conflicts))


def _edits_inside_deleted(
    base: Mapping[Path, Value],
    ours: Mapping[Path, Value],
    theirs: Mapping[Path, Value],
    merged: Facts,
    file: str,
) -> list[Conflict]:
    """Facts that survive inside a mapping one side deleted."""
    found = []
    for path in sorted(merged):
        for depth in range(len(path) - 1):
            marker = path[:depth] + (MAP,)
            if marker in base and marker not in merged:
                found.append(Conflict(file, path, base.get(path), ours.get(path), theirs.get(path)))
                break
    return found


def _merge_orders(
    base: Mapping[Path, Value],
    ours: Mapping[Path, Value],
    theirs: Mapping[Path, Value],
    merged: Facts,
    conflicts: list[Conflict],
    file: str,
) -> None:
    for marker in [p for p in merged if p[-1] == MAP]:
        where = marker[:-1] + (ORDER,)
        b, o, t = (_keys(side.get(where)) for side in (base, ours, theirs))
        present = {p[len(where) - 1] for p in merged if p[: len(where) - 1] == where[:-1] and len(p) >= len(where)}
        order = merge_order(b, o, t, strict=bool(where[:-1]) and where[-2] in _BUILD_ORDER)
        if order is None:
            conflicts.append(Conflict(file, where, b, o, t))
            order = b
        merged[where] = tuple(k for k in order if k in present)


def _keys(value: Value | None) -> tuple[str, ...]:
    return value if isinstance(value, tuple) else ()


def merge_order(
    base: tuple[str, ...], ours: tuple[str, ...], theirs: tuple[str, ...], *, strict: bool
) -> tuple[str, ...] | None:
    """One order from two, or None where both rearranged or (strict) both added at one place."""
    if ours == theirs or theirs == base:
        return ours
    if ours == base:
        return theirs
    kept = set(base) & set(ours) & set(theirs)
    moved_by_us = _only(ours, kept) != _only(base, kept)
    moved_by_them = _only(theirs, kept) != _only(base, kept)
    if moved_by_us and moved_by_them and _only(ours, kept) != _only(theirs, kept):
        return None
    spine = _only(ours if moved_by_us else theirs, kept)
    our_slots, their_slots = _slots(ours, kept), _slots(theirs, kept)
    result: list[str] = []
    for anchor in (None, *spine):
        if anchor is not None:
            result.append(anchor)
        mine, other = our_slots.get(anchor, ()), their_slots.get(anchor, ())
        if mine and other and mine != other:
            if strict:
                return None
            # Same place, no build order at stake: one fixed order for both sides.
            result += sorted(set(mine) | set(other))
        else:
            result += mine or other
    return tuple(dict.fromkeys(result))


def _only(order: tuple[str, ...], keys: set[str]) -> tuple[str, ...]:
    return tuple(k for k in order if k in keys)


def _slots(order: tuple[str, ...], kept: set[str]) -> dict[str | None, tuple[str, ...]]:
    """Added keys by the kept key they stand behind (None: at the front)."""
    slots: dict[str | None, tuple[str, ...]] = {}
    anchor: str | None = None
    for key in order:
        if key in kept:
            anchor = key
        else:
            slots[anchor] = slots.get(anchor, ()) + (key,)
    return slots
