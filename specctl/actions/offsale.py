"""The verb `off-sale`: one person takes something off sale at once; a full quorum brings it back.

A notice is a signed statement on main and travels in every bundle, so each
site's next pull shows it before anything else. It stands until a release whose
proposal names it and records what became of the goods; that proposal asks for
whoever a shrinking declaration asks for, the most the policy asks of anybody.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from specctl.actions.collecting import main_book
from specctl.actions.identity import identify, key_at_hand
from specctl.actions.ledger import Ledger
from specctl.actions.proposing import Proposed, ProposeWish, propose_changes
from specctl.actions.source import Source
from specctl.actions.stand_ins import deviations
from specctl.actions.starts import stamp
from specctl.change.notice import (
    FOLDER,
    KINDS,
    LONGEST_LOT,
    Notice,
    Posted,
    Reached,
    may_post,
    reach_of,
    read_posted,
)
from specctl.codec.load import read_file
from specctl.domain.book import Book
from specctl.errors import Damaged, NotFound, Refused, Untrusted
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree_with
from specctl.store.repository import Repository
from specctl.store.signature import Signer, sign, verify


@dataclass(frozen=True, slots=True)
class OffSaleWish:
    """`kind` is ingredient, lot, prep or drink; a lot is one of an ingredient."""

    kind: str
    id: str
    why: str
    now: datetime
    lot: str = ""
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class OffSale:
    """The notice, the commit it came in with, and what it reaches by site."""

    posted: Posted
    commit: str
    reach: Mapping[str, tuple[Reached, ...]]

    def as_json(self) -> dict[str, Any]:
        return {
            "off_sale": 1,
            "notice": self.posted.digest,
            "commit": self.commit,
            **{name: getattr(self.posted.notice, name) for name in ("about", "lot", "why", "role", "person", "said")},
            "reach": {site: [r.as_json() for r in items] for site, items in self.reach.items()},
        }


@dataclass(frozen=True, slots=True)
class Stands:
    """A notice on main, and the release that lifts it (None: none does), with the disposal it records."""

    posted: Posted
    lifted_by: int | None
    disposal: str


def off_sale(source: Source, wish: OffSaleWish) -> OffSale:
    """Take something off sale. Raises Refused for a person who may not, or where it is off sale already."""
    repository = source.in_git()
    made: list[Posted] = []

    def build(tip: str | None) -> str:
        if tip is None:
            raise Refused("this book has no main yet", "Begin one with: specctl init")
        book = main_book(repository, tip)
        assert book.signatories is not None
        who = identify(book.signatories, key_at_hand(repository, wish.key))
        role = may_post(who.person, book.signatories.people, (wish.now.date(),))
        if role is None:
            raise Refused(f"{who.person.name} may not take anything off sale", "A food-safety lead or a releaser may, alone.")
        ledger = Ledger(repository, tip)
        notice = Notice(book.settings.id, _about(wish, book, ledger), wish.lot.strip(), wish.why.strip(), role, who.person.id, stamp(wish.now))
        known = [s for s in notices(ledger) if s.lifted_by is None and (s.posted.notice.about, s.posted.notice.lot) == (notice.about, notice.lot)]
        if known:
            raise Refused(f"{notice.about} is off sale already, since {known[0].posted.notice.said}", f"Its notice is {known[0].posted.digest[:12]}.")
        posted = Posted(notice, notice.payload, sign(notice.payload, who.key, notice.namespace))
        _refuse_unreadable(posted)
        made[:] = [posted]
        tree = write_tree_with(repository.reader, repository.reader.commit(tip).tree, {posted.path: posted.text().encode("ascii")})
        what = f"Off sale: {notice.about}" + (f", lot {notice.lot}" if notice.lot else "")
        message = f"{what}\n\n{notice.why}\n"
        return make_commit(
            repository.root, CommitWish(tree, (tip,), message, who.person.name, who.email, int(wish.now.timestamp()), who.key)
        )

    commit = repository.move_main(build)
    ledger = Ledger(repository, commit)
    sites = sorted({row.site for r in ledger.releases for row in r.rows})
    return OffSale(made[0], commit, {site: reach_at(ledger, site, made[0].notice.about) for site in sites})


def _about(wish: OffSaleWish, book: Book, ledger: Ledger) -> str:
    if wish.kind not in KINDS:
        raise Refused(f"{wish.kind!r} cannot be taken off sale", "Kinds: " + ", ".join(KINDS))
    if wish.kind == "lot" and not wish.lot.strip():
        raise Refused("which lot?", "Name it with --lot, as it stands on the pack.")
    if wish.lot.strip() and wish.kind not in ("lot", "ingredient"):
        raise Refused("only an ingredient has lots", f"Leave --lot out, or name the ingredient that is in {wish.id}.")
    if len(wish.lot) > LONGEST_LOT:
        raise Refused(f"the lot is longer than {LONGEST_LOT} characters")
    kind = "ingredient" if wish.kind == "lot" else wish.kind
    held: Mapping[str, object] = getattr(book, f"{kind}s")
    # What main no longer holds may still stand in a fridge: it counts while any release ever told of it.
    told = {row.item.partition("/")[2] for r in ledger.releases for row in r.rows if row.item.startswith(f"{kind}/")}
    if wish.id not in held and wish.id not in told:
        near = difflib.get_close_matches(wish.id, [*held, *told], 3)
        raise NotFound(f"there is no {kind} {wish.id}", f"Did you mean {', '.join(near)}?" if near else f"See: specctl trace, or the {kind}s folder.")
    return f"{kind}/{wish.id}"


def _refuse_unreadable(posted: Posted) -> None:
    try:
        read_posted(posted.text())
    except Untrusted:
        raise Refused("nothing was taken off sale: the reason is empty, too long or cannot stand in a notice", "Say it in 500 plain characters.") from None


def notices(ledger: Ledger) -> tuple[Stands, ...]:
    """Every notice on main, in the order they were said, with the release that lifts it. Raises Untrusted for a forged one."""
    lifted = lifts(ledger)
    found = []
    for path, oid in sorted(ledger.under(FOLDER).items()):
        posted = read_posted(ledger.repository.reader.blob(oid).decode("ascii", "replace"))
        if posted.path != path:
            raise Damaged(f"{path} holds another notice than its name says", "Restore it from another clone.")
        number, disposal = lifted.get(posted.digest, (None, ""))
        found.append(Stands(posted, number, disposal))
    return tuple(sorted(found, key=lambda s: (s.posted.notice.said, s.posted.digest)))


def refuse_forged(ledger: Ledger, standing: tuple[Stands, ...]) -> None:
    """Each notice is signed by somebody who may, now or with a key since retired. Raises Untrusted."""
    if not standing or ledger.commit is None:
        return
    signatories = main_book(ledger.repository, ledger.commit).signatories
    assert signatories is not None
    for one in standing:
        notice = one.posted.notice
        person = signatories.people.get(notice.person)
        keys = [Signer(notice.person, k.public) for k in person.keys.values()] if person else []
        if not keys or verify(one.posted.payload, one.posted.signature, notice.namespace, keys) != notice.person:
            raise Untrusted(f"the notice {one.posted.digest[:12]} on main is not signed by {notice.person}", "Find out who pushed it: specctl audit")


def lifts(ledger: Ledger) -> dict[str, tuple[int, str]]:
    """Notice to (release, disposal), by the proposals that were released."""
    found: dict[str, tuple[int, str]] = {}
    for release in ledger.releases:
        for digest, disposal in lifted_by(ledger.repository, ledger.commit, release.proposal).items():
            found.setdefault(digest, (release.number, disposal))
    return found


def lifted_by(repository: Repository, commit: str | None, proposal: str) -> dict[str, str]:
    """What a proposal's file, at a commit, brings back on sale: notice to disposal."""
    path = f"proposals/{proposal}.yaml"
    data = repository.reader.file(commit, path) if commit else None
    node = read_file("proposal", path, data, repository.cache())[0] if data is not None else None
    named = node.get("back_on_sale") if node is not None else None
    if named is None:
        return {}
    return {key: str(found.value) for key, inner in named.pairs() if (found := inner.get("disposal")) is not None}


