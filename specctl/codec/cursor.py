"""Reads typed fields from a node; a field that cannot be read becomes a problem.

The schema has already settled which keys stand where and of which type; what is
left here are the texts with a grammar of their own. A field with a problem
reads as its default, and the record it belongs to is left out by the caller.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from specctl.codec.amount_faults import Fault
from specctl.codec.amounts import parse_money, parse_quantity
from specctl.codec.node import Node
from specctl.domain.amount import Tolerance
from specctl.problem import Place, Problem

HUNDRED = Decimal(100)


@dataclass(frozen=True, slots=True)
class Cursor:
    node: Node
    file: str
    problems: list[Problem]

    @property
    def place(self) -> Place:
        return self.node.place(self.file)

    def has(self, key: str) -> bool:
        return self.node.get(key) is not None

    def at(self, key: str) -> Cursor | None:
        node = self.node.get(key)
        return Cursor(node, self.file, self.problems) if node else None

    def pairs(self, key: str) -> Iterator[tuple[str, Cursor]]:
        """Keys and values of the mapping under `key`, in order; nothing if it is not there."""
        node = self.node.get(key)
        if node:
            for name, inner in node.pairs():
                yield name, Cursor(inner, self.file, self.problems)

    def key_place(self, key: str) -> Place:
        item = self.node.item(key)
        return item.key_node.place(self.file) if item else self.place

    def value_place(self, key: str) -> Place:
        node = self.node.get(key)
        return node.place(self.file) if node else self.place

    def text(self, key: str, default: str = "") -> str:
        node = self.node.get(key)
        return str(node.value) if node and node.value is not None else default

    def number(self, key: str) -> Decimal | None:
        node = self.node.get(key)
        if node is None or isinstance(node.value, (str, bool)) or node.value is None:
            return None
        return Decimal(node.value)

    def integer(self, key: str, default: int = 0) -> int:
        node = self.node.get(key)
        return node.value if node and isinstance(node.value, int) else default

    def flag(self, key: str) -> bool:
        node = self.node.get(key)
        return bool(node and node.value is True)

    def words(self, key: str) -> tuple[str, ...]:
        """The members of a list of texts, in order."""
        node = self.node.get(key)
        return tuple(str(n.value) for n in node.items) if node else ()

    def word_places(self, key: str) -> dict[str, Place]:
        node = self.node.get(key)
        return {str(n.value): n.place(self.file) for n in node.items} if node else {}

    def quantity(self, key: str, dimension: str, *, zero: bool = False) -> Decimal | None:
        """A quantity such as `1.03 g/ml` in its base unit, or None."""
        node = self.node.get(key)
        if node is None:
            return None
        return self.read(node, dimension, zero=zero)

    def read(self, node: Node, dimension: str, *, zero: bool = False) -> Decimal | None:
        read = parse_quantity(str(node.value), dimension, allow_zero=zero)
        if isinstance(read, Fault):
            self.fault(f"{dimension}-form", node, read)
            return None
        return read

    def share(self, key: str, most: int = 100) -> Decimal | None:
        """A percentage as a share: 92 % is 0.92."""
        per_cent = self.quantity(key, "percent")
        if per_cent is None:
            return None
        if not 0 <= per_cent <= most:
            self.problem("percent-range", key, f"{per_cent} % is outside 0 to {most} %", "Correct the figure.")
            return None
        return per_cent / HUNDRED

    def money(self, key: str, currency: str) -> Decimal | None:
        node = self.node.get(key)
        if node is None:
            return None
        read = parse_money(str(node.value))
        if isinstance(read, Fault):
            self.fault("money-form", node, read)
            return None
        if read[1] != currency:
            self.problem(
                "money-currency", key, f"{read[1]} in a price book kept in {currency}", f"Write the price in {currency}."
            )
            return None
        return read[0]

    def date(self, key: str) -> date | None:
        node = self.node.get(key)
        if node is None:
            return None
        try:
            return date.fromisoformat(str(node.value))
        except ValueError:
            self.problem("date-form", key, "this is not a day of the calendar", "Write it as 2026-11-25.")
            return None

    def tolerance(self, key: str) -> Tolerance | None:
        """`2 g`, `5 %`, or under and over apart."""
        node = self.node.get(key)
        if node is None:
            return None
        sides = (node, node) if node.kind == "scalar" else (node.get("under"), node.get("over"))
        read = []
        for side in sides:
            if side is None:
                return None
            relative = str(side.value).endswith("%")
            value = self.read(side, "percent" if relative else "mass", zero=True)
            if value is None:
                return None
            read.append((value / HUNDRED if relative else value, relative))
        (under, first), (over, second) = read
        if first != second:
            self.problem(
                "tolerance-form", key, "one side is in per cent and the other in grams", "Write both the same way."
            )
            return None
        return Tolerance(under, over, first)

    def fault(self, code: str, node: Node, fault: Fault) -> None:
        place = Place(self.file, node.line, node.column + (fault.column if not node.style else 0))
        self.problems.append(Problem(code, place, fault.what, fault.todo))

    def problem(self, code: str, key: str, what: str, todo: str) -> None:
        self.problems.append(Problem(code, self.value_place(key), what, todo))
