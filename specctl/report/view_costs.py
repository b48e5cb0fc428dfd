"""Cost: per drink and size at each franchise's prices, split by what moved it."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

from specctl.change.impact import CostChange, Impact, MenuChange
from specctl.report.picture_bridge import bridge_of
from specctl.report.picture_franchises import panels_of
from specctl.report.tables import Block, Cell, Column, Listing, Note, Section, Table, cell
from specctl.report.tongue import _, _n, later
from specctl.report.view_names import day_words, listed
from specctl.report.view_new import MOST_NEW
from specctl.report.view_numbers import (
    ARROW,
    cup_step,
    money,
    points_change,
    share,
    share_change,
    signed_money,
    week_step,
)

KEY = "cost"
TITLE = later("Cost and margin")
EVIDENCE = later("Costs are evidence for the people who sign; a signature does not approve a price.")


def _menu_table(impact: Impact) -> list[Block]:
    """Menu prices, whether or not the cost moves."""
    several = len({m.franchise for m in impact.menu}) > 1
    columns = (Column(_("Drink and size")), Column(_("Menu price"), number=True), Column(_("Left of it, net of tax"), number=True))
    rows = tuple(
        (
            cell(f"{m.drink_name}, {m.size_name}", quiet=(impact.names.franchises.get(m.franchise, m.franchise) if several else "",)),
            cell(f"{_menu_price(m, m.before)}{ARROW}{_menu_price(m, m.after)}", _moved_price(m)),
            cell(_(_UNTOLD) if m.net is None else _("{amount} a cup").format(amount=signed_money(m.net, m.currency, cup_step(m.currency)))),
        )
        for m in impact.menu
    )
    return [Table(_("Menu prices that change"), columns, rows)] if rows else []


def _menu_price(menu: MenuChange, price: Decimal | None) -> str:
    return _("none stated") if price is None else money(price, menu.currency, week_step(menu.currency))


def _moved_price(menu: MenuChange) -> str:
    if menu.before is None or menu.after is None:
        return ""
    moved = signed_money(menu.after - menu.before, menu.currency, week_step(menu.currency))
    return ", ".join(t for t in (moved, share_change(menu.before, menu.after)) if t)


def section(impact: Impact) -> Section:
    blocks: list[Block] = []
    missing = _missing(impact)
    if missing:
        blocks.append(Listing(_("Cannot be told: a price is missing"), missing, alarm=True))
    if not impact.price_books:
        words = _("No price book is at hand for this scope: nothing can be said about cost.")
        blocks.append(Note(words, alarm=True))
    elif not impact.costs:
        blocks.append(Note(_("No drink's cost moves at the prices at hand.")))
    blocks += _menu_table(impact)
    blocks += panels_of(by_franchise(impact), impact.names.franchises)
    for franchise, costs in by_franchise(impact).items():
        name = impact.names.franchises.get(franchise, franchise)
        as_of = next((dated for owner, _digest, dated in impact.price_books if owner == franchise), "")
        caption = _("{franchise}, prices of {day}: one cup and one week") if as_of else _("{franchise}: one cup and one week")
        only_new = len(costs) > MOST_NEW and all(c.before is None and not c.missing for c in costs)
        blocks.append(replace(_cup_table(caption.format(franchise=name, day=day_words(as_of)), costs), fold=only_new))
        blocks += _bridges(name, costs)
        parts = _ingredient_table(_("{franchise}: what moved the cost of one cup").format(franchise=name), costs)
        blocks += [parts] if parts.rows else []
        small = _too_small(costs)
        if small:
            blocks.append(Note(_("Also moved, each by less than this page's last decimal: {names}.").format(names=small)))
    blocks.append(
        Note(
            _("Recipe effect: what the other recipe moves, at the prices of before. Price effect: what the other prices "
            "move, in the recipe of after. "
            "Both together are the change. Margin is on the menu price net of tax; a week is over all sites of "
            "the franchise that serve the drink, at stated sales. {evidence}").format(evidence=_(EVIDENCE))
        )
    )
    return Section(KEY, _(TITLE), tuple(blocks), alarm=bool(missing))


# More would be a wall of pictures; the tables hold every drink and size.
_MOST_BRIDGES = 6


def _bridges(name: str, costs: list[CostChange]) -> list[Block]:
    """A bridge for each drink in the size that moves most, most first, and a count of those not drawn."""
    largest: dict[str, CostChange] = {}
    for cost in sorted(costs, key=lambda c: -abs(change_of(c) or Decimal(0))):
        if change_of(cost) is not None:
            largest.setdefault(cost.drink, cost)
    drawn = [picture for cost in largest.values() if (picture := bridge_of(cost, name))]
    blocks: list[Block] = [*drawn[:_MOST_BRIDGES]]
    if len(drawn) > _MOST_BRIDGES:
        rest = len(drawn) - _MOST_BRIDGES
        words = _n(
            "Drawn: each drink in the size that moves most, most first. {count} more drink in the tables alone.",
            "Drawn: each drink in the size that moves most, most first. {count} more drinks in the tables alone.",
            rest,
        )
        blocks.append(Note(words.format(count=rest)))
    return blocks


def by_franchise(impact: Impact) -> dict[str, list[CostChange]]:
    """Each franchise's costs that move or cannot be told, by drink and size."""
    found: dict[str, list[CostChange]] = {}
    for cost in sorted(impact.costs, key=lambda c: (c.franchise, c.drink_name, c.drink, c.size_name)):
        found.setdefault(cost.franchise, []).append(cost)
    return found


