"""One franchise's packs, prices and stated sales. Money is exact."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import Mapping

from specctl.problem import NOWHERE, Place


@dataclass(frozen=True, slots=True)
class PackPrice:
    """Price of one pack net of tax; `usable` is the share that reaches a cup."""

    ingredient: str
    pack: str
    price: Decimal
    usable: Decimal = Decimal(1)
    place: Place = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBook:
    """`menu` and `cups_a_week` are by drink, then size; cups are for one site."""

    franchise: str
    currency: str
    as_of: date
    packs: Mapping[str, PackPrice]
    menu: Mapping[str, Mapping[str, Decimal]]
    cups_a_week: Mapping[str, Mapping[str, int]] = field(default_factory=dict)
    place: Place = field(default=NOWHERE, compare=False)
