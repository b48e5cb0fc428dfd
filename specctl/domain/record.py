"""What every record knows: its id and where it stands. Equality ignores the place."""

from __future__ import annotations

from dataclasses import dataclass, field

from specctl.problem import NOWHERE, Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    id: str
    name: str
    place: Place = field(default=NOWHERE, compare=False)
