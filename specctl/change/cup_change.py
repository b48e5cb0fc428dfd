"""What a change does in one cup: before and after. Evidence, never validity.

Estimates, all of it: entries carry none, and no signature rests on one.
"""

from __future__ import annotations

from dataclasses import dataclass

from specctl.analysis.cup_state import CupState
from specctl.change.cup_entry import CupMade

_ROOMS = ("fits", "unknown", "over-line", "overflows")
_VERDICTS = ("stays", "unknown", "marginal", "mixes")
BAD = 2


@dataclass(frozen=True, slots=True)
class CupChange:
    """One size of one build in the cup, before and after, at these sites.

    `choice` is "" for the standard build; a side is None where it is not served
    or cannot be computed.
    """

    item: str
    item_name: str
    size: str
    size_name: str
    choice: str
    choice_name: str
    sites: tuple[str, ...]
    before: CupMade | None
    after: CupMade | None

    @property
    def verdict_moves(self) -> bool:
        """Whether it comes to fit otherwise, or two neighbours to another verdict."""
        return _outcome(self.before) != _outcome(self.after)

    @property
    def is_bad(self) -> bool:
        """Whether it stands over a line, or two layers may mix, afterwards."""
        return self.after is not None and worst(self.after.state) >= BAD

    @property
    def is_worse(self) -> bool:
        """Whether some verdict afterwards is bad and was better, or not there, before."""
        if self.after is None:
            return False
        was = _outcome(self.before)
        return any(rank >= BAD and rank > was.get(key, -1) for key, rank in _outcome(self.after).items())


def worst(state: CupState) -> int:
    """The rank of the worst verdict on a cup: 0 fine, 1 not known, 2 and 3 bad."""
    return max(_ranks(state).values())


def _outcome(made: CupMade | None) -> dict[tuple[str, str], int]:
    return {} if made is None else _ranks(made.state)


def _ranks(state: CupState) -> dict[tuple[str, str], int]:
    """Rank of the room, under ("", ""), and of the verdict on each pair of neighbours."""
    ranks = {("", ""): _ROOMS.index(state.room)}
    return ranks | {(each.lower, each.upper): _VERDICTS.index(each.verdict) for each in state.meetings}
