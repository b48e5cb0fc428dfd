"""What one motion with one tool gives, in exact grams, and how well that is known.

A dose is one level scoop, one stroke, one pour to a line. Its mass comes from a
scoop check that still holds, else from a stated density.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal

from specctl.analysis.density import EXACT, Item, liquid_density, scoop_density
from specctl.domain.amount import plain
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient
from specctl.domain.place import ScoopCheck
from specctl.domain.recipe import Prep

LEVEL = frozenset({"scoop", "spoon", "disher"})
POURED = frozenset({"jigger", "jug", "pump", "spoon"})
FILMED = frozenset({"jigger", "spoon"})
MOST_LINES = 1000
LEAST_WEIGHINGS = 5
"""Fewer weighings prove no dose: a spread from so few is itself too little known (from five it
is known to about a third, 1 / sqrt(2 (n - 1)); the number is common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Bench:
    """What a site measures with: tools by id, its scoop checks by (item id, tool
    id), the book's cap on motions and whether it allows half scoops."""

    tools: tuple[Tool, ...]
    checks: Mapping[tuple[str, str], ScoopCheck]
    most_motions: int
    half_scoops: bool


@dataclass(frozen=True, slots=True)
class Dose:
    """One motion. `mark` is the line poured to, in ml, `lower` one below the top
    line of a jug; `check` is the scoop check it rests on; `error` one standard
    deviation of the tool as a share, where its mass rests on volume."""

    tool: Tool
    mark: Decimal | None
    grams: Decimal
    lower: bool = False
    halves: bool = False
    check: ScoopCheck | None = None
    error: Decimal | None = None

    @property
    def is_known(self) -> bool:
        """Whether it is known how far it spreads, well enough to prove anything."""
        return self.error is not None if self.check is None else self.check.n >= LEAST_WEIGHINGS


@dataclass(frozen=True, slots=True)
class Doses:
    """What a bench can do for an item; `void` says by tool id why a scoop check
    no longer holds; `lacking`: a tool was passed over for want of a density."""

    doses: tuple[Dose, ...]
    void: Mapping[str, str]
    lacking: bool


def void_reason(check: ScoopCheck, item: Item) -> str | None:
    """Why a scoop check no longer speaks for this item; None while it does.

    It was made with one supplier's product at one bulk density; where it states
    them, the item must still be that product at that density.
    """
    if check.ingredient != item.id:
        return f"it is of {check.ingredient}"
    code = item.product_code if isinstance(item, Ingredient) else ""
    if check.product_code and check.product_code != code:
        now = f"product {code}" if code else "a product without a code"
        return f"it was made with product {check.product_code}, this is {now}"
    supplier = item.supplier if isinstance(item, Ingredient) else ""
    if check.supplier and check.supplier != supplier:
        now = f"from {supplier}" if supplier else "from a supplier not stated"
        return f"it was made with a product from {check.supplier}, this is {now}"
    if check.bulk_density is not None:
        density = scoop_density(item)
        if density is None:
            return f"it was made at {plain(check.bulk_density)} g/ml, now no bulk density is stated"
        if density.value != check.bulk_density:
            return (
                f"it was made at {plain(check.bulk_density)} g/ml, "
                f"the bulk density is now {plain(density.value)} g/ml"
            )
    return None


def is_poured(item: Item) -> bool:
    """Whether it is measured as a liquid; every prep is."""
    return isinstance(item, Prep) or item.state == "liquid"


def fits_kind(tool: Tool, item: Item) -> bool:
    """Whether this kind of tool may measure this kind of thing by volume.

    Liquids and preps are poured: jigger, jug, pump, spoon, never a scoop. Ice is
    scooped. Everything else goes by level scoop, spoon or disher.
    """
    if is_poured(item):
        return tool.kind in POURED
    if item.state == "ice":
        return tool.kind == "scoop"
    return tool.kind in LEVEL


def poured_density(item: Item) -> Density | None:
    """The density that turns one of this item's doses into grams."""
    if is_poured(item):
        return liquid_density(item) or scoop_density(item)
    return scoop_density(item)


def film_in(tool: Tool, item: Item) -> Decimal:
    """The share of a pour that stays behind, where one is stated for the item.

    A stated figure of the item, for the small tools it is tipped out of; a pump
    pushes its stroke out whole, and from a jug it is scraped.
    """
    return item.film if item.film is not None and tool.kind in FILMED and is_poured(item) else Decimal(0)


def doses_for(item: Item, bench: Bench, most_grams: Decimal) -> Doses:
    """Every useful dose of an item at a bench, by (tool id, line).

    Lines above `most_grams` beyond the first are left out: they come no nearer.
    """
    doses: list[Dose] = []
    void: dict[str, str] = {}
    density = poured_density(item)
    airy = isinstance(item, Prep) and bool(item.overrun)
    lacking = False
    for tool in bench.tools:
        if not fits_kind(tool, item):
            continue
        check = bench.checks.get((item.id, tool.id))
        if check is not None and tool.kind not in ("jigger", "jug"):
            reason = void_reason(check, item)
            if reason is None:
                halves = bench.half_scoops and tool.kind in LEVEL
                doses.append(Dose(tool, None, check.mean, halves=halves, check=check))
                continue
            void[tool.id] = f"the scoop check of {tool.name} is void: {reason}"
        if density is None:
            lacking = True
            continue
        error = tool.error if is_poured(item) and not airy else None
        delivered = EXACT.multiply(density.value, 1 - film_in(tool, item))
        doses.extend(_by_volume(tool, delivered, error, bench.half_scoops, most_grams))
    return Doses(tuple(doses), void, lacking)


def _by_volume(
    tool: Tool, density: Decimal, error: Decimal | None, half_scoops: bool, most_grams: Decimal
) -> Iterator[Dose]:
    if tool.kind == "jigger":
        for mark in sorted(tool.marks):
            yield Dose(tool, mark, EXACT.multiply(mark, density), error=error)
    elif tool.kind == "jug":
        yield from _lines_of(tool, density, error, most_grams)
    else:
        ml = tool.stroke if tool.kind == "pump" else tool.volume
        if ml is not None and ml > 0:
            halves = half_scoops and tool.kind in LEVEL
            yield Dose(tool, None, EXACT.multiply(ml, density), halves=halves, error=error)


def _lines_of(
    tool: Tool, density: Decimal, error: Decimal | None, most_grams: Decimal
) -> Iterator[Dose]:
    """The lines of a jug that can matter for so many grams."""
    if not tool.graduation or not tool.up_to or density <= 0:
        return
    lines = int((tool.up_to / tool.graduation).to_integral_value(ROUND_FLOOR))
    if lines > MOST_LINES:
        return
    step = EXACT.multiply(tool.graduation, density)
    last = int(EXACT.divide(most_grams, step).to_integral_value(ROUND_CEILING)) + 1
    for line in range(1, min(lines, last) + 1):
        mark = tool.graduation * line
        yield Dose(tool, mark, EXACT.multiply(mark, density), lower=line < lines, error=error)
