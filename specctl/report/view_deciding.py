"""The first and the last line of the first screen: what is asked by when, and who has signed what."""

from __future__ import annotations

from datetime import datetime

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact, Signing
from specctl.report.tables import Point
from specctl.report.view_names import day_words, days_until, few, role_words, scope_words, until_words, weekday_words
from specctl.report.view_numbers import count
from specctl.report.view_signing import ABOUT, OVER, SIGN, SIGNING, asked_here, conflict_words, is_over

FOOD_SAFETY = "food-safety"
_LABEL = "Decide"
# More would push the rest off the first screen; the section names them all.
_MOST = 2


def asked_point(impact: Impact, now: datetime | None) -> Point:
    """What the reader is asked, by when, when it starts, and what happens if nobody does anything."""
    starts = _starts_words(impact, now)
    if impact.release:
        return Point(_LABEL, f"Nothing: released as release {impact.release}. {starts}.", SIGNING)
    if is_over(impact):
        return Point(_LABEL, f"{OVER[impact.state]} {starts}.", SIGNING)
    if impact.conflicts:
        author = impact.author or "its author"
        words = f"Nothing yet: it CANNOT be released, {conflict_words(impact)}. {author} must settle that first."
        return Point(_LABEL, words, ABOUT, alarm=True)
    own = [s for s in asked_here(impact) if s.met_by is None]
    if not own:
        words = "Nothing more for this scope: its signatures are in."
        if not impact.signings:
            words = "Nothing: the policy names no signature for it."
        return Point(_LABEL, f"{words} {starts}.{_nothing_done(impact)}", SIGNING)
    draft = "Still a draft. " if impact.state == "draft" else ""
    whom = few((role_words(s.role) for s in own), _MOST)
    return Point(_LABEL, f"{draft}Sign or object as {whom} {_by_when(impact, now)}.{_nothing_done(impact)}", SIGN)


def _by_when(impact: Impact, now: datetime | None) -> str:
    """`before Tuesday 1 December 2026 (in 6 days): it starts then at 2 sites`. A start that passed binds nobody."""
    start = _first_start(impact)
    near = until_words(start, now)
    days = days_until(start, now)
    if days is not None and days < 0:
        return f"now: its start was {near}, so once released it starts at the next opening{_sites_words(impact)}"
    return f"before {weekday_words(start)}{f' ({near})' if near else ''}: it starts then{_sites_words(impact)}"


def _nothing_done(impact: Impact) -> str:
    if impact.signings and all(s.met_by for s in impact.signings) and not impact.conflicts:
        return " Every signature is in: it can be released without you; until then today's cards stay."
    return " Do nothing: today's cards stay."


def _first_start(impact: Impact) -> str:
    return impact.effect.waves[0].start if impact.effect.waves else impact.effect.start


def _starts_words(impact: Impact, now: datetime | None) -> str:
    """`Starts Tuesday 1 December 2026 (in 6 days) at 5 sites; 8 December 2026, 1 site`."""
    start = _first_start(impact)
    verb = "Started" if impact.release and (days_until(start, now) or 0) < 0 else "Starts"
    near = until_words(start, now)
    return f"{verb} {weekday_words(start)}{f' ({near})' if near else ''}{_sites_words(impact)}"


def _sites_words(impact: Impact) -> str:
    """How many sites the first wave holds, then the later waves with their days."""
    waves = impact.effect.waves
    if not waves:
        return ""
    rest = waves[1:]
    others = [f"{day_words(w.start)}, {count(len(w.sites), 'site')}" for w in rest[:_MOST]]
    if len(rest) > _MOST:
        others.append(f"{count(len(rest) - _MOST, 'more wave')}, the last {day_words(rest[-1].start)}")
    return "; ".join([f" at {count(len(waves[0].sites), 'site')}", *others])


def signed_point(impact: Impact) -> Point:
    """Food safety first and by name, then the other roles, the tasting and the objections."""
    by_role: dict[str, list[Signing]] = {}
    for signing in impact.signings:
        by_role.setdefault(signing.role, []).append(signing)
    roles = sorted(by_role, key=lambda role: (role != FOOD_SAFETY, role))
    parts = [_role_words(impact, role, by_role[role]) for role in roles]
    if FOOD_SAFETY not in by_role:
        parts.insert(0, "Food safety: not asked by the policy.")
    parts.append("No tasting record.")
    objections = [o for o in impact.objections if o.open]
    if objections:
        parts.append(f"{count(len(objections), 'objection')} OPEN: {few((o.person for o in objections), _MOST)}.")
    else:
        parts.append("No objection.")
    return Point("Signed and open", " ".join(parts), SIGNING, alarm=bool(objections))


def _role_words(impact: Impact, role: str, signings: list[Signing]) -> str:
    """`Drinks: signed by Tobin Hale.`; of several scopes how many, and who is open."""
    name = role_words(role)
    name = f"{name[:1].upper()}{name[1:]}"
    if len(signings) == 1:
        (one,) = signings
        where = "" if one.scope in (CHAIN, impact.effect.scope) else f" for {scope_words(impact, one.scope)}"
        state = f"signed by {one.met_by}" if one.met_by else "STALE, sign again" if one.stale else "OPEN"
        return f"{name}{where}: {state}."
    left = [s for s in signings if s.met_by is None]
    if not left:
        return f"{name}: signed by {few((s.met_by or '' for s in signings), _MOST)}."
    scopes = few((scope_words(impact, s.scope) + (" (STALE)" if s.stale else "") for s in left), _MOST)
    return f"{name}: {len(signings) - len(left)} of {len(signings)} signed, OPEN for {scopes}."

