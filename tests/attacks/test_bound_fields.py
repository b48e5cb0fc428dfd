"""Every field of a bundle, and what binds it: a thief with all publishing keys changes it alone, at a site that holds cards.

| field | bound by |
|---|---|
| `bundle` | its form: one format is read |
| `book` | the records, and the book this site holds |
| `book_name`, `site.name`, `site.market_name`, `language` | what this site holds, or a signed fact of book, site or market |
| `site.id` | what this site asks for |
| `site.franchise`, `.market`, `.time_zone`, `.day_starts` | what this site holds, or a signed fact |
| `timeline` | the records' rows and starts, which follow from signed effects |
| `entries` | their digests, in signed effects; one that no row names is never shown |
| `releases`: number, proposal, rows, starts, statements | signed effects; starts are not before the signed day, and stay |
| `releases`: title, why, who released it and when | the publishing key at first; then what this site has verified |
| `releases`: parents, effects, start, waves | nothing; no one reads them at a site |
| `statements` | the signatures in them; one too few counts for nobody |
| `notices`: all that was said | its signature, by somebody who may |
| `notices`: `items` | the cards: what they say is reached must be told; more may be |
| `notices`: `lifted` | a signed effect that names the notice; not before its day |
| `deviations`: all that was said, `ends`, `items` | its signature; the cards, as above |
| `deviations`: `facts.absent` | nothing; no one reads it at a site, and what nobody answered is signed as unknown |
| `drawings` | the publishing key: pictures of cards whose words are bound |
| `approvals.trust` | the digest given by hand; each change of it by the old quorum and the new |
| `approvals.releases` | signed effects; what was verified stays |
| `main` | the publishing key: a name for the commit, shown to nobody at a counter |

At the first pull nothing is held: what no release ever changed of the site's
own label is then the publisher's word. An owner that is not the site's finds
no signature there wherever the policy asks for one of the franchise.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from chain_world import World, begin_world, day, own_machine
from counter_world import run
from small_book import small_files
from test_stolen_keys import (
    SITE,
    STAMP,
    Bundle,
    bundle,
    kept,
    place,
    pull,
    put,
    show,
)

from specctl.actions.deviating import DeviationWish, StandIn, deviate
from specctl.actions.offsale import OffSaleWish, off_sale
from specctl.canonical import digest
from specctl.change.statement import read_envelope

__all__ = ["place"]
SAFETY = "maren-oduya"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Two releases, one notice, one deviation; and what was said of each is in the bundle."""
    root = tmp_path_factory.mktemp("bound")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        world = begin_world(root)
        world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
        world.done(world.propose(0, "Opening book", start=day(3).date()).name, 1)
        world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
        world.done(world.propose(2, "More paste").name, 3)
        with world.open() as source:
            off_sale(source, OffSaleWish("ingredient", "hazelnut-paste", "Glass in a jar.", day(3.5), "", world.key(SAFETY)))
            goods = StandIn(name="Oat drink from next door", contains=("soya",))
            deviate(source, DeviationWish(SITE, "oat-drink", goods, "Read off the carton.", "None came.", day(8).date(), day(3.6), world.key(SAFETY)))
        run("publish", root / "packs", "--keys", root / "publishing", "--new", "--book", world.book, now=STAMP)
        (root / "state").mkdir()
        pull(root, "--root", root / "packs/metadata/1.root.json")
        yield root


def lifted(b: Bundle) -> None:
    b["notices"][0]["lifted"] = "2026-11-06T04:00:00Z"


def smuggled(b: Bundle) -> None:
    """A changed fact of the site that no release was signed for."""
    b["site"]["franchise"] = "marram"
    b["approvals"]["releases"][-1]["told"] = [[f"sites/{SITE}.yaml", [[["franchise"], "northsands", "marram"]]]]


def another_file(b: Bundle) -> None:
    b["approvals"]["releases"][-1]["told"] = [["sites/marram-strand.yaml", []]]


def trusted(b: Bundle) -> None:
    b["approvals"]["trust"].append(b["approvals"]["trust"][0] | {"since": 2})


def entry_changed(b: Bundle) -> None:
    entry = b["entries"][b["timeline"][0][3]]
    entry["name"] += "!"


