"""A table whose cells keep their type: what a spreadsheet or a program is handed.

The page's own tables hold words; here a number stays a number, with its unit in
the head of its column or in a column beside it, a day a day, and what is not
known is None, never zero. Texts are as authored; each writer makes them harmless.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Iterable

Value = str | Decimal | int | bool | date | None

TEXT = "text"
NUMBER = "number"
COUNT = "count"
DAY = "day"
YES_NO = "yes or no"

_TYPES: dict[str, tuple[type, ...]] = {
    TEXT: (str,),
    NUMBER: (Decimal,),
    COUNT: (int,),
    DAY: (date,),
    YES_NO: (bool,),
}


@dataclass(frozen=True, slots=True)
class Field:
    """One column: `kind` is one of the constants above; `unit` stands in the head as `before [g]`.

    `name` and `unit` are English: a program finds a column by them. A writer for people says them with `_`.
    """

    name: str
    kind: str = TEXT
    unit: str = ""

    @property
    def head(self) -> str:
        return f"{self.name} [{self.unit}]" if self.unit else self.name


@dataclass(frozen=True, slots=True)
class TypedTable:
    """Rows under fields. `key` names a file or a leaf; `section` is the part of the page it belongs to."""

    key: str
    title: str
    section: str
    fields: tuple[Field, ...]
    rows: tuple[tuple[Value, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.fields):
                raise ValueError(f"a row of {self.key} does not fit its fields")
            for value, field in zip(row, self.fields, strict=True):
                if value is not None and type(value) not in _TYPES[field.kind]:
                    raise TypeError(f"{self.key}, {field.name}: {type(value).__name__} is no {field.kind}")


def table(key: str, title: str, section: str, fields: Iterable[Field | str], rows: Iterable[tuple[Value, ...]]) -> TypedTable:
    """A table; a field given by its name alone is text."""
    typed = tuple(Field(f) if isinstance(f, str) else f for f in fields)
    return TypedTable(key, title, section, typed, tuple(rows))
