"""What a proposal asks of whom: classes of change, policy, and the statements that count."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

from specctl.actions.case import Case
from specctl.actions.ledger import verified
from specctl.actions.starts import local_days
from specctl.change.classes import (
    hits_of_allergens,
    hits_of_amounts,
    hits_of_costs,
    hits_of_files,
    hits_of_listing,
    hits_of_texts,
)
from specctl.change.compare import Pair, allergens_of, amounts_of, texts_of
from specctl.change.costing import Side, costs_of
from specctl.change.effect import owner_of
from specctl.change.impact import AllergenChange, AmountChange, CostChange, TextChange
from specctl.change.policy import NEW, Hit, Judgement, Need, Said, is_fast, joined, judge, needs, on_day
from specctl.change.statement import SIGNOFF, Envelope
from specctl.change.trial import lacking, new_to, trials_asked
from specctl.domain.people import Key, Policy, Signatories, Trial
from specctl.errors import Refused


@dataclass(frozen=True)
class Findings:
    """All differences of a case over the whole chain, worked out once."""

    case: Case

    @cached_property
    def pairs(self) -> tuple[Pair, ...]:
        return self.case.pairs(self.case.effect)

    @cached_property
    def amounts(self) -> tuple[AmountChange, ...]:
        return amounts_of(self.pairs)

    @cached_property
    def allergens(self) -> tuple[AllergenChange, ...]:
        return allergens_of(self.pairs)

    @cached_property
    def texts(self) -> tuple[TextChange, ...]:
        return texts_of(self.pairs)

    @cached_property
    def costs(self) -> dict[str, tuple[CostChange, ...]]:
        """By franchise, for every price book the merged book holds."""
        before = Side(self.case.old_book, self.case.ledger.rows, self.case.entries)
        after = Side(self.case.book, self.case.compiled.rows, self.case.compiled.entries)
        # Entries that no release touched are on main as they are: only filling rules need them.
        return {f: costs_of(before, after, f) for f in sorted(self.case.book.price_books)}

    @cached_property
    def owner(self) -> dict[str, str]:
        """Franchise by site, over both sides."""
        return {
            s.id: s.franchise for book in (self.case.old_book, self.case.book) for s in book.sites.values()
        }

    @cached_property
    def hits(self) -> tuple[Hit, ...]:
        case = self.case
        policy = policy_of(case)
        franchises = frozenset(case.book.franchises)
        owners = {
            path: frozenset(o for book in (case.old_book, case.book) if (o := owner_of(path, book)))
            for path in case.files_changed
        }
        touched = {self.owner[r.site] for r in case.effect.rows if r.site in self.owner}
        hits = [
            *hits_of_amounts(self.amounts, self.owner),
            *hits_of_allergens(self.allergens, case.old_book, case.book, self.owner),
            *hits_of_listing(self.pairs, self.owner),
            *hits_of_texts(self.texts, self.owner),
            *(h for costs in self.costs.values() for h in hits_of_costs(costs, policy.cost_limit)),
            *hits_of_files(case.files_changed, owners, franchises, bool(case.effect.rows)),
            *(
                Hit("cost", frozenset({f}), f"the price book of {f} is not at hand, so its cost cannot be told")
                for f in sorted(touched)
                if f not in case.book.price_books
            ),
            # What one person took off sale comes back only by the most the policy asks of anybody.
            *(
                Hit("declaration-down", franchises, f"a notice is lifted and goods come back on sale: {disposal}")
                for disposal in case.proposal.back_on_sale.values()
            ),
            # Whatever side was taken, somebody who knows allergens looks at what a person settled by hand.
            *(
                Hit("unknown", frozenset(), f"an allergen fact in {s.file} was settled by hand: {s.why}")
                for s in case.proposal.settled.values()
                if "allergens" in s.fact.split("/") or (s.file.startswith("ingredients/") and "/" not in s.fact)
            ),
        ]
        return tuple(hits)

    @cached_property
    def changes_trust(self) -> bool:
        """Whether it changes who may sign, or who must: then the new ones are asked as well as the old."""
        return any(h.change == "policy" for h in self.hits)

    @cached_property
    def needs(self) -> tuple[Need, ...]:
        """By main's policy; a change of who may sign, or who must, needs a whole quorum by the new rules too."""
        found = needs(policy_of(self.case), self.hits)
        proposed = self.case.book.policy
        if self.changes_trust and proposed is not None:
            found += tuple(replace(n, quorum=NEW) for n in needs(proposed, self.hits))
        return found

    @cached_property
    def trials(self) -> Mapping[str, Trial]:
        """By class of change, the trial main's policy asks for before the first wave."""
        return trials_asked(policy_of(self.case), self.hits)

    def untried(self, starts: Mapping[str, str]) -> list[str]:
        """What these starts lack of the trial that is asked for, in words."""
        case = self.case
        if not self.trials:
            return []
        rows = new_to(case.effect.rows, case.ledger.releases, starts)
        return list(lacking(self.trials, case.effect.waves, rows, local_days(case.book, starts)))

    @cached_property
    def said(self) -> tuple[Said, ...]:
        """Verified statements about this proposal of this book: the same people may sign for another book too."""
        people = signatories_of(self.case)
        return verified(self._ours, people, self.case.repository.cache(), self._taken_in(people))

    @cached_property
    def said_by_new(self) -> tuple[Said, ...]:
        """The same, by the keys the proposal would bring; nothing where it brings none."""
        people = self.case.book.signatories
        if not self.changes_trust or people is None:
            return ()
        return verified(self._ours, people, self.case.repository.cache(), self._taken_in(people))

    def _taken_in(self, people: Signatories) -> Mapping[str, date]:
        """The day main took each statement in, where anybody is covered at all: it is read from main's history."""
        return self.case.ledger.taken_in(self.case.name) if people.covered else {}

    @cached_property
    def _ours(self) -> list[Envelope]:
        case = self.case
        return [e for e in case.ledger.envelopes(case.name) if e.statement.book == case.book.settings.id]

    @cached_property
    def judgement(self) -> Judgement:
        return self.judged(None)

    def judged(self, counted: frozenset[str] | None) -> Judgement:
        """The judgement by the sign-offs named by digest, and every objection; None: by all of them."""
        case = self.case

        def kept(said: Iterable[Said]) -> list[Said]:
            return [s for s in said if counted is None or s.purpose != SIGNOFF or s.digest in counted]

        old, new = ([n for n in self.needs if n.quorum == which] for which in ("", NEW))
        found = judge(old, kept(self.said), case.digests, signatories_of(case), case.authors, is_fast(self.hits))
        found = on_day(found, signatories_of(case), case.today)
        people = case.book.signatories
        if not self.changes_trust or people is None:
            return found
        by_new = judge(new, kept(self.said_by_new), case.digests, people, self.new_authors(people))
        return joined(found, on_day(by_new, people, case.today, NEW))

    def new_authors(self, people: Signatories) -> frozenset[str]:
        """Authors under the new signatories: by their id, or by any key that is theirs on main."""
        case = self.case
        known = signatories_of(case).people
        held = {_plain(key) for author in case.authors for key in known[author].keys.values()}
        return case.authors | {p.id for p in people.people.values() if held & {_plain(key) for key in p.keys.values()}}


def _plain(key: Key) -> str:
    return " ".join(key.public.split()[:2])


def findings_of(case: Case) -> Findings:
    """The findings of a case, once however often it is opened."""
    found: Findings = case.repository.cache().memory.setdefault(("findings", case.id), Findings(case))
    return found


def policy_of(case: Case) -> Policy:
    """The policy on main, never the proposal's."""
    policy = case.old_book.policy
    if policy is None:
        raise Refused("main has no policy that can be read", "Restore policy.yaml on main; specctl check names what is wrong.")
    return policy


def signatories_of(case: Case) -> Signatories:
    """The signatories on main, never the proposal's."""
    signatories = case.old_book.signatories
    if signatories is None:
        raise Refused("main has no signatories that can be read", "Restore signatories.yaml on main; specctl check names what is wrong.")
    return signatories


def is_released(case: Case) -> bool:
    """Whether main has grown over this proposal."""
    return case.ledger.repository.reader.is_ancestor(case.tip, case.main)


def state_of(case: Case, judgement: Judgement | None) -> str:
    """draft, in review, approved or released."""
    if is_released(case):
        return "released"
    if case.book.proposals.get(case.name) and case.proposal.draft:
        return "draft"
    return "approved" if judgement and judgement.approved else "in review"
