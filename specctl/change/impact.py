"""What a proposal does, as data that people can read: every change, and what was not touched.

An `Impact` is made for one scope, from compiled entries on both sides and, for
costs, from the price books at hand. Every value here is what a page shows;
nothing here is signed but the effect digest it names. Lists hold all changes;
judging them is policy's work and wording the report's.

Amounts are Decimal grams, money Decimal in the franchise's currency; statuses
are "contains", "may_contain", "unknown" or None for "not in its documents".
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Mapping

from specctl.change.cup_change import CupChange
from specctl.change.effect import Effect

Measure = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class AtSites:
    """The same line in one group of sites' own tools (LINE.measure of an entry)."""

    sites: tuple[str, ...]
    before: Measure | None
    after: Measure | None
    before_line: Mapping[str, Any] | None
    after_line: Mapping[str, Any] | None


@dataclass(frozen=True, slots=True)
class AmountChange:
    """A line whose mass, count, item or tolerance differs, or whose tools do.

    `choice` is "" for the standard build, else "option=choice". `before` and
    `after` are grams; None means the line is not there. `same_grams` marks a
    line whose grams stand while the tool amount moves.
    """

    item: str
    item_name: str
    size: str
    size_name: str
    choice: str
    choice_name: str
    path: str
    line_name: str
    before_of: str | None
    after_of: str | None
    before: Decimal | None
    after: Decimal | None
    at: tuple[AtSites, ...]

    @property
    def same_grams(self) -> bool:
        return self.before == self.after and self.before_of == self.after_of


@dataclass(frozen=True, slots=True)
class AllergenChange:
    """One substance of one row of an item's allergens, on one market's list."""

    item: str
    item_name: str
    choice: str
    choice_name: str
    market: str
    list_name: str
    substance: str
    name: str
    listed: bool
    before: str | None
    after: str | None
    paths: tuple[str, ...]
    sites: tuple[str, ...]

    @property
    def way(self) -> str:
        """ "up" when the warning grows, "down" when it shrinks, "unknown" when an absence becomes unknown.

        What was declared and becomes unknown goes "down"; `after` says the rest.
        """
        rank = {None: 0, "unknown": 1, "may_contain": 2, "contains": 3}
        if self.after == "unknown" and self.before is None:
            return "unknown"
        return "up" if rank[self.after] > rank[self.before] else "down"


@dataclass(frozen=True, slots=True)
class DocumentAge:
    """The paper an ingredient's facts rest on; `stale` on the day the proposal starts."""

    ingredient: str
    name: str
    document: str
    dated: str
    trusted_until: str
    stale: bool


@dataclass(frozen=True, slots=True)
class AllergenCover:
    """What the allergen comparison looked at, so that silence can be judged.

    `still_unknown` are (item name, choice name, substance name, market) rows
    that are unknown both before and after, in items this proposal touches.
    """

    items: int
    rows: int
    lists: tuple[str, ...]
    documents: tuple[DocumentAge, ...]
    still_unknown: tuple[tuple[str, str, str, str], ...]
    not_covered: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TextChange:
    """Something else a site is told: method, hold, equipment, vessel, name, caution, claim, option."""

    kind: str
    item: str
    item_name: str
    where: str
    before: str | None
    after: str | None
    sites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hindrance:
    """A site that cannot follow, or not within tolerance. `new` if this proposal brings it."""

    site: str
    site_name: str
    item: str
    item_name: str
    lacks: str
    new: bool


@dataclass(frozen=True, slots=True)
class IngredientEffect:
    ingredient: str
    name: str
    price_effect: Decimal
    recipe_effect: Decimal


@dataclass(frozen=True, slots=True)
class CostChange:
    """One drink and size at one franchise's prices. None: cannot be told, see `missing`.

    cost after − cost before = price_effect + recipe_effect, exactly. `margin_*`
    are money on the menu price net of tax; `week` is the change over all the
    franchise's sites that serve it, at stated sales, and `week_before` what a
    week cost before it.
    """

    franchise: str
    currency: str
    drink: str
    drink_name: str
    size: str
    size_name: str
    before: Decimal | None
    after: Decimal | None
    price_effect: Decimal | None
    recipe_effect: Decimal | None
    ingredients: tuple[IngredientEffect, ...]
    menu_price: Decimal | None
    margin_before: Decimal | None
    margin_after: Decimal | None
    margin_share_before: Decimal | None
    margin_share_after: Decimal | None
    cups_a_week: int
    week: Decimal | None
    missing: tuple[str, ...]
    menu_price_before: Decimal | None = None
    week_before: Decimal | None = None


