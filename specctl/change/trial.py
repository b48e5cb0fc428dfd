"""A trial before the first wave: which rules ask for one, and what a plan lacks of it.

A trial is the wave called `trial`: its sites start, and every other site starts
whole days later. What is tried must be what the others will get, so each item
that changes elsewhere changes at a trial site too. No word of how it went is
asked for: the days are there for off sale, and for a release that takes the place
of the waves to come; going back to what a site was shown before is never tried
first, and neither is what only adds to declarations, for it must not wait.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date

from specctl.change.effect import WavePlan
from specctl.change.policy import Hit, is_fast
from specctl.change.record import Release
from specctl.change.rows import Row
from specctl.domain.people import Policy, Trial

TRIAL = "trial"


def trials_asked(policy: Policy, hits: Iterable[Hit]) -> dict[str, Trial]:
    """By class of change, the trial its rule asks for; none where the whole goes at once."""
    found = tuple(hits)
    if is_fast(found):
        return {}
    rules = {h.change: rule.trial for h in found if (rule := policy.rules.get(h.change)) is not None and rule.trial is not None}
    return dict(sorted(rules.items()))


def sites_of(waves: Iterable[WavePlan]) -> frozenset[str]:
    """The sites that try it."""
    return frozenset(site for wave in waves if wave.key == TRIAL for site in wave.sites)


def new_to(rows: Sequence[Row], releases: Iterable[Release], starts: Mapping[str, str]) -> tuple[Row, ...]:
    """The rows that bring a site something it will not have been shown when they start."""
    wanted = {(r.site, r.item): r.after for r in rows if r.after is not None}
    shown: set[tuple[str, str]] = set()
    first_after: dict[tuple[str, str], str] = {}
    # Newest first: an entry is never shown where a later release starts no later.
    for release in sorted(releases, key=lambda r: -r.number):
        for row in release.rows:
            key, start = (row.site, row.item), release.starts.get(row.site)
            if key not in wanted or start is None:
                continue
            taken_over = min(first_after.get(key, "9"), starts.get(row.site, "9"))
            if row.after == wanted[key] and start < taken_over:
                shown.add(key)
            first_after[key] = min(start, first_after.get(key, "9"))
    return tuple(r for r in rows if r.after is not None and (r.site, r.item) not in shown)


def lacking(asked: Mapping[str, Trial], waves: Iterable[WavePlan], rows: Iterable[Row], days: Mapping[str, date]) -> Iterator[str]:
    """What is missing, in words. `rows`: what is new to its site; `days`: the local day on which each site starts."""
    tried_at = sites_of(waves)
    if not asked:
        return
    moving = [row for row in rows if row.site in days]
    longest = max(trial.days for trial in asked.values())
    if not tried_at:
        if moving:
            yield f"the policy asks for {longest} days at a trial site before the first wave, and no wave is called {TRIAL}"
        return
    for change, trial in asked.items():
        if trial.sites and not tried_at <= trial.sites:
            yield f"{', '.join(sorted(tried_at - trial.sites))} may not try it: for the class {change} the policy names {', '.join(sorted(trial.sites))}"
    untried = sorted({r.item for r in moving if r.site not in tried_at} - {r.item for r in moving if r.site in tried_at})
    if untried:
        yield f"{', '.join(untried)} changes at other sites and not at a trial site, so it is not tried at all"
    begins = [days[site] for site in tried_at if site in days]
    others = [(days[r.site], r.site) for r in moving if r.site not in tried_at]
    if begins and others:
        first, where = min(others)
        tried = (first - max(begins)).days
        if tried < longest:
            yield f"the trial begins {max(begins)} and {where} starts {first}: {max(tried, 0)} days where the policy asks for {longest}"
