"""Did enough of the right people approve what this bundle shows? Asked at the site, of nobody but them.

The site was given, by hand, the digest of who may sign and who must. From there
every change of those is followed as the old quorum signed it, and every release
is held against the people of its time: their signatures, over an effect that
lists this very site, item and entry, in the roles that the policy asks for what
differs between the entries the site holds. So the publishing keys alone cannot
show a card, bring back an old one, lift a notice or move a start forward.

What it cannot know, main's audit does: whether a signer was an author, or whether
an objection stood; why a declaration grew; classes that follow from files no
site is given (costs, price books, settings); which of two honest publications is
newer. Titles and reasons, and what a first pull calls the site, are the publisher's word.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from specctl.change.classes import hits_of_amounts, hits_of_listing, hits_of_texts
from specctl.change.compare import Pair, allergens_of, amounts_of, pairs_of, texts_of
from specctl.change.cover import days_of
from specctl.change.effect import Row
from specctl.change.policy import Hit, Need, Said, judge, needs
from specctl.change.statement import SIGNOFF, Envelope, read_envelope
from specctl.change.trust import ROW, Trust, change_of
from specctl.domain.people import Person, Policy, Rule
from specctl.site import strict
from specctl.site.approvals import Approval, needed
from specctl.site.bundle import Bundle
from specctl.site.label import franchises_of, refuse_relabelled
from specctl.site.quorum_said import earliest_of, key_of, refuse_unsaid, refused

_WORDS_OF_RECORD = ("title", "why", "released_by", "released")
_AT_ONCE = frozenset({"declaration-up", "text"})


def verify_quorum(bundle: Bundle, pinned: str, known: Bundle | None = None) -> int:
    """How many releases this bundle shows by right; `pinned` names who may sign.

    `known` is a bundle verified here before under the same pin: what it showed
    must still be there, and is not judged again. Raises Untrusted with the first
    thing that does not hold.
    """
    approvals = needed(bundle.approvals)
    assert approvals.releases is not None
    since, trust = approvals.trust[0]
    if since != 0 or trust.digest != pinned:
        raise refused("the signatories in this bundle are not those this site was given")
    if known is not None:
        _only_grown(bundle, known)
    refuse_relabelled(bundle, known, list(approvals.releases.values()))
    owners = franchises_of(bundle, list(approvals.releases.values()))
    judged, told = _judged_before(known)
    envelopes = _by_digest(bundle.statements)
    changes = dict(approvals.trust[1:])
    if not changes.keys() <= approvals.releases.keys():
        raise refused("who may sign changed without a release")
    records = {record["number"]: record for record in bundle.releases}
    if not records.keys() <= approvals.releases.keys():
        raise refused(f"release {min(records.keys() - approvals.releases.keys())} comes without its approval")
    latest: dict[str, str | None] = {}
    for number, approval in approvals.releases.items():
        record = records.get(number)
        if record is not None:
            _follows(bundle, record, approval, latest)
        else:
            _leaves(approval, latest)
        after = changes.get(number)
        if judged.get(number) != approval or (after is not None and told.get(number) != after.digest):
            hits = _hits(bundle, record, approval, owners[number])
            _approved(bundle, approval, hits, (trust, after), envelopes)
            if record is not None and not {hit.change for hit in hits} <= _AT_ONCE:
                _not_early(record, approval, bundle.site.id)
        trust = after or trust
    _told_whole(bundle, records)
    refuse_unsaid(bundle, [each for _, each in approvals.trust], approvals.releases.values())
    return len(approvals.releases)


@dataclass(frozen=True, slots=True)
class Approved:
    """One release, and who approved it as what: (person, role, scope), of those whose word may count here."""

    number: int
    proposal: str
    by: tuple[tuple[str, str, str], ...]


def who_approved(bundle: Bundle) -> tuple[Approved, ...]:
    """Who approved each release, of a bundle that `verify_quorum` has let pass: each counted statement was verified."""
    envelopes = _by_digest(bundle.statements)
    found = []
    for approval in (needed(bundle.approvals).releases or {}).values():
        said = [envelopes[one].statement for one in approval.statements if one in envelopes]
        found.append(Approved(approval.number, approval.proposal, tuple(sorted((s.person, s.role, s.scope) for s in said))))
    return tuple(found)


def _judged_before(known: Bundle | None) -> tuple[Mapping[int, Approval], dict[int, str]]:
    """Approvals and changes of trust that were verified here before."""
    if known is None or known.approvals is None or known.approvals.releases is None:
        return {}, {}
    return known.approvals.releases, {since: trust.digest for since, trust in known.approvals.trust}


def _only_grown(bundle: Bundle, known: Bundle) -> None:
    """What was verified here once stays: history only grows."""
    lost = set(known.timeline) - set(bundle.timeline)
    if lost:
        raise refused(f"release {min(row.release for row in lost)}, which this site has verified, is left out or told otherwise")
    notices = {one.notice for one in bundle.notices}
    gone = [one for one in known.notices if one.notice not in notices]
    if gone:
        raise refused(f"the notice that takes {gone[0].about} off sale is left out")
    passed = {one.deviation for one in bundle.deviations}
    ended = [one for one in known.deviations if one.deviation not in passed]
    if ended:
        raise refused(f"the deviation for {ended[0].of}, which this site has verified, is left out")
    if known.approvals is not None and bundle.approvals is not None:
        dropped = (known.approvals.releases or {}).keys() - (bundle.approvals.releases or {}).keys()
        if dropped:
            raise refused(f"the approval of release {min(dropped)}, which this site has verified, is left out")
    told = {record["number"]: record for record in bundle.releases}
    for record in known.releases:
        if any(told[record["number"]].get(name) != record.get(name) for name in _WORDS_OF_RECORD):
            raise refused(f"the words of release {record['number']} are others than this site has verified")
    if known.approvals is not None and bundle.approvals is not None:
        before = [(since, trust.digest) for since, trust in known.approvals.trust]
        after = [(since, trust.digest) for since, trust in bundle.approvals.trust]
        if after[: len(before)] != before:
            raise refused("who may sign was set back, or told otherwise than before")


def _by_digest(texts: Iterable[str]) -> dict[str, Envelope]:
    found = {}
    for text in texts:
        envelope = read_envelope(text)
        found[envelope.digest] = envelope
    return found


def _follows(bundle: Bundle, record: Mapping[str, Any], approval: Approval, latest: dict[str, str | None]) -> None:
    """The record's rows are those that were signed, and each goes on from what was there."""
    number = approval.number
    rows = tuple(Row(*row) for row in record.get("entries", ()))
    if record.get("proposal") != approval.proposal or list(approval.statements) != record.get("statements"):
        raise refused(f"release {number} has two records")
    if not approval.effects:
        raise refused(f"release {number} comes without what was signed")
    for scope, effect in sorted(approval.effects.items()):
        if effect.rows != rows:
            raise refused(f"release {number} shows other cards than were signed for {scope}")
    for row in rows:
        if latest.get(row.item) != row.before:
            raise refused(f"release {number} was made on another base: its {row.item} does not follow from what was here")
        if row.after is not None and row.after not in bundle.entries:
            raise refused(f"release {number} names a card that is not in this bundle")
        latest[row.item] = row.after


