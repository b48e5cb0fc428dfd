"""The verb `report`: everything one scope is shown of a proposal, as an Impact."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import date
from decimal import Decimal

from specctl.actions.case import Case, rows_kept
from specctl.actions.cup_reporting import cups_in
from specctl.actions.checking import check_kept
from specctl.actions.judging import Findings, findings_of, policy_of, signatories_of, state_of
from specctl.actions.released import as_released
from specctl.analysis.allergens import trusted_until
from specctl.analysis.ways import ingredients_in
from specctl.canonical import digest_of
from specctl.change.buying import bought_at
from specctl.change.compare import Pair
from specctl.change.dispute import conflict_between
from specctl.change.effect import CHAIN, Effect, owner_of
from specctl.change.entry import uses_of
from specctl.change.entry_lines import facts_in
from specctl.change.facts import MAP, ORDER, SET, Change
from specctl.change.hindrance import hindrances_of
from specctl.change.impact import (
    AllergenCover,
    Bought,
    DocumentAge,
    Impact,
    Named,
    ObjectionHeard,
    Signing,
    Through,
    Untouched,
)
from specctl.change.menu import menu_changes
from specctl.change.merge import Conflict
from specctl.change.told import layer_names, names_in_paths, reasons_of, through_preps
from specctl.domain.amount import plain
from specctl.domain.book import Book
from specctl.domain.people import Signatories
from specctl.problem import errors_of

NOT_COVERED = (
    "a list's threshold or exempt form counts only where every document behind it states the amount or names the form",
    "traces carried by hands and surfaces, and by equipment that no step names",
    "goods a site uses without the book knowing",
    "recipes' words: only what the records say is compared",
)


def impact_of(case: Case, scope: str = CHAIN) -> Impact:
    """What the scope `chain` or `franchise/<id>` is shown. Another franchise's names and prices stay out.

    A released proposal is shown as it was released.
    """
    case, release = as_released(case, scope)
    findings = findings_of(case)
    effect = case.effect_of(scope)
    franchise = None if scope == CHAIN else scope.removeprefix("franchise/")
    pairs = case.pairs(effect)
    mine = {s.id for s in case.book.sites.values() if franchise in (None, s.franchise)}
    mine |= {s.id for s in case.old_book.sites.values() if franchise in (None, s.franchise)}
    scoped = findings if franchise is None else _Scoped(case, pairs)
    judgement = findings.judgement
    signatories = signatories_of(case)
    hits = [h for h in findings.hits if franchise is None or franchise in h.franchises or not h.franchises]
    reasons = {h.because for h in hits}
    costs = [c for f, found in findings.costs.items() if franchise in (None, f) for c in found]
    books = [
        (f, digest_of(case.merged.files[f"prices/{f}/price-book.yaml"]), book.as_of.isoformat())
        for f, book in sorted(case.book.price_books.items())
        if franchise in (None, f)
    ]
    settings = case.book.settings
    policies = [p for p in (policy_of(case), case.book.policy) if p is not None]
    through = _through(case, effect, mine)
    return Impact(
        book=settings.id,
        book_name=settings.name,
        proposal=case.name,
        title=case.proposal.title,
        why=case.proposal.why,
        state="released" if release else state_of(case, judgement),
        author=", ".join(_name(signatories, a) for a in sorted(case.authors)),
        edited_from=case.base,
        main=case.main,
        tip=case.tip,
        effect=effect,
        digest=effect.digest,
        price_books=tuple(books),
        classes=tuple(sorted({h.change for h in hits})),
        amounts=scoped.amounts,
        allergens=scoped.allergens,
        cover=_cover(case, pairs),
        texts=scoped.texts,
        hindrances=hindrances_of(pairs, case.old_book, case.book),
        costs=tuple(costs),
        file_changes=tuple(_shown(case, effect)),
        signings=tuple(
            Signing(
                s.need.role,
                s.need.scope,
                case.digests.get(s.need.scope, ""),
                tuple(b for b in s.need.because if b in reasons),
                s.can_sign,
                _name(case.book.signatories or signatories if s.need.quorum else signatories, s.met_by.person) if s.met_by else None,
                s.stale,
                reasons_of(policies, hits, s.need.role, s.need.scope),
                s.need.quorum,
            )
            for s in judgement.standings
            if s.need.scope in (CHAIN, scope) or franchise is None
        ),
        objections=tuple(
            ObjectionHeard(_name(signatories, o.person), o.role, o.scope, o.said, o.note, is_open)
            for found, is_open in ((judgement.objections, True), (judgement.answered, False))
            for o in found
            if o.scope in (CHAIN, scope) or franchise is None
        ),
        untouched=_untouched(case, effect, mine, through),
        names=replace(
            _named(case, franchise, mine),
            items=names_in_paths(scoped.allergens, case.old_book, case.book),
            layers=layer_names(pairs),
        ),
        conflicts=tuple(dict.fromkeys(_conflict_for(case, c, franchise) for c in case.merged.conflicts)),
        through=through,
        bought=_bought(case, effect, franchise, mine, through),
        cups=cups_in(case, pairs, mine),
        menu=tuple(m for f, _, _ in books for m in menu_changes(case.old_book, case.book, f)),
        recompiled=recompiled_of(case, pairs),
        release=release,
    )


def _conflict_for(case: Case, conflict: Conflict, franchise: str | None) -> str:
    """A conflict in words; of another franchise's file only that there is one, for its words may hold a price."""
    owners = {owner_of(conflict.file, book) for book in (case.old_book, case.book)} - {None}
    if franchise is not None and owners and franchise not in owners:
        return "a file of another franchise: main and this proposal both change it"
    return conflict_words(conflict, case.old_book)


