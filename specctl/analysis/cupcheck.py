"""What goes wrong in the cup, found when the spec is written.

Promises: every size and every choice of every drink is computed; what overflows
even at the near edge of its doubt is an error; what may overflow, stands over
the fill line or mixes with its neighbour is a warning, each told once with the
choices and sizes it holds for.
Temperatures nobody can pour at and vessels without a capacity are errors.
What is not known stays unknown and is never called fine.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import ceil

from specctl.analysis.build import STANDARD, Variant, build_lines, choice_of, sizes_of, variants
from specctl.analysis.cup_state import CupState
from specctl.analysis.density_choice import syrup_warning
from specctl.analysis.filling import fill_lines, heights_of
from specctl.analysis.layering import build_cup, portions_of
from specctl.analysis.matter import CHILLED, ROOM, Larder
from specctl.analysis.pour import Meeting
from specctl.analysis.retention import default_retention, measured_retention
from specctl.domain.amount import plain
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import Drink, Prep
from specctl.problem import ERROR, WARNING, Place, Problem

_MOST_OVERRUN = 10


@dataclass(frozen=True, slots=True)
class Cup:
    """One size of one variant of a drink, computed."""

    size: str
    variant: Variant
    vessel: Vessel
    state: CupState


def check_cups(book: Book) -> list[Problem]:
    """Findings on every cup of a book, and on what cups are made of."""
    problems = [*_vessels(book), *_ice(book), *_temperatures(book), *_preps(book)]
    larder = Larder(book)
    for drink in book.drinks.values():
        cups = list(cups_of(larder, drink))
        problems.extend(_room(drink, cups))
        problems.extend(_mixing(drink, cups))
    return problems


def cups_of(larder: Larder, drink: Drink) -> Iterator[Cup]:
    """Every size of the standard build, of each choice and of each stand-in."""
    book = larder.book
    for variant in variants(drink, None, book):
        for size in sizes_of(drink):
            vessel = book.vessels.get(drink.sizes[size].vessel)
            if vessel is None:
                continue
            lines = build_lines(book, drink, size, variant)
            if variant.is_standard or variant.substitute is not None:
                filled = fill_lines(book, lines, vessel)
            else:
                top_up = choice_of(drink, variant).top_up
                filled = fill_lines(book, lines, vessel, build_lines(book, drink, size), top_up)
            poured = {
                path: (each.line.use, None if each.grams is None else float(each.grams))
                for path, each in filled.items()
            }
            state = build_cup(larder, drink, vessel, portions_of(drink, poured, heights_of(filled)))
            if state is not None:
                yield Cup(size, variant, vessel, state)


def _room(drink: Drink, cups: list[Cup]) -> Iterator[Problem]:
    standard = {cup.size: cup.state.room for cup in cups if cup.variant.is_standard}
    for cup in cups:
        room = cup.state.room
        if room not in ("overflows", "over-line") or (not cup.variant.is_standard and standard[cup.size] == room):
            continue
        who = f"'{drink.name}', size {cup.size}{_asked(cup.variant)},"
        ml, vessel = f"{cup.state.known_ml:.0f} ml", cup.vessel
        ice = cup.state.ice
        water = sum(layer.water for layer in cup.state.layers)
        counted = f", {water:.0f} g of melt water and steam counted" if water >= 0.5 else ""
        counted += ", ice counted" if ice is not None and ice.displaces else ""
        if room == "overflows":
            doubt = cup.state.doubt_ml
            sure = cup.state.known_ml - doubt > float(vessel.brimful)
            yield Problem(
                "cup-overflow",
                _place(drink, cup),
                f"{who} comes to about {ml}, within {max(1, ceil(doubt))} ml, and '{vessel.name}' holds {plain(vessel.brimful)} ml to the rim{counted}",
                "Take a larger vessel, or less of something. The figure is an estimate: pour one and look.",
                ERROR if sure else WARNING,
            )
        else:
            over = -(cup.state.free_mm or 0.0)
            by = f", {over:.0f} mm over the fill line" if over >= 0.5 else ", just over the fill line"
            yield Problem(
                "cup-over-line",
                _place(drink, cup),
                f"{who} comes to about {ml} in '{vessel.name}'{by}{counted}",
                "Take less, or a larger vessel. The figure is an estimate: pour one and look.",
                WARNING,
            )


def _mixing(drink: Drink, cups: list[Cup]) -> Iterator[Problem]:
    """Once for each pair of neighbours: where the standard build mixes, its choices are not told again."""
    told: dict[tuple[str, str], list[tuple[Cup, Meeting]]] = {}
    for cup in cups:
        for meeting in cup.state.meetings:
            found = told.setdefault((meeting.lower, meeting.upper), [])
            if meeting.verdict == "mixes" and not any(
                other.variant.is_standard and other.size == cup.size for other, _ in found
            ):
                found.append((cup, meeting))
    for (lower, upper), found in told.items():
        if not found:
            continue
        cup, meeting = min(found, key=lambda pair: pair[1].gap or 0.0)
        order = cup.state.better_order
        words = " > ".join(drink.layers[each].name for each in order) if order else ""
        where = "; ".join(dict.fromkeys(f"{each.size}{_asked(each.variant)}" for each, _ in found))
        hint = f"Build heaviest first ({words}), " if words else "Make the lower layer heavier, "
        yield Problem(
            "layer-mixes",
            drink.layers[upper].place,
            f"'{drink.name}', size {where}: '{drink.layers[upper].name}' will mix with '{drink.layers[lower].name}' "
            f"below it: density gap {meeting.gap or 0:+.3f} g/ml at the worst, doubt ±{meeting.band or 0:.3f}",
            hint + "or write mixes: true on the layer where it is meant to.",
            WARNING,
        )


def _asked(variant: Variant) -> str:
    return "" if variant == STANDARD else f" with {variant.name}"


def _place(drink: Drink, cup: Cup) -> Place:
    if cup.variant.is_standard or cup.variant.substitute is not None:
        return drink.sizes[cup.size].place
    return choice_of(drink, cup.variant).place


def _vessels(book: Book) -> Iterator[Problem]:
    for vessel in book.vessels.values():
        if vessel.brimful <= 0 or vessel.height <= 0:
            yield Problem(
                "vessel-no-capacity",
                vessel.place,
                f"'{vessel.name}' holds nothing: no capacity or no height",
                "Fill it with water to the rim on a scale: grams are millilitres. Measure its depth inside.",
            )


def _ice(book: Book) -> Iterator[Problem]:
    for site in book.sites.values():
        if site.ice is not None and site.ice.temperature is not None and site.ice.temperature > 0:
            yield _warm_ice(site.ice.place, f"the ice of '{site.name}'", plain(site.ice.temperature))


def _warm_ice(place: Place, who: str, celsius: str) -> Problem:
    return Problem(
        "ice-above-freezing", place, f"{who} at {celsius} °C is no ice", "Write its temperature, 0 °C or below."
    )


def _temperatures(book: Book) -> Iterator[Problem]:
    for recipe in book.recipes():
        if isinstance(recipe, Prep) and recipe.served_at is not None and recipe.served_at < 0:
            yield _frozen(recipe.place, f"'{recipe.name}'", plain(recipe.served_at))
        for line in recipe.all_lines():
            if line.at is None:
                continue
            item = book.item(line.use)
            who = f"'{recipe.name}' {line.key}"
            if isinstance(item, Ingredient) and item.state == "ice":
                if line.at > 0:
                    yield _warm_ice(line.place, who, plain(line.at))
            elif line.at < 0:
                yield _frozen(line.place, who, plain(line.at))
            elif line.at >= 100:
                yield Problem(
                    "base-boils", line.place, f"{who} at {plain(line.at)} °C boils", "Write it as it goes into the cup, below 100 °C."
                )
        if isinstance(recipe, Drink):
            for layer in recipe.layers.values():
                to = layer.handling.to if layer.handling is not None else None
                if layer.handling is not None and to is not None and to < 0:
                    yield _frozen(layer.handling.place, f"'{recipe.name}' {layer.key}", plain(to))
                elif layer.handling is not None and to is not None and to >= 100:
                    yield Problem(
                        "base-boils", layer.handling.place, f"'{recipe.name}' {layer.key} at {plain(to)} °C boils",
                        "Write what it reaches, below 100 °C.",
                    )


def _frozen(place: Place, who: str, celsius: str) -> Problem:
    return Problem(
        "base-below-freezing",
        place,
        f"{who} at {celsius} °C is below freezing: nothing here can say how it pours",
        "Write the temperature it is poured at, 0 °C or above; ice is an ingredient of its own.",
    )


def _preps(book: Book) -> Iterator[Problem]:
    for prep in book.preps.values():
        if prep.overrun is not None and prep.overrun > _MOST_OVERRUN:
            yield Problem(
                "overrun-range",
                prep.place,
                f"'{prep.name}' takes up {plain(prep.overrun * 100)} % of air by volume",
                "An overrun over 1000 % is no foam anybody has measured; weigh one cup of mix and one of foam.",
            )
        warning = syrup_warning(book, prep, CHILLED if prep.keep == "chilled" else ROOM)
        if warning is not None:
            yield Problem(
                "syrup-crystallises", prep.place, f"'{prep.name}' is {warning}", "Use more water, or say why it stays clear.", WARNING
            )
        yield from _kept_water(book, prep)


def _kept_water(book: Book, prep: Prep) -> Iterator[Problem]:
    leaf = any(isinstance(i := book.item(line.use), Ingredient) and i.state == "leaf" for line in prep.all_lines())
    kept, usual = measured_retention(book, prep), default_retention("leaf")
    if leaf and kept is not None and usual is not None and kept.ratio < (usual.ratio - usual.doubt) / 2:
        yield Problem(
            "brew-keeps-water",
            prep.place,
            f"'{prep.name}' yields as if its leaf kept {kept.ratio:.1f} g of water a gram; {usual.ratio:g} is usual",
            "Weigh what one batch really yields. Common practice, no source.",
            WARNING,
        )
