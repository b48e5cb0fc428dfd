"""The verb `deviation`: one site may use something else for a while, with a food-safety yes and an end.

One signature on main, in every later bundle of that site, until its end. What
the goods bring is resolved once and signed: an ingredient of the book by its
documents, anything else by what was read off the pack; what nobody answered is
unknown. A deviation never lifts an off-sale notice, and moves no entry.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

from specctl.actions.collecting import main_book
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.ledger import Ledger
from specctl.actions.offsale import notices, reach_at
from specctl.actions.source import Source
from specctl.actions.stand_ins import deviations, refuse_forged
from specctl.actions.starts import opening, stamp
from specctl.analysis.allergens import facts_of, name_of
from specctl.change.deviation import (
    LONGEST,
    LONGEST_TEXT,
    STATUSES,
    Deviation,
    Known,
    Passed,
    may_pass,
    read_passed,
)
from specctl.domain.amount import Grams
from specctl.domain.book import Book
from specctl.domain.people import FOOD_SAFETY
from specctl.domain.place import AllergenList, Site
from specctl.domain.recipe import ALL_SIZES, Line, Prep
from specctl.errors import NotFound, Refused, Untrusted
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree_with
from specctl.store.signature import sign


@dataclass(frozen=True, slots=True)
class StandIn:
    """What is used instead: an ingredient of the book (`by`), or goods under a name with what their pack says."""

    by: str = ""
    name: str = ""
    contains: tuple[str, ...] = ()
    may_contain: tuple[str, ...] = ()
    absent: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DeviationWish:
    """`until` is the last day, by the site's own days."""

    site: str
    of: str
    stand_in: StandIn
    checked: str
    why: str
    until: date
    now: datetime
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class Deviated:
    """The deviation on main, its commit, and the items of the site it reaches."""

    passed: Passed
    commit: str
    items: tuple[dict[str, Any], ...]

    def as_json(self) -> dict[str, Any]:
        return {"digest": self.passed.digest, "commit": self.commit, **self.passed.deviation.as_json(), "items": list(self.items)}


def deviate(source: Source, wish: DeviationWish) -> Deviated:
    """Put a deviation on main. Raises Refused for who may not, for no end in sight, and for goods off sale."""

    def make(book: Book, ledger: Ledger, who: Identity) -> Deviation:
        site = book.sites.get(wish.site)
        if site is None:
            raise NotFound(f"there is no site {wish.site}", "Sites: " + ", ".join(sorted(book.sites)))
        for id in (wish.of, *([wish.stand_in.by] if wish.stand_in.by else [])):
            if id not in book.ingredients:
                near = difflib.get_close_matches(id, book.ingredients, 3)
                raise NotFound(f"there is no ingredient {id}", f"Did you mean {', '.join(near)}?" if near else "Name goods that are not in the book by --named.")
        _refuse_off_sale(ledger, wish.stand_in.by)
        ends = opening(book, site, wish.until + timedelta(days=1))
        if not wish.now < ends <= wish.now + LONGEST:
            raise Refused(
                f"a deviation ends after now and within {LONGEST.days} days",
                "What lasts longer is a change of the spec: propose it.",
            )
        by = book.ingredients[wish.stand_in.by].name if wish.stand_in.by else wish.stand_in.name.strip()
        return Deviation(
            book=book.settings.id,
            site=site.id,
            of=f"ingredient/{wish.of}",
            by=f"ingredient/{wish.stand_in.by}" if wish.stand_in.by else "",
            name=by,
            checked=wish.checked.strip(),
            why=wish.why.strip(),
            facts=_facts(book, site, wish.stand_in, wish.until),
            role=FOOD_SAFETY,
            person=who.person.id,
            said=stamp(wish.now),
            ends=stamp(ends),
        )

    return _post(source, make, wish.now, wish.key)


def stop(source: Source, which: str, why: str, now: datetime, key: Path | None = None) -> Deviated:
    """End a standing deviation now: the same words again, over at once, in its place."""

    def make(book: Book, ledger: Ledger, who: Identity) -> Deviation:
        standing = [s for s in deviations(ledger) if s.holds(stamp(now))]
        found = [s for s in standing if len(which) >= 6 and s.passed.digest.startswith(which)]
        if len(found) != 1:
            listed = ", ".join(f"{s.passed.digest[:12]} ({s.passed.deviation.site})" for s in standing) or "none"
            raise NotFound(f"there is no standing deviation {which}", f"Standing: {listed}")
        return replace(found[0].passed.deviation, why=why.strip(), said=stamp(now), ends=stamp(now), person=who.person.id, role=FOOD_SAFETY)

    return _post(source, make, now, key)


