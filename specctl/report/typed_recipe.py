"""The typed tables of a report that are about drinks: cards, allergens, amounts, method, sites, buying."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, Iterable, Mapping

from specctl.change.effect import Row
from specctl.change.impact import AmountChange, AtSites, Impact
from specctl.report import view_allergens, view_amounts, view_buying, view_sites, view_summary
from specctl.report.tongue import _
from specctl.report.typed_table import COUNT, DAY, NUMBER, YES_NO, Field, TypedTable, Value, table
from specctl.report.view_allergens import in_order, words_of_kind
from specctl.report.view_lines import line_of
from specctl.report.view_names import choice_words, day, kind_words, path_words
from specctl.report.words import measure_words, status_words, verdict_words

_GRAMS = "g"


def recipe_tables(impact: Impact) -> tuple[TypedTable, ...]:
    """Every table about what is made and measured, in the page's order."""
    return (
        _cards(impact),
        _through(impact),
        _allergens(impact),
        _still_unknown(impact),
        _documents(impact),
        _amounts(impact),
        _at_sites(impact),
        _method(impact),
        _hindrances(impact),
        _bought(impact),
        _unchanged(impact),
        _unchanged_names(impact),
    )


def sites_of(impact: Impact, sites: Iterable[str]) -> str:
    """Every site by name, none left out, however many."""
    return "; ".join(sorted(impact.names.sites.get(s, s) for s in sites))


def _cards(impact: Impact) -> TypedTable:
    rows = [
        (
            row.site, impact.names.sites.get(row.site, row.site), kind_words(row.item), row.item.partition("/")[2],
            _card_words(row), row.before, row.after,
        )
        for row in impact.effect.rows
    ]  # fmt: skip
    fields = ("site id", "site", "kind", "item id", "card", "entry before", "entry after")
    return table("cards", "Cards that change, site by site", view_summary.KEY, fields, rows)


def _card_words(row: Row) -> str:
    return _("new") if row.before is None else _("gone") if row.after is None else _("changed")


def _through(impact: Impact) -> TypedTable:
    rows = [(kind_words(t.item), t.item_name, prep) for t in impact.through for prep in t.preps]
    return table("through", "Made with a prep that changes", view_summary.KEY, ("kind", "item", "through prep"), rows)


def _allergens(impact: Impact) -> TypedTable:
    rows = [
        (
            words_of_kind(kind), c.name, c.substance, c.listed, kind_words(c.item), c.item_name,
            choice_words(c.choice, c.choice_name), c.market.upper(), c.list_name,
            status_words(c.before or "absent"), status_words(c.after or "absent"),
            "; ".join(path_words(impact, c.item, path) for path in c.paths), sites_of(impact, c.sites),
        )
        for kind, c in in_order(impact)
    ]  # fmt: skip
    fields = (
        "what", "allergen", "substance id", Field("on the market's list", YES_NO), "kind", "item", "choice",
        "market", "list", "before", "after", "ways in", "sites",
    )  # fmt: skip
    return table("allergens", "Allergens that change", view_allergens.KEY, fields, rows)


def _still_unknown(impact: Impact) -> TypedTable:
    rows = [(item, choice_words("", choice), name, market.upper()) for item, choice, name, market in impact.cover.still_unknown]
    fields = ("item", "choice", "UNKNOWN allergen", "market")
    return table("allergens-unknown", "Unknown before and after", view_allergens.KEY, fields, rows)


def _documents(impact: Impact) -> TypedTable:
    rows = [(d.ingredient, d.name, d.document, day(d.dated), day(d.trusted_until), d.stale) for d in impact.cover.documents]
    fields = ("ingredient id", "ingredient", "document", Field("dated", DAY), Field("trusted until", DAY), Field("too old at the start", YES_NO))
    return table("documents", "Documents the facts rest on", view_allergens.KEY, fields, rows)


_OF_LINE = ("kind", "item", "size", "choice", "line", "line path")


def _of_line(c: AmountChange) -> tuple[Value, ...]:
    build = (c.size_name or c.size, choice_words(c.choice, c.choice_name))
    return kind_words(c.item), c.item_name, *build, c.line_name, c.path


