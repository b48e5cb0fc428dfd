"""What differs between two entries of one item, as data; the words come later.

Everything is compared by key, never by position; each leaf of an entry belongs
to exactly one kind of `Difference`, so two entries that differ at all give at
least one. Allergens come first. Wording is `specctl.site.compare_words`'s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

Record = Mapping[str, Any]
Keyed = Mapping[str, Record]

STATUSES = ("contains", "may_contain", "unknown")


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that differs. `names` says where, for people; None: not there.

    `before` and `after` are the values of the entry themselves (text, a LINE, a
    list of FACTs), as `kind` has them.
    """

    kind: str
    names: tuple[tuple[str, str], ...]
    before: Any
    after: Any

    @property
    def about_allergens(self) -> bool:
        return self.kind.startswith("allergen") or self.kind == "list"


def compare(before: Record, after: Record) -> list[Difference]:
    """All differences from `before` to `after`; empty only for equal entries."""
    parts: tuple[tuple[tuple[str, ...], Callable[[Record, Record], Iterable[Difference]]], ...] = (
        (("allergens",), _allergens),
        (("list",), _list),
        (("name", "market"), _head),
        (("sizes",), _sizes),
        (("steps",), _steps),
        (("options",), _options),
        (("substitutes",), _substitutes),
        (("hold", "equipment", "cautions", "claims", "contact", "advisories"), _rest),
    )
    found: list[Difference] = []
    seen: set[str] = set()
    for keys, part in parts:
        seen.update(keys)
        differences = list(part(before, after))
        found += differences
        if not differences and any(before.get(key) != after.get(key) for key in keys):
            found.append(_difference("other", None, None, what=keys[0]))
    for key in sorted((before.keys() | after.keys()) - seen):
        if before.get(key) != after.get(key):
            found.append(_difference("other", None, None, what=key))
    return found


def _difference(kind: str, before: Any, after: Any, **names: str) -> Difference:
    return Difference(kind, tuple(names.items()), before, after)


def _leaf(kind: str, before: Any, after: Any, **names: str) -> Iterator[Difference]:
    if before != after:
        yield _difference(kind, before, after, **names)


def _by_key(records: Iterable[Record], key: str = "key") -> dict[str, Record]:
    return {record[key]: record for record in records}


def _pairs(before: Keyed, after: Keyed) -> Iterator[tuple[str, Record | None, Record | None]]:
    for key in [*before, *(key for key in after if key not in before)]:
        yield key, before.get(key), after.get(key)


def _order(
    kind: str, before: Keyed, after: Keyed, label: Callable[[Record], str], **names: str
) -> Iterator[Difference]:
    old = [key for key in before if key in after]
    new = [key for key in after if key in before]
    if old != new:
        yield _difference(
            kind, [label(before[key]) for key in old], [label(after[key]) for key in new], **names
        )


def _name(record: Record) -> str:
    return str(record["name"])


def _head(before: Record, after: Record) -> Iterator[Difference]:
    yield from _leaf("name", before["name"], after["name"])
    yield from _leaf("market", before["market"], after["market"])


def _list(before: Record, after: Record) -> Iterator[Difference]:
    yield from _leaf("list", before["list"], after["list"])


def _allergens(before: Record, after: Record) -> Iterator[Difference]:
    old, new = _by_key(before["allergens"], "choice"), _by_key(after["allergens"], "choice")
    for _, was, now in _pairs(old, new):
        if was is None or now is None:
            yield _difference("allergen-row", was, now, row=_row_name(was or now or {}))
            continue
        row = _row_name(now)
        facts_before, facts_after = _facts(was), _facts(now)
        for substance in [*facts_before, *(key for key in facts_after if key not in facts_before)]:
            yield from _fact(
                facts_before.get(substance, {}), facts_after.get(substance, {}), row
            )
        yield from _leaf("allergen-date", was["absent_until"], now["absent_until"], row=row)
        yield from _leaf("choice", was["name"], now["name"], option="", choice=row)


def _row_name(row: Record) -> str:
    return str(row["name"] or row["choice"])  # empty: the standard build


def _facts(row: Record) -> dict[str, dict[str, Record]]:
    """Substance to status to FACT; one substance may stand in two lists."""
    facts: dict[str, dict[str, Record]] = {}
    for status in STATUSES:
        for fact in row[status]:
            facts.setdefault(fact["substance"], {})[status] = fact
    return facts


def _fact(was: Keyed, now: Keyed, row: str) -> Iterator[Difference]:
    sample = next(iter((now or was).values()))
    name = str(sample["name"])
    yield from _leaf("allergen", list(was), list(now), row=row, name=name)
    if list(was) != list(now):
        return
    for status, fact in now.items():
        old = was[status]
        yield from _leaf("allergen-path", old["paths"], fact["paths"], row=row, name=name)
        yield from _leaf("allergen-listed", old["listed"], fact["listed"], row=row, name=name)
        yield from _leaf(
            "allergen-name", [old["name"], old["group"]], [fact["name"], fact["group"]],
            row=row, name=name,
        )  # fmt: skip


def _sizes(before: Record, after: Record) -> Iterator[Difference]:
    old, new = _by_key(before["sizes"]), _by_key(after["sizes"])
    for _, was, now in _pairs(old, new):
        if was is None or now is None:
            yield _difference("size", was, now, size=_name(was or now or {}))
            continue
        size = _name(now)
        yield from _leaf("size-name", was["name"], now["name"], size=size)
        yield from _leaf("vessel", was["vessel"], now["vessel"], size=size)
        yield from _leaf("makes", was["makes_g"], now["makes_g"], size=size)
        yield from _layers(was, now, size)
    yield from _order("size-order", old, new, _name)