def reach_at(ledger: Ledger, site: str, about: str) -> tuple[Reached, ...]:
    """What a notice takes off at a site."""
    rows = [(row.item, row.before, row.after) for release in ledger.releases for row in release.rows if row.site == site]
    # What stood in for something was used wherever that was, whenever that was.
    replaced = {s.passed.deviation.of for s in deviations(ledger) if (s.passed.deviation.site, s.passed.deviation.by) == (site, about)}
    return reach_of((about, *sorted(replaced)), rows, ledger.entries(d for _, *both in rows for d in both if d))


def off_at(ledger: Ledger, site: str, moment: datetime) -> list[dict[str, Any]]:
    """What was off sale at a site at a time: by each notice's own date, and the start of the release that lifts it."""
    at = stamp(moment)
    by_number = {r.number: r for r in ledger.releases}
    standing = notices(ledger)
    refuse_forged(ledger, standing)
    found = []
    for one in standing:
        notice = one.posted.notice
        lifting = by_number[one.lifted_by] if one.lifted_by else None
        lifted = lifting.starts.get(site, lifting.released) if lifting else None
        if notice.said <= at and (lifted is None or lifted > at):
            items = [r.as_json() for r in reach_at(ledger, site, notice.about)]
            found.append({"notice": one.posted.digest, "about": notice.about, "lot": notice.lot, "why": notice.why, "said": notice.said, "items": items})
    return found


def back_on_sale(source: Source, notice: str, disposal: str, why: str, now: datetime, start: date | None = None, key: Path | None = None) -> Proposed:
    """A proposal that lifts a notice, with the record of what became of the goods."""
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    if not disposal.strip():
        raise Refused("what became of the goods?", 'Say it with --disposal "...": thrown away, sent back, who saw it.')
    standing = [s for s in notices(Ledger(repository, main)) if s.lifted_by is None]
    found = [s for s in standing if s.posted.digest.startswith(notice)] if len(notice) >= 6 else []
    if len(found) != 1:
        listed = ", ".join(f"{s.posted.digest[:12]} ({s.posted.notice.about})" for s in standing) or "none"
        raise NotFound(f"there is no standing notice {notice}", f"Standing notices: {listed}")
    posted = found[0].posted
    wish = ProposeWish(
        f"Back on sale: {posted.notice.about}"[:120],
        why or f"Lifts the notice of {posted.notice.said}: {posted.notice.why}"[:1000],
        now,
        start=start,
        back_on_sale=((posted.digest, disposal.strip()),),
        key=key,
    )
    return propose_changes(source, wish, main, {})