Bound = tuple[Callable[[Bundle], Any], str]
OTHERWISE = "is told otherwise than was signed"
BOUND: dict[str, Bound] = {
    "bundle": (put("bundle", value=2), "a bundle format this specctl does not know"),
    "book": (put("book", value="other-book"), "the record of another book"),
    "book_name": (put("book_name", value="Other"), f"the name of the book {OTHERWISE}"),
    "site.id": (put("site", "id", value="marram-strand"), "holds a row of another site"),
    "site.name": (put("site", "name", value="Nut-free corner"), f"the name of this site {OTHERWISE}"),
    "site.franchise": (put("site", "franchise", value="marram"), f"the franchise of this site {OTHERWISE}"),
    "site.franchise, with a fact nobody signed": (smuggled, f"release 2 tells sites/{SITE}.yaml otherwise than was signed"),
    "facts of another site's file": (another_file, "release 2 tells sites/marram-strand.yaml otherwise than was signed"),
    "site.market": (put("site", "market", value="us"), "made for another market's allergen list"),
    "site.market_name": (put("site", "market_name", value="Elsewhere"), f"the name of its market {OTHERWISE}"),
    "site.time_zone": (put("site", "time_zone", value="America/New_York"), f"the time zone of this site {OTHERWISE}"),
    "site.day_starts": (put("site", "day_starts", value="12:00"), f"when its day starts {OTHERWISE}"),
    "language": (put("language", value="de"), f"the language of its market {OTHERWISE}"),
    "timeline": (lambda b: b["timeline"].pop(), "left out or told otherwise"),
    "entries": (entry_changed, "its bytes are not what its digest says"),
    "releases.title": (put("releases", 0, "title", value="Free from nuts"), "the words of release 1 are others than this site has verified"),
    "releases.why": (put("releases", 0, "why", value="Free from nuts"), "the words of release 1 are others than this site has verified"),
    "releases.released_by": (put("releases", 0, "released_by", value="piet-sorrel"), "the words of release 1 are others than this site has verified"),
    "releases.starts": (lambda b: b["releases"][1]["starts"].update({SITE: "2026-11-30T04:00:00Z"}), "the timeline is not the one its releases state"),
    "releases.statements": (lambda b: b["releases"][1]["statements"].pop(), "release 2 has two records"),
    "notices": (lambda b: b["notices"].pop(), "the notice that takes ingredient/hazelnut-paste off sale is left out"),
    "notices.why": (put("notices", 0, "why", value="No reason."), "the notice about ingredient/hazelnut-paste is told otherwise than it was said"),
    "notices.lot": (put("notices", 0, "lot", value="L-1"), "the notice about ingredient/hazelnut-paste is told otherwise than it was said"),
    "notices.items, none": (put("notices", 0, "items", value=[]), "drink/hazelnut-frost is not told to be among what ingredient/hazelnut-paste is in"),
    "notices.items, only a choice": (put("notices", 0, "items", value=[["drink/hazelnut-frost", "Hazelnut frost", ["large"]]]), "drink/hazelnut-frost is not told to be among"),
    "notices.lifted": (lifted, "ingredient/hazelnut-paste is told to be back on sale, and no release brings it back"),
    "deviations": (lambda b: b["deviations"].pop(), "the deviation for ingredient/oat-drink, which this site has verified, is left out"),
    "deviations.checked": (put("deviations", 0, "checked", value="By smell."), "the deviation for ingredient/oat-drink is told otherwise than it was said"),
    "deviations.facts": (lambda b: b["deviations"][0]["facts"]["contains"].clear(), "the deviation for ingredient/oat-drink is told otherwise than it was said"),
    "deviations.ends, sooner": (put("deviations", 0, "ends", value="2026-11-05T12:00:00Z"), "the deviation for ingredient/oat-drink is told to end otherwise than was said"),
    "deviations.ends, later": (put("deviations", 0, "ends", value="2026-12-05T12:00:00Z"), "the deviation for ingredient/oat-drink is told otherwise than it was said"),
    "deviations.items": (put("deviations", 0, "items", value=[]), "is not told to be among what ingredient/oat-drink is in"),
    "approvals.trust": (trusted, "who may sign"),
}  # fmt: skip

KEY_ALONE: dict[str, Callable[[Bundle], Any]] = {
    "main": put("main", value="0" * 40),
    "drawings": lambda b: b.pop("drawings"),
    "entries, one that nothing names": lambda b: b["entries"].update(unnamed(b)),
    "releases.parents": put("releases", 0, "parents", value=["0" * 40, "1" * 40]),
    "deviations.facts, one more absent": lambda b: b["deviations"][0]["facts"]["absent"].append(["milk", "milk", "milk"]),
    "notices.items, one more": lambda b: b["notices"][0]["items"].append(["drink/pear-sage-fizz", "Pear", []]),
}


def unnamed(b: Bundle) -> dict[str, Any]:
    entry = json.loads(json.dumps(b["entries"][b["timeline"][0][3]])) | {"name": "Never shown"}
    return {digest(entry): entry}


