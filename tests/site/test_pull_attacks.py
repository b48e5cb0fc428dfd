"""Attacks a published folder must survive at a site (The Update Framework 1.0, section 1.5.2).

After each refused attack the last verified cards open unchanged, the refusal
says since when they are confirmed, and a good update succeeds.
"""

from __future__ import annotations

import json
import shutil

import pytest
from securesystemslib.signer import CryptoSigner
from simulated import DAY, NOW, OTHER, SITE, Repository, bundle, encoded
from tuf.api.metadata import Metadata

from specctl.errors import Stop, Unreachable, Untrusted, Usage
from specctl.site import state
from specctl.site.pull import PullWish, pull

NAME = f"{SITE}.json"
OLD, GOOD, LATER = (encoded(bundle(grams)) for grams in ("30", "31", "32"))


class Counter:
    """A site that has pulled OLD (version 1000), then GOOD (2000)."""

    def __init__(self, tmp_path) -> None:
        self.repo = Repository(tmp_path / "folder")
        self.state = tmp_path / "state"
        self.root = self.repo.pin(tmp_path / "root.json")
        self.repo.publish({NAME: OLD}, 1000)
        self.pull()
        self.first_files = dict(self.repo.files)
        self.repo.publish({NAME: GOOD}, 2000)
        self.pull()

    def pull(self, now=NOW, **kwargs):
        wish = PullWish(str(self.repo.folder), self.state, SITE, self.root, now, **kwargs)
        return pull(wish)

    def refuses(self, words: str, now=NOW, kind=Untrusted) -> None:
        with pytest.raises(kind) as refusal:
            self.pull(now)
        said = str(refusal.value)
        assert words in said
        assert "not confirmed since 2026-03-01 05:00 UTC" in said
        assert state.load(self.state).bundle == GOOD

    def recovers(self, version=9000, now=NOW) -> None:
        self.repo.publish({NAME: LATER}, version, now)
        pulled = self.pull(now)
        assert [change.item for change in pulled.changed] == ["drink/oat-tide"]
        assert state.load(self.state).bundle == LATER


@pytest.fixture
def counter(tmp_path):
    return Counter(tmp_path)


def spoil(path, old: bytes, new: bytes) -> None:
    data = path.read_bytes()
    assert old in data
    path.write_bytes(data.replace(old, new))


def test_altered_target(counter):
    counter.repo.publish({NAME: LATER}, 3000)
    for path in (counter.repo.folder / "targets").iterdir():
        if path.read_bytes() == LATER:
            path.write_bytes(LATER.replace(b'"makes_g":"32"', b'"makes_g":"99"'))
    counter.refuses("is not the file that was signed")
    counter.recovers()


@pytest.mark.parametrize("role", ["timestamp", "3000.snapshot", "3000.targets"])
def test_altered_metadata(counter, role):
    counter.repo.publish({NAME: LATER}, 3000)
    spoil(counter.repo.folder / "metadata" / f"{role}.json", b"2027" if "." in role else b"2026", b"2099")
    counter.refuses("signed by an unknown key" if role == "timestamp" else "is not the file that was")
    counter.recovers()


@pytest.mark.parametrize("junk", [b"", b"{", b"[" * 100_000, b"\xff\xfe", b'{"signed":{"version":NaN}}',
                                  b'{"signatures":[],"signed":[]}', b'{"signed":' + b"9" * 9000 + b"}"])
def test_metadata_of_junk(counter, junk):
    (counter.repo.folder / "metadata" / "timestamp.json").write_bytes(junk)
    counter.refuses("timestamp.json")
    counter.recovers()


def test_library_that_trips_over_a_strangers_bytes(counter, monkeypatch):
    """No bytes are known that do this to tuf 7; what it would raise must still not get out."""

    def trips(_self):
        raise KeyError("signed")

    with monkeypatch.context() as patched:
        patched.setattr("tuf.ngclient.Updater.refresh", trips)
        counter.refuses("cannot be read")
    counter.recovers()


def test_arbitrary_key(counter):
    counter.repo.stamp(2000, signer=CryptoSigner.generate_ed25519())
    counter.repo.serve()
    counter.refuses("signed by an unknown key")
    counter.recovers()