def recompiled_of(case: Case, pairs: Iterable[Pair]) -> tuple[str, ...]:
    """Names of items whose approved entry today's compiler would write otherwise from main's own book.

    Not asked where main holds no entry, or where its book has errors.
    """
    book, shelf = case.before.book, case.repository.cache()
    if book is None or not case.ledger.rows or errors_of(list(check_kept(shelf, case.main_files, case.before, case.today))):
        return ()
    again = rows_kept(case.repository, case.main_files, book)
    approved = case.ledger.rows
    moved = {
        pair.name
        for pair in pairs
        for site in pair.sites
        if (site, pair.item) in approved and again.get((site, pair.item), "") != approved[site, pair.item]
    }
    return tuple(sorted(moved))


class _Scoped(Findings):
    """The same differences, over the pairs of one scope."""

    def __init__(self, case: Case, pairs: tuple[Pair, ...]) -> None:
        super().__init__(case)
        self.__dict__["pairs"] = pairs


def _name(signatories: Signatories, person: str) -> str:
    found = signatories.people.get(person)
    return found.name if found else person


def _cover(case: Case, pairs: Iterable[Pair]) -> AllergenCover:
    items, rows, lists = set(), set(), set()
    unknown: dict[tuple[str, str, str, str], None] = {}
    used: set[str] = set()
    for pair in pairs:
        items.add(pair.item)
        kind, _, id = pair.item.partition("/")
        recipe = (case.book.drinks if kind == "drink" else case.book.preps).get(id)
        if recipe is not None:
            for use in uses_of(recipe):
                used |= ingredients_in(case.book, use)
        if pair.after is None:
            continue
        lists.add(pair.after["list"]["name"])
        before = facts_in(pair.before)
        for row in pair.after["allergens"]:
            rows.add((pair.item, row["choice"]))
            for fact in row["unknown"]:
                was = before.get((row["choice"], fact["substance"]))
                if was and was[0] == "unknown":
                    unknown[(pair.name, row["name"], fact["name"], pair.market)] = None
    return AllergenCover(
        items=len(items),
        rows=len(rows),
        lists=tuple(sorted(lists)),
        documents=tuple(_documents(case, used)),
        still_unknown=tuple(unknown),
        not_covered=NOT_COVERED,
    )


def _documents(case: Case, used: set[str]) -> list[DocumentAge]:
    start: date = case.proposal.start
    found = []
    for id in sorted(used):
        ingredient = case.book.ingredients.get(id)
        if ingredient is None:
            continue
        facts = ingredient.facts
        if facts is None:
            found.append(DocumentAge(id, ingredient.name, "no document", "", "", True))
            continue
        until = trusted_until(case.book, facts)
        found.append(
            DocumentAge(id, ingredient.name, facts.document, facts.dated.isoformat(), until.isoformat(), until <= start)
        )
    return found


def _through(case: Case, effect: Effect, mine: set[str]) -> tuple[Through, ...]:
    served = {item for site, item in case.compiled.rows if site in mine}
    return through_preps(case.book, served, frozenset(r.item for r in effect.rows))