def change_of(cost: CostChange) -> Decimal | None:
    """What one cup moves by; None where a side is not known."""
    if cost.before is None or cost.after is None:
        return None
    return cost.after - cost.before


def cannot_be_told(cost: CostChange) -> bool:
    """Whether a price is missing, rather than the cup new."""
    return bool(cost.missing) or cost.after is None


def margin_share(cost: CostChange) -> str:
    """`86.9 % → 85.9 %, −1.0 points`; "" where a side is not known."""
    before, after = cost.margin_share_before, cost.margin_share_after
    if before is None or after is None:
        return ""
    return f"{share(before)}{ARROW}{share(after)}, {points_change(before, after)}"


def _missing(impact: Impact) -> tuple[str, ...]:
    several = len({c.franchise for c in impact.costs}) > 1
    found = []
    for c in impact.costs:
        if c.missing:
            name = impact.names.franchises.get(c.franchise, c.franchise)
            words = _("{drink}, {size} at {franchise}: {missing}") if several else _("{drink}, {size}: {missing}")
            found.append(words.format(drink=c.drink_name, size=c.size_name, franchise=name, missing=listed(c.missing)))
    return tuple(found)


def _cup_table(caption: str, costs: list[CostChange]) -> Table:
    columns = (
        Column(_("Drink and size")),
        Column(_("Cost of a cup"), number=True),
        Column(_("Price effect"), number=True),
        Column(_("Recipe effect"), number=True),
        Column(_("Menu price and margin"), number=True),
        Column(_("A week"), number=True),
    )
    return Table(caption, columns, tuple(_cup_row(c) for c in costs))


def _cup_row(cost: CostChange) -> tuple[Cell, ...]:
    step = cup_step(cost.currency)
    week = cell(_("no sales stated"))
    if cost.cups_a_week:
        step_week = week_step(cost.currency)
        base = "" if cost.week_before is None else _("on {amount}").format(amount=money(cost.week_before, cost.currency, step_week))
        share_of = share_change(cost.week_before, cost.week_before + cost.week) if cost.week_before and cost.week else ""
        cups = _n("{count} cup a week", "{count} cups a week", cost.cups_a_week).format(count=cost.cups_a_week)
        quiet = (", ".join(t for t in (base, share_of) if t), cups)
        week = cell(_signed(cost.week, cost, step_week), quiet=quiet)
    return (
        cell(f"{cost.drink_name}, {cost.size_name}"),
        _before_after(cost),
        cell(_signed(cost.price_effect, cost, step)),
        cell(_signed(cost.recipe_effect, cost, step)),
        cell(*_margin_lines(cost)),
        week,
    )


