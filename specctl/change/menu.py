"""Menu prices that change, whether or not the cup's cost does. Evidence, never validity."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction

from specctl.analysis.money import minor_digits
from specctl.change.impact import MenuChange
from specctl.domain.book import Book


def menu_changes(before: Book, after: Book, franchise: str) -> tuple[MenuChange, ...]:
    """Every drink and size of a franchise whose menu price differs, with what it leaves net of tax."""
    old, new = before.price_books.get(franchise), after.price_books.get(franchise)
    if old is None or new is None:
        return ()
    found = []
    for drink in sorted({*old.menu, *new.menu}):
        recipe = after.drinks.get(drink) or before.drinks.get(drink)
        was, now = old.menu.get(drink, {}), new.menu.get(drink, {})
        for size in sorted({*was, *now}):
            if recipe is None or was.get(size) == now.get(size):
                continue
            record = recipe.sizes.get(size)
            found.append(
                MenuChange(
                    franchise=franchise,
                    currency=new.currency,
                    drink=drink,
                    drink_name=recipe.name,
                    size=size,
                    size_name=record.name if record else size,
                    before=was.get(size),
                    after=now.get(size),
                    net=_net(after, franchise, new.currency, was.get(size), now.get(size)),
                )
            )
    return tuple(found)


def _net(book: Book, franchise: str, currency: str, was: Decimal | None, now: Decimal | None) -> Decimal | None:
    """The change net of tax, to a tenth of the smallest coin; None without two prices or one rate at all sites."""
    markets = {site.market for site in book.sites_of(franchise)}
    rates = {Fraction(book.markets[m].tax) if book.markets[m].tax_in_menu_price else Fraction(0) for m in markets if m in book.markets}
    if was is None or now is None or len(rates) != 1:
        return None
    exact = (Fraction(now) - Fraction(was)) / (1 + rates.pop())
    step = Decimal(1).scaleb(-minor_digits(currency) - 1)
    return (Decimal(exact.numerator) / Decimal(exact.denominator)).quantize(step, rounding=ROUND_HALF_UP)
