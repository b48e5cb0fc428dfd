"""Limits of a market's rule on keeping, which a spec may be stricter than and never looser.

Promises: a prep kept warmer than the rule's chill limit, cooler than its hot
limit, or longer without temperature control than its time limit is an error in
every market that names the rule and has a site making it. A prep that says why
it is stable, with its paper, has no time limit here. No legal advice: local law
and licensed practice come first, and where they are stricter they hold.

Sources: United States, FDA Food Code (a model code): cold at or below 5 °C, hot
at or above 57 °C, 4 h without temperature control, 6 h if never above 21 °C.
United Kingdom, food hygiene regulations, temperature control: chill at or below
8 °C with one display period of under 4 h; hot at or above 63 °C.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Iterator

from specctl.analysis.alike import one_of_each
from specctl.analysis.serving import preps_of
from specctl.domain.amount import plain
from specctl.domain.book import Book
from specctl.domain.place import Market
from specctl.domain.recipe import Prep
from specctl.problem import Problem

_HOUR = 3600
DEFER = "Local law and licensed practice come first; where they are stricter, they hold."


@dataclass(frozen=True, slots=True)
class HoldRule:
    """°C and seconds. `open_included`: whether exactly `open_for` is still allowed."""

    name: str
    chilled_most: Decimal
    hot_least: Decimal
    open_for: int
    open_included: bool
    cool_room: Decimal | None = None
    cool_open_for: int = 0


RULES = {
    "us": HoldRule("US FDA Food Code", Decimal(5), Decimal(57), 4 * _HOUR, True, Decimal(21), 6 * _HOUR),
    "uk": HoldRule("UK food hygiene regulations", Decimal(8), Decimal(63), 4 * _HOUR, False),
}


def check_holds(book: Book) -> list[Problem]:
    """Findings on every prep, each with all the markets it is made in."""
    made: dict[str, dict[str, None]] = {}
    for site in one_of_each(book.sites):
        market = book.markets.get(site.market)
        if market is None or market.holding not in RULES:
            continue
        for drink in book.served_at(site):
            for prep in preps_of(book, drink, site):
                made.setdefault(prep.id, {})[market.id] = None
    return [
        problem
        for id, markets in sorted(made.items())
        for market_id in markets
        for problem in hold_faults(book.preps[id], book.markets[market_id])
    ]


def hold_faults(prep: Prep, market: Market) -> Iterator[Problem]:
    """What of a prep's keeping is looser than a market's rule."""
    rule = RULES.get(market.holding or "")
    if rule is None:
        return
    at, who = prep.keep_at, f"'{prep.name}'"
    if prep.keep == "chilled" and at is not None and at > rule.chilled_most:
        yield _fault(
            "keep-too-warm", prep, f"{who} is kept chilled at {plain(at)} °C; in {market.name} the limit is {plain(rule.chilled_most)} °C ({rule.name})"
        )
    if prep.keep == "hot" and at is not None and at < rule.hot_least:
        yield _fault(
            "keep-too-cool", prep, f"{who} is kept hot at {plain(at)} °C; in {market.name} the least is {plain(rule.hot_least)} °C ({rule.name})"
        )
    if prep.keep == "ambient" and not prep.stable and prep.hold is not None:
        cool = rule.cool_room is not None and at is not None and at <= rule.cool_room
        limit = rule.cool_open_for if cool else rule.open_for
        if prep.hold > limit or (prep.hold == limit and not rule.open_included):
            under = "" if rule.open_included else "under "
            yield _fault(
                "hold-too-long",
                prep,
                f"{who} is kept at room temperature for {plain(Decimal(prep.hold) / _HOUR)} h; in {market.name} the "
                f"limit without temperature control is {under}{limit // _HOUR} h ({rule.name})",
                " Or say under stable, with its paper, why it keeps.",
            )


def _fault(code: str, prep: Prep, what: str, more: str = "") -> Problem:
    return Problem(code, prep.place, what, f"Keep to the limit or be stricter.{more} {DEFER}")
