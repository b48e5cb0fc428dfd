"""One concrete build of a drink or prep: which line takes how much of what.

Promises: the standard build, a build with one choice of one option, and a build
with one stand-in, line by line, each line under its path `layer/line`. A prep
is a build with one size, `batch`, and one layer, `mix`. Leaves to others whether
what a choice names exists (`references`) and what a filling rule weighs (`cup`).

A choice that says nothing of an amount keeps the line's own; a choice that
names an amount for some sizes only keeps the line's own at the others, so that
nothing silently drops out of a cup (`soundness` reports the gap).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Iterable, Mapping

from specctl.domain.amount import Absent, Amount, Each, Grams, Tolerance, centigrams
from specctl.domain.book import Book
from specctl.domain.recipe import ALL_SIZES, Choice, Drink, Line, LineChange, Prep, Substitute
from specctl.problem import NOWHERE, Place

BATCH = "batch"
MIX = "mix"
_OPTION_SEPARATOR = "="
_SUBSTITUTE = "substitute"


@dataclass(frozen=True, slots=True)
class Variant:
    """`choice` is "" for the standard build, `option=choice`, or `substitute=key`."""

    choice: str = ""
    name: str = "Standard"

    @property
    def is_standard(self) -> bool:
        return not self.choice

    @property
    def substitute(self) -> str | None:
        """The key of the stand-in, where this variant is one."""
        kind, _, key = self.choice.partition(_OPTION_SEPARATOR)
        return key if kind == _SUBSTITUTE and key else None


STANDARD = Variant()


@dataclass(frozen=True, slots=True)
class BuiltLine:
    """One line of a build at one size. `tolerance` is the line's own or the book's;
    `strained`: its layer is strained, so ice of it never reaches the cup."""

    path: str
    layer: str
    line_key: str
    use: str
    amount: Amount
    tolerance: Tolerance
    place: Place = field(default=NOWHERE, compare=False)
    strained: bool = False


@dataclass(frozen=True, slots=True)
class OpenLine:
    """One line of a build before a size is picked: amounts by size key."""

    layer: str
    key: str
    use: str
    amounts: Mapping[str, Amount]
    tolerance: Tolerance | None
    place: Place
    amount_places: Mapping[str, Place]

    @property
    def path(self) -> str:
        return f"{self.layer}/{self.key}"

    def amount(self, size: str) -> Amount | None:
        return self.amounts.get(size, self.amounts.get(ALL_SIZES))

    def place_of(self, size: str) -> Place:
        return self.amount_places.get(size) or self.amount_places.get(ALL_SIZES) or self.place


def variants(recipe: Drink | Prep, market: str | None = None, book: Book | None = None) -> list[Variant]:
    """Standard first, options in their order, then stand-ins allowed in `market`.

    `market` None: the stand-ins of every market. With `book`, stand-ins are
    named by the names of their ingredients instead of their ids.
    """
    found = [STANDARD]
    if isinstance(recipe, Prep):
        return found
    for option in recipe.options.values():
        for choice in option.choices.values():
            found.append(Variant(f"{option.key}={choice.key}", f"{option.name}: {choice.name}"))
    for substitute in recipe.substitutes.values():
        if market is None or allowed_in(substitute, market):
            of, by = (_name(book, id) for id in (substitute.of, substitute.by))
            found.append(Variant(f"{_SUBSTITUTE}={substitute.key}", f"{by} in place of {of}"))
    return found


def allowed_in(substitute: Substitute, market: str) -> bool:
    return not substitute.markets or market in substitute.markets


def sizes_of(recipe: Drink | Prep) -> tuple[str, ...]:
    """The size keys of a drink; the one size of a prep."""
    return (BATCH,) if isinstance(recipe, Prep) else tuple(recipe.sizes)


def layers_of(recipe: Drink | Prep) -> dict[str, Mapping[str, Line]]:
    """Lines by layer key, in build order; a prep has the one layer `mix`."""
    if isinstance(recipe, Prep):
        return {MIX: recipe.lines}
    return {key: layer.lines for key, layer in recipe.layers.items()}


def open_lines(recipe: Drink | Prep, variant: Variant = STANDARD) -> dict[str, OpenLine]:
    """Every line of a variant under its path, all sizes still open.

    A line a choice leaves out is not here; one it adds stands at the end of its
    layer. Raises KeyError for a variant the recipe does not know.
    """
    layers = {
        layer: {key: _opened(layer, line) for key, line in lines.items()}
        for layer, lines in layers_of(recipe).items()
    }
    substitute = variant.substitute
    if variant.is_standard or isinstance(recipe, Prep):
        if not variant.is_standard:
            raise KeyError(variant.choice)
    elif substitute is not None:
        stand_in = recipe.substitutes[substitute]
        for lines in layers.values():
            for key, line in lines.items():
                lines[key] = _stood_in(line, stand_in)
    else:
        for change in choice_of(recipe, variant).changes.values():
            _apply(layers.setdefault(change.layer, {}), change)
    return {line.path: line for lines in layers.values() for line in lines.values()}


def choice_of(drink: Drink, variant: Variant) -> Choice:
    """The choice an option's variant names. Raises KeyError where there is none."""
    option, _, choice = variant.choice.partition(_OPTION_SEPARATOR)
    return drink.options[option].choices[choice]


