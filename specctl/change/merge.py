"""Three-way merge of records, path by path. A conflict is data, never a guess.

For one fact there are four cases: neither side moved, one did, the other did,
both did. Both moving to the same value agree; to different values they
conflict. Deleting against editing conflicts, because the deleted mapping's or
set's own fact is gone while something inside it still moved; so does making
two different kinds of thing of one key. Order is one value, except
that keys added on both sides at different places interleave; two layers or
steps added at the same place are a conflict, for the order of a build is what
goes in the cup. Allergen facts never settle by themselves: any allergen fact
touched on both sides, in any way that is not the same, is a conflict.

Laws: `merge(b, x, b) = merge(b, b, x) = merge(b, x, x) = x`; symmetric but for
labels; every merged value was in an input; what is in dispute is named whole,
with all three values; a clean merge merged once more with either side is itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Mapping

from specctl.change.facts import MAP, ORDER, SET, Facts, Path, Value, same

# Mappings whose order is the order of the build.
_BUILD_ORDER = ("layers", "steps")


@dataclass(frozen=True, slots=True)
class Conflict:
    """Both sides moved one fact of one file, apart.

    `parts` names the sides (base, ours, theirs) that have no one value there but a mapping or a set.
    """

    file: str
    path: Path
    base: Value | None
    ours: Value | None
    theirs: Value | None
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Merged:
    facts: Facts
    conflicts: tuple[Conflict, ...]


def merge(
    base: Mapping[Path, Value], ours: Mapping[Path, Value], theirs: Mapping[Path, Value], file: str
) -> Merged:
    """Merge two descendants of `base`; an absent record is an empty mapping."""
    merged: Facts = {path: value for path, value in base.items() if path[-1] != ORDER}
    conflicts: list[Conflict] = []
    mine, other = _moved(base, ours), _moved(base, theirs)
    for path in sorted(mine | other):
        if path[-1] == ORDER:
            continue
        if path not in mine:
            value = theirs.get(path)
        elif path not in other or same(ours.get(path), theirs.get(path)):
            value = ours.get(path)
        else:
            conflicts.append(Conflict(file, path, base.get(path), ours.get(path), theirs.get(path)))
            continue
        if value is None:
            merged.pop(path, None)
        else:
            merged[path] = value
    conflicts += _edits_inside_deleted(base, ours, theirs, merged, file)
    sides = {"base": base, "ours": ours, "theirs": theirs}
    if mine and other:
        conflicts += _kinds_apart(sides, mine | other, file)
    _merge_orders((base, ours, theirs), merged, mine | other, conflicts, file)
    # An edit inside what the other deleted is found by its value and by its place: once is enough.
    return Merged(merged, tuple(dict.fromkeys(_with_parts(c, sides) for c in conflicts)))


def _with_parts(conflict: Conflict, sides: Mapping[str, Mapping[Path, Value]]) -> Conflict:
    if conflict.path[-1] in (MAP, SET, ORDER):
        return conflict
    parts = (name for name, side in sides.items() if any(conflict.path + (mark,) in side for mark in (MAP, SET)))
    return replace(conflict, parts=tuple(parts))


def _moved(base: Mapping[Path, Value], side: Mapping[Path, Value]) -> set[Path]:
    """The facts one side has otherwise than the base."""
    moved = {path for path, value in side.items() if (was := base.get(path)) is not value and not same(was, value)}
    if len(side) - len(moved) != len(base):
        moved |= base.keys() - side.keys()
    return moved


def _edits_inside_deleted(
    base: Mapping[Path, Value],
    ours: Mapping[Path, Value],
    theirs: Mapping[Path, Value],
    merged: Facts,
    file: str,
) -> list[Conflict]:
    """Facts that survive inside a mapping or set one side deleted, and orders moved inside it."""
    gone = {p for p in base if p[-1] in (MAP, SET) and p not in merged}
    found: list[Conflict] = []
    if not gone:
        return found
    for path in sorted(merged):
        # Members stand under a set's mark; everything else under the mapping's.
        marks = (path[:depth] + (SET if step == SET else MAP,) for depth, step in enumerate(path) if step != MAP)
        if any(mark in gone for mark in marks):
            found.append(Conflict(file, path, base.get(path), ours.get(path), theirs.get(path)))
    for marker in sorted(p for p in gone if p[-1] == MAP):
        where = marker[:-1] + (ORDER,)
        if any(marker in side and side.get(where) != base.get(where) for side in (ours, theirs)):
            found.append(Conflict(file, where, base.get(where), ours.get(where), theirs.get(where)))
    return found


def _kinds_apart(sides: Mapping[str, Mapping[Path, Value]], moved: set[Path], file: str) -> list[Conflict]:
    """Keys that one side made one kind of thing (text, mapping, set, nothing) and the other another."""
    keys = {path[:-1] if path[-1] in (MAP, SET) else path for path in moved if path[-1] != ORDER and SET not in path[:-1]}
    return [
        Conflict(file, path, sides["base"].get(path), sides["ours"].get(path), sides["theirs"].get(path))
        for path in sorted(keys)
        if len({_kind(side, path) for side in sides.values()}) == 3
    ]


def _kind(side: Mapping[Path, Value], path: Path) -> str | None:
    for mark in (MAP, SET):
        if path + (mark,) in side:
            return mark
    return "" if path in side else None


def _merge_orders(
    sides: tuple[Mapping[Path, Value], Mapping[Path, Value], Mapping[Path, Value]],
    merged: Facts,
    moved: set[Path],
    conflicts: list[Conflict],
    file: str,
) -> None:
    """The order of every mapping, from those of (base, ours, theirs); `moved`: the facts either side moved."""
    # Where neither side moved an order, no key came or went there and the order stands; a fact in
    # dispute may leave nothing under its key, so then every mapping is looked at.
    apart = {path[:-1] for path in (merged if conflicts else moved) if path[-1] in (MAP, ORDER)}
    for path, value in sides[0].items():
        if path[-1] == ORDER and path[:-1] not in apart and path[:-1] + (MAP,) in merged:
            merged[path] = value
    if not apart:
        return
    # The keys that stand in each mapping, looked up once for all of them.
    children: dict[Path, set[str]] = {}
    for path in merged:
        for depth in range(len(path)):
            children.setdefault(path[:depth], set()).add(path[depth])
    for marker in sorted(p for p in merged if p[-1] == MAP and p[:-1] in apart):
        where = marker[:-1] + (ORDER,)
        b, o, t = (_keys(side.get(where)) for side in sides)
        present = children[where[:-1]]
        order = merge_order(b, o, t, strict=bool(where[:-1]) and where[-2] in _BUILD_ORDER)
        if order is None:
            base, ours, theirs = (side.get(where) for side in sides)
            conflicts.append(Conflict(file, where, base, ours, theirs))
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
    our_slots, their_slots = _slots(ours, kept, base), _slots(theirs, kept, base)
    if strict and _in_two_places(our_slots, their_slots):
        return None
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


def _in_two_places(
    ours: Mapping[str | None, tuple[str, ...]], theirs: Mapping[str | None, tuple[str, ...]]
) -> bool:
    """Whether one key was added on both sides, behind different keys."""
    mine = {key: anchor for anchor, keys in ours.items() for key in keys}
    return any(key in mine and mine[key] != anchor for anchor, keys in theirs.items() for key in keys)


def _slots(order: tuple[str, ...], kept: set[str], base: tuple[str, ...]) -> dict[str | None, tuple[str, ...]]:
    """Added keys by the kept key they stand behind (None: at the front).

    A key of the base that the other side took away stands in nobody's way.
    """
    slots: dict[str | None, tuple[str, ...]] = {}
    anchor: str | None = None
    for key in order:
        if key in kept:
            anchor = key
        elif key not in base:
            slots[anchor] = slots.get(anchor, ()) + (key,)
    return slots
