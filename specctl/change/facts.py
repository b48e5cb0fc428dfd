"""A record as a flat map of facts, and the difference of two such maps.

A record's meaning is plain data: mappings, sets of scalars (YAML lists) and
scalars. Each scalar is one fact under its path; each member of a set is a fact
of its own; that a mapping exists is a fact (so that deleting it against an
edit inside it is seen); the order of a mapping's keys is one fact. Position is
never an identity.

Laws (tests/change/test_facts.py): `diff(a, a)` is empty;
`apply(diff(a, b), a) == b`; `build(facts(x)) == x` with key order kept.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Mapping

MAP = "$map"
ORDER = "$order"
SET = "$set"

Path = tuple[str, ...]
Value = str | int | bool | Decimal | tuple[str, ...]
Facts = dict[Path, Value]


@dataclass(frozen=True, slots=True)
class Change:
    """One fact before and after; None means it is not there."""

    path: Path
    before: Value | None
    after: Value | None

    @property
    def added(self) -> bool:
        return self.before is None

    @property
    def removed(self) -> bool:
        return self.after is None


def facts(meaning: Mapping[str, Any]) -> Facts:
    """All facts of a record's plain meaning."""
    found: Facts = {}
    _walk((), meaning, found)
    return found


def _walk(path: Path, value: Any, found: Facts) -> None:
    if isinstance(value, Mapping):
        found[path + (MAP,)] = True
        found[path + (ORDER,)] = tuple(value)
        for key, inner in value.items():
            _walk(path + (key,), inner, found)
    elif isinstance(value, (list, tuple)):
        found[path + (SET,)] = True
        for member in value:
            found[path + (SET, str(member))] = member
    else:
        found[path] = value


def build(facts: Mapping[Path, Value]) -> Any:
    """The plain meaning a map of facts stands for. Members of a set come sorted."""
    children: dict[Path, dict[str, None]] = {}
    for path in facts:
        for depth in range(len(path)):
            children.setdefault(path[:depth], {})[path[depth]] = None
    return _build((), facts, children)


def _build(path: Path, facts: Mapping[Path, Value], children: Mapping[Path, Mapping[str, None]]) -> Any:
    if path in facts:
        return facts[path]
    names = children.get(path, {})
    if SET in names:
        members = children.get(path + (SET,), {})
        return [facts[path + (SET, name)] for name in sorted(members)]
    order = facts.get(path + (ORDER,), ())
    keys = [key for key in order if key in names]
    keys += sorted(n for n in names if n not in order and n not in (MAP, ORDER))
    return {key: _build(path + (key,), facts, children) for key in keys}


def diff(before: Mapping[Path, Value], after: Mapping[Path, Value]) -> tuple[Change, ...]:
    """Every fact that differs, sorted by path."""
    paths = [p for p in before.keys() | after.keys() if not same(before.get(p), after.get(p))]
    return tuple(Change(p, before.get(p), after.get(p)) for p in sorted(paths))


def same(a: Value | None, b: Value | None) -> bool:
    """Whether two values are one fact. True == 1 in Python; a switch and a number are two."""
    return a == b and isinstance(a, bool) == isinstance(b, bool)


def apply(changes: tuple[Change, ...], facts: Mapping[Path, Value]) -> Facts:
    """The facts after all changes."""
    result = dict(facts)
    for change in changes:
        if change.after is None:
            result.pop(change.path, None)
        else:
            result[change.path] = change.after
    return result


def as_rows(changes: tuple[Change, ...]) -> list[list[Any]]:
    """Changes as canonical-JSON rows, for digests: [path, before, after]."""
    return [[list(c.path), row_value(c.before), row_value(c.after)] for c in changes]


def row_value(value: Value | None) -> Any:
    """A value as canonical JSON: an exact number as text behind a #, an order as a list."""
    if isinstance(value, tuple):
        return list(value)
    if isinstance(value, Decimal):
        return f"#{value.normalize():f}"
    return value
