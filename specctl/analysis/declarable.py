"""Is a substance that is in a drink to be declared there by a market's list: exempt forms and thresholds.

Promises: nothing is dropped. A fact stays in its row and stays `contains`; this
only says why a list does not ask for it, in words that go beside its ways in.
A list asks for everything unless the papers say otherwise, for every ingredient
that brings the substance: either each is in a form the list exempts, named so by
its own document, or what is not exempt stays below the list's limit in the drink
as served. One document that is for another product, names no form and no amount,
or one line nobody has weighed, and it is declared.

The amount is worked out for each size and the worst counts. What is poured
dilutes it; ice does not, nor melt water, so it is never too low. A limit in mg
in a kg or l is held against both: the mass in a litre is at most the mass in a
kilogram times the heaviest density in the cup, 1.6 g/ml for what has none stated
(sucrose, 1.59 g/ml, is the heaviest solid poured here; CRC Handbook). Preps are
not served, and where a stand-in may be in the cup nothing is worked out.

Sources: Regulation (EU) No 1169/2011, Annex II (exemptions; sulphites above 10
mg/kg or 10 mg/l as SO2, "for products as proposed ready for consumption");
Canada, Food and Drug Regulations, and FSANZ Standard 1.2.3: at or above 10.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from math import ceil
from typing import Iterable, Mapping, Sequence

from specctl.analysis.basket import GRAM, Kitchen
from specctl.analysis.build import Variant, build_lines, choice_of, open_lines, sizes_of
from specctl.analysis.filling import Filled, fill_lines
from specctl.domain.amount import Grams, plain
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import Group
from specctl.domain.recipe import Drink, Prep

_HEAVIEST = Fraction(8, 5)
_ICE = "ice"


def not_asked(
    book: Book,
    recipe: Drink | Prep,
    variant: Variant,
    group: Group,
    substance: str,
    holders: Sequence[Ingredient],
    stocks: Mapping[str, str] | None = None,
) -> str | None:
    """Why the group's list does not ask for a substance the holders contain, in words; None: it does."""
    rest = [holder for holder in holders if _form(group, substance, holder) is None]
    if not rest:
        forms = dict.fromkeys(form for holder in holders if (form := _form(group, substance, holder)))
        return f"exempt form by its document: {'; '.join(forms)}" if forms else None
    if group.limit is None or isinstance(recipe, Prep) or stocks or variant.substitute is not None:
        return None
    amounts: dict[str, Fraction] = {}
    for holder in rest:
        stated = _stated(substance, holder)
        if stated is None:
            return None
        amounts[holder.id] = max(amounts.get(holder.id, Fraction(0)), stated)
    found = [_per_kg(book, recipe, size, variant, amounts) for size in sizes_of(recipe)]
    known = [each for each in found if each is not None]
    if not known or len(known) < len(found):
        return None
    worst = max(known)
    limit = Fraction(group.limit)
    if worst > limit or (worst == limit and group.limit_included):
        return None
    word = "from" if group.limit_included else "above"
    return f"at most {_up(worst)} mg in a kg or l as served; this list asks {word} {plain(group.limit)}"


def _holds_now(holder: Ingredient) -> bool:
    """Whether the document speaks of the product in hand."""
    return holder.facts is not None and holder.facts.product_code == holder.product_code


def _form(group: Group, substance: str, holder: Ingredient) -> str | None:
    """The exempt form of the group's list that the holder's own document names."""
    if holder.facts is None or not _holds_now(holder):
        return None
    return next((form for form in holder.facts.forms.get(substance, ()) if form in group.exempt), None)


def _stated(substance: str, holder: Ingredient) -> Fraction | None:
    if holder.facts is None or not _holds_now(holder) or substance not in holder.facts.mg_per_kg:
        return None
    return Fraction(holder.facts.mg_per_kg[substance])


def _per_kg(book: Book, drink: Drink, size: str, variant: Variant, amounts: Mapping[str, Fraction]) -> Fraction | None:
    """mg in a kg or a l of one size, whichever is more; None where it cannot be told."""
    if any(line.amount(size) is None for line in open_lines(drink, variant).values()):
        return None
    kitchen, total, held, heaviest = Kitchen(book), Fraction(0), Fraction(0), Fraction(1)
    for filled in _filled(book, drink, size, variant):
        item = book.ingredients.get(filled.line.use)
        if filled.grams is None:
            return None
        basket = kitchen.basket(filled.line.use, Grams(filled.grams))
        if basket.missing or any(id in amounts and unit != GRAM for id, unit in basket.amounts):
            return None
        if item is None or item.state != _ICE:
            total += Fraction(filled.grams)
        held += sum((grams * amounts.get(id, Fraction(0)) for (id, _), grams in basket.amounts.items()), Fraction(0))
        heaviest = max([heaviest, *(_density(book.ingredients[id]) for id, _ in basket.amounts)])
    return held / total * heaviest if total else None


def _density(item: Ingredient) -> Fraction:
    if item.state == _ICE:
        return Fraction(1)
    return Fraction(item.density.value) if item.state == "liquid" and item.density is not None else _HEAVIEST


def _filled(book: Book, drink: Drink, size: str, variant: Variant) -> Iterable[Filled]:
    vessel = book.vessels.get(drink.sizes[size].vessel)
    lines = build_lines(book, drink, size, variant)
    if variant.is_standard:
        return fill_lines(book, lines, vessel).values()
    standard = build_lines(book, drink, size)
    return fill_lines(book, lines, vessel, standard, choice_of(drink, variant).top_up).values()


def _up(value: Fraction) -> str:
    """To a tenth, never below what it is."""
    return plain(Decimal(ceil(value * 10)) / 10)
