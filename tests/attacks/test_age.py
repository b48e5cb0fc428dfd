"""Old things shown as new (TUF 1.0, 1.5.2): rollback, fast-forward and the way back from it, indefinite freeze.

A role has expired when its time is at or before now (5.1: the fixed update start
time is compared; tuf's `is_expired`): the second itself is too late.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable
from datetime import datetime, timedelta

import pytest
from hostile import (
    DAY,
    GOOD,
    LATER,
    NAME,
    NOW,
    OLD,
    ROLES,
    Case,
    Hostile,
    Spoil,
    attack,
)
from securesystemslib.signer import CryptoSigner

OLDER = "the folder is older than what this site has already seen"
SECOND = timedelta(seconds=1)


def old_copy(site: Hostile) -> None:
    site.repo.files = dict(site.first_files)
    site.repo.serve()


def forgetful(site: Hostile) -> None:
    """The site has lost all that the tuf client remembers; only its own mark is left."""
    for generation in site.state.glob("g-*"):
        shutil.rmtree(generation / "metadata")


def old_list(site: Hostile) -> None:
    site.repo.publish({NAME: OLD}, 1500)


def old_number(role: str) -> Spoil:
    """The newest publication, with one role's own number set below what was seen; what names it made to fit."""

    def spoil(site: Hostile) -> None:
        site.later()
        site.rechained(role, lambda signed: signed.update(version=1))

    return spoil


def old_row(role: str) -> Spoil:
    """What names a role names a lower number than before, and nothing else is wrong."""

    def spoil(site: Hostile) -> None:
        site.later()
        above = {"targets": "snapshot", "snapshot": "timestamp"}[role]
        site.rechained(above, lambda signed: signed["meta"][f"{role}.json"].update(version=1))

    return spoil


def old_root(site: Hostile) -> None:
    """The second root is the first again."""
    site.repo.files["metadata/2.root.json"] = site.repo.files["metadata/1.root.json"]
    site.repo.serve()


def lower_root(site: Hostile) -> None:
    site.repo.root_version = -1 + 1
    data = site.repo.new_root()
    site.repo.files["metadata/2.root.json"] = data
    site.repo.files["metadata/1.root.json"] = site.kept_keys["files"]["metadata/1.root.json"]
    site.repo.serve()


def skipping_root(site: Hostile) -> None:
    site.repo.root_version = 2
    site.repo.files["metadata/2.root.json"] = site.repo.new_root()
    site.repo.serve()


def shown_and_withheld(site: Hostile) -> None:
    """A newer timestamp was shown, its list kept back; then the host goes back to before."""
    before = dict(site.repo.files)
    site.later()
    site.file("targets").unlink()
    site.pull(code=1)
    site.repo.files = before
    site.repo.serve()


def same_number(site: Hostile) -> None:
    site.repo.publish({NAME: LATER}, 2000)


ROLLBACK: dict[str, Case] = {
    "the whole first publication": Case(old_copy, OLDER),
    "the whole first, memory of tuf gone": Case(old_copy, OLDER, before=forgetful),
    "root: the first again as the second": Case(old_root, "2.root.json is not the root that follows"),
    "root: a lower number": Case(lower_root, "2.root.json is not the root that follows"),
    "root: one left out": Case(skipping_root, "2.root.json is not the root that follows"),
    "timestamp: a lower number": Case(old_number("timestamp"), OLDER),
    "timestamp: one shown, then taken back": Case(shown_and_withheld, OLDER),
    "snapshot: a lower number": Case(old_number("snapshot"), OLDER),
    "snapshot: named with a lower number": Case(old_row("snapshot"), OLDER),
    "targets: a lower number": Case(old_number("targets"), "3000.snapshot.json belongs to another publication"),
    "targets: named with a lower number": Case(old_row("targets"), "3000.snapshot.json belongs to another publication"),
    "bundle: an old list under a newer timestamp": Case(old_list, OLDER),
    "bundle: the same, memory of tuf gone": Case(old_list, OLDER, before=forgetful),
    "bundle: another under the same number": Case(same_number, "two different publications bear the same number", before=forgetful),
}


def replaced(*roles: str) -> Callable[[Hostile], None]:
    """Head office's way back: a new root with new keys for these roles, then the next honest number."""

    def mend(site: Hostile) -> None:
        site.honest()
        if "timestamp" in roles:
            site.repo.stamper = CryptoSigner.generate_ed25519()
        if "targets" in roles:
            site.repo.releaser = CryptoSigner.generate_ed25519()
        site.repo.new_root()
        site.repo.publish({NAME: LATER}, 3001)

    return mend


def forward(role: str, number: int) -> Spoil:
    """The thief's huge number is taken by the site: it is validly signed, and of the very cards it has."""

    def before(site: Hostile) -> None:
        if role == "timestamp":
            site.repo.stamp(2000, number=number)
            site.repo.serve()
        else:
            site.repo.publish({NAME: GOOD}, number)
        site.pull()

    return before


def goes_on(site: Hostile) -> None:
    """The honest publisher goes on, and is held to be old."""
    site.repo.stamp_version = 10
    site.later()


