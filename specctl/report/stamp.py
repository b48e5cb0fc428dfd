"""What a page says it was made from, in one short text that survives in every form.

A page carries its proposal, scope, the commits compared and the day, so that the
same page can be made again from a book and held against it. A page in another
language than British English names it too: `lang=de`. A stamp proves nothing by
itself: whoever forges a page writes it too.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, datetime

from specctl.change.impact import Impact
from specctl.report.catalogue import LANGUAGE
from specctl.report.tongue import language, shipped

_FORM = re.compile(
    r"specctl-report/1 (?P<proposal>[0-9]{1,9}-[a-z0-9-]{1,80}) (?P<scope>chain|franchise/[a-z0-9-]{1,64}) "
    r"(?P<main>[0-9a-f]{40}|-) (?P<tip>[0-9a-f]{40}|-) (?P<day>[0-9]{4}-[0-9]{2}-[0-9]{2}|-)"
    r"(?: lang=(?P<language>[a-z]{2,3}(?:-[A-Za-z0-9]{2,8}){0,3}))?(?![0-9a-z-])"
)


@dataclass(frozen=True, slots=True)
class Stamp:
    """`main` and `tip` are commits, empty where not known; `day` the day the page was made for; `language` as BCP 47 names it."""

    proposal: str
    scope: str
    main: str
    tip: str
    day: date | None
    language: str = LANGUAGE

    @property
    def text(self) -> str:
        parts = (self.proposal, self.scope, self.main or "-", self.tip or "-", self.day.isoformat() if self.day else "-")
        spoken = () if self.language == LANGUAGE else (f"lang={self.language}",)
        return " ".join(("specctl-report/1", *parts, *spoken))


def stamp_of(impact: Impact, now: datetime | None) -> Stamp:
    return Stamp(impact.proposal, impact.effect.scope, impact.main, impact.tip, now.date() if now else None, language())


# A hostile title may hold stamps of its own; whoever checks a page tries each, for only equal bytes prove anything.
_MOST = 4


def stamps_in(text: str) -> tuple[Stamp, ...]:
    """The different stamps a text holds, at most four, in order; one that names no day there is, or no language, is left out."""
    found = dict.fromkeys(match.group(0) for match in _FORM.finditer(text))
    return tuple(stamp for words in list(found)[:_MOST] if (stamp := _read(words)))


def _read(words: str) -> Stamp | None:
    match = _FORM.fullmatch(words)
    if match is None:
        return None
    try:
        day = None if match["day"] == "-" else date.fromisoformat(match["day"])
    except ValueError:
        return None
    spoken = match["language"] or LANGUAGE
    if spoken.split("-")[0] not in shipped():
        return None
    main, tip = ("" if match[name] == "-" else match[name] for name in ("main", "tip"))
    return Stamp(match["proposal"], match["scope"], main, tip, day, spoken)
