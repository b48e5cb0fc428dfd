"""What a site keeps: generations, the fall-back, and the mark that outlives its metadata."""

from __future__ import annotations

import pytest
from simulated import DAY, NOW, SITE, Repository, bundle, encoded

from specctl import canonical
from specctl.errors import Damaged, Refused, Untrusted
from specctl.site import durable, state
from specctl.site.pull import PullWish, pull
from specctl.site.state import Mark, raised

NAME = f"{SITE}.json"
OLD, NEW = encoded(bundle("30")), encoded(bundle("31"))


class Site:
    def __init__(self, tmp_path) -> None:
        self.repo = Repository(tmp_path / "folder")
        self.state = tmp_path / "state"
        self.root = self.repo.pin(tmp_path / "root.json")

    def pull(self, data, version, now=NOW):
        self.repo.publish({NAME: data}, version, now)
        return pull(PullWish(str(self.repo.folder), self.state, SITE, self.root, now))


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    made.pull(OLD, 1000)
    made.pull(NEW, 2000, NOW + DAY)
    return made


def test_nothing_kept(tmp_path):
    assert state.load(tmp_path / "none") is None
    assert state.mark_of(tmp_path / "none", None) == Mark()


def test_what_is_kept(site):
    kept = state.load(site.state)
    assert kept.bundle == NEW
    assert kept.before == OLD
    said = kept.confirmed
    assert (said.confirmed, said.before_confirmed) == (NOW + DAY, NOW)
    assert (said.site, said.book, said.main) == (SITE, "tidewick", "a" * 40)
    assert said.bundle == canonical.digest_of(NEW)
    assert (said.mark.targets, said.mark.timestamp, said.mark.root) == (2000, 2, 1)


def test_confirming_again_keeps_what_came_before(site):
    again = site.pull(NEW, 2000, NOW + 2 * DAY)
    assert again.changed == ()
    kept = state.load(site.state)
    assert (kept.before, kept.confirmed.confirmed) == (OLD, NOW + 2 * DAY)
    assert kept.confirmed.before_confirmed == NOW


def test_three_generations_stay(site):
    for day in range(2, 6):
        site.pull(NEW, 2000, NOW + day * DAY)
    names = sorted(path.name for path in site.state.glob("g-*"))
    assert names == ["g-000004", "g-000005", "g-000006"]
    assert (site.state / "CURRENT").read_text() == "g-000006\n"


@pytest.mark.parametrize(
    "spoil",
    [
        lambda folder: (folder / "bundle.json").write_bytes(NEW.replace(b"Oat tide", b"Oat time")),
        lambda folder: (folder / "bundle.json").write_bytes(NEW[:-1]),
        lambda folder: (folder / "bundle.json").unlink(),
        lambda folder: (folder / "confirmed.json").write_bytes(b""),
        lambda folder: (folder / "confirmed.json").write_bytes(b"[]"),
        lambda folder: (folder / "confirmed.json").write_bytes(b'{"confirmed":1}'),
    ],
)
def test_damaged_generation_falls_back_and_says_so(site, spoil):
    spoil(site.state / "g-000002")
    kept = state.load(site.state)
    assert (kept.bundle, kept.generation) == (OLD, "g-000001")
    assert "damaged" in kept.note
    pulled = site.pull(NEW, 2000, NOW + DAY)
    assert "damaged" in pulled.warnings[0]
    assert state.load(site.state).note is None


@pytest.mark.parametrize("text", [None, "", "g-9", "../../etc", "\xff", "g-000009"])
def test_lost_pointer_opens_the_newest_and_says_so(site, text):
    pointer = site.state / "CURRENT"
    if text is None:
        pointer.unlink()
    else:
        pointer.write_text(text, "latin-1")
    kept = state.load(site.state)
    assert kept.bundle == NEW
    assert kept.note


def test_all_damaged_is_said_and_healed_by_a_pull(site):
    for folder in site.state.glob("g-*"):
        (folder / "bundle.json").write_bytes(b"")
    with pytest.raises(Damaged):
        state.load(site.state)
    assert "damaged" in site.pull(NEW, 2000, NOW + DAY).warnings[0]
    assert state.load(site.state).bundle == NEW


def test_generation_that_was_never_put_in_use_is_not_shown(site):
    (site.state / "CURRENT").write_text("g-000001\n")
    kept = state.load(site.state)
    assert (kept.bundle, kept.note) == (OLD, None)


def test_damaged_mark_is_stood_in_for_by_the_kept_bundle(site):
    (site.state / "highwater.json").write_bytes(b"{")
    kept = state.load(site.state)
    assert state.mark_of(site.state, kept) == kept.confirmed.mark
    with pytest.raises(Damaged):
        state.mark_of(site.state, None)


def test_state_of_one_site_is_not_used_for_another(site):
    site.repo.publish({"other.json": encoded(bundle("31", site="other"))}, 3000, NOW + DAY)
    with pytest.raises(Untrusted, match="the cards kept here are for quay-steps"):
        pull(PullWish(str(site.repo.folder), site.state, "other", None, NOW + DAY))


def test_two_pulls_at_once(site):
    with durable.locked(site.state), pytest.raises(Refused, match="another pull"):
        site.pull(NEW, 2000, NOW + DAY)


def test_mark_only_rises_unless_a_newer_root_replaced_the_key():
    """TUF 1.0, 5.3.11: a replaced key takes its numbers with it."""
    old = Mark(1, 90, 50, ("s1",), ("r1",), NOW + DAY)
    same = Mark(1, 10, 10, ("s1",), ("r1",), NOW)
    assert raised(old, same) == old
    new_stamper = Mark(2, 10, 10, ("s2",), ("r1",), NOW)
    assert raised(old, new_stamper) == Mark(2, 10, 50, ("s2",), ("r1",), NOW + DAY)
    new_releaser = Mark(2, 10, 10, ("s1",), ("r2",), None)
    assert raised(old, new_releaser) == Mark(2, 90, 10, ("s1",), ("r2",), NOW + DAY)
    older_root = Mark(0, 99, 99, ("s0",), ("r0",), NOW)
    assert raised(old, older_root) == old
    for by in (same, new_stamper, new_releaser, older_root):
        assert raised(by, old) == raised(old, by)
