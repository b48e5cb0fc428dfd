"""A price of one franchise is in no byte made for a site of another: canaries of nine digits, one a pack, searched in everything.

The bytes searched: the published folder, a site's state and pages, cards and
in-force as text and JSON, and what a refusal says of a bundle that was spoiled.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from chain_world import begin_world, day, own_machine
from counter_world import run, tree_bytes
from test_stolen_keys import SITE, STAMP, bundle, kept, pull, show

BOOKS = {"northsands": "71", "marram": "72", "gull-rock": "73"}


@pytest.fixture(scope="module")
def priced(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    root = tmp_path_factory.mktemp("priced")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        world = begin_world(root)
        for franchise, first in BOOKS.items():
            path = world.book / "prices" / franchise / "price-book.yaml"
            numbers = iter(range(10, 99))
            text = re.sub(r"price: [0-9.]+", lambda _, f=first, n=numbers: f"price: {f}{next(n)}.004242", path.read_text(encoding="utf-8"))
            assert text.count("4242") > 5
            path.write_text(text, encoding="utf-8")
        world.done(world.propose(0, "Dearer", start=day(3).date()).name, 1)
        run("publish", root / "packs", "--keys", root / "publishing", "--new", "--book", world.book, now=STAMP)
        (root / "state").mkdir()
        pull(root, "--root", root / "packs/metadata/1.root.json")
        yield root


def told(root: Path) -> dict[str, bytes]:
    """Everything a site is given or says."""
    found = tree_bytes(root / "packs") | {f"state/{n}": d for n, d in tree_bytes(root / "state").items()}
    for words in (("card",), ("card", "--json")):
        ended = run(*words, "--state", root / "state", now=STAMP)
        found[" ".join(words)] = ended.both.encode()
    ended = run("in-force", "--site", SITE, "--book", root / "book", "--json", code=None, now=STAMP)
    found["in-force"] = ended.both.encode()
    return found


def leaks(found: dict[str, bytes]) -> list[str]:
    return [name for name, data in found.items() if b"4242" in data and re.search(rb"7[123][0-9]{2}\.00?4242", data)]


def test_the_canaries_are_in_the_book(priced: Path) -> None:
    assert len(leaks(tree_bytes(priced / "book" / "prices"))) == 3


def test_no_price_in_anything_a_site_is_given(priced: Path) -> None:
    found = told(priced)
    assert len(found) > 10 and found["in-force"]
    assert leaks(found) == []


@pytest.mark.parametrize("where", ["$", "site", "entry", "release"])
def test_no_price_in_a_refusal(priced: Path, tmp_path: Path, where: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bundle into which a price of another franchise was put is refused, and the refusal does not repeat it."""
    own_machine(monkeypatch, tmp_path)
    for name in ("packs", "publishing", "state"):
        shutil.copytree(priced / name, tmp_path / name)
    honest = bundle(tmp_path)
    spoiled = json.loads(json.dumps(honest))
    place = {"$": spoiled, "site": spoiled["site"], "entry": next(iter(spoiled["entries"].values())), "release": spoiled["releases"][0]}[where]
    place["price"] = "7210.004242"
    spoiled.pop("drawings", None)
    before = kept(tmp_path)
    show(tmp_path, spoiled)
    said = pull(tmp_path, code=1)
    assert leaks({"said": said.both.encode()}) == [] and kept(tmp_path) == before
    assert leaks({n: d for n, d in tree_bytes(tmp_path / "state").items()}) == []
    show(tmp_path, honest)
    pull(tmp_path)
