"""The past of a site agrees with the walk over every record, at every minute that matters, and can be lost."""

from __future__ import annotations

import shutil
from typing import Any

import pytest
from chain_world import AUTHOR, World, day, plain_git
from forge import FROST, PASTE, commit_of, set_main
from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.actions.asking import ask
from specctl.change.effect import Row, WavePlan
from specctl.change.past import Past, read_past
from specctl.change.record import Release, in_force
from specctl.errors import Damaged, Untrusted

SITES, ITEMS = ("a", "b"), ("drink/x", "drink/y", "prep/z")


def stamp(at: int) -> str:
    return f"2026-01-{1 + at // 24:02}T{at % 24:02}:00:00Z"


def release(number: int, starts: dict[str, str], rows: list[Row]) -> Release:
    waves = (WavePlan("all", "2026-01-01", tuple(starts)),)
    return Release(number, "book", f"{number}-p", f"t{number}", "why", ("0" * 40, "1" * 40), {}, "2026-01-01", waves, starts, tuple(rows), (), "isla", stamp(0))


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_it_agrees_with_the_walk(data: st.DataObject) -> None:
    hours = st.integers(0, 600)
    releases = []
    for number in range(1, data.draw(st.integers(1, 8)) + 1):
        starts = {s: stamp(data.draw(hours)) for s in SITES if data.draw(st.booleans())}
        rows = [Row(s, i, None, data.draw(st.sampled_from([None, "e1", "e2"]))) for s in SITES for i in ITEMS if data.draw(st.booleans())]
        releases.append(release(number, starts, rows))
    for site in SITES:
        past = Past()
        for one in releases:
            past.add(site, one, f"c{one.number}")
            past = read_past(past.bytes()) or Past()
        for at in (0, data.draw(hours), 700):
            walked = in_force(releases, site, stamp(at))
            assert past.at(stamp(at)) == walked
            assert all(past.release(s.release).commit == f"c{s.release}" for s in walked.values())


def test_only_the_next_release_follows() -> None:
    with pytest.raises(ValueError, match="does not follow"):
        Past().add("a", release(2, {}, []), "c")


@pytest.mark.parametrize("data", [None, b"", b"{", b"[1,2]", b'["x",true,{},{}]', b"[1,1,{},{}]"])
def test_what_is_no_past_is_made_again(data: bytes | None) -> None:
    assert read_past(data) is None


def answers(world: World, at: float) -> list[dict[str, Any]]:
    with world.open() as source:
        return [a.as_json() for a in ask(source, "northsands-quay", day(at))[0]]


def test_grown_or_made_again_it_says_the_same(world: World) -> None:
    before = answers(world, 20)
    world.edit(FROST, PASTE, "{regular: 22 g, large: 31 g}")
    name = world.propose(5, "More paste").name
    world.done(name, 6)
    grown = answers(world, 20)
    assert grown != before and answers(world, 11.5) == answers(world, 11.5)
    shutil.rmtree(world.book / ".git/specctl/cache")
    assert answers(world, 20) == grown
    frost = next(a for a in grown if a["item"] == "drink/hazelnut-frost")
    assert frost["release"] == 2 and frost["commit"] == plain_git(world.book, "rev-parse", "release/2^{commit}")
    assert [a for a in answers(world, 4) if a["release"] != 1] == []


def test_a_record_changed_later_is_not_hidden_by_what_is_kept(world: World) -> None:
    answers(world, 20)
    spoiled = world.on_main("releases/1.json").replace("Opening book", "Closing book").encode() + b"\n"
    set_main(world, commit_of(world, {"releases/1.json": spoiled}, key=world.key(AUTHOR), at=5))
    with pytest.raises((Untrusted, Damaged)):
        answers(world, 20)


def test_a_record_pushed_by_hand_is_not_believed(world: World) -> None:
    answers(world, 20)
    text = world.on_main("releases/1.json").replace('"number":1', '"number":2').encode() + b"\n"
    set_main(world, commit_of(world, {"releases/2.json": text}, key=world.key(AUTHOR), at=5))
    with pytest.raises((Untrusted, Damaged)):
        answers(world, 20)