@pytest.mark.parametrize("name", BOUND)
def test_the_publishing_keys_alone_do_not_change_it(place: Path, name: str) -> None:  # noqa: F811
    spoil, words = BOUND[name]
    honest = bundle(place)
    told = json.loads(json.dumps(honest))
    spoil(told)
    before, card = kept(place), shown(place)
    show(place, told)
    said = " ".join(pull(place, code=1).err.split())
    assert words in said and "the last verified cards stay" in said, said
    assert kept(place) == before and shown(place) == card
    show(place, honest)
    pull(place)


@pytest.mark.parametrize("name", KEY_ALONE)
def test_what_they_do_change_changes_no_card(place: Path, name: str) -> None:  # noqa: F811
    honest, card = bundle(place), shown(place)
    told = json.loads(json.dumps(honest))
    KEY_ALONE[name](told)
    assert told != honest
    show(place, told)
    pull(place)
    if not name.startswith("notices"):  # a drink more off sale is a nuisance, and never hides one
        assert shown(place) == card


def shown(root: Path) -> Any:
    """What a counter is told of its cards, whatever names the bundle."""
    return run("card", "--state", root / "state", "--json", now=STAMP).json["entries"]


def test_every_field_stands_in_the_table(place: Path) -> None:  # noqa: F811
    told = bundle(place)
    named = {name.split(",")[0].split(".")[0] for name in (*BOUND, *KEY_ALONE)}
    assert told.keys() - {"statements", "approvals"} <= named
    assert {f"site.{name}" for name in told["site"]} <= {name.split(",")[0] for name in BOUND}


@pytest.fixture
def moving(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> World:
    own_machine(monkeypatch, tmp_path / "home")
    files = small_files()
    for path in ("franchises/northsands.yaml", "prices/northsands/price-book.yaml"):
        files[path.replace("northsands", "quayside")] = files[path].replace(b"northsands", b"quayside")
    files["signatories.yaml"] = files["signatories.yaml"].replace(b"franchises: [marram]", b"franchises: [marram, quayside]")
    monkeypatch.setattr("chain_world.small_files", lambda: files)
    world = begin_world(tmp_path)
    world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
    world.done(world.propose(0.7, "Opening book", start=day(3).date()).name, 1)
    run("publish", tmp_path / "packs", "--keys", tmp_path / "publishing", "--new", "--book", world.book, now=STAMP)
    (tmp_path / "state").mkdir()
    pull(tmp_path, "--root", tmp_path / "packs/metadata/1.root.json")
    return world


def test_a_site_changes_hands_by_a_release_that_was_signed(moving: World, tmp_path: Path) -> None:
    """By those the policy asks for settings of the book; not without one of them, and then there is no way back."""
    old = bundle(tmp_path)
    moving.edit(f"sites/{SITE}.yaml", "franchise: northsands", "franchise: quayside")
    moving.done(moving.propose(2, "The quay has a new owner", start=day(3).date()).name, 3)
    moving.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
    moving.done(moving.propose(3.2, "More paste", start=day(3.9).date()).name, 3.5)
    run("publish", tmp_path / "packs", "--keys", tmp_path / "publishing", "--book", moving.book, now=STAMP)
    honest = max((tmp_path / "packs/targets").glob(f"*.{SITE}.json"), key=lambda p: p.stat().st_mtime_ns)
    new = json.loads(honest.read_bytes())
    assert new["site"]["franchise"] == "quayside"
    before = kept(tmp_path)
    for role, people in {"drinks": ("isla-varn", "tobin-hale"), "food-safety": ("maren-oduya", "piet-sorrel")}.items():
        told = json.loads(json.dumps(new))
        gone = {e.digest for e in map(read_envelope, told["statements"]) if e.statement.person in people and e.statement.proposal.startswith("2-")}
        assert gone
        for record in (told["approvals"]["releases"][1], *told["releases"]):
            if record["number"] == 2:
                record["statements"] = [each for each in record["statements"] if each not in gone]
        show(tmp_path, told)
        said = " ".join(pull(tmp_path, code=1).err.split())
        assert f"{role} for chain did not sign, and what this site is, or whose, changes" in said and kept(tmp_path) == before, said
    show(tmp_path, new)
    pull(tmp_path)
    back = json.loads(json.dumps(new)) | {"site": old["site"]}
    show(tmp_path, back)
    assert "the franchise of this site is told otherwise than was signed" in " ".join(pull(tmp_path, code=1).err.split())
    show(tmp_path, new)
    (tmp_path / "another").mkdir()
    run("pull", tmp_path / "packs", "--site", SITE, "--state", tmp_path / "another", "--root", tmp_path / "packs/metadata/1.root.json", now=STAMP)