@dataclass(frozen=True, slots=True)
class MenuChange:
    """A menu price at one franchise; `net` is its change net of tax, None where it cannot be told."""

    franchise: str
    currency: str
    drink: str
    drink_name: str
    size: str
    size_name: str
    before: Decimal | None
    after: Decimal | None
    net: Decimal | None


@dataclass(frozen=True, slots=True)
class Reason:
    """One class of change that asks for a signature: the policy's own words why, and what falls into it."""

    change: str
    why: str
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Signing:
    """One signature the policy asks for.

    `scope` is the scope whose effect digest that signature names. `met_by` is the
    name of the person whose valid sign-off meets it, None while open; `stale`
    says why one that was given no longer holds.
    """

    role: str
    scope: str
    digest: str
    because: tuple[str, ...]
    can_sign: tuple[str, ...]
    met_by: str | None = None
    stale: str = ""
    reasons: tuple[Reason, ...] = ()
    quorum: str = ""
    """`new`: asked for by the policy, and of the people, that the proposal would bring."""


@dataclass(frozen=True, slots=True)
class ObjectionHeard:
    person: str
    role: str
    scope: str
    said: str
    note: str
    open: bool


@dataclass(frozen=True, slots=True)
class Untouched:
    """What was compared and did not change, within the scope."""

    drinks: int
    drinks_total: int
    preps: int
    preps_total: int
    sites: int
    sites_total: int
    drink_names: tuple[str, ...] = ()
    site_names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Through:
    """A drink or prep whose own card stands while a prep it is made with changes."""

    item: str
    item_name: str
    preps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Leftover:
    """What one whole pack of an ingredient left at each of a franchise's `sites` is worth, net of tax.

    The book knows no stock: this is what may be written off if the order is not
    stopped in time. `value` is None where no pack price is at hand.
    """

    franchise: str
    currency: str
    sites: int
    pack: str
    value: Decimal | None


@dataclass(frozen=True, slots=True)
class Bought:
    """An ingredient that is `new` at the scope's sites, `gone` from them, or `moved` in what a week takes.

    `week` is the signed change in whole `unit`s (g or each), None where it cannot
    be told; `left_out` names what was not counted in it; `leftover` what may be
    left of an ingredient that is gone, by franchise.
    """

    ingredient: str
    name: str
    way: str
    week: Decimal | None
    unit: str
    left_out: tuple[str, ...] = ()
    leftover: tuple[Leftover, ...] = ()


@dataclass(frozen=True, slots=True)
class Named:
    """Names to show for ids.

    `items` names `prep/<id>` and `ingredient/<id>` on the way of an allergen;
    `layers` names `<item> <layer key>`.
    """

    sites: Mapping[str, str] = field(default_factory=dict)
    site_market: Mapping[str, str] = field(default_factory=dict)
    site_franchise: Mapping[str, str] = field(default_factory=dict)
    franchises: Mapping[str, str] = field(default_factory=dict)
    markets: Mapping[str, str] = field(default_factory=dict)
    items: Mapping[str, str] = field(default_factory=dict)
    layers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Impact:
    """Everything one page of a report shows."""

    book: str
    book_name: str
    proposal: str
    title: str
    why: str
    state: str
    author: str
    edited_from: str
    main: str
    tip: str
    effect: Effect
    digest: str
    price_books: tuple[tuple[str, str, str], ...]
    """(franchise, digest, as of) of the price books read for this scope."""
    classes: tuple[str, ...]
    amounts: tuple[AmountChange, ...]
    allergens: tuple[AllergenChange, ...]
    cover: AllergenCover
    texts: tuple[TextChange, ...]
    hindrances: tuple[Hindrance, ...]
    costs: tuple[CostChange, ...]
    file_changes: tuple[tuple[str, str, str, str], ...]
    """(file, path, before, after) of controlled files, as shown text."""
    signings: tuple[Signing, ...]
    objections: tuple[ObjectionHeard, ...]
    untouched: Untouched
    names: Named
    conflicts: tuple[str, ...] = ()
    through: tuple[Through, ...] = ()
    bought: tuple[Bought, ...] = ()
    menu: tuple[MenuChange, ...] = ()
    cups: tuple[CupChange, ...] = ()
    """What stands otherwise in a cup: estimates, never validity."""
    recompiled: tuple[str, ...] = ()
    """Names of drinks and preps whose approved entry this tool's compiler would write otherwise, unasked."""
    release: int | None = None
    """The release this was, when the page shows what was released."""