def test_arbitrary_releaser(counter):
    honest = counter.repo.releaser
    counter.repo.releaser = CryptoSigner.generate_ed25519()
    counter.repo.publish({NAME: LATER}, 3000)
    counter.refuses("signed by an unknown key")
    counter.repo.releaser = honest
    counter.recovers()


def test_whole_folder_of_a_stranger(counter, tmp_path):
    stranger = Repository(tmp_path / "stranger")
    stranger.publish({NAME: LATER}, 9000, stamp=99)
    counter.repo.folder, honest = stranger.folder, counter.repo.folder
    counter.refuses("signed by an unknown key")
    counter.repo.folder = honest
    counter.recovers()


def test_wrong_sites_bundle_validly_signed(counter):
    counter.repo.publish({NAME: encoded(bundle("31", site=OTHER))}, 3000)
    counter.refuses(f"the bundle of {OTHER}, not of {SITE}")
    counter.recovers()


def test_another_books_bundle_validly_signed(counter):
    counter.repo.publish({NAME: encoded(bundle("31", book="other-book"))}, 3000)
    counter.refuses("other-book")
    counter.recovers()


def test_no_bundle_for_this_site(counter):
    counter.repo.publish({f"{OTHER}.json": LATER}, 3000)
    counter.refuses(f"holds no {NAME}")
    counter.recovers()


def test_rollback_to_an_old_copy(counter):
    counter.repo.files, kept = counter.first_files, counter.repo.files
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.files = kept
    counter.recovers()


def test_rollback_after_metadata_was_emptied(counter):
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    counter.repo.files, kept = counter.first_files, counter.repo.files
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.files = kept
    counter.recovers()


def test_rollback_after_metadata_and_mark_were_emptied(counter):
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    (counter.state / "highwater.json").unlink()
    counter.repo.files, kept = counter.first_files, counter.repo.files
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.files = kept
    counter.recovers()


def test_rollback_after_kept_cards_and_metadata_were_removed(counter):
    for folder in counter.state.glob("g-*"):
        shutil.rmtree(folder)
    counter.repo.files, kept = counter.first_files, counter.repo.files
    counter.repo.serve()
    with pytest.raises(Untrusted, match="older than what this site has already seen"):
        counter.pull()
    counter.repo.files = kept
    counter.repo.publish({NAME: LATER}, 9000)
    counter.pull()
    assert state.load(counter.state).bundle == LATER


def test_rollback_after_expiry(counter):
    late = NOW + 8 * DAY
    counter.refuses("its timestamp expired on 2026-03-08", late)
    counter.repo.publish({NAME: OLD}, 1000, late, stamp=1)
    counter.refuses("older than what this site has already seen", late)
    counter.repo.stamp_version = 5
    counter.recovers(now=late)


def test_rollback_of_the_targets_under_a_newer_timestamp(counter):
    counter.repo.publish({NAME: OLD}, 1500)
    counter.refuses("older than what this site has already seen")
    counter.recovers()


def test_rollback_of_the_targets_after_metadata_was_emptied(counter):
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    counter.repo.publish({NAME: OLD}, 1500)
    counter.refuses("older than what this site has already seen")
    counter.recovers()


def test_a_timestamp_shown_and_withheld_cannot_be_taken_back(counter):
    between = dict(counter.repo.files)
    counter.repo.stamp(2000)
    between["metadata/timestamp.json"] = counter.repo.files["metadata/timestamp.json"]
    counter.repo.publish({NAME: LATER}, 3000)
    (counter.repo.folder / "metadata" / "3000.snapshot.json").unlink()
    counter.refuses("3000.snapshot.json is not there", kind=Unreachable)
    full, counter.repo.files = counter.repo.files, between
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.files = full
    counter.recovers()


def test_freeze(counter):
    counter.pull(NOW)
    counter.refuses("its timestamp expired on 2026-03-08 at 05:00 UTC", NOW + 7 * DAY)
    counter.recovers(now=NOW + 7 * DAY)


def test_expired_list_of_files(counter):
    counter.repo.publish({NAME: LATER}, 3000, life=DAY)
    counter.refuses("its snapshot expired on 2026-03-02", NOW + 2 * DAY)
    counter.recovers(now=NOW + 2 * DAY)


def test_expired_root(counter):
    counter.repo.new_root(expires=NOW + DAY)
    counter.repo.serve()
    counter.pull()
    counter.repo.publish({NAME: GOOD}, 2000, NOW + 2 * DAY)
    counter.refuses("its root expired on 2026-03-02", NOW + 2 * DAY)
    counter.repo.new_root()
    counter.recovers(now=NOW + 2 * DAY)


