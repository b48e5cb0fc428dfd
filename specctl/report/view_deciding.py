"""The first and the last line of the first screen: what is asked by when, and who has signed what."""

from __future__ import annotations

from datetime import datetime

from specctl.change.effect import CHAIN
from specctl.change.impact import Impact, Signing
from specctl.report.tables import Point
from specctl.report.tongue import _, _n, later
from specctl.report.view_names import day_words, days_until, few, role_words, scope_words, until_words, weekday_words
from specctl.report.view_numbers import count
from specctl.report.view_signing import ABOUT, OVER, SIGN, SIGNING, asked_here, conflict_words, is_over

FOOD_SAFETY = "food-safety"
_LABEL = later("Decide")
# More would push the rest off the first screen; the section names them all.
_MOST = 2


def asked_point(impact: Impact, now: datetime | None) -> Point:
    """What the reader is asked, by when, when it starts, and what happens if nobody does anything."""
    label, starts = _(_LABEL), f"{_starts_words(impact, now)}."
    if impact.release:
        words = _("Nothing: released as release {release}.").format(release=impact.release)
        return Point(label, f"{words} {starts}", SIGNING)
    if is_over(impact):
        return Point(label, f"{_(OVER[impact.state])} {starts}", SIGNING)
    if impact.conflicts:
        words = _("Nothing yet: it CANNOT be released, {why}. {author} must settle that first.")
        if not impact.author:
            words = _("Nothing yet: it CANNOT be released, {why}. its author must settle that first.")
        return Point(label, words.format(why=conflict_words(impact), author=impact.author), ABOUT, alarm=True)
    own = [s for s in asked_here(impact) if s.met_by is None]
    if not own:
        words = f"{_('Nothing more for this scope: its signatures are in.')} "
        if not impact.signings:
            words = f"{_('Nothing: the policy names no signature for it.')} "
        elif all(s.met_by for s in impact.signings) and not impact.conflicts:
            words = ""  # that every signature is in says it
        return Point(label, f"{words}{starts} {_nothing_done(impact)}", SIGNING)
    draft = [_("Still a draft.")] if impact.state == "draft" else []
    whom = few((role_words(s.role) for s in own), _MOST)
    return Point(label, " ".join((*draft, _asked(impact, whom, now), _nothing_done(impact))), SIGN)


def _asked(impact: Impact, whom: str, now: datetime | None) -> str:
    """`Sign or object as buying before Tuesday 1 December 2026 (in 6 days): it starts then at 2 sites.`

    A start that passed binds nobody.
    """
    start = _first_start(impact)
    near = until_words(start, now)
    days = days_until(start, now)
    if days is not None and days < 0:
        words = _("Sign or object as {whom} now: its start was {near}, so {starts}.")
        starts = _at_sites(impact, _("once released it starts at the next opening"))
        return words.format(whom=whom, near=near, starts=starts)
    words = _("Sign or object as {whom} before {day}: {starts}.")
    return words.format(whom=whom, day=_with_near(start, near), starts=_at_sites(impact, _("it starts then")))


def _with_near(start: str, near: str) -> str:
    day = weekday_words(start)
    return _("{day} ({near})").format(day=day, near=near) if near else day


def _nothing_done(impact: Impact) -> str:
    if impact.signings and all(s.met_by for s in impact.signings) and not impact.conflicts:
        return _("Every signature is in: it can be released without you; until then today's cards stay.")
    return _("Do nothing: today's cards stay.")


def _first_start(impact: Impact) -> str:
    return impact.effect.waves[0].start if impact.effect.waves else impact.effect.start


def _starts_words(impact: Impact, now: datetime | None) -> str:
    """`Starts Tuesday 1 December 2026 (in 6 days) at 5 sites; 8 December 2026, 1 site`."""
    start = _first_start(impact)
    over = impact.release and (days_until(start, now) or 0) < 0
    words = _("Started {day}") if over else _("Starts {day}")
    return _at_sites(impact, words.format(day=_with_near(start, until_words(start, now))))


def _at_sites(impact: Impact, what: str) -> str:
    """`what`, at how many sites the first wave holds, then the later waves with their days."""
    waves = impact.effect.waves
    if not waves:
        return what
    rest, first = waves[1:], len(waves[0].sites)
    parts = [_n("{what} at {count} site", "{what} at {count} sites", first).format(what=what, count=first)]
    for wave in rest[:_MOST]:
        parts.append(_("{day}, {sites}").format(day=day_words(wave.start), sites=count(len(wave.sites), "site")))
    left = len(rest) - _MOST
    if left > 0:
        words = _n("{count} more wave, the last {day}", "{count} more waves, the last {day}", left)
        parts.append(words.format(count=left, day=day_words(rest[-1].start)))
    return "; ".join(parts)


def signed_point(impact: Impact) -> Point:
    """Food safety first and by name, then the other roles, the tasting and the objections."""
    by_role: dict[str, list[Signing]] = {}
    for signing in impact.signings:
        by_role.setdefault(signing.role, []).append(signing)
    roles = sorted(by_role, key=lambda role: (role != FOOD_SAFETY, role))
    parts = [_role_words(impact, role, by_role[role]) for role in roles]
    if FOOD_SAFETY not in by_role:
        parts.insert(0, _("Food safety: not asked by the policy."))
    parts.append(_("No tasting record."))
    objections = [o for o in impact.objections if o.open]
    if objections:
        words = _n("{count} objection OPEN: {people}.", "{count} objections OPEN: {people}.", len(objections))
        parts.append(words.format(count=len(objections), people=few((o.person for o in objections), _MOST)))
    else:
        parts.append(_("No objection."))
    return Point(_("Signed and open"), " ".join(parts), SIGNING, alarm=bool(objections))


def _role_words(impact: Impact, role: str, signings: list[Signing]) -> str:
    """`Drinks: signed by Tobin Hale.`; of several scopes how many, and who is open."""
    name = role_words(role)
    name = f"{name[:1].upper()}{name[1:]}"
    if len(signings) == 1:
        (one,) = signings
        if one.scope not in (CHAIN, impact.effect.scope):
            name = _("{role} for {scope}").format(role=name, scope=scope_words(impact, one.scope))
        if one.met_by:
            return _("{role}: signed by {people}.").format(role=name, people=one.met_by)
        return (_("{role}: STALE, sign again.") if one.stale else _("{role}: OPEN.")).format(role=name)
    left = [s for s in signings if s.met_by is None]
    if not left:
        return _("{role}: signed by {people}.").format(role=name, people=few((s.met_by or "" for s in signings), _MOST))
    scopes = few((_left_words(impact, s) for s in left), _MOST)
    words = _("{role}: {count} of {total} signed, OPEN for {scopes}.")
    return words.format(role=name, count=len(signings) - len(left), total=len(signings), scopes=scopes)


def _left_words(impact: Impact, signing: Signing) -> str:
    scope = scope_words(impact, signing.scope)
    return _("{scope} (STALE)").format(scope=scope) if signing.stale else scope