def _bought(
    case: Case, effect: Effect, franchise: str | None, mine: set[str], through: tuple[Through, ...]
) -> tuple[Bought, ...]:
    franchises = [franchise] if franchise else sorted({*case.old_book.franchises, *case.book.franchises})
    touched = {r.item for r in effect.rows} | {t.item for t in through}
    return bought_at(case.old_book, case.book, sorted(mine), franchises, sorted(touched))


def _untouched(case: Case, effect: Effect, mine: set[str], through: tuple[Through, ...]) -> Untouched:
    here = {key for key in case.compiled.rows if key[0] in mine}
    touched_items = {r.item for r in effect.rows} | {t.item for t in through}
    touched_sites = {r.site for r in effect.rows}
    items = {item for _, item in here}
    sites = {site for site, _ in here}
    drinks = {i for i in items if i.startswith("drink/")}
    preps = items - drinks
    left = sorted(d.removeprefix("drink/") for d in drinks - touched_items)
    return Untouched(
        drinks=len(drinks - touched_items),
        drinks_total=len(drinks),
        preps=len(preps - touched_items),
        preps_total=len(preps),
        sites=len(sites - touched_sites),
        sites_total=len(sites),
        drink_names=tuple(case.book.drinks[d].name for d in left),
        site_names=tuple(case.book.sites[s].name for s in sorted(sites - touched_sites)),
    )


def languages_at(case: Case, scope: str) -> frozenset[str]:
    """The languages of the markets of a scope's sites, as the markets' files name them."""
    franchise = None if scope == CHAIN else scope.partition("/")[2]
    sites = [site for site in case.book.sites.values() if franchise in (None, site.franchise)]
    return frozenset(case.book.markets[s.market].language for s in sites if s.market in case.book.markets)


def _named(case: Case, franchise: str | None, mine: set[str]) -> Named:
    sites = {s: site for s in sorted(mine) if (site := case.book.sites.get(s) or case.old_book.sites.get(s))}
    markets = {site.market for site in sites.values()}
    franchises = {**case.old_book.franchises, **case.book.franchises}
    return Named(
        sites={s: site.name for s, site in sites.items()},
        site_market={s: site.market for s, site in sites.items()},
        site_franchise={s: site.franchise for s, site in sites.items()},
        franchises={f.id: f.name for f in franchises.values() if franchise in (None, f.id)},
        markets={m: case.book.markets[m].name for m in sorted(markets) if m in case.book.markets},
    )


def _shown(case: Case, effect: Effect) -> list[tuple[str, str, str, str]]:
    """Changed facts of the files in this scope, as text; orders and sets in plain words."""
    kept = {path for path, _ in effect.files}
    rows = []
    for path, changes in case.files_changed.items():
        if path not in kept:
            continue
        if not changes:
            rows.append((path, "comments only", "", ""))
        whole = {c.path[:-1]: c for c in changes if c.path[-1] == MAP}
        if () in whole:
            rows.append((path, "the whole file", "" if whole[()].added else "was there", "" if whole[()].removed else "is new"))
            continue
        rows += [
            (path, *shown)
            for change in changes
            if (shown := _fact_words(change)) and not any(change.path[: len(p)] == p for p in whole)
        ]
        rows += [(path, "/".join(p), "" if c.added else "was there", "" if c.removed else "is new") for p, c in whole.items()]
    return rows


def _fact_words(change: Change) -> tuple[str, str, str] | None:
    path = change.path
    if path[-1] in (MAP, SET):
        return None
    if path[-1] == ORDER:
        before, after = (v if isinstance(v, tuple) else () for v in (change.before, change.after))
        # Adding or removing a key moves the order too; only a true reordering is worth a line.
        kept_before = [k for k in before if k in after]
        kept_after = [k for k in after if k in before]
        if kept_before == kept_after:
            return None
        return "/".join([*path[:-1], "order"]), " > ".join(before), " > ".join(after)
    if len(path) > 1 and path[-2] == SET:
        name = "/".join(path[:-2])
        return name, "" if change.added else str(change.before), "" if change.removed else str(change.after)
    return "/".join(path), _text(change.before), _text(change.after)


def _text(value: object) -> str:
    if value is None:
        return ""
    return plain(value) if isinstance(value, Decimal) else str(value)


def conflict_words(conflict: Conflict, book: Book | None = None) -> str:
    """A conflict in words a person who knows drinks can act on; names from the book where there is one."""
    return conflict_between(conflict, book, "main", "this proposal")