def test_clock_set_back_does_not_revive(counter):
    """The later of the clock and the last verified time counts."""
    counter.repo.publish({NAME: GOOD}, 2000, NOW + 6 * DAY)
    counter.pull(NOW + 6 * DAY)
    pulled = counter.pull(NOW - 400 * DAY)
    assert pulled.confirmed == NOW + 6 * DAY
    assert "clock is behind" in pulled.warnings[0]
    counter.repo.publish({NAME: LATER}, 3000, NOW - 3 * DAY)
    with pytest.raises(Untrusted, match="timestamp expired on 2026-03-05"):
        counter.pull(NOW - 2 * DAY)


def test_fast_forward_of_the_timestamp_and_recovery_by_a_new_root(counter):
    """TUF 5.3.11: after the key is replaced, the thief's number no longer binds."""
    counter.repo.stamp(2000, number=2**60)
    counter.repo.serve()
    counter.pull()
    counter.repo.stamp(2000, number=7)
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.stamper = CryptoSigner.generate_ed25519()
    counter.repo.new_root()
    counter.recovers()


def test_fast_forward_of_the_targets_and_recovery_by_a_new_root(counter):
    counter.repo.publish({NAME: GOOD}, 2**60)
    counter.pull()
    counter.repo.publish({NAME: LATER}, 3000)
    counter.refuses("older than what this site has already seen")
    counter.repo.stamper = CryptoSigner.generate_ed25519()
    counter.repo.releaser = CryptoSigner.generate_ed25519()
    counter.repo.new_root()
    counter.recovers(version=3001)


def test_new_key_alone_does_not_lift_the_other_roles_mark(counter):
    counter.repo.stamper = CryptoSigner.generate_ed25519()
    counter.repo.new_root()
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    counter.repo.publish({NAME: OLD}, 1500)
    counter.refuses("older than what this site has already seen")
    counter.recovers()


def test_old_root_withheld_after_metadata_was_emptied(counter):
    stolen = counter.repo.stamper
    counter.repo.stamper = CryptoSigner.generate_ed25519()
    counter.repo.new_root()
    counter.repo.publish({NAME: GOOD}, 2000, stamp=50)
    counter.pull()
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    kept = dict(counter.repo.files)
    counter.repo.stamp(2000, number=90, signer=stolen)
    del counter.repo.files["metadata/2.root.json"]
    counter.repo.serve()
    counter.refuses("older than what this site has already seen")
    counter.repo.files = kept
    counter.recovers()


def test_mix_and_match(counter):
    counter.repo.publish({NAME: LATER}, 3000)
    folder = counter.repo.folder / "metadata"
    shutil.copy(folder / "2000.targets.json", folder / "3000.targets.json")
    counter.refuses("3000.targets.json is not the file that was signed")
    counter.recovers()


def test_endless_metadata(counter):
    path = counter.repo.folder / "metadata" / "timestamp.json"
    path.write_bytes(path.read_bytes() + b" " * 100_000)
    counter.refuses("timestamp.json is longer than it may be")
    counter.recovers()


def test_endless_target(counter):
    counter.repo.publish({NAME: LATER}, 3000)
    for path in (counter.repo.folder / "targets").iterdir():
        path.write_bytes(path.read_bytes() + b" ")
    counter.refuses("is longer than it may be")
    counter.recovers()


def test_target_signed_as_larger_than_the_cap(counter, monkeypatch):
    monkeypatch.setattr("specctl.site.client.CAP", len(LATER) - 1)
    counter.repo.publish({NAME: LATER}, 3000)
    counter.refuses("over the cap")
    monkeypatch.undo()
    counter.recovers()