def _amounts(impact: Impact) -> TypedTable:
    rows = [
        (
            *_of_line(c), c.before_of, c.after_of, c.before, c.after, _moved(c.before, c.after),
            _each(line_of(c, "before")), _each(line_of(c, "after")), _rule(line_of(c, "before")), _rule(line_of(c, "after")),
            *_tolerance(line_of(c, "before")), *_tolerance(line_of(c, "after")),
        )
        for c in impact.amounts
    ]  # fmt: skip
    fields: tuple[Field | str, ...] = (
        *_OF_LINE, "before: what", "after: what",
        *(Field(name, NUMBER, _GRAMS) for name in ("before", "after", "change")),
        *(Field(name, NUMBER, "pieces") for name in ("before", "after")), "rule before", "rule after",
        *(Field(f"tolerance {side}, {way}", NUMBER, _GRAMS) for side in ("before", "after") for way in ("under", "over")),
    )  # fmt: skip
    return table("amounts", "Amounts that change", view_amounts.KEY, fields, rows)


def _at_sites(impact: Impact) -> TypedTable:
    rows = [
        (*_of_line(c), sites_of(impact, at.sites), *_side(at, "before"), *_side(at, "after"))
        for c in impact.amounts
        for at in c.at
    ]
    fields: list[Field | str] = [*_OF_LINE, "sites"]
    for side in ("before", "after"):
        fields += [f"{side}: in their own tools", Field(f"{side}: gives", NUMBER, _GRAMS), Field(f"{side}: off", NUMBER, _GRAMS), f"{side}: verdict"]
    return table("amounts-at-sites", "The same lines in each site's own tools", view_amounts.KEY, fields, rows)


def _side(at: AtSites, side: str) -> tuple[Value, ...]:
    measure, line = getattr(at, side), getattr(at, f"{side}_line")
    words = measure_words(line) if line else None
    if not measure:
        return words, None, None, None
    return words, _decimal(measure["gives"]), _decimal(measure["off"]), verdict_words(measure["verdict"])


def _method(impact: Impact) -> TypedTable:
    rows = [(t.kind, kind_words(t.item), t.item_name, t.where, t.before, t.after, sites_of(impact, t.sites)) for t in impact.texts]
    fields = ("about", "kind", "item", "where", "before", "after", "sites")
    return table("method", "What sites are told besides amounts", view_sites.METHOD, fields, rows)


def _hindrances(impact: Impact) -> TypedTable:
    rows = [(h.site, h.site_name, kind_words(h.item), h.item_name, h.lacks, h.new) for h in impact.hindrances]
    fields = ("site id", "site", "kind", "item", "what it lacks", Field("new with this proposal", YES_NO))
    return table("sites", "Sites that cannot follow", view_sites.FOLLOW, fields, rows)


def _bought(impact: Impact) -> TypedTable:
    ways = {"new": _("buy new"), "gone": _("run down"), "moved": _("order more or less")}
    rows = [(b.ingredient, b.name, ways[b.way], b.week, b.unit, "; ".join(b.left_out)) for b in impact.bought]
    fields = ("ingredient id", "ingredient", "what to do", Field("change a week, all sites here", NUMBER), "unit", "not counted")
    return table("buying", "What to buy and what to run down", view_buying.KEY, fields, rows)


def _unchanged(impact: Impact) -> TypedTable:
    u = impact.untouched
    rows = [
        (_("drinks"), u.drinks, u.drinks_total),
        (_("preps"), u.preps, u.preps_total),
        (_("sites"), u.sites, u.sites_total),
    ]
    fields = ("what", Field("unchanged", COUNT), Field("in all", COUNT))
    return table("unchanged", "Not affected", view_sites.UNTOUCHED, fields, rows)


def _unchanged_names(impact: Impact) -> TypedTable:
    u = impact.untouched
    rows = [(_("drink"), name) for name in u.drink_names] + [(_("site"), name) for name in u.site_names]
    return table("unchanged-names", "Not affected, by name", view_sites.UNTOUCHED, ("what", "name"), rows)


def _moved(before: Decimal | None, after: Decimal | None) -> Decimal | None:
    return None if before is None or after is None else after - before


def _decimal(text: str | None) -> Decimal | None:
    return None if text is None else Decimal(text)


def _each(line: Mapping[str, Any] | None) -> Decimal | None:
    return _decimal(line["each"]) if line else None


def _rule(line: Mapping[str, Any] | None) -> str | None:
    return line["rule"] if line else None


def _tolerance(line: Mapping[str, Any] | None) -> tuple[Decimal | None, Decimal | None]:
    return (_decimal(line["tolerance"]["minus"]), _decimal(line["tolerance"]["plus"])) if line else (None, None)
