"""Four people at once over one bare origin, a few turns each; `python tests/control/authors.py` is eight for half a minute.

The outside checks are git's own: fsck, ancestry at origin, and no lock file.
"""

from __future__ import annotations

from pathlib import Path

from authors import faults, together


def test_what_was_acknowledged_is_in_history(tmp_path: Path) -> None:
    world, logs = together(tmp_path, people=4, seconds=60, most=4)
    assert faults(world, logs) == []
    assert sum(log.acknowledged for log in logs) >= 4
    assert {name for log in logs for name in log.proposals}, "somebody's proposal is at origin"


def test_a_lost_acknowledgement_would_be_seen(tmp_path: Path) -> None:
    """The check itself: a commit that origin does not have, a statement that main does not hold."""
    world, logs = together(tmp_path, people=1, seconds=60, most=1)
    logs[0].proposals["9-nowhere"] = "0" * 40
    logs[0].statements.append("statements/9-nowhere/none.statement")
    found = "\n".join(faults(world, logs))
    assert "9-nowhere was acknowledged and is not at origin" in found and "is not on main" in found
