"""`why` answers for a line from main's releases alone: who, when, which proposal, signed over what."""

from __future__ import annotations

import pytest
from chain_world import AUTHOR, MANAGERS, SECOND, World, plain_git
from forge import FIZZ, FROST, PASTE

from specctl.actions.recalling import Told, why
from specctl.errors import NotFound
from specctl.report.policy_words import why_text

FACT = "layers/frost/lines/paste/amount/regular"


def asked(world: World, text: str) -> Told:
    with world.open() as source:
        return why(source, text)


@pytest.fixture
def moved(world: World) -> World:
    """Paste moved twice, the syrup once, the fizz never."""
    for before, after, at in ((PASTE, "{regular: 22 g, large: 31 g}", 5), ("{regular: 22 g, large: 31 g}", "{regular: 23 g, large: 31 g}", 6)):
        world.edit(FROST, before, after)
        name = world.propose(at, f"Paste at {at}").name
        plain_git(world.book, "checkout", "-q", "--", ".")
        world.done(name, at + 0.5)
    return world


def test_every_release_that_moved_a_fact_newest_first(moved: World) -> None:
    told = asked(moved, f"{FROST}:{FACT}")
    assert [r.release for r in told.reasons] == [3, 2, 0] and told.now == "23 g"
    assert [r.changes[0][1:] for r in told.reasons] == [("22 g", "23 g"), ("20 g", "22 g"), ("", "20 g")]
    newest = told.reasons[0]
    assert newest.authors == (AUTHOR,) and {s[0] for s in newest.signed} == {SECOND, *MANAGERS.values()}
    assert newest.proposal == "3-paste-at-6" and len(dict(newest.effects)["chain"]) == 64
    assert moved.main() == newest.commit


def test_a_fact_moved_once(moved: World) -> None:
    assert [r.release for r in asked(moved, f"{FROST}:layers/frost/lines/paste/amount/large").reasons] == [2, 0]
    assert [r.release for r in asked(moved, f"{FROST}:layers/frost/lines/syrup").reasons] == [0]


def test_a_line_number_is_a_fact(moved: World) -> None:
    lines = moved.on_main(FROST).splitlines()
    number = 1 + next(i for i, line in enumerate(lines) if "paste:" in line)
    told = asked(moved, f"{FROST}:{number}")
    assert told.fact == "layers/frost/lines/paste" and [r.release for r in told.reasons] == [3, 2, 0]


def test_a_whole_file(moved: World) -> None:
    assert [r.release for r in asked(moved, FIZZ).reasons] == [1, 0]


@pytest.mark.parametrize("text", ["drinks/none.yaml", f"{FROST}:layers/none", f"{FROST}:9999", "README.md", "../x", "main@{1}:x"])
def test_nothing_there(moved: World, text: str) -> None:
    with pytest.raises(NotFound):
        asked(moved, text)


def test_in_words(moved: World) -> None:
    text = why_text(asked(moved, f"{FROST}:{FACT}").as_json())
    assert f"{FACT}: 22 g -> 23 g" in text and "Signed by tobin-hale as drinks over chain" in text
