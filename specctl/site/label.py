"""How a bundle names its site, held against what was signed: a site does not change hands on the publisher's word.

Who owns the site decides whose signature is asked for; its market, zone and day
decide what is read there. They are facts of three files of the book, and a
release that changes one brings the changed facts, as they were signed, with it.
The newest signed fact holds; without one, what this site has held so far. Only
at the very first pull is a fact that no release ever changed the publisher's word.
"""

from __future__ import annotations

from typing import Any

from specctl.canonical import digest
from specctl.site import strict
from specctl.site.approvals import Approval
from specctl.site.bundle import Bundle
from specctl.site.quorum_said import refused

_SITE = {
    ("name",): "name",
    ("franchise",): "franchise",
    ("market",): "market",
    ("time_zone",): "time_zone",
    ("day_starts",): "site_day",
}
_MARKET = {("name",): "market_name", ("language",): "language"}
_BOOK = {("name",): "book_name", ("day_starts",): "book_day"}
_WORDS = {
    "name": "the name of this site",
    "franchise": "the franchise of this site",
    "market": "the market of this site",
    "time_zone": "the time zone of this site",
    "market_name": "the name of its market",
    "language": "the language of its market",
    "book_name": "the name of the book",
    "day_starts": "when its day starts",
}


def refuse_relabelled(bundle: Bundle, known: Bundle | None, approvals: list[Approval]) -> None:
    """Raises Untrusted for the first name or place that no signed fact and no verified bundle tells so."""
    for approval in approvals:
        for path, rows in approval.told.items():
            signed = {effect.files.get(path) for effect in approval.effects.values()}
            if path not in _files(bundle) or signed != {digest(rows)}:
                raise refused(f"release {approval.number} tells {path} otherwise than was signed")
    newest = _newest(bundle, approvals)
    now, before = _label(bundle), _label(known) if known is not None else {}
    if before and now["market"] != before["market"]:
        del before["market_name"], before["language"]  # another market's
    for name in _WORDS.keys() - {"day_starts"}:
        may = newest.get(name, before.get(name, now[name]))
        if name == "language" and may.partition("-")[0].lower() == "en":
            may = ""
        if now[name] != may:
            raise refused(f"{_WORDS[name]} is told otherwise than was signed")
    days = _days(newest, before)
    if days and now["day_starts"] not in days:
        raise refused(f"{_WORDS['day_starts']} is told otherwise than was signed")


def franchises_of(bundle: Bundle, approvals: list[Approval]) -> dict[int, tuple[str, ...]]:
    """By release, who owned the site once it held; where it changed hands, who owned it before as well, second."""
    found: dict[int, tuple[str, ...]] = {}
    owner = bundle.site.franchise
    for approval in sorted(approvals, key=lambda a: -a.number):
        found[approval.number] = (owner,)
        for path, before, _ in approval.told.get(_files(bundle)[0], ()):
            if path == ["franchise"] and isinstance(before, str):
                found[approval.number] = (owner, before)
                owner = before
    return found


def _files(bundle: Bundle) -> tuple[str, str, str]:
    return f"sites/{bundle.site.id}.yaml", f"markets/{bundle.site.market}.yaml", "book.yaml"


def _newest(bundle: Bundle, approvals: list[Approval]) -> dict[str, Any]:
    """The newest signed value of each name; None where a fact was taken away."""
    found: dict[str, Any] = {}
    for approval in sorted(approvals, key=lambda a: a.number):
        for path, names in zip(_files(bundle), (_SITE, _MARKET, _BOOK), strict=True):
            for row in approval.told.get(path, ()):
                name = names.get(tuple(row[0]))
                if name is not None:
                    found[name] = None if row[2] is None else strict.typed(row[2], str, "$.approvals")
    return found


def _label(bundle: Bundle) -> dict[str, str]:
    site = bundle.site
    texts = {name: getattr(site, name) for name in ("name", "franchise", "market", "time_zone", "market_name", "day_starts")}
    return {**texts, "language": bundle.language, "book_name": bundle.book_name}


def _days(newest: dict[str, Any], before: dict[str, str]) -> set[str]:
    """Every start of day that may be told; none: any, for a site whose own day is not known takes the book's."""
    own, book = newest.get("site_day"), newest.get("book_day")
    if own is not None:
        return {own}
    if "site_day" in newest:
        return {book} if book else set()
    return {before["day_starts"], *([book] if book else [])} if before else set()