def far_root(site: Hostile) -> None:
    """A second root with the largest number."""
    site.repo.root_version = 2**53 - 2
    site.repo.files["metadata/2.root.json"] = site.repo.new_root()
    site.repo.serve()


def recovered(site: Hostile) -> None:
    """The keys were replaced, and the site has seen it; it then loses what the tuf client remembers."""
    forward("timestamp", 2**60)(site)
    site.honest()
    site.repo.stamper = CryptoSigner.generate_ed25519()
    site.repo.new_root()
    site.repo.publish({NAME: GOOD}, 3001)
    site.pull()
    forgetful(site)


def withheld_root(site: Hostile) -> None:
    """The thief keeps the new root back and shows the huge number again."""
    site.repo = site._honest(site.folder)
    site.repo.stamp(2000, number=2**60)
    site.repo.serve()


def recover_again(site: Hostile) -> None:
    site.repo.stamper = CryptoSigner.generate_ed25519()
    for _ in range(2):
        site.repo.new_root()
    site.repo.publish({NAME: LATER}, 4000)


FORWARD = {
    "timestamp, by one": Case(goes_on, OLDER, before=forward("timestamp", 12), mend=replaced("timestamp")),
    "timestamp, by far": Case(goes_on, OLDER, before=forward("timestamp", 2**60), mend=replaced("timestamp")),
    "timestamp, both keys replaced": Case(goes_on, OLDER, before=forward("timestamp", 2**60), mend=replaced("timestamp", "targets")),
    "snapshot and targets, by far": Case(goes_on, OLDER, before=forward("targets", 2**53 - 1), mend=replaced("timestamp", "targets")),
    "root, by far": Case(far_root, "2.root.json is not the root that follows"),
    "the new root withheld": Case(withheld_root, OLDER, before=recovered, mend=recover_again),
}


def ending(role: str, ends: datetime) -> Spoil:
    """The newest publication, whose role is good until `ends`."""
    stamp = ends.strftime("%Y-%m-%dT%H:%M:%SZ")

    def spoil(site: Hostile) -> None:
        if role == "root":
            site.repo.new_root(expires=ends)
            site.later()
        else:
            site.later()
            site.rechained(role, lambda signed: signed.update(expires=stamp))

    return spoil


def mended(site: Hostile) -> None:
    """A third root, good for a year, then the honest publication."""
    first = {n: d for n, d in site.repo.files.items() if n.endswith(".root.json")}
    number = site.repo.root_version
    site.honest()
    site.repo.files |= first
    site.repo.root_version = number
    site.repo.new_root()
    site.repo.publish({NAME: LATER}, 9000)


def frozen(days: int) -> Case:
    """Nothing new is shown: the folder stays as it was, after its timestamp ended (7 days)."""
    return Case(lambda site: None, "its timestamp expired on 2026-03-08 at 05:00 UTC", NOW + days * DAY)


TOLD = {"root": "its root", "timestamp": "its timestamp", "snapshot": "its snapshot", "targets": "its list of files"}
FREEZE = {
    **{
        f"{role} ended {name}": Case(ending(role, NOW - ago), TOLD[role], mend=mended if role == "root" else None)
        for role in ROLES
        for name, ago in (("a year ago", 365 * DAY), ("one second ago", SECOND), ("this second", 0 * SECOND))
    },
    "nothing new for seven days to the second": frozen(7),
    "nothing new for a month": frozen(30),
    "nothing new for two years": Case(lambda site: None, "its root expired", NOW + 730 * DAY, mend=lambda s: renewed(s, NOW + 730 * DAY)),
}


def renewed(site: Hostile, now: datetime) -> None:
    site.honest(now)
    site.repo.new_root(expires=now + 365 * DAY)
    site.repo.publish({NAME: LATER}, 9001, now)


@pytest.mark.parametrize("name", ROLLBACK)
def test_rollback(site: Hostile, name: str) -> None:
    attack(site, ROLLBACK[name])


@pytest.mark.parametrize("name", FORWARD)
def test_fast_forward(site: Hostile, name: str) -> None:
    attack(site, FORWARD[name])


@pytest.mark.parametrize("name", FREEZE)
def test_indefinite_freeze(site: Hostile, name: str) -> None:
    attack(site, FREEZE[name])


@pytest.mark.parametrize("role", ROLES)
def test_good_to_the_last_second(site: Hostile, role: str) -> None:
    """The other side of the boundary: what ends in one second is taken."""
    ending(role, NOW + SECOND)(site)
    site.pull()
    assert site.card() == "32"


def test_a_clock_set_back_does_not_revive_the_folder(site: Hostile) -> None:
    late = NOW + 6 * DAY
    site.pull(now=late)  # verified here, then the clock goes back two days; the folder ends on the seventh
    site.repo.stamp(2000, late - 8 * DAY)
    site.repo.serve()
    told = site.pull(now=NOW + 4 * DAY, code=1)
    assert "its timestamp expired" in " ".join(told.err.split())
    site.honest(late)
    site.pull(now=NOW + 4 * DAY)
    assert site.card() == "32"
