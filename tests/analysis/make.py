"""Small builders of domain values for the tests of the computations."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any, Mapping

from specctl.domain.amount import Absent, Amount, Each, Grams, Tolerance, TopTo, Unweighed, Volume
from specctl.domain.book import Book, Claim, Settings
from specctl.domain.equipment import Tool, Vessel
from specctl.domain.ingredient import AllergenFacts, Density, Ingredient, Pack
from specctl.domain.place import AllergenList, Franchise, Group, Market, Site
from specctl.domain.price import PackPrice, PriceBook
from specctl.domain.recipe import (
    ALL_SIZES,
    Choice,
    Drink,
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

SOMEWHERE = Place("drinks/some.yaml", 3, 5)
DATED = date(2026, 1, 10)
LASTS = timedelta(days=730)
TODAY = date(2026, 6, 1)


def d(value: object) -> Decimal:
    return Decimal(str(value))


def amount(text: object) -> Amount:
    """`30` or "30 g" grams, "3 each", "top 15" a filling rule, "none", else unweighed."""
    if isinstance(text, Grams | Each | TopTo | Unweighed | Absent):
        return text
    words = str(text).split()
    if words == ["none"]:
        return Absent()
    if words[0] == "top":
        return TopTo(d(words[1]))
    if len(words) == 1 or words[1] == "g":
        return Grams(d(words[0]))
    if words[1] == "each":
        return Each(d(words[0]))
    return Unweighed(str(text))


def amounts(given: object) -> dict[str, Amount]:
    if isinstance(given, Mapping):
        return {size: amount(text) for size, text in given.items()}
    return {ALL_SIZES: amount(given)}


def line(key: str, use: str, given: object, file: str = "drinks/some.yaml", at: int = 1, **more: Any) -> Line:
    return Line(key=key, use=use, amounts=amounts(given), place=Place(file, at, 1), **more)


def lines(*made: Line) -> dict[str, Line]:
    return {each.key: each for each in made}


def layer(key: str, *made: Line) -> Layer:
    return Layer(key=key, name=key.title(), lines=lines(*made))


def change(path: str, use: str | None = None, given: object = None, **more: Any) -> LineChange:
    layer_key, line_key = path.split("/")
    sized = {} if given is None else amounts(given)
    return LineChange(
        layer=layer_key, line=line_key, use=use, amounts=sized, place=SOMEWHERE, **more
    )


def out(path: str) -> LineChange:
    layer_key, line_key = path.split("/")
    return LineChange(layer=layer_key, line=line_key, out=True, place=SOMEWHERE)


def choice(key: str, *changes: LineChange, **more: Any) -> Choice:
    return Choice(
        key=key, name=key.title(), changes={c.path: c for c in changes}, place=SOMEWHERE, **more
    )


def option(key: str, *choices: Choice) -> Option:
    return Option(key=key, name=key.title(), choices={c.key: c for c in choices})


def stand_in(key: str, of: str, by: str, ratio: object = 1, markets: tuple[str, ...] = ()) -> Substitute:
    return Substitute(
        key=key, of=of, by=by, ratio=d(ratio), markets=frozenset(markets), place=SOMEWHERE
    )


def drink(
    id: str,
    *layers: Layer,
    sizes: tuple[str, ...] = ("regular",),
    options: tuple[Option, ...] = (),
    substitutes: tuple[Substitute, ...] = (),
    steps: tuple[Step, ...] = (),
    **more: Any,
) -> Drink:
    return Drink(
        id=id,
        name=more.pop("name", id.replace("-", " ").capitalize()),
        place=Place(f"drinks/{id}.yaml", 1, 1),
        sizes={key: Size(key, key.title(), "cup", Place(f"drinks/{id}.yaml", 2, 3)) for key in sizes},
        layers={each.key: each for each in layers},
        steps={each.key: each for each in steps},
        served=more.pop("served", "cold"),
        options={each.key: each for each in options},
        substitutes={each.key: each for each in substitutes},
        **more,
    )


def prep(id: str, yields: object, *made: Line, **more: Any) -> Prep:
    return Prep(
        id=id,
        name=more.pop("name", id.replace("-", " ").capitalize()),
        place=Place(f"preps/{id}.yaml", 1, 1),
        lines=lines(*made),
        yields=d(yields),
        keep=more.pop("keep", "chilled"),
        **more,
    )


def facts(
    contains: tuple[str, ...] = (),
    may_contain: tuple[str, ...] = (),
    absent: tuple[str, ...] = (),
    answers_for: tuple[str, ...] = (),
    **more: Any,
) -> AllergenFacts:
    return AllergenFacts(
        document=more.pop("document", "Statement 4"),
        dated=more.pop("dated", DATED),
        product_code=more.pop("product_code", ""),
        contains=frozenset(contains),
        may_contain=frozenset(may_contain),
        absent=frozenset(absent),
        answers_for=frozenset(answers_for),
        **more,
    )


def ingredient(id: str, stated: AllergenFacts | None = None, **more: Any) -> Ingredient:
    density = more.pop("density", None)
    bulk = more.pop("bulk_density", None)
    return Ingredient(
        id=id,
        name=more.pop("name", id.replace("-", " ").capitalize()),
        place=Place(f"ingredients/{id}.yaml", 1, 1),
        state=more.pop("state", "liquid"),
        storage=more.pop("storage", "ambient"),
        facts=stated,
        density=Density(d(density), "a test") if density is not None else None,
        bulk_density=Density(d(bulk), "a test") if bulk is not None else None,
        packs={key: Pack(key, key, holds) for key, holds in more.pop("packs", {}).items()},
        **more,
    )


def allergen_list(id: str, **groups: tuple[str, ...]) -> AllergenList:
    return AllergenList(
        id=id,
        name=id.upper(),
        place=Place(f"lists/{id}.yaml", 1, 1),
        source="a test",
        as_of=DATED,
        groups={
            key: Group(key, key.title(), {member: member.title() for member in members})
            for key, members in groups.items()
        },
    )


def market(id: str = "gb", currency: str = "GBP", tax: object = "0.2", **more: Any) -> Market:
    return Market(
        id=id,
        name=id.upper(),
        place=Place(f"markets/{id}.yaml", 1, 1),
        allergen_list=more.pop("allergen_list", "north"),
        currency=currency,
        tax=d(tax),
        tax_in_menu_price=more.pop("tax_in_menu_price", True),
        language=more.pop("language", "en-GB"),
    )


def site(id: str, franchise: str = "marram", market: str = "gb", **more: Any) -> Site:
    return Site(
        id=id,
        name=id.replace("-", " ").title(),
        place=Place(f"sites/{id}.yaml", 1, 1),
        franchise=franchise,
        market=market,
        time_zone="Europe/London",
        tools=more.pop("tools", {"scale": 1}),
        vessels=frozenset(more.pop("vessels", ("cup",))),
        equipment=frozenset(more.pop("equipment", ())),
        not_served=frozenset(more.pop("not_served", ())),
        stocks=more.pop("stocks", {}),
    )


def franchise(id: str = "marram") -> Franchise:
    return Franchise(id=id, name=id.title(), place=Place(f"franchises/{id}.yaml", 1, 1))


def scale(id: str = "scale", readability: object = "0.1") -> Tool:
    return Tool(
        id=id,
        name=id.title(),
        place=Place(f"tools/{id}.yaml", 1, 1),
        kind="scale",
        readability=d(readability),
        min_load=d(0),
        max_load=d(3000),
    )


def vessel(id: str = "cup", brimful: object = 450) -> Vessel:
    return Vessel(
        id=id,
        name=id.title(),
        place=Place(f"vessels/{id}.yaml", 1, 1),
        kind="cup",
        brimful=d(brimful),
        height=d(120),
        fill_line=d(15),
        rim=d(90),
        base=d(60),
    )


def price_book(
    packs: Mapping[str, tuple[str, object]],
    menu: Mapping[str, Mapping[str, object]] | None = None,
    cups: Mapping[str, Mapping[str, int]] | None = None,
    **more: Any,
) -> PriceBook:
    """`packs`: ingredient to (pack, price) or (pack, price, usable)."""
    franchise_id = more.pop("franchise", "marram")
    file = f"prices/{franchise_id}/price-book.yaml"
    return PriceBook(
        franchise=franchise_id,
        currency=more.pop("currency", "GBP"),
        as_of=DATED,
        place=Place(file, 1, 1),
        packs={
            id: PackPrice(id, pack, d(price), *(d(share) for share in rest), place=Place(file, 5, 3))
            for id, (pack, price, *rest) in packs.items()
        },
        menu={
            id: {size: d(price) for size, price in sizes.items()}
            for id, sizes in (menu or {}).items()
        },
        cups_a_week=cups or {},
    )


def book(*records: Any, claims: Mapping[str, tuple[str, ...]] | None = None, **more: Any) -> Book:
    """A book of these records, each put under its kind by its type."""
    kinds = {
        AllergenList: "lists",
        Market: "markets",
        Franchise: "franchises",
        Site: "sites",
        Tool: "tools",
        Vessel: "vessels",
        Ingredient: "ingredients",
        Prep: "preps",
        Drink: "drinks",
    }
    found: dict[str, dict[str, Any]] = {}
    for record in records:
        if isinstance(record, PriceBook):
            found.setdefault("price_books", {})[record.franchise] = record
        else:
            found.setdefault(kinds[type(record)], {})[record.id] = record
    settings = Settings(
        id="tidewick",
        name="Tidewick",
        place=Place("book.yaml", 1, 1),
        day_starts="04:00",
        tolerance=Tolerance(d("0.05"), d("0.05"), relative=True),
        documents_last=LASTS,
        claims={
            key: Claim(key, key.replace("-", " ").capitalize(), frozenset(forbids))
            for key, forbids in (claims or {}).items()
        },
    )
    return Book(settings=settings, **found, **more)


__all__ = [name for name in dir() if not name.startswith("_")] + ["Volume"]