def _before_after(cost: CostChange) -> Cell:
    step, change = cup_step(cost.currency), change_of(cost)
    before = _no_cost(cost) if cost.before is None else money(cost.before, cost.currency, step)
    after = _(_UNTOLD) if cost.after is None else money(cost.after, cost.currency, step)
    if change is None or cost.before is None or cost.after is None:
        missing = _("missing: {names}").format(names=listed(cost.missing)) if cost.missing else ""
        return cell(f"{before}{ARROW}{after}", missing, alarm=cannot_be_told(cost))
    moved = [signed_money(change, cost.currency, step), share_change(cost.before, cost.after)]
    return cell(f"{before}{ARROW}{after}", ", ".join(m for m in moved if m))


_UNTOLD = later("cannot be told")


def _no_cost(cost: CostChange) -> str:
    """Why there is no figure: a price is missing, or the cup is new here."""
    return _(_UNTOLD) if cannot_be_told(cost) else _("not served before")


def _signed(value: Decimal | None, cost: CostChange, step: Decimal) -> str:
    return _no_cost(cost) if value is None else signed_money(value, cost.currency, step)


def _margin_lines(cost: CostChange) -> tuple[str, ...]:
    if cost.menu_price is None:
        return (_("no menu price stated"),)
    step = cup_step(cost.currency)
    price = money(cost.menu_price, cost.currency, week_step(cost.currency))
    if cost.menu_price_before is not None and cost.menu_price_before != cost.menu_price:
        before_price = money(cost.menu_price_before, cost.currency, week_step(cost.currency))
        price = f"{before_price}{ARROW}{price}"
    menu = _("menu {price}").format(price=price)
    if cost.margin_after is None:
        return menu, _("margin cannot be told")
    after = money(cost.margin_after, cost.currency, step)
    if cost.margin_before is None:
        share_after = "" if cost.margin_share_after is None else f", {share(cost.margin_share_after)}"
        return menu, _("margin {margin}").format(margin=f"{_no_cost(cost)}{ARROW}{after}{share_after}")
    before = money(cost.margin_before, cost.currency, step)
    moved = signed_money(cost.margin_after - cost.margin_before, cost.currency, step)
    return menu, _("margin {margin}").format(margin=f"{before}{ARROW}{after}, {moved}"), margin_share(cost)


def _ingredient_table(caption: str, costs: list[CostChange]) -> Table:
    columns = (
        Column(_("Drink and size")),
        Column(_("Ingredient")),
        Column(_("Price effect"), number=True),
        Column(_("Recipe effect"), number=True),
    )
    rows = [row for cost in costs for row in _ingredient_rows(cost)]
    return Table(caption, columns, tuple(rows))


def _ingredient_rows(cost: CostChange) -> list[tuple[Cell, ...]]:
    step = cup_step(cost.currency)
    return [
        (
            cell(f"{cost.drink_name}, {cost.size_name}"),
            cell(part.name),
            cell(signed_money(part.price_effect, cost.currency, step)),
            cell(signed_money(part.recipe_effect, cost.currency, step)),
        )
        for part in cost.ingredients
        if part.price_effect or part.recipe_effect
    ]


def _too_small(costs: list[CostChange]) -> str:
    """Ingredients that moved by less than the page can show, so that none goes unnamed."""
    parts = [p for c in costs for p in c.ingredients]
    seen = {p.name for p in parts if p.price_effect or p.recipe_effect}
    return listed(p.name for p in parts if p.name not in seen)