def _post(source: Source, make: Any, now: datetime, key: Path | None) -> Deviated:
    repository = source.in_git()
    made: list[Passed] = []

    def build(tip: str | None) -> str:
        if tip is None:
            raise Refused("this book has no main yet", "Begin one with: specctl init")
        book = main_book(repository, tip)
        assert book.signatories is not None
        who = identify(book.signatories, key_at_hand(repository, key))
        if not may_pass(who.person, book.signatories.people, (now.date(),)):
            raise Refused(f"{who.person.name} may not allow a deviation", f"It needs the yes of {FOOD_SAFETY}; until then what needs the ingredient is off sale.")
        deviation: Deviation = make(book, Ledger(repository, tip), who)
        passed = Passed(deviation, deviation.payload, sign(deviation.payload, who.key, deviation.namespace))
        try:
            read_passed(passed.text())
        except Untrusted:
            raise Refused("nothing was allowed: a name, a reason or what was checked is missing or too long", f"Say each in 1 to {LONGEST_TEXT} characters.") from None
        made[:] = [passed]
        tree = write_tree_with(repository.reader, repository.reader.commit(tip).tree, {passed.path: passed.text().encode("ascii")})
        message = f"Deviation at {deviation.site}: {deviation.of}, until {deviation.ends}\n\n{deviation.why}\n"
        return make_commit(
            repository.root, CommitWish(tree, (tip,), message, who.person.name, who.email, int(now.timestamp()), who.key)
        )

    commit = repository.move_main(build)
    deviation = made[0].deviation
    reach = reach_at(Ledger(repository, commit), deviation.site, deviation.of)
    return Deviated(made[0], commit, tuple(r.as_json() for r in reach))


def _refuse_off_sale(ledger: Ledger, by: str) -> None:
    off = [s.posted for s in notices(ledger) if s.lifted_by is None and by and s.posted.notice.about == f"ingredient/{by}"]
    if off:
        raise Refused(f"{by} is itself off sale: {off[0].notice.why}", "Use something else, or bring it back on sale first.")


def _facts(book: Book, site: Site, stand_in: StandIn, until: date) -> dict[str, tuple[Known, ...]]:
    """Every substance of the site's list under exactly one status; what nobody answered is unknown."""
    listing = book.lists[book.markets[site.market].allergen_list]
    if stand_in.by:
        return _by_book(book, listing, stand_in, until)
    stated = {"contains": stand_in.contains, "may_contain": stand_in.may_contain, "absent": stand_in.absent}
    known = {s for one in book.lists.values() for s in one.substances()}
    status: dict[str, str] = {}
    for name, substances in stated.items():  # strongest first: said twice, the stronger counts
        for substance in substances:
            if substance not in known:
                near = difflib.get_close_matches(substance, known, 3)
                raise NotFound(f"no list of this book names {substance}", f"Did you mean {', '.join(near)}?" if near else "See the lists folder.")
            status.setdefault(substance, name)
    for substance in listing.substances():
        status.setdefault(substance, "unknown")
    return _sorted(book, listing, status)


def _by_book(book: Book, listing: AllergenList, stand_in: StandIn, until: date) -> dict[str, tuple[Known, ...]]:
    if stand_in.contains or stand_in.may_contain or stand_in.absent:
        raise Refused("an ingredient of the book has its facts from its documents", "Leave out what the pack says, or name the goods by --named.")
    line = Line("all", stand_in.by, {ALL_SIZES: Grams(Decimal(1))})
    row = facts_of(book, Prep(id="stand-in", name="stand-in", lines={"all": line}, yields=Decimal(1), keep="ambient"), listing)
    status = {f.substance: name for name in ("contains", "may_contain", "unknown") for f in getattr(row, name)}
    # An absence that grows too old to trust before the end is none.
    trusted = row.absent_until is None or row.absent_until > until + timedelta(days=1)
    for substance in listing.substances():
        status.setdefault(substance, "absent" if trusted else "unknown")
    return _sorted(book, listing, status)


def _sorted(book: Book, listing: AllergenList, status: Mapping[str, str]) -> dict[str, tuple[Known, ...]]:
    found: dict[str, list[Known]] = {name: [] for name in STATUSES}
    for substance, name in status.items():
        group = listing.group_of(substance)
        words = group.members[substance] if group else name_of(book, substance)
        found[name].append(Known(substance, group.key if group else None, words))
    return {name: tuple(sorted(rows, key=lambda k: k.substance)) for name, rows in found.items()}


def at_site(ledger: Ledger, site: str) -> list[dict[str, Any]]:
    """The deviations of one site as its bundle tells them: facts by status, the items reached, the signed text."""
    mine = [s for s in deviations(ledger) if s.passed.deviation.site == site]
    if mine and ledger.commit is not None:
        refuse_forged(ledger.repository, ledger.commit, mine)
    return [
        {
            "deviation": one.passed.digest,
            **{n: getattr(one.passed.deviation, n) for n in ("of", "by", "name", "checked", "why", "role", "person", "said")},
            "ends": one.ends,
            "facts": {status: [k.as_json() for k in one.passed.deviation.facts[status]] for status in STATUSES},
            "items": [[r.item, r.name, list(r.choices)] for r in reach_at(ledger, site, one.passed.deviation.of)],
            "statement": one.passed.text(),
        }
        for one in mine
    ]


def in_force_at(ledger: Ledger, site: str, moment: datetime) -> list[dict[str, Any]]:
    """The deviations that held at a site at a time."""
    at = stamp(moment)
    return [row for row in at_site(ledger, site) if row["said"] <= at < row["ends"]]
