"""Brings a site up to date: fetch, verify, judge, swap in; or leave everything as it was.

A bundle is installed only if it is signed and fresh, not older than anything
this site has verified, made for this site of this book, and well made to the
last byte. Whatever fails, the last verified cards stay and can be opened, and
the error says since when they are confirmed. Time is the later of the clock
and the last time anything was verified, so a clock set back cannot revive an
expired folder.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path

from specctl import canonical
from specctl.errors import Damaged, Stop, Untrusted, Usage
from specctl.site import state as states
from specctl.site import strict
from specctl.site.bundle import Bundle, Change, changes
from specctl.site.client import DEADLINE, Ask, Fetched, NotFetched, Seen, fetch_bundle
from specctl.site.pages import make_pages
from specctl.site.pages_masthead import Times
from specctl.site.quorum import Approved, verify_quorum, who_approved
from specctl.site.state import Confirmed, Kept, Mark

WARN_BEFORE = timedelta(days=30)
TRUST_FIELD = "x-specctl-trust"
UNCHECKED = (
    "who approved these cards was not checked here: this site's root does not name who may; "
    "ask head office for the root of a folder that does"
)


@dataclass(frozen=True, slots=True)
class PullWish:
    """What to pull: an http(s) address or a folder, into `state`, for `site`.

    `pinned_root` is the root file given by head office; needed the first time.
    `now` is the machine's clock (UTC), `seconds` the deadline of the whole fetch.
    """

    source: str
    state: Path
    site: str
    pinned_root: Path | None
    now: datetime
    seconds: float = DEADLINE


@dataclass(frozen=True, slots=True)
class Pulled:
    """What a good pull did. `changed` compares what was in force here with what is now."""

    site: str
    book: str
    main: str
    bundle: str
    confirmed: datetime
    changed: tuple[Change, ...]
    first: bool
    pages: Mapping[str, bytes]
    approved: int | None = None
    """How many releases were verified here to be approved; None where this site was not told by whom."""
    approvals: tuple[Approved, ...] = ()
    warnings: tuple[str, ...] = ()


def pull(wish: PullWish) -> Pulled:
    """Fetches, verifies and swaps in this site's bundle.

    Raises Untrusted or Unreachable with nothing installed and the kept bundle
    still there to open; Usage without a root at the first pull; Stop when
    this machine's disk says no.
    """
    if not strict.ID.fullmatch(wish.site):
        raise Usage(f"{wish.site!r} is no id of a site", "Use the id from the book.")
    with states.locked(wish.state):
        kept, notes = _kept(wish.state)
        mark = states.mark_of(wish.state, kept)
        root = _root(wish)
        clock = wish.now.astimezone(timezone.utc).replace(microsecond=0)
        now = max(clock, mark.seen) if mark.seen else clock
        if now > clock:
            notes += (f"this machine's clock is behind; {now:%Y-%m-%d %H:%M} UTC was used",)
        outcome = fetch_bundle(
            Ask(
                source=wish.source,
                name=f"{wish.site}.json",
                now=now,
                pinned_root=root,
                metadata=kept.metadata if kept else {},
                seconds=wish.seconds,
            )
        )
        try:
            fetched, bundle = _judged(outcome, wish.site, kept, mark)
            trust = trusted_by(root)
            approved = _approved(bundle, trust, kept)
            fresh = _fresh(fetched, bundle, kept, states.raised(mark, _mark(fetched.seen, now)), trust)
            pages = _drawn(bundle, _times(fresh.confirmed))
        except Stop as error:
            _remember(wish.state, mark, outcome)
            raise type(error)(f"{error.what}. {_stays(kept)}", error.todo) from None
        try:
            states.install(wish.state, fresh, root)
        except Stop as error:
            raise type(error)(f"{error.what}. {_stays(kept)}", error.todo) from None
    return Pulled(
        site=bundle.site.id,
        book=bundle.book,
        main=bundle.main,
        bundle=fresh.confirmed.bundle,
        confirmed=now,
        changed=_changed(kept, bundle, now),
        first=kept is None,
        pages=pages,
        approved=approved,
        approvals=who_approved(bundle) if approved is not None else (),
        warnings=(*notes, *(() if trust else (UNCHECKED,)), *_warnings(fetched, now)),
    )


def drawn_pages(bundle: Bundle, now: datetime) -> dict[str, bytes]:
    """The pages of a bundle confirmed at `now`, by itself. Raises Untrusted where they cannot be made."""
    return _drawn(bundle, Times(now=now, confirmed=now, since=None, approved=False))


def _drawn(bundle: Bundle, times: Times) -> dict[str, bytes]:
    """The pages. A bundle whose cards cannot be made must not take the place of one whose cards can."""
    try:
        return make_pages(bundle, times)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, ArithmeticError, RecursionError):
        raise Untrusted(
            "the cards in this bundle cannot be made by this version of specctl",
            "Install the newest specctl at this site, or tell head office.",
        ) from None


def _times(confirmed: Confirmed) -> Times:
    return Times(
        now=confirmed.confirmed,
        confirmed=confirmed.confirmed,
        since=confirmed.before_confirmed,
        approved=confirmed.trust is not None,
    )


def _kept(state: Path) -> tuple[Kept | None, tuple[str, ...]]:
    try:
        kept = states.load(state)
    except Damaged as error:
        return None, (error.what,)
    return kept, ((kept.note,) if kept and kept.note else ())


def _root(wish: PullWish) -> bytes:
    if wish.pinned_root is not None:
        try:
            return wish.pinned_root.read_bytes()
        except OSError:
            raise Usage(
                f"the root file {wish.pinned_root} cannot be read", "Check where it lies."
            ) from None
    kept = states.pinned_root(wish.state)
    if kept is None:
        raise Usage(
            "the first pull needs the root file that head office gave this site",
            "Name it; it must not come from the folder that is pulled.",
        )
    return kept


def _judged(
    outcome: Fetched | NotFetched, site: str, kept: Kept | None, mark: Mark
) -> tuple[Fetched, Bundle]:
    if isinstance(outcome, NotFetched):
        raise outcome.why
    seen = outcome.seen
    floor = states.raised(mark, _mark(seen, None))
    if (seen.root, seen.timestamp, seen.targets) != (floor.root, floor.timestamp, floor.targets):
        raise Untrusted(
            "the folder is older than what this site has already seen",
            "Pull from the place head office publishes to; tell them if this is it.",
        )
    bundle = Bundle.parse(outcome.data)
    if bundle.site.id != site:
        raise Untrusted(
            f"this is the bundle of {bundle.site.id}, not of {site}",
            "Tell head office: the fault is in what was published.",
        )
    if kept is not None:
        _same_line(outcome, bundle, kept)
    return outcome, bundle


def trusted_by(root: bytes) -> str | None:
    """The digest of who may sign, by a root given by hand; None in a root of a folder begun before it was told."""
    try:
        said = json.loads(root)["signed"].get(TRUST_FIELD)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return None  # no root at all is refused before this is asked
    if said is not None and not (isinstance(said, str) and strict.DIGEST.fullmatch(said)):
        raise Usage("the root file names nobody who may sign", "Ask head office for it again.")
    return said


def _approved(bundle: Bundle, trust: str | None, kept: Kept | None) -> int | None:
    if trust is None:
        return None
    known = None
    if kept is not None and kept.confirmed.trust == trust:
        try:
            known = Bundle.parse(kept.bundle)
        except Untrusted:  # kept by a specctl whose bundles this one does not read: judged anew
            known = None
    return verify_quorum(bundle, trust, known)


def _same_line(fetched: Fetched, bundle: Bundle, kept: Kept) -> None:
    before = kept.confirmed
    if before.book != bundle.book or before.site != bundle.site.id:
        raise Untrusted(
            f"this folder is for {bundle.site.id} of book {bundle.book}; "
            f"the cards kept here are for {before.site} of book {before.book}",
            "Use another state folder for another site or book.",
        )
    # tuf alone would not notice two publishers who used one number twice.
    same_number = fetched.seen.targets == before.mark.targets
    same_keys = fetched.seen.targets_keys == before.mark.targets_keys
    if same_number and same_keys and canonical.digest_of(fetched.data) != before.bundle:
        raise Untrusted(
            "two different publications bear the same number",
            "Tell head office: two machines may be publishing.",
        )


def _mark(seen: Seen, now: datetime | None) -> Mark:
    return Mark(
        root=seen.root,
        timestamp=seen.timestamp,
        targets=seen.targets,
        timestamp_keys=seen.timestamp_keys,
        targets_keys=seen.targets_keys,
        seen=now,
    )


def _remember(state: Path, mark: Mark, outcome: Fetched | NotFetched) -> None:
    """Raises the mark by what was verified before a pull failed.

    The specification keeps a verified timestamp even if the rest fails (5.4);
    without that, a host could show a new one, withhold the rest, and go back.
    """
    if outcome.seen is None:
        return
    after = states.raised(mark, _mark(outcome.seen, None))
    if after != mark:
        try:
            states.keep_mark(state, after)
        except Stop:
            return  # the refusal itself is the news


def _fresh(fetched: Fetched, bundle: Bundle, kept: Kept | None, mark: Mark, trust: str | None) -> Kept:
    digest = canonical.digest_of(fetched.data)
    before, before_digest, before_confirmed = None, None, None
    if kept is not None:
        if kept.confirmed.bundle != digest:
            before = kept.bundle
            before_digest = kept.confirmed.bundle
            before_confirmed = kept.confirmed.confirmed
        elif kept.before is not None:  # only confirmed again: what came before is unchanged
            before = kept.before
            before_digest = kept.confirmed.before
            before_confirmed = kept.confirmed.before_confirmed
    assert mark.seen is not None
    confirmed = Confirmed(
        confirmed=mark.seen,
        site=bundle.site.id,
        book=bundle.book,
        main=bundle.main,
        bundle=digest,
        mark=mark,
        before=before_digest,
        before_confirmed=before_confirmed,
        trust=trust,
    )
    return Kept("", fetched.data, confirmed, before, fetched.metadata)


def _changed(kept: Kept | None, bundle: Bundle, now: datetime) -> tuple[Change, ...]:
    try:
        before = Bundle.parse(kept.bundle).in_force(now) if kept else {}
    except Untrusted:  # kept by an older specctl in a format this one does not read
        before = {}
    return changes(before, bundle.in_force(now))


def _stays(kept: Kept | None) -> str:
    if kept is None:
        return "Nothing was installed; this site has no verified cards yet"
    return (
        "Nothing was installed; the last verified cards stay, "
        f"not confirmed since {kept.confirmed.confirmed:%Y-%m-%d %H:%M} UTC"
    )


def _warnings(fetched: Fetched, now: datetime) -> tuple[str, ...]:
    return tuple(
        f"the folder's {role} expires on {fetched.expires[role]:%Y-%m-%d}: tell head office"
        for role in ("root", "targets", "snapshot")
        if fetched.expires[role] - now < WARN_BEFORE
    )
