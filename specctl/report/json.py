"""The report as JSON: complete, versioned, and enough to sign without a clone.

The published schema is `schema/report.schema.json`. Decimals are strings,
dates ISO 8601; `effect` is the very value whose canonical bytes (RFC 8785)
hash to `effect_digest`, so a signer can check what the signature will name.
"""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from decimal import Decimal
from typing import Any, Mapping

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact
from specctl.report.view_cups import cups_json

VERSION = 1


def report_json(impact: Impact) -> dict[str, Any]:
    """Plain JSON values of everything an impact holds.

    `price_book` is the digest a signature for this scope names: the scope's own
    price book, null for the chain or where none is at hand.
    """
    return {
        "report": VERSION,
        "book": impact.book,
        "book_name": impact.book_name,
        "proposal": impact.proposal,
        "title": impact.title,
        "why": impact.why,
        "state": impact.state,
        "author": impact.author,
        "edited_from": impact.edited_from,
        "main": impact.main,
        "tip": impact.tip,
        "scope": impact.effect.scope,
        "effect": impact.effect.as_json(),
        "effect_digest": impact.digest,
        "price_book": _own_price_book(impact),
        "price_books": [
            {"franchise": f, "digest": digest, "as_of": as_of} for f, digest, as_of in impact.price_books
        ],
        "classes": list(impact.classes),
        "conflicts": list(impact.conflicts),
        "allergens": [{**_plain(c), "way": c.way} for c in impact.allergens],
        "cover": {
            **_plain(impact.cover),
            "still_unknown": [
                {"item_name": item, "choice_name": choice, "name": name, "market": market}
                for item, choice, name, market in impact.cover.still_unknown
            ],
        },
        "amounts": [{**_plain(c), "same_grams": c.same_grams} for c in impact.amounts],
        "texts": _plain(impact.texts),
        "hindrances": _plain(impact.hindrances),
        "costs": _plain(impact.costs),
        "file_changes": [
            {"file": file, "path": path, "before": before, "after": after}
            for file, path, before, after in impact.file_changes
        ],
        "signings": _plain(impact.signings),
        "objections": _plain(impact.objections),
        "untouched": _plain(impact.untouched),
        "names": _plain(impact.names),
        "through": _plain(impact.through),
        "menu": _plain(impact.menu),
        "cups": cups_json(impact),
        "bought": _plain(impact.bought),
        "recompiled": list(impact.recompiled),
        "release": impact.release,
    }


def _own_price_book(impact: Impact) -> str | None:
    scope = impact.effect.scope
    if scope == CHAIN:
        return None
    own = [digest for f, digest, _ in impact.price_books if f == scope.partition("/")[2]]
    return own[0] if own else None


def _plain(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(value[key]) for key in sorted(value)}
    if isinstance(value, (list, tuple)):
        return [_plain(member) for member in value]
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, float):
        raise TypeError("a float has no place in a report; use a Decimal")
    return value
