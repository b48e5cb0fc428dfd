"""What a proposal asks of whom: classes of change, policy, and the statements that count."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from specctl.actions.case import Case
from specctl.actions.ledger import verified
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
from specctl.change.policy import Hit, Judgement, Need, Said, is_fast, judge, needs
from specctl.domain.people import Policy, Signatories
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
    def needs(self) -> tuple[Need, ...]:
        """By main's policy; a proposal that changes who may sign or must needs the new rules too."""
        found = list(needs(policy_of(self.case), self.hits))
        if any(h.change == "policy" for h in self.hits) and self.case.book.policy:
            known = {(n.role, n.scope) for n in found}
            found += [n for n in needs(self.case.book.policy, self.hits) if (n.role, n.scope) not in known]
        return tuple(found)

    @cached_property
    def said(self) -> tuple[Said, ...]:
        """Verified statements about this proposal of this book: the same people may sign for another book too."""
        case = self.case
        ours = [e for e in case.ledger.envelopes(case.name) if e.statement.book == case.book.settings.id]
        return verified(ours, signatories_of(case), case.repository.cache())

    @cached_property
    def judgement(self) -> Judgement:
        return judge(
            self.needs, self.said, self.case.digests, signatories_of(self.case), self.case.authors, is_fast(self.hits)
        )


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


def state_of(case: Case, judgement: Judgement | None) -> str:
    """draft, in review, approved or released."""
    if case.ledger.repository.reader.is_ancestor(case.tip, case.main):
        return "released"
    if case.book.proposals.get(case.name) and case.proposal.draft:
        return "draft"
    return "approved" if judgement and judgement.approved else "in review"
