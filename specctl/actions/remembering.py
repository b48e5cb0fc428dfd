"""The past of one site, kept by commit of main: made once, then grown by what main gained; never trusted unverified.

What is kept under a commit holds for it for ever. At a newer main it is taken up
where every record it was made from still stands unchanged, and only the later
releases are verified and added. Losing it costs time, nothing else.
"""

from __future__ import annotations

from specctl.actions.ledger import RELEASES, Ledger
from specctl.actions.verifying import commits_of, verified_releases, verify_later
from specctl.canonical import digest_of
from specctl.change.past import Past, read_past

PAST = "past-1"
# How far back a kept past is looked for before all of it is made again.
_REACH = 2000


def past_of(ledger: Ledger, site: str) -> Past:
    """What a site was shown up to the ledger's commit. Raises Untrusted for a release that does not hold."""
    assert ledger.commit is not None
    shelf = ledger.repository.cache()
    kept = read_past(shelf.get(PAST, _key(ledger.commit, site)))
    if kept is not None:
        return kept
    past = _earlier(ledger, site) or Past()
    if past.upto:
        later = verify_later(ledger, past.upto)
    else:
        commits = commits_of(ledger)
        later = [(r, commits[r.number]) for r in verified_releases(ledger)]
    for release, commit in later:
        past.add(site, release, commit)
    shelf.put(PAST, _key(ledger.commit, site), past.bytes())
    return past


def _key(commit: str, site: str) -> str:
    return digest_of(f"{commit} {site}".encode())


def _earlier(ledger: Ledger, site: str) -> Past | None:
    """The newest past kept for a commit this one follows, if its records are all still there as they were."""
    reader, shelf = ledger.repository.reader, ledger.repository.cache()
    assert ledger.commit is not None
    now = ledger.under(RELEASES)
    for oid in reader.first_parents(ledger.commit)[1:_REACH]:
        past = read_past(shelf.get(PAST, _key(oid, site)))
        if past is None:
            continue
        then = reader.ids(oid, RELEASES)
        same = len(then) == past.upto and all(now.get(path) == blob for path, blob in then.items())
        return past if same else None
    return None
