"""A pull or a publish that ends at any file operation leaves readers with old or new, never less.

Each operation in turn is made to fail: for good (a kill, tearing the file that
was being synced), or with a full disk for ever or once; then the same again
without a fault must succeed.
"""

from __future__ import annotations

import shutil
import tempfile

import pytest
from simulated import DAY, NOW, SITE, Killed, Repository, bundle, encoded, failing

from specctl.errors import Stop
from specctl.site import state
from specctl.site.pull import PullWish, pull
from specctl.store import distribution

NAME = f"{SITE}.json"
OLD, NEW, NEWER = (encoded(bundle(grams)) for grams in ("30", "31", "32"))


@pytest.fixture(autouse=True)
def scratch(tmp_path, monkeypatch):
    (tmp_path / "scratch").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "scratch"))


def attempt(nth, how, work):
    """Runs `work` with the nth operation failing; whether it was ever reached."""
    with failing(nth, how) as begun:
        try:
            work()
        except (Killed, Stop):
            pass
    return len(begun) >= nth


@pytest.mark.parametrize("how", ["kill", "full", "once"])
def test_pull(tmp_path, how):
    repo = Repository(tmp_path / "folder")
    root = repo.pin(tmp_path / "root.json")
    begin, now = tmp_path / "begin", tmp_path / "state"
    repo.publish({NAME: OLD}, 1000)
    pull(PullWish(str(repo.folder), begin, SITE, root, NOW))
    repo.publish({NAME: NEW}, 2000)
    seen = set()
    nth = 1
    while True:
        shutil.rmtree(now, ignore_errors=True)
        shutil.copytree(begin, now)
        wish = PullWish(str(repo.folder), now, SITE, None, NOW + DAY)
        reached = attempt(nth, how, lambda wish=wish: pull(wish))
        kept = state.load(now)
        assert kept.note is None
        assert kept.bundle in (OLD, NEW)
        seen.add(kept.bundle)
        pull(wish)
        again = state.load(now)
        assert (again.bundle, again.before, again.note) == (NEW, OLD, None)
        assert not [path for path in now.iterdir() if path.name.startswith(".new-g")]
        if not reached:
            break
        nth += 1
    assert nth > 20
    assert seen == {OLD, NEW}


@pytest.mark.parametrize("how", ["kill", "full"])
def test_first_pull(tmp_path, how):
    repo = Repository(tmp_path / "folder")
    root = repo.pin(tmp_path / "root.json")
    repo.publish({NAME: OLD}, 1000)
    nth = 1
    reached = True
    while reached:
        now = tmp_path / f"state-{nth}"
        wish = PullWish(str(repo.folder), now, SITE, root, NOW)
        reached = attempt(nth, how, lambda wish=wish: pull(wish))
        kept = state.load(now)
        assert kept is None or kept.bundle == OLD
        pull(wish)
        assert state.load(now).bundle == OLD
        nth += 1
    assert nth > 20


@pytest.mark.parametrize("how", ["kill", "full", "once"])
@pytest.mark.parametrize("verb", ["publish", "refresh", "renew_root"])
def test_writer(tmp_path, how, verb):
    keys, begin, folder = tmp_path / "keys", tmp_path / "begin", tmp_path / "folder"
    distribution.make_keys(keys)
    distribution.start(begin, keys, NOW)
    root = begin / "metadata" / "1.root.json"
    distribution.publish(begin, keys, {NAME: NEWER}, 1000, NOW)
    distribution.publish(begin, keys, {NAME: OLD}, 2000, NOW)
    later = NOW + DAY
    works = {
        "publish": lambda: distribution.publish(folder, keys, {NAME: NEW}, 3000, later),
        "refresh": lambda: distribution.refresh(folder, keys, later),
        "renew_root": lambda: distribution.renew_root(folder, keys, later),
    }
    allowed = {OLD, NEW} if verb == "publish" else {OLD}
    site = tmp_path / "site"
    pull(PullWish(str(begin), site, SITE, root, NOW))

    def shown(name):
        copy = tmp_path / name
        shutil.rmtree(copy, ignore_errors=True)
        shutil.copytree(site, copy)
        pull(PullWish(str(folder), copy, SITE, None, later))
        return state.load(copy).bundle

    nth, reached, seen = 1, True, set()
    while reached:
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(begin, folder)
        reached = attempt(nth, how, works[verb])
        seen.add(shown("after"))
        works[verb]()
        assert shown("again") == (NEW if verb == "publish" else OLD)
        nth += 1
    assert nth > 4
    assert seen == allowed


def test_reader_in_the_middle_of_a_publish(tmp_path):
    """Files of the publication before stay until the next one, then go (consistent snapshots)."""
    keys, folder = tmp_path / "keys", tmp_path / "folder"
    distribution.make_keys(keys)
    distribution.start(folder, keys, NOW)
    distribution.publish(folder, keys, {NAME: OLD}, 1000, NOW)
    held = (folder / "metadata" / "timestamp.json").read_bytes()
    distribution.publish(folder, keys, {NAME: NEW}, 2000, NOW)
    reader = tmp_path / "reader"
    shutil.copytree(folder, reader)
    (reader / "metadata" / "timestamp.json").write_bytes(held)
    pull(PullWish(str(reader), tmp_path / "s", SITE, folder / "metadata" / "1.root.json", NOW))
    assert state.load(tmp_path / "s").bundle == OLD
    distribution.publish(folder, keys, {NAME: NEWER}, 3000, NOW)
    names = sorted(path.name for path in (folder / "metadata").iterdir())
    assert names == ["1.root.json", "2000.snapshot.json", "2000.targets.json",
                     "3000.snapshot.json", "3000.targets.json", "timestamp.json"]
    assert len(list((folder / "targets").iterdir())) == 2