def _layers(before: Record, after: Record, size: str) -> Iterator[Difference]:
    old, new = _by_key(before["layers"]), _by_key(after["layers"])
    for _, was, now in _pairs(old, new):
        layer = _name(now or was or {})
        if was is not None and now is not None:
            yield from _leaf("layer-name", was["name"], now["name"], size=size, layer=layer)
        else:
            yield _difference("layer", was, now, size=size, layer=layer)
        lines_before = _by_key(was["lines"]) if was else {}
        lines_after = _by_key(now["lines"]) if now else {}
        for _, line_was, line_now in _pairs(lines_before, lines_after):
            yield from line_differences(line_was, line_now, size=size, layer=layer)
        yield from _order("line-order", lines_before, lines_after, _name, size=size, layer=layer)
    yield from _order("layer-order", old, new, _name, size=size)


def line_differences(
    before: Record | None, after: Record | None, *, size: str, layer: str
) -> Iterator[Difference]:
    """What differs between two LINEs of the same key; None: not there."""
    names = {"size": size, "layer": layer, "line": _name(after or before or {})}
    if before is None or after is None:
        yield from _leaf("line", before, after, **names)
        return
    yield from _leaf(
        "line-item", [before["of"], before["name"]], [after["of"], after["name"]], **names
    )
    if _some(before, "grams", "each", "rule") != _some(after, "grams", "each", "rule"):
        yield _difference("amount", before, after, **names)
    yield from _leaf("tolerance", before["tolerance"], after["tolerance"], **names)
    was, now = before["measure"], after["measure"]
    if _hand(was) != _hand(now):
        yield _difference("measure", before, after, **names)
    if before.get("double") != after.get("double"):
        yield _difference("double", before, after, **names)
    yield from _leaf("verdict", was["verdict"], now["verdict"], **names)
    yield from _leaf("measure-note", was["note"], now["note"], **names)


def _hand(measure: Record) -> list[Any]:
    """What of a measure a hand does; a newer entry may tell more of the same tool."""
    moves = [[move.get(key) for key in ("tool", "kind", "name", "times", "mark")] for move in measure["moves"]]
    return [moves, *_some(measure, "by", "gives", "off")]


def _some(record: Record, *keys: str) -> list[Any]:
    return [record[key] for key in keys]


def _steps(before: Record, after: Record) -> Iterator[Difference]:
    old, new = _by_key(before["steps"]), _by_key(after["steps"])
    places = {key: number for number, key in enumerate(new, 1)}
    for key, was, now in _pairs(old, new):
        step = str(places[key]) if key in places else f"({key})"
        if was is None or now is None:
            yield _difference("step", was, now, step=step)
            continue
        yield from _leaf("step-text", was["do"], now["do"], step=step)
        yield from _leaf("step-layer", was["layer"], now["layer"], step=step)
        yield from _leaf("step-equipment", was["equipment"], now["equipment"], step=step)
        yield from _leaf("step-caution", was["caution"], now["caution"], step=step)
    yield from _order("step-order", old, new, lambda step: str(step["do"]))


def _options(before: Record, after: Record) -> Iterator[Difference]:
    old, new = _by_key(before["options"]), _by_key(after["options"])
    for _, was, now in _pairs(old, new):
        if was is None or now is None:
            yield _difference("option", was, now, option=_name(was or now or {}))
            continue
        option = _name(now)
        yield from _leaf("option", was["name"], now["name"], option=option)
        choices_before, choices_after = _by_key(was["choices"]), _by_key(now["choices"])
        for _, choice_was, choice_now in _pairs(choices_before, choices_after):
            yield from _choice(choice_was, choice_now, option)
        yield from _order("option-order", choices_before, choices_after, _name, option=option)
    yield from _order("option-order", old, new, _name)


def _choice(before: Record | None, after: Record | None, option: str) -> Iterator[Difference]:
    choice = _name(after or before or {})
    if before is None or after is None:
        yield _difference("choice", before, after, option=option, choice=choice)
        return
    yield from _leaf("choice", before["name"], after["name"], option=option, choice=choice)
    old, new = _by_key(before["sizes"]), _by_key(after["sizes"])
    for size, was, now in _pairs(old, new):
        lines_before = _by_key(was["lines"], "path") if was else {}
        lines_after = _by_key(now["lines"], "path") if now else {}
        for path, line_was, line_now in _pairs(lines_before, lines_after):
            if line_was != line_now:
                yield _difference(
                    "choice-line", line_was, line_now,
                    option=option, choice=choice, size=size, line=path,
                )  # fmt: skip


def _substitutes(before: Record, after: Record) -> Iterator[Difference]:
    old, new = _by_key(before["substitutes"]), _by_key(after["substitutes"])
    for _, was, now in _pairs(old, new):
        yield from _leaf("substitute", was, now, substitute=_name(now or was or {}))


def _rest(before: Record, after: Record) -> Iterator[Difference]:
    for key in ("hold", "equipment", "cautions", "claims"):
        yield from _leaf(key, before[key], after[key])
    # Entries made before these were told do not have them.
    for key in ("contact", "advisories"):
        yield from _leaf(key, before.get(key, []), after.get(key, []))
