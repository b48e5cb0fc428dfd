"""Notices and deviations of a bundle: said by whoever it names, who may; and back on sale only by a release.

One signature takes something off sale, or lets a site use something else for a
while. Each is held against everybody who ever counted, for neither names the
main it was said on; so a retired key of somebody who could say it once still
holds here, and is main's audit to find. What is off sale by forgery is a
nuisance; what is back on sale, or allowed, by forgery is refused.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from typing import Protocol

from specctl.change import deviation as deviations
from specctl.change import notice as notices
from specctl.change.cover import days_of
from specctl.change.trust import Trust
from specctl.domain.people import Person
from specctl.errors import Untrusted
from specctl.publickey import blob_of, fingerprint_of_blob
from specctl.site import strict
from specctl.site.approvals import Approval
from specctl.site.bundle import Bundle, Withdrawn
from specctl.site.deviations import STATUSES, StandsIn
from specctl.site.sshsig import holds

# The earliest a local date begins anywhere (UTC+14); the site's own zone is no part of what is signed.
_EARLIEST_ZONE = timedelta(hours=14)


class _Said(Protocol):
    """What a notice and a deviation have in common once read."""

    @property
    def payload(self) -> bytes: ...
    @property
    def signature(self) -> str: ...


def refuse_unsaid(bundle: Bundle, trusts: Iterable[Trust], approvals: Iterable[Approval]) -> None:
    """Raises Untrusted for the first notice or deviation that nobody said who may, or is told otherwise than said."""
    ever = list(trusts)
    lifting: dict[str, Approval] = {}
    for approval in approvals:
        for effect in approval.effects.values():
            lifting |= dict.fromkeys(effect.files, approval)
    rows = _moves(bundle)
    for notice in bundle.notices:
        _notice(bundle, notice, ever)
        if notice.lifted is not None:
            by = lifting.get(f"{notices.FOLDER}{notice.notice}.statement")
            if by is None:
                raise refused(f"{notice.about} is told to be back on sale, and no release brings it back")
            if notice.lifted < earliest_of(by):
                raise refused(f"{notice.about} is told to be back on sale before the day that was signed")
        stood_in = sorted({one.of for one in bundle.deviations if one.by == notice.about})
        _reaches(bundle, notice, (notice.about, *stood_in), rows)
    ends = {span.passed.digest: span.ends for span in deviations.spans(deviations.read_passed(one.statement) for one in bundle.deviations)}
    for stand_in in bundle.deviations:
        _deviation(bundle, stand_in, ever)
        if strict.time(ends[stand_in.deviation], "$.deviations") != stand_in.ends:
            raise refused(f"the deviation for {stand_in.of} is told to end otherwise than was said")
        stood_in = sorted({one.of for one in bundle.deviations if one.by == stand_in.of})
        _reaches(bundle, stand_in, (stand_in.of, *stood_in), rows)


def earliest_of(approval: Approval) -> datetime:
    """The first moment at which the day that was signed has begun anywhere. Raises Untrusted."""
    try:
        days = [datetime.fromisoformat(effect.day).replace(tzinfo=UTC) for effect in approval.effects.values()]
    except ValueError:
        raise refused(f"release {approval.number} has no day that exists") from None
    return max(days) - _EARLIEST_ZONE


def _moves(bundle: Bundle) -> list[notices.Moved]:
    """What became of each item here, release by release."""
    records = sorted(bundle.releases, key=lambda record: int(record["number"]))
    return [(row[1], row[2], row[3]) for record in records for row in record.get("entries", ())]


def _reaches(bundle: Bundle, told: Withdrawn | StandsIn, names: tuple[str, ...], rows: list[notices.Moved]) -> None:
    """Everything it reaches by the cards themselves must be told; more than that may be."""
    here = {item: choices for item, _, choices in told.items}
    try:
        found = notices.reach_of(names, rows, bundle.entries)
    except (KeyError, TypeError, ValueError, AttributeError):
        raise refused("the cards in this bundle cannot be searched for what is off sale") from None
    for one in found:
        choices = here.get(one.item)
        if choices is None or (choices and not (one.choices and set(one.choices) <= set(choices))):
            raise refused(f"{one.item} is not told to be among what {names[0]} is in")


def key_of(payload: bytes, signature: str, namespace: str, person: Person | None) -> str | None:
    """The fingerprint of the person's key that made a signature, or None."""
    for key in person.keys.values() if person is not None else ():
        blob = blob_of(key.public)
        if blob is not None and holds(payload, signature, namespace, key.public):
            return fingerprint_of_blob(blob)
    return None


def _notice(bundle: Bundle, told: Withdrawn, ever: list[Trust]) -> None:
    posted = notices.read_posted(told.statement)
    said = posted.notice
    same = all(getattr(said, name) == getattr(told, name) for name in ("about", "lot", "why", "role", "person"))
    if not same or posted.digest != told.notice or said.book != bundle.book or strict.time(said.said, "$.notices") != told.said:
        raise refused(f"the notice about {told.about} is told otherwise than it was said")
    on = days_of(said.said)
    if not _by_one_of(posted, said.namespace, said.person, ever, lambda p, all: notices.may_post(p, all, on) is not None):
        raise refused(f"nobody who may took {told.about} off sale")


def _deviation(bundle: Bundle, told: StandsIn, ever: list[Trust]) -> None:
    passed = deviations.read_passed(told.statement)
    said = passed.deviation
    same = all(getattr(said, name) == getattr(told, name) for name in ("of", "by", "name", "checked", "why", "role", "person"))
    facts = tuple((status, k.substance, k.group, k.name) for status in STATUSES for k in said.facts[status])
    begins, ends = (strict.time(each, "$.deviations") for each in (said.said, said.ends))
    if (
        not same
        or passed.digest != told.deviation
        or (said.book, said.site) != (bundle.book, bundle.site.id)
        or facts != told.facts
        or begins != told.said
        or told.ends > ends
    ):
        raise refused(f"the deviation for {told.of} is told otherwise than it was said")
    on = days_of(said.said)
    if not _by_one_of(passed, said.namespace, said.person, ever, lambda p, all: deviations.may_pass(p, all, on)):
        raise refused(f"nobody who may allowed anything in place of {told.of}")


class _May(Protocol):
    def __call__(self, person: Person, people: Mapping[str, Person], /) -> bool: ...


def _by_one_of(said: _Said, namespace: str, who: str, ever: list[Trust], may: _May) -> bool:
    for trust in ever:
        people = trust.signatories.people
        person = people.get(who)
        if person is not None and may(person, people) and key_of(said.payload, said.signature, namespace, person):
            return True
    return False


def refused(what: str) -> Untrusted:
    """The one refusal of a bundle whose approval does not hold."""
    return Untrusted(
        f"this bundle was not approved by those who must: {what}",
        "Ask head office before you use anything from this folder: its publishing keys may be stolen.",
    )
