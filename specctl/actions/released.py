"""A proposal that is released, looked at from the main it was released onto.

Today's main holds what it changed, so a comparison with today shows nothing.
The release record names the main and the tip that were merged; the same case
opened on those is what people signed, and is taken only where the effect still
comes out as the digest the record names.
"""

from __future__ import annotations

from specctl.actions.case import Case, edited_from
from specctl.errors import Stop


def as_released(case: Case, scope: str) -> tuple[Case, int | None]:
    """The case as it stood when it was released, with the release's number.

    The case itself and None where it is not released, or where this version of
    the tool no longer comes to the effect that was released.
    """
    if not case.repository.reader.is_ancestor(case.tip, case.main):
        return case, None
    for release in case.ledger.releases:
        main, tip = (*release.parents, "", "")[:2]
        if release.proposal != case.name or tip != case.tip:
            continue
        try:
            then = Case(case.repository, case.name, tip, main, edited_from(case.repository, tip, main), case.today)
            if then.effect_of(scope).digest == release.effects.get(scope):
                return then, release.number
        except Stop:
            return case, None
    return case, None
