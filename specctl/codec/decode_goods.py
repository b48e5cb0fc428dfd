"""Nodes to values: ingredients and price books."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from specctl.codec.amount_faults import Fault
from specctl.codec.amounts import Counted, Measured, parse_amount
from specctl.codec.cursor import Cursor
from specctl.codec.units import UNITS, MASS, factor
from specctl.domain.amount import Each, Grams, Volume
from specctl.domain.ingredient import AllergenFacts, Certificate, Density, Ingredient, Pack, Was
from specctl.domain.price import PackPrice, PriceBook
from specctl.problem import WARNING, Problem

_DENSEST = Decimal(3)
FILM_MOST = 50
"""In per cent: what keeps more than half of a pour cannot be poured by a line."""


def ingredient(c: Cursor, id: str) -> Ingredient:
    bulk = density(c, "bulk_density")
    return Ingredient(
        id=id,
        name=c.text("name"),
        place=c.place,
        state=c.text("state"),
        storage=c.text("storage"),
        supplier=c.text("supplier"),
        product_code=c.text("product_code"),
        density=density(c, "density"),
        bulk_density=bulk,
        each=c.quantity("each", "mass"),
        composition=composition(c),
        composition_source=(x.text("source") if (x := c.at("composition")) else ""),
        facts=_facts(c),
        contradicts=frozenset(c.words("contradicts")),
        packs={k: p for k, x in c.pairs("packs") if (p := _pack(k, x))},
        opened_life=_seconds(c, "opened_life"),
        colour=c.text("colour"),
        cautions=c.words("cautions"),
        tapped_density=_tapped(c, bulk),
        film=c.share("film", FILM_MOST),
        was=_was(c),
        advisories=c.words("advisories"),
        certified={
            k: Certificate(x.text("document"), x.date("dated") or date.min) for k, x in c.pairs("certified")
        },
    )


def _tapped(c: Cursor, bulk: Density | None) -> Density | None:
    """Tapped density; never below the bulk density beside it."""
    tapped = density(c, "tapped_density")
    if tapped is not None and bulk is not None and tapped.value < bulk.value:
        c.problem(
            "density-range",
            "tapped_density",
            f"tapped it is lighter ({tapped.value} g/ml) than loose ({bulk.value} g/ml)",
            "Tapping only packs a powder: correct one of the two.",
        )
    return tapped


def density(c: Cursor, key: str) -> Density | None:
    x = c.at(key)
    if x is None:
        return None
    value = x.quantity("is", "density")
    if value is None:
        return None
    if value > _DENSEST:
        x.problem("density-range", "is", f"{value} g/ml is denser than any food", "Check the figure and its unit.")
        return None
    return Density(value, x.text("from"), x.quantity("at", "temperature"))


def composition(c: Cursor) -> dict[str, Decimal]:
    """Grams by component in 100 g; sums that cannot be are problems."""
    x = c.at("composition")
    if x is None:
        return {}
    parts = {k: n for k, _ in x.node.pairs() if k != "source" and (n := x.number(k)) is not None}
    main = sum((parts.get(k, Decimal(0)) for k in ("water", "protein", "fat", "carbohydrate", "fibre", "ash", "alcohol")), Decimal(0))
    # Food tables give carbohydrate by difference with fibre inside or outside it,
    # so a few grams over 100 are rounding and method, not a mistake.
    if main > 105 + parts.get("fibre", Decimal(0)):
        x.problem("composition-sum", "source", f"the parts add up to {main} g in 100 g", "Check the figures.")
    for part, whole in (("sugars", "carbohydrate"), ("saturates", "fat")):
        if part in parts and whole in parts and parts[part] > parts[whole]:
            c.problems.append(
                Problem(
                    "composition-part",
                    x.value_place(part),
                    f"{part} ({parts[part]}) above {whole} ({parts[whole]})",
                    "Check the source; some tables state carbohydrate by difference, and then it may stand.",
                    WARNING,
                )
            )
    return parts


def _was(c: Cursor) -> Was | None:
    """The product before, with the paper of its own packs."""
    x = c.at("was")
    facts = _facts(c, "was")
    if x is None or facts is None:
        return None
    return Was(x.text("product_code"), x.text("supplier"), facts, x.date("until") or date.max, c.key_place("was"))


def _facts(c: Cursor, key: str = "allergens") -> AllergenFacts | None:
    x = c.at(key)
    if x is None:
        return None
    places = {}
    for status in ("absent", "may_contain", "contains"):
        places.update(x.word_places(status))
    return AllergenFacts(
        document=x.text("document"),
        dated=x.date("dated") or date.min,
        product_code=x.text("product_code") or c.text("product_code"),
        contains=frozenset(x.words("contains")),
        may_contain=frozenset(x.words("may_contain")),
        absent=frozenset(x.words("absent")),
        answers_for=frozenset(x.words("answers_for")),
        scope=x.text("scope"),
        place=c.key_place(key),
        substance_places=places,
        forms={k: f.words(k) for k, _ in f.node.pairs()} if (f := x.at("forms")) else {},
        mg_per_kg={k: n for k, _ in m.node.pairs() if (n := m.number(k)) is not None} if (m := x.at("mg_per_kg")) else {},
    )


def _pack(key: str, x: Cursor) -> Pack | None:
    node = x.node.get("holds")
    if node is None:
        return None
    read = parse_amount(str(node.value))
    if isinstance(read, Fault):
        x.fault("pack-form", node, read)
        return None
    holds: Grams | Volume | Each
    if isinstance(read, Counted):
        holds = Each(read.number)
    elif isinstance(read, Measured):
        if UNITS[read.unit].dimension == MASS:
            holds = Grams(read.number * factor(read.unit, "g"))
        else:
            holds = Volume(read.number * factor(read.unit, "ml"))
    else:
        x.problem("pack-form", "holds", "a pack holds a mass, a volume or a count", "Write it as 1 kg, 1 l or 12 each.")
        return None
    return Pack(key, x.text("name"), holds)


def _seconds(c: Cursor, key: str) -> int | None:
    value = c.quantity(key, "duration")
    return int(value) if value is not None else None


def price_book(c: Cursor, id: str) -> PriceBook:
    currency = c.text("currency")
    if c.text("franchise") != id:
        c.problem("price-book-owner", "franchise", "the folder names another franchise", f"Write {id}, or move the file.")
    packs = {}
    for key, x in c.pairs("packs"):
        price = x.money("price", currency)
        usable = x.share("usable") if x.has("usable") else Decimal(1)
        if usable == 0:
            x.problem("price-usable", "usable", "nothing of the pack is usable", "Write the share that reaches a cup.")
        elif price is not None and usable is not None:
            packs[key] = PackPrice(key, x.text("pack"), price, usable, x.place)
    return PriceBook(
        franchise=id,
        currency=currency,
        as_of=c.date("as_of") or date.min,
        packs=packs,
        menu={
            drink: {size: price for size, _ in x.node.pairs() if (price := x.money(size, currency)) is not None}
            for drink, x in c.pairs("menu")
        },
        cups_a_week={
            drink: {size: x.integer(size) for size, _ in x.node.pairs()} for drink, x in c.pairs("cups_a_week")
        },
        place=c.place,
    )