def _leaves(approval: Approval, latest: dict[str, str | None]) -> None:
    """A release without a record here may only have ended things: while the site was none of the book's."""
    for row in (row for effect in approval.effects.values() for row in effect.rows):
        if row.after is not None:
            raise refused(f"release {approval.number} comes without its record")
        latest[row.item] = None


def _hits(bundle: Bundle, record: Mapping[str, Any] | None, approval: Approval, owners: tuple[str, ...]) -> tuple[Hit, ...]:
    """The classes that follow from the entries this site holds: never more than main found over all sites."""
    owner = {bundle.site.id: owners[0]}
    hits: list[Hit] = []
    if record is not None:
        rows = [Row(*row) for row in record.get("entries", ())]
        try:
            hits += _hits_of(pairs_of(rows, bundle.entries), owner)
        except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError):
            raise refused(f"the cards of release {approval.number} cannot be compared") from None
    if any(ROW in effect.files for effect in approval.effects.values()):
        hits.append(Hit("policy", frozenset(owner.values()), "who may sign, or who must, changes"))
    if any(approval.told.values()):
        hits.append(Hit("book", frozenset(owners), "what this site is, or whose, changes"))
    lifts = any(path.startswith("statements/off-sale/") for effect in approval.effects.values() for path in effect.files)
    if lifts:
        hits.append(Hit("declaration-down", frozenset(owner.values()), "goods come back on sale"))
    return tuple(hits)


def _hits_of(pairs: tuple[Pair, ...], owner: Mapping[str, str]) -> list[Hit]:
    found = [*hits_of_amounts(amounts_of(pairs), owner), *hits_of_listing(pairs, owner), *hits_of_texts(texts_of(pairs), owner)]
    everybody = frozenset(owner.values())
    for change in allergens_of(pairs):
        because = f"{change.name} in {change.item_name}"
        if change.after == "unknown":
            found.append(Hit("unknown", everybody, f"{because} becomes unknown"))
        if change.way == "down":
            found.append(Hit("declaration-down", everybody, f"{because} leaves the declaration"))
        elif change.way == "up":
            found.append(Hit("declaration-up", everybody, f"{because} is declared"))
    return found


def _at_site(policy: Policy) -> Policy:
    """What must hold by the entries alone: whether a fact came in with new goods, or was only declared, is in the book."""
    either = [policy.rules[c].signs if c in policy.rules else policy.otherwise for c in ("declaration-up", "allergen-in")]
    grown = Rule("declaration-up", tuple(role for role in either[0] if role in either[1]), "")
    return Policy({**policy.rules, grown.change: grown}, policy.otherwise)


