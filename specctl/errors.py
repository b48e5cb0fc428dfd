"""What stops a command: one small family of exceptions.

Problems with the user's data are values (`specctl.problem`). These are for
"cannot go on"; the command line turns each into words and an exit code in one
place. An exception that is not one of these is a bug of ours.
"""

from __future__ import annotations

from typing import Sequence

from specctl.problem import Problem


class Stop(Exception):
    """The command cannot go on. `what` is wrong, `todo` says what to do next."""

    exit_code = 1

    def __init__(self, what: str, todo: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.todo = todo


class Usage(Stop):
    """The words of the command do not fit together."""

    exit_code = 2


class Refused(Stop):
    """A rule of the book or of the tool says no. The old state stands."""


class NotFound(Stop):
    """The thing asked for does not exist."""


class Found(Stop):
    """The data has problems; they are carried as values."""

    def __init__(self, what: str, problems: Sequence[Problem], todo: str = "") -> None:
        super().__init__(what, todo)
        self.problems = tuple(problems)


class Damaged(Stop):
    """Stored bytes are not what they claim to be."""


class LostRace(Stop):
    """Somebody else moved the book first; nothing was changed by us."""


class Unreachable(Stop):
    """A remote, a host or a folder did not answer within its deadline."""


class Untrusted(Stop):
    """A signature, a bundle or a key does not hold."""
