"""A way in as an entry tells it, said in the language of the page; for sheets and cards, which know no layer's name."""

from __future__ import annotations

import re
from collections.abc import Collection

from specctl.report.told_words import bracket_told, is_bracket, shared_told
from specctl.report.words import say

_BRACKETED = re.compile(r"(.+) \(([^()]+)\)", re.DOTALL)


def way_words(path: str, known: Collection[str]) -> str:
    """`through milk > ingredient/oat-drink`; `known` are names of drinks and preps, for those that share equipment."""
    behind = ""
    while (found := _BRACKETED.fullmatch(path)) and is_bracket(found[2]):
        path, behind = found[1], f" ({bracket_told(found[2])}){behind}"
    return say("allergens.path", path=shared_told(path, lambda: known) + behind)
