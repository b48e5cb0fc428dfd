"""Impacts for the tests of the report: a rich one, a quiet one and a hostile one.

Everything in them is invented (the Tidewick counters). No number here is a
reference value; tests that check numbers name their own source.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timezone
from decimal import Decimal
from typing import Any

from specctl.change.effect import Effect, Row, WavePlan
from specctl.change.impact import (
    AllergenChange,
    AllergenCover,
    AmountChange,
    AtSites,
    Bought,
    CostChange,
    DocumentAge,
    Hindrance,
    Impact,
    IngredientEffect,
    Leftover,
    MenuChange,
    Named,
    ObjectionHeard,
    Reason,
    Signing,
    TextChange,
    Through,
    Untouched,
)

NOW = datetime(2026, 11, 25, 9, 0, tzinfo=timezone.utc)
SCOPE = "franchise/northsands"
HOJICHA = "drink/blackcurrant-hojicha"
HOJICHA_NAME = "Blackcurrant hojicha under salted oat foam"

# Hostile texts, one of each kind that one of the media would run, hide or cut.
TAGS = "<script>alert(1)</script><img src=x onerror=alert(2)>\"'><b>bold</b>"
LINKS = "[press](javascript:alert(1)) ![p](https://evil.example/p.png) <https://evil.example> www.evil.example"
TABLE_BREAK = "a | b\n| --- | --- |\n# heading\n- [x] item `code` ~~gone~~ @somebody #12"
ESCAPES = "\x1b[31mred\x1b[0m\x1b]8;;https://evil.example\x07link\x1b]8;;\x07\x08\x08\r"
RICH_MARKUP = "[red]milk[/red] [milk, soya] [link=https://evil.example]x[/link]"
BIDI = "safe \u202eklim\u202c \u2066x\u2069 \u200bze\u200dro\ufeff"
LONG_WORD = "hazelnut" * 50
FORMULA = '=HYPERLINK("https://evil.example","x")'
HOSTILE = (TAGS, LINKS, TABLE_BREAK, ESCAPES, RICH_MARKUP, BIDI, LONG_WORD, FORMULA)


def line(
    grams: str,
    moves: list[dict[str, Any]],
    verdict: str = "within",
    *,
    by: str = "tools",
    gives: str | None = None,
    off: str | None = None,
    name: str = "oat drink, unsweetened",
    of: str = "ingredient/oat-drink",
    note: str | None = None,
) -> dict[str, Any]:
    """A LINE of an entry."""
    return {
        "key": "oat",
        "of": of,
        "name": name,
        "grams": grams,
        "each": None,
        "rule": None,
        "tolerance": {"minus": "2", "plus": "2"},
        "measure": {"by": by, "moves": moves, "gives": gives, "off": off, "verdict": verdict, "note": note},
    }


def move(tool: str, name: str, times: str = "1", mark: str | None = None) -> dict[str, Any]:
    return {"tool": tool, "name": name, "times": times, "mark": mark}


def at(sites: tuple[str, ...], before: dict[str, Any] | None, after: dict[str, Any] | None) -> AtSites:
    return AtSites(
        sites, before["measure"] if before else None, after["measure"] if after else None, before, after
    )


def scale(grams: str, **more: Any) -> dict[str, Any]:
    return line(
        grams, [move("scale-1g", "bench scale, 1 g", mark=f"{grams} g")], by="scale", gives=grams, off="0", **more
    )


def scoops(grams: str, times: str, gives: str, off: str, verdict: str, **more: Any) -> dict[str, Any]:
    return line(grams, [move("scoop-amber", "amber scoop, 15 ml", times)], verdict, gives=gives, off=off, **more)


def amounts() -> tuple[AmountChange, ...]:
    common = dict(item=HOJICHA, item_name=HOJICHA_NAME, choice="", choice_name="")
    regular = dict(size="regular", size_name="regular", **common)
    oat = "ingredient/oat-drink"
    none = line("8", [], "no-tool", by="none", name="beet sugar, fine", note="a 1 g scale or a 10 ml scoop would do")
    return (
        AmountChange(
            path="foam/oat", line_name="oat drink, unsweetened", before_of=oat, after_of=oat,
            before=Decimal("28"), after=Decimal("34"), **regular,
            at=(
                at(("quay",), scale("28"), scale("34")),
                at(("harbour", "saltmarsh"), scoops("28", "2", "28.8", "0.8", "within"),
                   scoops("34", "2", "28.8", "-5.2", "outside")),
            ),
        ),
        AmountChange(
            path="base/powder", line_name="roasted tea powder", before_of="ingredient/tea", after_of="ingredient/tea",
            before=Decimal("6.50"), after=Decimal("6.50"), **regular,
            at=(at(("harbour",), scoops("6.5", "1", "6.2", "-0.3", "unproven"),
                   line("6.5", [move("scoop-plum", "plum scoop, 7.5 ml", "2")], "within", gives="6.6", off="0.1")),),
        ),
        AmountChange(
            path="base/sugar", line_name="beet sugar, fine", before_of=None, after_of="ingredient/sugar",
            before=None, after=Decimal("8"), **regular, at=(at(("saltmarsh",), None, none),),
        ),
        AmountChange(
            path="base/syrup", line_name="blackcurrant syrup", before_of="prep/syrup", after_of=None,
            before=Decimal("20"), after=None, item="drink/fizz", item_name="Pear and sage fizz", size="large",
            size_name="large", choice="sugar=less", choice_name="less sugar",
            at=(at(("quay", "harbour"), line("20", [move("pump-blue", "blue pump, 10 ml", "2")], gives="20.4", off="0.4"),
                   None),),
        ),
        AmountChange(
            path="foam/milk", line_name="foam base", before_of=oat, after_of="ingredient/almond-drink",
            before=Decimal("40"), after=Decimal("40"), **{**regular, "choice": "milk=nut", "choice_name": "almond drink"},
            at=(at(("quay",), scale("40"), scale("40", name="almond drink", of="ingredient/almond-drink")),),
        ),
    )  # fmt: skip


def allergens() -> tuple[AllergenChange, ...]:
    def row(name: str, before: str | None, after: str | None, **more: Any) -> AllergenChange:
        values: dict[str, Any] = dict(
            item=HOJICHA, item_name=HOJICHA_NAME, choice="", choice_name="", market="gb",
            list_name="Fourteen groups, GB", substance=name, name=name, listed=True,
            paths=(f"{HOJICHA_NAME} / salted oat foam / foam base / oat drink, barista ({name})",),
            sites=("harbour", "quay"),
        )  # fmt: skip
        return AllergenChange(before=before, after=after, **{**values, **more})

    us = dict(market="us", list_name="Nine foods, US", sites=("saltmarsh",))
    return (
        row("barley (gluten)", "may_contain", "contains"),
        row("almond (tree nuts)", None, "contains", choice="milk=nut", choice_name="almond drink"),
        row("soya", "contains", None),
        row("hazelnut (tree nuts)", None, "unknown"),
        row("milk", "unknown", "may_contain", item="drink/fizz", item_name="Pear and sage fizz"),
        row("sesame", "contains", "may_contain"),
        row("almond (tree nuts)", None, "contains", choice="milk=nut", choice_name="almond drink", **us),
        row("barley", None, "contains", listed=False, **us),
    )


def cover() -> AllergenCover:
    return AllergenCover(
        items=3,
        rows=24,
        lists=("Fourteen groups, GB", "Nine foods, US"),
        documents=(
            DocumentAge("oat-drink", "oat drink, barista", "supplier specification OB-14", "2025-02-03", "2027-02-03", False),
            DocumentAge("sugar", "beet sugar, fine", "supplier letter 7", "2024-06-01", "2026-06-01", True),
        ),
        still_unknown=(("Pear and sage fizz", "", "celery", "gb"),),
        not_covered=("equipment shared with food, which the book does not hold",),
    )  # fmt: skip


def costs(franchise: str = "northsands", currency: str = "GBP") -> tuple[CostChange, ...]:
    d = Decimal
    return (
        CostChange(
            franchise, currency, HOJICHA, HOJICHA_NAME, "regular", "regular",
            before=d("0.413"), after=d("0.446"), price_effect=d("0.011"), recipe_effect=d("0.022"),
            ingredients=(
                IngredientEffect("ingredient/oat-drink", "oat drink, unsweetened", d("0.011"), d("0.014")),
                IngredientEffect("ingredient/sugar", "beet sugar, fine", d("0"), d("0.008")),
            ),
            menu_price=d("3.80"), margin_before=d("2.754"), margin_after=d("2.721"),
            margin_share_before=d("0.86946"), margin_share_after=d("0.85899"), cups_a_week=640, week=d("21.21"),
            missing=(), menu_price_before=d("3.80"), week_before=d("264.32"),
        ),
        CostChange(
            franchise, currency, "drink/fizz", "Pear and sage fizz", "large", "large",
            before=d("0.512"), after=None, price_effect=None, recipe_effect=None, ingredients=(),
            menu_price=d("4.10"), margin_before=d("2.9"), margin_after=None, margin_share_before=d("0.85"),
            margin_share_after=None, cups_a_week=120, week=None, missing=("almond drink",),
        ),
    )  # fmt: skip


def rich(**more: Any) -> Impact:
    """One franchise's impact with something in every section."""
    effect = Effect(
        SCOPE,
        "2026-12-01",
        (WavePlan("harbour", "2026-12-01", ("harbour", "quay")), WavePlan("rest", "2026-12-08", ("saltmarsh",))),
        (
            Row("harbour", HOJICHA, "a" * 64, "b" * 64),
            Row("quay", HOJICHA, "c" * 64, "d" * 64),
            Row("saltmarsh", HOJICHA, None, "e" * 64),
        ),
        (("ingredients/oat-drink.yaml", "f" * 64),),
    )
    values: dict[str, Any] = dict(
        book="tidewick", book_name="Tidewick counters", proposal="12-oat-foam", title="A thicker salted oat foam",
        why="The foam sinks within two minutes; more oat drink holds it.", state="in review", author="Mirel Oake",
        edited_from="1" * 40, main="2" * 40, tip="3" * 40, effect=effect, digest=effect.digest,
        price_books=(("northsands", "9" * 64, "2026-11-01"),), classes=("allergen-in", "amount", "cost"),
        amounts=amounts(), allergens=allergens(), cover=cover(),
        texts=(
            TextChange("method", HOJICHA, HOJICHA_NAME, "step foam", "Blend 10 s.", "Blend 20 s, rest 5 s.", ("harbour", "quay")),
            TextChange("hold", "prep/oat-foam", "Salted oat foam", "", "4 h", "2 h", ("harbour", "quay", "saltmarsh")),
            TextChange("evidence", HOJICHA, HOJICHA_NAME, "standard build", "absences trusted until 2027-02-03",
                       "absences trusted until 2026-06-01", ("harbour",)),
            TextChange("equipment", HOJICHA, HOJICHA_NAME, "step foam", None, "blender", ("saltmarsh",)),
        ),
        hindrances=(Hindrance("saltmarsh", "Saltmarsh", HOJICHA, HOJICHA_NAME, "a blender", True),
                    Hindrance("saltmarsh", "Saltmarsh", HOJICHA, HOJICHA_NAME, "a scoop for 8 g of beet sugar", False)),
        costs=costs(),
        file_changes=(("ingredients/oat-drink.yaml", "product code", "OD-3", "OB-14"),),
        signings=(
            Signing("food-safety", "chain", "7" * 64, ("an allergen comes into a drink",), ("Anso Reed",), "Anso Reed",
                    reasons=(Reason("allergen-in", "A guest must be told.", ("almond in a drink comes in",)),)),
            Signing("franchise-manager", SCOPE, effect.digest, ("a cup's cost moves by more than 3 %",),
                    ("Bryn Tarn", "Cato Wick")),
            Signing("head-of-drinks", "chain", "7" * 64, ("an amount changes",), ("Dune Marl",), None,
                    "line foam/oat moved since it was signed"),
        ),
        objections=(ObjectionHeard("Bryn Tarn", "franchise-manager", SCOPE, "2026-11-24T16:20:00Z",
                                   "Saltmarsh has no blender.", True),),
        untouched=Untouched(9, 12, 6, 8, 1, 4, ("Roasted-barley latte", "Sea-buckthorn lemonade"), ("Lightvessel",)),
        names=Named(
            sites={"harbour": "Harbour Steps", "quay": "Old Quay", "saltmarsh": "Saltmarsh", "lightvessel": "Lightvessel"},
            site_market={"harbour": "gb", "quay": "gb", "saltmarsh": "us", "lightvessel": "gb"},
            site_franchise=dict.fromkeys(("harbour", "quay", "saltmarsh", "lightvessel"), "northsands"),
            franchises={"northsands": "Northsands"},
            markets={"gb": "Great Britain", "us": "United States"},
            items={"ingredient/oat-drink": "oat drink, barista"}, layers={f"{HOJICHA} foam": "salted oat foam"},
        ),
        menu=(MenuChange("northsands", "GBP", "cloud", "Matcha cloud", "regular", "regular", Decimal("4.10"), Decimal("4.30"), Decimal("0.167")),),
        through=(Through("drink/cloud", "Matcha cloud", ("Salted oat foam",)),),
        bought=(Bought("almond-drink", "almond drink", "new", Decimal(5200), "g", ("Fizz, large: no sales stated",)),
                Bought("soya", "soya drink", "gone", Decimal(-4100), "g", (),
                       (Leftover("northsands", "GBP", 3, "Case", Decimal("28.50")),)),),
    )  # fmt: skip
    return Impact(**{**values, **more})


