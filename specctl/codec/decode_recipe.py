"""Nodes to values: preps and drinks, their lines, steps, sizes and options."""

from __future__ import annotations

from decimal import Decimal

from specctl.codec import amounts as written
from specctl.codec.amount_faults import Fault
from specctl.codec.cursor import Cursor
from specctl.codec.decode_goods import FILM_MOST, composition, density
from specctl.codec.node import Node
from specctl.codec.overrun import read_overrun
from specctl.domain.amount import Absent, Amount, Each, Grams, TopTo, Unweighed
from specctl.domain.recipe import (
    ALL_SIZES,
    Choice,
    Drink,
    Handling,
    Layer,
    Line,
    LineChange,
    Option,
    Prep,
    Size,
    Step,
    Substitute,
)
from specctl.problem import Place


def prep(c: Cursor, id: str) -> Prep:
    yields = c.quantity("yields", "mass")
    hold = c.quantity("hold", "duration")
    return Prep(
        id=id,
        name=c.text("name"),
        place=c.place,
        lines=_lines(c),
        yields=yields or Decimal(0),
        keep=c.text("keep"),
        steps=_steps(c),
        overrun=read_overrun(c),
        density=density(c, "density"),
        served_at=c.quantity("served_at", "temperature"),
        hold=int(hold) if hold is not None else None,
        discard=(c.share("discard", most=99) if c.has("discard") else None) or Decimal(0),
        vessel=c.text("vessel") or None,
        colour=c.text("colour"),
        cautions=c.words("cautions"),
        film=c.share("film", FILM_MOST),
        keep_at=c.quantity("keep_at", "temperature"),
        stable=c.text("stable"),
        composition=composition(c),
    )


def drink(c: Cursor, id: str) -> Drink:
    return Drink(
        id=id,
        name=c.text("name"),
        place=c.place,
        sizes={k: Size(k, x.text("name"), x.text("vessel"), x.place) for k, x in c.pairs("sizes")},
        layers={k: _layer(k, x) for k, x in c.pairs("layers")},
        steps=_steps(c),
        served=c.text("served"),
        options={k: _option(k, x) for k, x in c.pairs("options")},
        substitutes={k: _substitute(k, x) for k, x in c.pairs("substitutes")},
        markets=frozenset(c.words("markets")),
        claims=c.words("claims"),
        served_at=c.quantity("served_at", "temperature"),
        cautions=c.words("cautions"),
    )


def _layer(key: str, c: Cursor) -> Layer:
    return Layer(key, c.text("name"), _lines(c), c.place, c.flag("mixes"), _handling(c))


def _handling(c: Cursor) -> Handling | None:
    x = c.at("handling")
    if x is None:
        return None
    seconds = x.quantity("for", "duration")
    return Handling(
        by=x.text("by"),
        to=x.quantity("to", "temperature"),
        seconds=int(seconds) if seconds is not None else None,
        strained=x.flag("strained"),
        overrun=read_overrun(x),
        place=x.place,
    )


def _lines(c: Cursor) -> dict[str, Line]:
    return {key: _line(key, x) for key, x in c.pairs("lines")}


def _line(key: str, c: Cursor) -> Line:
    amounts, places = _amounts(c)
    return Line(
        key=key,
        use=c.text("use"),
        amounts=amounts,
        tolerance=c.tolerance("tolerance"),
        written=_texts(c.node.get("written")),
        note=c.text("note"),
        place=c.value_place("use"),
        amount_places=places,
        at=c.quantity("at", "temperature"),
    )


def _steps(c: Cursor) -> dict[str, Step]:
    return {
        key: Step(key, x.text("do"), x.text("layer") or None, x.words("equipment"), x.text("caution"), x.place)
        for key, x in c.pairs("steps")
    }


def _option(key: str, c: Cursor) -> Option:
    choices = {}
    for name, x in c.pairs("choices"):
        changes = {path: _change(path, y) for path, y in x.pairs("lines")}
        choices[name] = Choice(name, x.text("name"), changes, x.text("top_up") or None, x.text("note"), x.place)
    return Option(key, c.text("name"), choices, c.place)


def _change(path: str, c: Cursor) -> LineChange:
    layer, _, line = path.partition("/")
    if c.node.kind == "scalar":
        return LineChange(layer, line, out=True, place=c.place)
    amounts, places = _amounts(c)
    return LineChange(
        layer,
        line,
        use=c.text("use") or None,
        amounts=amounts,
        tolerance=c.tolerance("tolerance"),
        written=_texts(c.node.get("written")),
        place=c.place,
        amount_places=places,
    )


def _substitute(key: str, c: Cursor) -> Substitute:
    return Substitute(
        key, c.text("for"), c.text("with"), c.number("ratio") or Decimal(1), frozenset(c.words("markets")), c.place,
        frozenset(c.words("brings")) if c.has("brings") else None,
    )


def _texts(node: Node | None) -> dict[str, str]:
    return {size: str(n.value) for size, n in sized(node)}


def sized(node: Node | None) -> list[tuple[str, Node]]:
    """An amount's scalars by size: one for every size, or one each."""
    if node is None:
        return []
    if node.kind == "scalar":
        return [(ALL_SIZES, node)]
    return list(node.pairs())


def _amounts(c: Cursor) -> tuple[dict[str, Amount], dict[str, Place]]:
    found: dict[str, Amount] = {}
    places: dict[str, Place] = {}
    for size, node in sized(c.node.get("amount")):
        places[size] = node.place(c.file)
        found[size] = amount(str(node.value))
    return found, places


def amount(text: str) -> Amount:
    """A canonical amount, or `Unweighed` for anything that is not one."""
    read = written.parse_amount(text)
    if isinstance(read, Fault):
        return Unweighed(text)
    if isinstance(read, written.Measured) and read.unit == "g":
        return Grams(read.number)
    if isinstance(read, written.Counted):
        return Each(read.number)
    if isinstance(read, written.TopTo):
        return TopTo(read.mm)
    if isinstance(read, written.Absent):
        return Absent()
    return Unweighed(text)
