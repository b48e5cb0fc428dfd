"""The typed tables of a report that are about money, signatures and files, and all tables together."""

from __future__ import annotations

from decimal import Decimal

from specctl.change.impact import Impact, Signing
from specctl.report import view_costs, view_files, view_signing
from specctl.report.tongue import _
from specctl.report.typed_recipe import recipe_tables
from specctl.report.typed_table import COUNT, DAY, NUMBER, YES_NO, Field, TypedTable, table
from specctl.report.view import View
from specctl.report.view_names import day, role_words, scope_words

FIRST_SCREEN = "first-screen"
_MONEY = "currency at left"
_SHARE = "share of 1"


def typed_tables(impact: Impact, view: View) -> tuple[TypedTable, ...]:
    """Every table of a report as data, in the order of the page; all of them, whether or not they hold a row."""
    return (
        _about(impact, view),
        table(FIRST_SCREEN, "First screen", FIRST_SCREEN, ("what", "words"), ((p.label, p.text) for p in view.points)),
        *recipe_tables(impact),
        _menu(impact),
        _costs(impact),
        _ingredients(impact),
        _price_books(impact),
        _signings(impact),
        _reasons(impact),
        _objections(impact),
        _waves(impact),
        _files(impact),
    )


def _about(impact: Impact, view: View) -> TypedTable:
    rows = (
        ("title", impact.title),
        ("why", impact.why),
        ("book", impact.book_name),
        ("book id", impact.book),
        ("proposal", impact.proposal),
        ("state", view.state),
        ("proposed by", impact.author),
        ("scope", impact.effect.scope),
        ("scope in words", view.scope_words),
        ("start", impact.effect.start),
        ("effect digest", impact.digest),
        ("compared with main at", impact.main),
        ("tip of the proposal", impact.tip),
        ("edited from", impact.edited_from),
        *(("conflict", words) for words in impact.conflicts),
    )
    return table("about", "What these tables rest on", view_signing.ABOUT, ("what", "words"), rows)


def _menu(impact: Impact) -> TypedTable:
    rows = [
        (_franchise(impact, m.franchise), m.drink, m.drink_name, m.size_name, m.currency, m.before, m.after, m.net) for m in impact.menu
    ]
    money = (Field(name, NUMBER, _MONEY) for name in ("before", "after", "left of it, net of tax"))
    fields: tuple[Field | str, ...] = ("franchise", "drink id", "drink", "size", "currency", *money)
    return table("menu-prices", "Menu prices that change", view_costs.KEY, fields, rows)


def _costs(impact: Impact) -> TypedTable:
    rows = [
        (
            _franchise(impact, c.franchise), c.drink.removeprefix("drink/"), c.drink_name, c.size_name or c.size, c.currency,
            c.before, c.after, _moved(c.before, c.after), c.price_effect, c.recipe_effect,
            c.menu_price, c.margin_before, c.margin_after, c.margin_share_before, c.margin_share_after,
            c.cups_a_week, c.week, "; ".join(c.missing),
        )
        for c in impact.costs
    ]  # fmt: skip
    fields: tuple[Field | str, ...] = (
        "franchise", "drink id", "drink", "size", "currency",
        *(Field(name, NUMBER, _MONEY) for name in (
            "a cup before", "a cup after", "change of a cup", "price effect", "recipe effect", "menu price", "margin before", "margin after",
        )),
        *(Field(name, NUMBER, _SHARE) for name in ("margin before", "margin after")),
        Field("cups a week", COUNT), Field("change of a week", NUMBER, _MONEY), "prices missing",
    )  # fmt: skip
    return table("costs", "Cost and margin of a cup", view_costs.KEY, fields, rows)


def _ingredients(impact: Impact) -> TypedTable:
    rows = [
        (_franchise(impact, c.franchise), c.drink_name, c.size_name or c.size, i.ingredient.removeprefix("ingredient/"), i.name, c.currency, i.price_effect, i.recipe_effect)
        for c in impact.costs
        for i in c.ingredients
    ]
    money = (Field(name, NUMBER, _MONEY) for name in ("price effect", "recipe effect"))
    fields: tuple[Field | str, ...] = ("franchise", "drink", "size", "ingredient id", "ingredient", "currency", *money)
    return table("costs-by-ingredient", "What moved the cost of a cup", view_costs.KEY, fields, rows)


def _price_books(impact: Impact) -> TypedTable:
    rows = [(f, _franchise(impact, f), digest, day(as_of)) for f, digest, as_of in impact.price_books]
    fields = ("franchise id", "franchise", "digest", Field("prices of", DAY))
    return table("price-books", "Price books read", view_costs.KEY, fields, rows)


def _signings(impact: Impact) -> TypedTable:
    rows = [
        (
            role_words(s.role), s.scope, scope_words(impact, s.scope), _state_words(s),
            s.met_by, s.stale or None, "; ".join(s.can_sign), s.digest,
        )
        for s in impact.signings
    ]  # fmt: skip
    fields = ("who signs", "scope", "for", "state", "signed by", "why stale", "who can", "effect digest")
    return table("signatures", "Signatures the policy asks for", view_signing.SIGNING, fields, rows)


def _state_words(signing: Signing) -> str:
    return _("signed") if signing.met_by else _("STALE") if signing.stale else _("open")


def _reasons(impact: Impact) -> TypedTable:
    rows = [
        (role_words(s.role), scope_words(impact, s.scope), r.change, r.why, example)
        for s in impact.signings
        for r in s.reasons
        for example in r.examples
    ]
    fields = ("who signs", "for", "class of change", "why", "here")
    return table("signatures-why", "Why each signature is asked for", view_signing.SIGNING, fields, rows)


def _objections(impact: Impact) -> TypedTable:
    rows = [(o.person, role_words(o.role), scope_words(impact, o.scope), o.said, o.note, o.open) for o in impact.objections]
    fields = ("who", "as", "for", "said (UTC)", "objection", Field("open", YES_NO))
    return table("objections", "Objections", view_signing.SIGNING, fields, rows)


def _waves(impact: Impact) -> TypedTable:
    rows = [(w.key, day(w.start), site, impact.names.sites.get(site, site)) for w in impact.effect.waves for site in w.sites]
    return table("starts", "When each site starts", view_signing.ABOUT, ("wave", Field("start", DAY), "site id", "site"), rows)


def _files(impact: Impact) -> TypedTable:
    return table("files", "Other controlled files that change", view_files.KEY, ("file", "what", "before", "after"), impact.file_changes)


def _franchise(impact: Impact, franchise: str) -> str:
    return impact.names.franchises.get(franchise, franchise)


def _moved(before: Decimal | None, after: Decimal | None) -> Decimal | None:
    return None if before is None or after is None else after - before
