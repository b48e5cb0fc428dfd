"""A proposal that takes an allergen off a declaration must say what bears that out, or it is stopped."""

from __future__ import annotations

from specctl.actions.judging import Findings
from specctl.change.removal import unexplained
from specctl.errors import Refused

_NAMED = 5
CLASS = "declaration-down"


def removals_of(findings: Findings) -> tuple[str, ...]:
    """What leaves a declaration, in words; what a lifted notice brings back has its own record."""
    lifted = len(findings.case.proposal.back_on_sale)
    found = [hit.because for hit in findings.hits if hit.change == CLASS]
    return tuple(dict.fromkeys(found if not lifted else [each for each in found if not each.startswith("a notice is lifted")]))


def refuse_bare_removal(findings: Findings) -> None:
    """Raises Refused for a removal without evidence, or one that nothing in the proposal explains."""
    case = findings.case
    left = removals_of(findings)
    if not left:
        return
    more = f", and {len(left) - _NAMED} more" if len(left) > _NAMED else ""
    if not case.proposal.evidence:
        raise Refused(
            f"{case.name} takes allergens off a declaration and does not say what bears that out: {'; '.join(left[:_NAMED])}{more}",
            'Its author must name the paper and what was checked: specctl propose --update '
            f'{case.name.split("-")[0]} --evidence "..."; then it is signed again.',
        )
    files = {path for path, facts in case.files_changed.items() if facts and not path.startswith("proposals/")}
    bare = unexplained(findings.allergens, case.old_book, case.book, files)
    if bare:
        named = "; ".join(dict.fromkeys(f"{c.name} in {c.item_name} ({c.market})" for c in bare))
        raise Refused(
            f"{case.name} takes allergens off a declaration of which nothing changes: {named}",
            "An ingredient's facts or a line must explain it. Find out what did; do not release this.",
        )