@pytest.mark.parametrize("how", ["one key", "same signature twice", "same key under two ids"])
def test_faked_root_threshold(counter, how):
    thief = counter.repo.roots[0]
    honest = list(counter.repo.roots)
    counter.repo.roots = [thief, CryptoSigner.generate_ed25519(), CryptoSigner.generate_ed25519()]
    data = json.loads(counter.repo.new_root(signers=[thief]))
    if how == "same signature twice":
        data["signatures"] *= 2
    if how == "same key under two ids":
        alias = "0" * 64
        keyid = thief.public_key.keyid
        data["signed"]["keys"][alias] = data["signed"]["keys"][keyid]
        data["signed"]["roles"]["root"]["keyids"] = [keyid, alias]
        signed = Metadata.from_dict(json.loads(json.dumps(data)))
        signature = signed.sign(thief).to_dict()
        data["signatures"] = [signature, signature | {"keyid": alias}]
    counter.repo.files["metadata/2.root.json"] = json.dumps(data).encode()
    counter.repo.serve()
    counter.refuses("2.root.json")
    counter.repo.roots = honest
    counter.repo.root_version = 1
    counter.repo.new_root()
    counter.recovers()


def test_root_that_skips_a_number(counter):
    data = counter.repo.new_root()
    counter.repo.root_version += 1
    skipped = counter.repo.new_root()
    counter.repo.files["metadata/2.root.json"] = skipped
    counter.repo.serve()
    counter.refuses("2.root.json is not the root that follows")
    counter.repo.files["metadata/2.root.json"] = data
    counter.repo.files.pop("metadata/4.root.json", None)
    counter.recovers()


def test_two_publishers_used_one_number(counter):
    for folder in counter.state.glob("g-*/metadata"):
        shutil.rmtree(folder)
    counter.repo.publish({NAME: LATER}, 2000)
    counter.refuses("two different publications bear the same number")
    counter.recovers()


@pytest.mark.parametrize("missing", ["metadata/timestamp.json", "metadata/2000.snapshot.json"])
def test_file_missing_from_the_folder(counter, missing):
    counter.repo.stamp(2000)
    counter.repo.publish({NAME: LATER}, 3000)
    missing = missing.replace("2000", "3000")
    (counter.repo.folder / missing).unlink()
    counter.refuses("is not there", kind=Unreachable)
    counter.recovers()


def test_folder_not_there(counter):
    shutil.rmtree(counter.repo.folder)
    counter.refuses("there is no folder", kind=Unreachable)
    counter.recovers()


def test_first_pull_needs_a_root_given_by_hand(tmp_path):
    repo = Repository(tmp_path / "folder")
    repo.publish({NAME: OLD}, 1000)
    with pytest.raises(Usage, match="root file"):
        pull(PullWish(str(repo.folder), tmp_path / "state", SITE, None, NOW))
    assert state.load(tmp_path / "state") is None


def test_first_pull_with_a_strangers_root(tmp_path):
    repo, stranger = Repository(tmp_path / "folder"), Repository(tmp_path / "stranger")
    repo.publish({NAME: OLD}, 1000)
    wish = PullWish(str(repo.folder), tmp_path / "state", SITE, stranger.pin(tmp_path / "r"), NOW)
    with pytest.raises(Untrusted, match="no verified cards yet"):
        pull(wish)
    (tmp_path / "r").write_bytes(b"{}")
    with pytest.raises(Untrusted, match="pinned root is no root"):
        pull(wish)
    pull(PullWish(str(repo.folder), tmp_path / "state", SITE, repo.pin(tmp_path / "r"), NOW))
    pull(PullWish(str(repo.folder), tmp_path / "state", SITE, None, NOW))


def test_site_id_cannot_leave_the_folder(tmp_path):
    for site in ("../x", "a/b", "", "A", "a--b", "x" * 65, "a\n"):
        with pytest.raises(Usage):
            pull(PullWish(str(tmp_path), tmp_path / "state", site, None, NOW))


def test_every_refusal_is_a_stop(counter):
    """Flipping any one bit of a served file never lets a library's exception out."""
    counter.repo.publish({NAME: LATER}, 3000)
    for path in sorted(counter.repo.folder.rglob("*.json")):
        data = path.read_bytes()
        for at in range(0, len(data), max(1, len(data) // 12)):
            path.write_bytes(data[:at] + bytes([data[at] ^ 0x11]) + data[at + 1 :])
            try:
                counter.pull()
            except Stop:
                assert state.load(counter.state).bundle == GOOD
            else:  # a file nobody needed, such as an older one
                assert state.load(counter.state).bundle == LATER
                shutil.rmtree(counter.state)
                counter.repo.publish({NAME: GOOD}, 2000)
                counter.pull()
                counter.repo.publish({NAME: LATER}, 3000)
        path.write_bytes(data)
