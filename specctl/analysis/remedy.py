"""What to do about an amount no tool at a site measures within tolerance.

Asked in this order, the cheapest first: the site's own tools used otherwise
(two drinks at once, more motions than the book's cap); a premix with something
that goes into the same drink anyway; a tool to buy, judged over the whole menu;
and if none of these serves, the plain word that the site needs a scale. Every
answer is worked out by the solver that makes the cards; nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from specctl.analysis.density import EXACT, Item
from specctl.analysis.dose import Bench, fits_kind, is_poured, poured_density
from specctl.analysis.fitting import Asked, Fit
from specctl.analysis.measuring import Measure, measure
from specctl.domain.amount import Grams, Tolerance, centigrams
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Density, Ingredient

MEASURED = ("within", "unproven")
PORTIONS = range(2, 41)
TIMES = (2, 3, 4)
MOST_MOTIONS = 20
READS = ("0.01", "0.02", "0.05", "0.1", "0.2", "0.5", "1", "2", "5")
SCOOPS = ("0.15", "0.25", "0.5", "0.625", "1", "1.25", "2.5", "3", "5", "7.5", "10", "12.5", "15", "20", "25", "30", "35", "40", "45", "50", "60", "80", "100")
JIGGERS = (("2.5", "5", "10"), ("5", "10", "15", "20", "25"), ("10", "15", "20", "25", "30", "35", "40", "50"))
"""Level sizes, jigger lines and readabilities of common trade (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Own:
    """The site's own tools, used otherwise: `how` is `at-once` (for `times` drinks or batches
    together) or `more-motions` (than the book's cap)."""

    how: str
    times: int
    found: Measure


@dataclass(frozen=True, slots=True)
class Premix:
    """`portions` of the amount mixed with as many of a carrier that goes into the same drink.

    `item_grams` and `carrier_grams` go into the mix, `dose` grams of it into each
    drink; `making` measures the item into the mix, `dosing` the mix into a drink.
    """

    portions: int
    carrier: str
    item_grams: Decimal
    carrier_grams: Decimal
    dose: Decimal
    bulk_density: Decimal | None
    making: Measure
    dosing: Measure


@dataclass(frozen=True, slots=True)
class Buy:
    """A tool to buy and how many of this site's failing amounts it brings inside tolerance;
    `proven` of them by what stands in the book, the others after a scoop check."""

    tool: Tool
    brings: int
    proven: int
    of: int


def own_tools(asked: Asked, item: Item, bench: Bench) -> Own | None:
    """What the site's own tools do for two drinks or a few batches at once, or in more motions.

    Two drinks, never more: what is shared out by eye into three cups is no dose. A
    batch is not shared out, so up to four of them may be made together.
    """
    assert asked.grams is not None
    under, over = asked.tolerance.grams(asked.grams)
    for times in TIMES if asked.recipe.startswith("prep/") else TIMES[:1]:
        whole = Tolerance(times * under, times * over, False)
        together = measure(Grams(times * asked.grams), whole, item, bench)
        if together.verdict in MEASURED:
            return Own("at-once", times, together)
    if bench.most_motions < MOST_MOTIONS:
        longer = measure(Grams(asked.grams), asked.tolerance, item, replace(bench, most_motions=MOST_MOTIONS))
        if longer.verdict in MEASURED:
            return Own("more-motions", 1, longer)
    return None


def premix(
    asked: Asked, item: Item, beside: Iterable[tuple[Asked, Item]], bench: Bench
) -> Premix | None:
    """The smallest premix the site can make and dose, with the heaviest carrier that serves.

    The errors of making and of dosing add: both relative offsets together must
    stay inside the tolerance of the item, and the dose inside the carrier's own.
    The density of a mix of powders is taken volume on volume, an estimate: weigh
    the mix once.
    """
    assert asked.grams is not None
    carriers = [
        (other, thing)
        for other, thing in beside
        if other.use != asked.use and other.grams and is_poured(thing) == is_poured(item) and _lies_alike(thing, item)
    ]
    for portions in PORTIONS:
        for other, thing in sorted(carriers, key=lambda pair: (-(pair[0].grams or Decimal(0)), pair[0].path)):
            found = _mixed(asked, item, other, thing, (portions, bench))
            if found is not None:
                return found
    return None


def to_buy(fits: Sequence[Fit], items: Mapping[str, Item], bench: Bench) -> tuple[Buy, ...]:
    """The best one or two tools over the whole menu, besides a scale: each brings the most
    failing amounts inside that the one before it left; the smaller name first among equals."""
    failing = _jobs(fits)
    total, chosen, have = len(failing), [], bench
    for _ in range(2):
        best = max((_bought(tool, failing, items, have, total) for tool in _shelf(failing, items)),
                   key=lambda b: (b.brings, b.proven), default=None)  # fmt: skip
        if best is None or best.brings == 0:
            break
        chosen.append(best)
        have = with_tool(have, best.tool)
        failing = [a for a in failing if not _serves(a, items, have)]
    return tuple(chosen)


def scale_needed(fits: Sequence[Fit], items: Mapping[str, Item], bench: Bench) -> Buy | None:
    """The coarsest scale that brings the most failing amounts inside."""
    failing = _jobs(fits)
    scales = [Tool(id=f"scale-{step}g", name=f"scale that reads to {step} g", kind="scale", readability=Decimal(step)) for step in READS]
    found = [_bought(tool, failing, items, bench, len(failing)) for tool in scales]
    best = max(found, key=lambda b: (b.brings, b.tool.readability or 0), default=None)
    return best if best is not None and best.brings else None


def with_tool(bench: Bench, tool: Tool) -> Bench:
    return replace(bench, tools=tuple(sorted((*bench.tools, tool), key=lambda each: each.id)))


def _jobs(fits: Iterable[Fit]) -> list[Asked]:
    """Failing amounts, the same job once."""
    return list({f.asked.dose: f.asked for f in fits if f.fails and f.asked.grams}.values())


def _bought(tool: Tool, failing: Sequence[Asked], items: Mapping[str, Item], bench: Bench, total: int) -> Buy:
    have = with_tool(bench, tool)
    verdicts = [
        measure(Grams(a.grams), a.tolerance, items[a.use], have).verdict
        for a in failing
        if a.grams and (tool.kind == "scale" or fits_kind(tool, items[a.use]))
    ]
    return Buy(tool, sum(v in MEASURED for v in verdicts), verdicts.count("within"), total)


def _serves(asked: Asked, items: Mapping[str, Item], bench: Bench) -> bool:
    assert asked.grams is not None
    return measure(Grams(asked.grams), asked.tolerance, items[asked.use], bench).verdict in MEASURED


def _shelf(failing: Sequence[Asked], items: Mapping[str, Item]) -> list[Tool]:
    tools: list[Tool] = []
    if any(not is_poured(items[a.use]) for a in failing):
        tools += [Tool(id=f"new-scoop-{ml}", name=f"level scoop of {ml} ml", kind="scoop", volume=Decimal(ml)) for ml in SCOOPS]
    if any(is_poured(items[a.use]) for a in failing):
        tools += [
            Tool(id=f"new-jigger-{n}", name=f"jigger with lines at {', '.join(marks)} ml", kind="jigger", marks=tuple(map(Decimal, marks)))
            for n, marks in enumerate(JIGGERS)
        ]
        tools += [
            Tool(id=f"new-jug-{step}", name=f"jug with {step} ml lines to {top} ml", kind="jug", graduation=Decimal(step), up_to=Decimal(top))
            for step, top in (("5", "100"), ("10", "500"), ("50", "2000"))
        ]
    return tools


def _lies_alike(one: Item, other: Item) -> bool:
    """Powders mix with powders, liquids with liquids; ice, leaf and garnish with nothing."""
    states = {x.state if isinstance(x, Ingredient) else "liquid" for x in (one, other)}
    return states in ({"powder"}, {"liquid"})


def _mixed(asked: Asked, item: Item, other: Asked, thing: Item, how: tuple[int, Bench]) -> Premix | None:
    portions, bench = how
    assert asked.grams is not None and other.grams is not None
    whole, carried = asked.grams * portions, other.grams * portions
    # A mix is made before opening, at leisure: the cap on motions is for a queue.
    unhurried = replace(bench, most_motions=max(bench.most_motions, MOST_MOTIONS))
    making = measure(Grams(whole), asked.tolerance, item, unhurried)
    if making.verdict not in MEASURED:
        return None
    carrying = measure(Grams(carried), other.tolerance, thing, unhurried)
    if carrying.verdict not in MEASURED or making.off is None:
        return None
    dose = asked.grams + other.grams
    made = abs(EXACT.divide(making.off, whole))
    shares = [EXACT.divide(side, a.grams) for a in (asked, other) if a.grams for side in a.tolerance.grams(a.grams)]
    left = min(shares) - made
    if left <= 0:
        return None
    side = centigrams(dose * left)
    mix = _mix(item, asked.grams, thing, other.grams)
    dosing = measure(Grams(dose), Tolerance(side, side, False), mix, replace(bench, checks={}))
    if dosing.verdict not in MEASURED:
        return None
    density = poured_density(mix)
    return Premix(portions, other.use, whole, carried, dose, density.value if density else None, making, dosing)


def _mix(item: Item, grams: Decimal, thing: Item, carried: Decimal) -> Ingredient:
    one, other = poured_density(item), poured_density(thing)
    density = None
    if one is not None and other is not None:
        volume = EXACT.divide(grams, one.value) + EXACT.divide(carried, other.value)
        density = Density(EXACT.divide(grams + carried, volume).quantize(Decimal("0.001")), "worked out from its parts")
    poured = is_poured(item)
    return Ingredient(
        id="premix", name="premix", state="liquid" if poured else "powder", storage="ambient",
        density=density if poured else None, bulk_density=None if poured else density,
    )  # fmt: skip