def _approved(
    bundle: Bundle,
    approval: Approval,
    hits: tuple[Hit, ...],
    trusts: tuple[Trust, Trust | None],
    envelopes: Mapping[str, Envelope],
) -> None:
    """Enough distinct people, by the trust before the release (and the one after, if it changes), signed what is here."""
    what = f"release {approval.number}"
    trust, after = trusts
    counted = [(at, envelopes[one]) for at, one in enumerate(approval.statements) if one in envelopes]
    said = [_counted(bundle, approval, envelope, trust, at) for at, envelope in counted if after is None or not _brought_in(envelope, trust, after)]
    wanted = list(needs(_at_site(trust.policy), hits))
    brought: list[Need] = []
    if after is not None:
        stated = change_of(trust.digest, after.digest)
        if not approval.effects or any(effect.files.get(ROW) != stated for effect in approval.effects.values()):
            raise refused(f"{what} changes who may sign otherwise than was signed")
        brought = list(needs(_at_site(after.policy), hits))
    elif any(ROW in effect.files for effect in approval.effects.values()):
        raise refused(f"{what} changes who may sign, and to whom is not told")
    if not said:
        raise refused(f"{what} was approved by nobody this site knows")
    digests = {scope: effect.digest for scope, effect in approval.effects.items()}
    judgement = judge(wanted, said, digests, trust.signatories, frozenset())
    standings = list(judgement.standings)
    if after is not None:
        by_new = [_counted(bundle, approval, envelope, after, at) for at, envelope in counted if not _brought_in(envelope, after, trust)]
        standings += judge(brought, by_new, digests, after.signatories, frozenset()).standings
    for standing in standings:
        if standing.met_by is None:
            raise refused(f"{what} is not approved: {_wanting(standing.need, standing.stale)}")


def _brought_in(envelope: Envelope, trust: Trust, other: Trust) -> bool:
    """Whether a key of the other trust made it and none of this one: it speaks for the other quorum alone."""
    said = envelope.statement

    def held(people: Mapping[str, Person]) -> bool:
        return key_of(envelope.payload, envelope.signature, said.namespace, people.get(said.person)) is not None

    return not held(trust.signatories.people) and held(other.signatories.people)


def _wanting(need: Need, doubt: str) -> str:
    return f"{need.role} for {need.scope} did not sign, and {need.because[0]}" + (f" ({doubt})" if doubt else "")


def _counted(bundle: Bundle, approval: Approval, envelope: Envelope, trust: Trust, order: int) -> Said:
    statement = envelope.statement
    what = f"release {approval.number}"
    if (statement.purpose, statement.book, statement.proposal) != (SIGNOFF, bundle.book, approval.proposal):
        raise refused(f"{what} counts a statement of {statement.person} that signs off something else")
    effect = approval.effects.get(statement.scope)
    if effect is None or statement.effect != effect.digest:
        raise refused(f"{what} counts a sign-off of {statement.person} over another effect")
    key = key_of(envelope.payload, envelope.signature, statement.namespace, trust.signatories.people.get(statement.person))
    if key is None:
        raise refused(f"{what} counts a sign-off of {statement.person} that no key of theirs made")
    return Said(
        purpose=statement.purpose,
        person=statement.person,
        key=key,
        role=statement.role,
        scope=statement.scope,
        effect=statement.effect,
        said=statement.said,
        note=statement.note,
        digest=envelope.digest,
        order=order,
        days=_days(bundle, approval, statement.said),
    )


def _days(bundle: Bundle, approval: Approval, said: str) -> tuple[date, ...]:
    """The day on which a cover must have held: no bundle tells when main took a word in, so its own, unless the release came before it."""
    record = next((r for r in bundle.releases if r["number"] == approval.number), None)
    own, by_record = days_of(said), days_of(str(record.get("released"))) if record is not None else ()
    return own if own and (not by_record or own <= by_record) else ()


def _not_early(record: Mapping[str, Any], approval: Approval, site: str) -> None:
    """No start before the day that was signed; a change that only declares more may go at once."""
    begins = _start(record, approval.number, site)
    if begins < earliest_of(approval):
        raise refused(f"release {approval.number} starts before the day that was signed")


def _start(record: Mapping[str, Any], number: int, site: str) -> datetime:
    starts = record.get("starts")
    if not isinstance(starts, Mapping) or site not in starts:
        raise refused(f"release {number} has no start here")
    return strict.time(starts[site], f"$.releases, release {number}, start")


def _told_whole(bundle: Bundle, records: Mapping[int, Mapping[str, Any]]) -> None:
    """The timeline is the records' rows at the records' starts, no more and no less."""
    told = {(row.start, row.release, row.item, row.digest) for row in bundle.timeline}
    stated = {
        (_start(record, number, bundle.site.id), number, row[1], row[3])
        for number, record in records.items()
        for row in record.get("entries", ())
    }
    if told != stated:
        raise refused("the timeline is not the one its releases state")