def build_lines(
    book: Book, recipe: Drink | Prep, size: str, variant: Variant = STANDARD
) -> dict[str, BuiltLine]:
    """Path `layer/line` to built line, in build order, for one size of one variant.

    Lines left out at this size, or without an amount for it, are not here.
    """
    built = {}
    strained = _strained(recipe)
    for path, line in open_lines(recipe, variant).items():
        amount = line.amount(size)
        if amount is None or isinstance(amount, Absent):
            continue
        built[path] = BuiltLine(
            path=path,
            layer=line.layer,
            line_key=line.key,
            use=line.use,
            amount=amount,
            tolerance=line.tolerance or book.settings.tolerance,
            place=line.place_of(size),
            strained=line.layer in strained,
        )
    return built


def _strained(recipe: Drink | Prep) -> frozenset[str]:
    """Keys of the layers whose ice stays in a strainer."""
    if not isinstance(recipe, Drink):
        return frozenset()
    return frozenset(k for k, layer in recipe.layers.items() if layer.handling is not None and layer.handling.strained)


def stocked(
    lines: Mapping[str, BuiltLine],
    substitutes: Iterable[Substitute],
    stocks: Mapping[str, str],
    market: str,
) -> dict[str, BuiltLine]:
    """The lines as a site builds them that stocks stand-ins (`stocks`: of to by).

    Only stand-ins the drink allows in that market are used, at their ratio.
    """
    ratios = {
        (s.of, s.by): s.ratio for s in substitutes if allowed_in(s, market)
    }
    built = {}
    for path, line in lines.items():
        by = stocks.get(line.use)
        ratio = ratios.get((line.use, by)) if by is not None else None
        if by is None or ratio is None:
            built[path] = line
        else:
            built[path] = replace(line, use=by, amount=scaled(line.amount, ratio))
    return built


def scaled(amount: Amount, ratio: Decimal) -> Amount:
    """`amount` times `ratio`, grams rounded half up to 0.01 g; a rule stays a rule."""
    match amount:
        case Grams(value):
            return Grams(centigrams(value * ratio))
        case Each(count):
            return Each(count * ratio)
    return amount


def _apply(lines: dict[str, OpenLine], change: LineChange) -> None:
    own = lines.get(change.line)
    if change.out:
        lines.pop(change.line, None)
    elif own is not None:
        amounts = {**own.amounts, **change.amounts}
        places = {**own.amount_places, **change.amount_places}
        if ALL_SIZES in change.amounts:
            amounts, places = dict(change.amounts), dict(change.amount_places)
        lines[change.line] = replace(
            own,
            use=own.use if change.use is None else change.use,
            amounts=amounts,
            tolerance=change.tolerance or own.tolerance,
            place=change.place,
            amount_places=places,
        )
    elif change.use is not None:
        lines[change.line] = OpenLine(
            layer=change.layer,
            key=change.line,
            use=change.use,
            amounts=change.amounts,
            tolerance=change.tolerance,
            place=change.place,
            amount_places=change.amount_places,
        )


def _opened(layer: str, line: Line) -> OpenLine:
    return OpenLine(
        layer=layer,
        key=line.key,
        use=line.use,
        amounts=line.amounts,
        tolerance=line.tolerance,
        place=line.place,
        amount_places=line.amount_places,
    )


def _stood_in(line: OpenLine, substitute: Substitute) -> OpenLine:
    if line.use != substitute.of:
        return line
    amounts = {size: scaled(amount, substitute.ratio) for size, amount in line.amounts.items()}
    return replace(line, use=substitute.by, amounts=amounts)


def _name(book: Book | None, id: str) -> str:
    item = book.item(id) if book is not None else None
    return item.name if item is not None else id