def chain() -> Impact:
    """The rich impact for the whole chain, two franchises with their own money."""
    impact = rich()
    effect = replace(impact.effect, scope="chain")
    names = replace(impact.names, franchises={"northsands": "Northsands", "marram": "Marram"})
    books = (*impact.price_books, ("marram", "8" * 64, "2026-10-01"))
    return replace(
        impact, effect=effect, digest=effect.digest, names=names, price_books=books,
        costs=costs() + costs("marram", "EUR"),
    )  # fmt: skip


def quiet() -> Impact:
    """Nothing moves: every section must still say what was looked at."""
    impact = rich()
    effect = replace(impact.effect, rows=(), files=(), waves=())
    return replace(
        impact, effect=effect, digest=effect.digest, amounts=(), allergens=(), texts=(), hindrances=(), costs=(),
        file_changes=(), signings=(), objections=(), classes=(), through=(), bought=(), menu=(),
        cover=replace(impact.cover, still_unknown=(), not_covered=(), documents=impact.cover.documents[:1]),
        untouched=Untouched(12, 12, 8, 8, 4, 4),
    )  # fmt: skip


def hostile() -> Impact:
    """Every authored text of the rich impact carries hostile text as well."""
    return _poisoned(rich(), HOSTILE)




def _poisoned(impact: Impact, texts: tuple[str, ...]) -> Impact:
    number = 0

    def poison(text: str) -> str:
        nonlocal number
        number += 1
        return f"{text} {texts[number % len(texts)]}"

    amounts = tuple(
        replace(
            a, item_name=poison(a.item_name), line_name=poison(a.line_name), size_name=poison(a.size_name),
            choice_name=poison(a.choice_name),
            at=tuple(replace(x, before_line=_line(x.before_line, poison), after_line=_line(x.after_line, poison)) for x in a.at),
        )
        for a in impact.amounts
    )  # fmt: skip
    return replace(
        impact,
        title=poison(impact.title), why=poison(impact.why), author=poison(impact.author), book_name=poison(impact.book_name),
        amounts=amounts,
        allergens=tuple(
            replace(c, item_name=poison(c.item_name), choice_name=poison(c.choice_name), name=poison(c.name),
                    list_name=c.list_name + " " + TAGS, paths=tuple(poison(p) for p in c.paths))
            for c in impact.allergens
        ),
        cover=replace(
            impact.cover, lists=tuple(poison(x) for x in impact.cover.lists),
            documents=tuple(replace(d, name=poison(d.name), document=poison(d.document)) for d in impact.cover.documents),
            still_unknown=tuple((poison(a), poison(b), poison(c), m) for a, b, c, m in impact.cover.still_unknown * 4),
            not_covered=tuple(poison(x) for x in texts),
        ),
        texts=tuple(
            replace(t, item_name=poison(t.item_name), where=poison(t.where), before=poison(t.before or ""), after=poison(t.after or ""))
            for t in impact.texts
        ),
        hindrances=tuple(replace(h, site_name=poison(h.site_name), item_name=poison(h.item_name), lacks=poison(h.lacks)) for h in impact.hindrances),
        costs=tuple(
            replace(c, drink_name=poison(c.drink_name), size_name=poison(c.size_name), missing=tuple(poison(m) for m in c.missing),
                    ingredients=tuple(replace(i, name=poison(i.name)) for i in c.ingredients))
            for c in impact.costs
        ),
        file_changes=tuple((f, poison(p), poison(b), poison(a)) for f, p, b, a in impact.file_changes * len(texts)),
        signings=tuple(replace(s, because=tuple(poison(b) for b in s.because), can_sign=tuple(poison(b) for b in s.can_sign),
                               reasons=tuple(replace(r, why=poison(r.why), examples=tuple(poison(e) for e in r.examples)) for r in s.reasons))
                       for s in impact.signings),
        through=tuple(replace(x, item_name=poison(x.item_name), preps=tuple(poison(n) for n in x.preps)) for x in impact.through),
        menu=tuple(replace(m, drink_name=poison(m.drink_name), size_name=poison(m.size_name)) for m in impact.menu),
        bought=tuple(replace(b, name=poison(b.name), left_out=tuple(poison(n) for n in b.left_out)) for b in impact.bought),
        objections=tuple(replace(o, person=poison(o.person), note=poison(o.note)) for o in impact.objections),
        untouched=replace(impact.untouched, drink_names=texts, site_names=tuple(poison(n) for n in impact.untouched.site_names)),
        names=replace(
            impact.names, sites={k: poison(v) for k, v in impact.names.sites.items()},
            franchises={k: poison(v) for k, v in impact.names.franchises.items()},
            markets={k: poison(v) for k, v in impact.names.markets.items()},
        ),
        conflicts=texts,
    )  # fmt: skip


def _line(value: Any, poison: Any) -> Any:
    if value is None:
        return None
    measure = {**value["measure"], "moves": [{**m, "name": poison(m["name"])} for m in value["measure"]["moves"]]}
    return {**value, "name": poison(value["name"]), "measure": measure}
