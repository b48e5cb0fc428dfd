"""Files that are not what was signed (TUF 1.0, 1.5.2): arbitrary installation, wrong software, extraneous dependencies, mix-and-match."""

from __future__ import annotations

import json
import shutil

import pytest
from hostile import (
    DAY,
    GOOD,
    LATER,
    NAME,
    NOW,
    OLD,
    Case,
    Hostile,
    Spoil,
    attack,
    signed_as,
    target_row,
)
from securesystemslib.signer import CryptoSigner
from simulated import Repository, bundle, encoded

UNKNOWN = "is signed by an unknown key, or by too few of the keys"
NOT_SIGNED = "is not the file that was signed"
EVIL = encoded(bundle("99"))


def stranger(role: str) -> Spoil:
    """One role signed by a key nobody named; all that hangs on it made to fit."""

    def spoil(site: Hostile) -> None:
        site.later()
        held = site.repo.releaser
        if role == "timestamp":
            site.resigned(site.file(role), lambda s: None, CryptoSigner.generate_ed25519())
            return
        site.repo.releaser = CryptoSigner.generate_ed25519()
        site.rechained(role, lambda s: None)
        if role == "targets":  # the snapshot itself stays the releaser's
            site.repo.releaser = held
            site.rechained("snapshot", lambda s: None)

    return spoil


def unsigned(role: str) -> Spoil:
    def spoil(site: Hostile) -> None:
        site.later()
        path = site.file(role)
        path.write_text(json.dumps(json.loads(path.read_bytes()) | {"signatures": []}))
        if role == "snapshot":
            site.rechained("timestamp", lambda s: s["meta"]["snapshot.json"].pop("hashes") and s["meta"]["snapshot.json"].pop("length"))

    return spoil


def whole_folder(site: Hostile) -> None:
    thief = Repository(site.place / "thief")
    thief.publish({NAME: EVIL}, 9000, stamp=99)
    shutil.rmtree(site.folder)
    shutil.copytree(thief.folder, site.folder)


def altered(site: Hostile) -> None:
    site.later()
    site.target(LATER).write_bytes(LATER.replace(b'"makes_g":"32"', b'"makes_g":"99"'))


def swapped(site: Hostile) -> None:
    """Another true bundle of this site under the name of the newest."""
    site.later()
    site.target(LATER).write_bytes(GOOD)


def edited(role: str) -> Spoil:
    def spoil(site: Hostile) -> None:
        site.later()
        path = site.file(role)
        path.write_bytes(path.read_bytes().replace(b'"_type"', b'"_Type"', 1))

    return spoil


ARBITRARY = {
    "timestamp by a stranger": Case(stranger("timestamp"), f"timestamp.json {UNKNOWN}"),
    "snapshot by a stranger": Case(stranger("snapshot"), f"3000.snapshot.json {UNKNOWN}"),
    "targets by a stranger": Case(stranger("targets"), f"3000.targets.json {UNKNOWN}"),
    "timestamp unsigned": Case(unsigned("timestamp"), f"timestamp.json {UNKNOWN}"),
    "snapshot unsigned": Case(unsigned("snapshot"), f"3000.snapshot.json {UNKNOWN}"),
    "a stranger's whole folder": Case(whole_folder, UNKNOWN),
    "a card altered in place": Case(altered, NOT_SIGNED),
    "an older card in its place": Case(swapped, NOT_SIGNED),
    "snapshot edited": Case(edited("snapshot"), NOT_SIGNED),
    "targets edited": Case(edited("targets"), NOT_SIGNED),
}


def published(**files: bytes) -> Spoil:
    def spoil(site: Hostile) -> None:
        site.repo.publish({name.replace("_", "-") + ".json": data for name, data in files.items()}, 3000)

    return spoil


def listed(**row: object) -> Spoil:
    """The list, signed by its key, tells something else of the file than what lies there."""

    def spoil(site: Hostile) -> None:
        site.later()
        site.rechained("targets", target_row(**row))

    return spoil


WRONG = {
    "only another site's name": Case(published(lamp_lane=LATER), f"holds no {NAME}"),
    "a name that begins like it": Case(published(quay_steps_2=LATER), f"holds no {NAME}"),
    "no names at all": Case(published(), f"holds no {NAME}"),
    "wrong hash": Case(listed(hashes={"sha256": "0" * 64}), "is not there"),
    "hash of another file there": Case(listed(**signed_as(NAME, GOOD) | {"length": len(LATER) + 9}), NOT_SIGNED),
    "length one short": Case(listed(length=len(LATER) - 1), "is longer than it may be"),
    "length one long": Case(listed(length=len(LATER) + 1), NOT_SIGNED),
    "length over the cap": Case(listed(length=10**12), "over the cap"),
    "a hash nobody knows": Case(listed(hashes={"rot13": "0" * 64}), f"targets/{'0' * 64}.{NAME} is not there"),
    "negative length": Case(listed(length=-1), "3000.targets.json is not well made"),
    "no bundle at all": Case(published(quay_steps=b"{}"), "the bundle is not well made at $.book: missing"),
    "a float in the bundle": Case(published(quay_steps=LATER.replace(b'"bundle":1', b'"bundle":1.0')), "the bundle is not well made at $: it is not strict JSON"),
    "a key twice in the bundle": Case(published(quay_steps=LATER.replace(b'"bundle":1', b'"bundle":1,"bundle":1')), "the bundle is not well made at $: it is not strict JSON"),
}


