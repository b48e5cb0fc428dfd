"""What is wrong with the user's data, as a value.

A `Problem` is made by whoever notices it and collected in lists; nothing is
raised, so one run can name every problem of a book. Wording and colour on
screen belong to the report; the words here are the plain text of the finding.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ERROR = "error"
WARNING = "warning"


@dataclass(frozen=True, slots=True, order=True)
class Place:
    """Where something stands: a file inside the book, line and column from 1.

    Line 0 means "the file as a whole".
    """

    file: str
    line: int = 0
    column: int = 0

    def __str__(self) -> str:
        if not self.line:
            return self.file
        return f"{self.file}:{self.line}:{self.column}"


NOWHERE = Place("")


@dataclass(frozen=True, slots=True)
class Problem:
    """One finding: a stable code, a place, what is wrong and what to do."""

    code: str
    place: Place
    what: str
    todo: str
    severity: str = field(default=ERROR)

    @property
    def is_error(self) -> bool:
        return self.severity == ERROR

    def as_json(self) -> dict[str, object]:
        return {
            "code": self.code,
            "severity": self.severity,
            "file": self.place.file,
            "line": self.place.line,
            "column": self.place.column,
            "what": self.what,
            "todo": self.todo,
        }


def in_order(problems: list[Problem]) -> list[Problem]:
    """Problems without repeats, by place, errors before warnings on one place."""
    unique = {(p.place, p.code, p.what): p for p in problems}
    return sorted(
        unique.values(),
        key=lambda p: (p.place, p.severity != ERROR, p.code, p.what),
    )


def errors_of(problems: list[Problem]) -> list[Problem]:
    """Only the problems that refuse a book, in their given order."""
    return [p for p in problems if p.is_error]
