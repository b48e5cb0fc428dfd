"""Reads the drawings of a bundle: no signature rests on one, so none may say what an entry does not.

A drawing holds shapes, colours and layer keys; its names come from the entry.
Anything that would not draw as a cup refuses the bundle.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from specctl.site import strict

COLOUR = re.compile(r"#[0-9a-f]{6}")
KINDS = re.compile(r"liquid|foam|slush|pieces")
MOST_WALLS = 200
MOST_PIECES = 14
_LARGEST = 20_000
"""Tenths of a millimetre: no vessel on a counter is two metres high."""

Drawings = Mapping[str, Mapping[str, Mapping[str, Any]]]


def drawings(value: Any, entries: Mapping[str, Any]) -> Drawings:
    """Entry digest to size key to drawing. Raises Untrusted naming the place of what is wrong."""
    strict.typed(value, dict, "$.drawings")
    for digest, sizes in value.items():
        path = f"$.drawings.{digest[:12]}"
        if digest not in entries:
            raise strict.wrong(path, "drawn for an entry this bundle does not hold")
        known = _served(entries[digest])
        for key, drawing in strict.typed(sizes, dict, path).items():
            if key not in known:
                raise strict.wrong(path, "drawn for a size the entry does not serve in a vessel")
            _drawing(drawing, f"{path}.{key}", known[key])
    return MappingProxyType(value)


def _served(entry: Mapping[str, Any]) -> dict[str, set[str]]:
    """Sizes in a vessel, each with its layers, of an entry that may be shaped in any way."""
    found = {}
    for size in entry["sizes"]:
        if isinstance(size, dict) and isinstance(size.get("key"), str) and isinstance(size.get("vessel"), dict):
            layers = size.get("layers")
            rows = [row for row in layers if isinstance(row, dict)] if isinstance(layers, list) else []
            found[size["key"]] = {row["key"] for row in rows if isinstance(row.get("key"), str)}
    return found


def _drawing(value: Any, path: str, layers: set[str]) -> None:
    strict.fields(value, path, walls=list, fill=int, lid=object, layers=list, ice=object, hot=bool)
    height = _walls(value["walls"], f"{path}.walls")
    _length(value["fill"], f"{path}.fill", 0, height)
    if value["lid"] is not None:
        _length(value["lid"], f"{path}.lid", 0, _LARGEST)
    _layers(value["layers"], f"{path}.layers", layers, height)
    if value["ice"] is not None:
        bottom, top, pieces = _parts(value["ice"], f"{path}.ice", 3)
        _length(bottom, f"{path}.ice", 0, height)
        _length(top, f"{path}.ice", bottom, height)
        _length(pieces, f"{path}.ice", 1, MOST_PIECES)


def _walls(walls: list[Any], path: str) -> int:
    """The height of the rim."""
    if not 2 <= len(walls) <= MOST_WALLS:
        raise strict.wrong(path, "not the walls of a vessel")
    under = -1
    for wall in walls:
        up, wide = _parts(wall, path, 2)
        _length(up, path, under + 1, _LARGEST)
        _length(wide, path, 1, _LARGEST)
        if under < 0 and up != 0:
            raise strict.wrong(path, "the walls do not begin at the base")
        under = up
    return under


def _layers(rows: list[Any], path: str, known: set[str], height: int) -> None:
    told: set[str] = set()
    under = 0
    for row in rows:
        keys, kind, colour, bottom, top = _parts(row, path, 5)
        for key in strict.typed(keys, list, path):
            if strict.typed(key, str, path) not in known or key in told:
                raise strict.wrong(path, "a layer the entry does not have, or one drawn twice")
            told.add(key)
        if not keys:
            raise strict.wrong(path, "a layer without a key")
        strict.matches(kind, path, KINDS)
        strict.matches(colour, path, COLOUR)
        _length(bottom, path, under, height)
        _length(top, path, bottom, height)
        under = top
    if not rows:
        raise strict.wrong(path, "no layer is drawn")


def _parts(value: Any, path: str, count: int) -> list[Any]:
    if len(strict.typed(value, list, path)) != count:
        raise strict.wrong(path, f"has not {count} parts")
    return value  # type: ignore[no-any-return]


def _length(value: Any, path: str, least: int, most: int) -> int:
    if not least <= strict.typed(value, int, path) <= most:
        raise strict.wrong(path, "stands where nothing in a cup can")
    return value  # type: ignore[no-any-return]