def named_too(what: str, data: bytes) -> Spoil:
    """The signed list draws in something that was not asked for, in place of what was."""

    def spoil(site: Hostile) -> None:
        site.repo.publish({what: data}, 3000)

    return spoil


def delegated(site: Hostile) -> None:
    """The list hands this site's name on to a key of the thief's."""
    site.repo.publish({}, 3000)
    thief = CryptoSigner.generate_ed25519().public_key
    role = {"name": "thief", "keyids": [thief.keyid], "threshold": 1, "terminating": False, "paths": [NAME]}

    def hand_on(signed: dict) -> None:
        signed["delegations"] = {"keys": {thief.keyid: thief.to_dict()}, "roles": [role]}

    site.rechained("targets", hand_on)


def in_bundle(**more: object) -> Spoil:
    def spoil(site: Hostile) -> None:
        site.repo.publish({NAME: encoded(bundle("32") | more)}, 3000)

    return spoil


def another_entry(site: Hostile) -> None:
    """An entry for another market's list, which no card asked for."""
    told = bundle("32")
    told["entries"]["0" * 64] = next(iter(told["entries"].values())) | {"market": "us"}
    site.repo.publish({NAME: encoded(told)}, 3000)


EXTRANEOUS = {
    "a delegation to the thief": Case(delegated, f"holds no {NAME}"),
    "a field nobody knows": Case(in_bundle(needs=["lamp-lane.json"]), "no such field is known"),
    "an entry nobody asked for": Case(another_entry, "its bytes are not what its digest says"),
    "a notice that is none": Case(in_bundle(notices=[{"about": "x"}]), "$.notices[0].items: missing"),
    "a drawing of another card": Case(in_bundle(drawings={"0" * 64: {}}), "drawn for an entry this bundle does not hold"),
    "a file in a folder below": Case(named_too("other-shop.json", LATER), f"holds no {NAME}"),
}


def mixed(role: str, other: int) -> Spoil:
    """One role's file of another publication, truly signed, under the newest's number."""

    def spoil(site: Hostile) -> None:
        site.repo.publish({NAME: OLD}, 2500)
        site.later()
        shutil.copy(site.file(role, other), site.file(role))

    return spoil


def both_older(site: Hostile) -> None:
    site.later()
    for role in ("snapshot", "targets"):
        shutil.copy(site.file(role, 2000), site.file(role))


def unpinned(role: str, other: int) -> Spoil:
    """As `mixed`, where the thief holds the timestamp's key and says no hash: the numbers alone must tell."""

    def spoil(site: Hostile) -> None:
        mixed(role, other)(site)

        def unsaid(signed: dict) -> None:
            for key in ("hashes", "length"):
                signed["meta"]["snapshot.json"].pop(key)

        site.rechained("timestamp", unsaid)

    return spoil


MIXED = {
    "snapshot of the one before": Case(mixed("snapshot", 2000), NOT_SIGNED),
    "targets of the one before": Case(mixed("targets", 2000), NOT_SIGNED),
    "snapshot of one never seen": Case(mixed("snapshot", 2500), NOT_SIGNED),
    "targets of one never seen": Case(mixed("targets", 2500), NOT_SIGNED),
    "snapshot and targets of the one before": Case(both_older, NOT_SIGNED),
    "older snapshot under a timestamp that says no hash": Case(unpinned("snapshot", 2000), "belongs to another publication"),
    "unseen snapshot under a timestamp that says no hash": Case(unpinned("snapshot", 2500), "belongs to another publication"),
    "targets for the snapshot": Case(lambda s: (s.later(), shutil.copy(s.file("targets"), s.file("snapshot")))[0], NOT_SIGNED),
}


@pytest.mark.parametrize("name", ARBITRARY)
def test_arbitrary_installation(site: Hostile, name: str) -> None:
    attack(site, ARBITRARY[name])


@pytest.mark.parametrize("name", WRONG)
def test_wrong_software(site: Hostile, name: str) -> None:
    attack(site, WRONG[name])


@pytest.mark.parametrize("name", EXTRANEOUS)
def test_extraneous_dependencies(site: Hostile, name: str) -> None:
    attack(site, EXTRANEOUS[name])


@pytest.mark.parametrize("name", MIXED)
def test_mix_and_match(site: Hostile, name: str) -> None:
    attack(site, MIXED[name])


def test_what_was_not_asked_for_is_never_fetched(site: Hostile) -> None:
    """Another site's file in the same folder stays there: nothing of it reaches this site."""
    secret = encoded(bundle("77", site="lamp-lane"))
    site.repo.publish({NAME: LATER, "lamp-lane.json": secret}, 3000, NOW + DAY / 24)
    site.pull(now=NOW + DAY / 24)
    assert not any(b"lamp-lane" in data and NAME.encode() not in data for n, data in site.kept().items() if "metadata/" not in n)
    assert site.card() == "32"


def test_under_an_old_root_it_is_said_that_approval_was_not_checked(site: Hostile) -> None:
    site.later()
    assert "Approval was not checked here: the root in use is an old one." in site.pull().err
    for page in (site.state / "pages").iterdir():
        assert "Approval was not checked here: the root in use is an old one." in " ".join(page.read_text(encoding="utf-8").split())
