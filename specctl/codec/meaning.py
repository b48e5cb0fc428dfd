"""What a file means, with quantities compared by value.

`30 g`, `30.0 g` and `0.03 kg` are one meaning; so are `48 h` and `2 d`. Texts
that are no quantity stand as they are. The facts of change control are taken
from this, never from bytes.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import Any

from specctl.codec import units
from specctl.codec.node import Node
from specctl.domain.amount import plain

_QUANTITY = re.compile(r"(-?(?:0|[1-9][0-9]{0,8})(?:\.[0-9]{1,9})?) (\S{1,12})")
# Texts for people are never quantities, however they look.
_PROSE = frozenset({"name", "title", "why", "note", "do", "caution", "from", "source", "document", "scope", "written", "who"})


def meaning(node: Node) -> Any:
    """Plain data of a record, quantities in base units."""
    return _walk(node, "")


def _walk(node: Node, key: str) -> Any:
    if node.kind == "map":
        return {k: _walk(inner, k) for k, inner in node.pairs()}
    if node.kind == "list":
        return [_walk(inner, key) for inner in node.items]
    if isinstance(node.value, str) and key not in _PROSE:
        return base_form(node.value)
    return node.value


def base_form(text: str) -> str:
    """A quantity in its base unit; any other text unchanged."""
    match = _QUANTITY.fullmatch(text)
    if match is None:
        return text
    number, unit = Decimal(match[1]), match[2]
    known = units.known(unit)
    if known is None or unit in units.AMBIGUOUS:
        return f"{plain(number)} {unit}" if unit in ("each", "%", "°C") else text
    return f"{plain(number * known.size)} {units.BASE[known.dimension]}"
