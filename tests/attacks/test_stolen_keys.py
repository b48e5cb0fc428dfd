"""A thief with every publishing key of the folder, and a site told who may sign (TUF 1.0, 1.5.2: key compromise).

Through the real command line, clocks frozen. After each refusal the state is
as it was to the last byte, and the honest bundle is taken.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from chain_world import begin_world, day, own_machine
from counter_world import run, tree_bytes

from specctl.canonical import canonical, digest
from specctl.store import distribution, published

SITE, OTHER = "northsands-quay", "marram-strand"
NOW = day(4)
STAMP = NOW.strftime("%Y-%m-%dT%H:%M:%SZ")
Bundle = dict[str, Any]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    root = tmp_path_factory.mktemp("attacked")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        world = begin_world(root)
        world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
        world.done(world.propose(0, "Opening book", start=day(3).date()).name, 1)
        world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
        world.done(world.propose(2, "More paste").name, 3)
        run("publish", root / "packs", "--keys", root / "publishing", "--new", "--book", world.book, now=STAMP)
        (root / "state").mkdir()
        pull(root, "--root", root / "packs/metadata/1.root.json")
        yield root


@pytest.fixture
def place(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    own_machine(monkeypatch, tmp_path)
    monkeypatch.setattr(os, "fsync", lambda handle: None)
    monkeypatch.setattr(published, "sync", lambda folder: None)
    for name in ("packs", "publishing", "state"):
        shutil.copytree(made / name, tmp_path / name)
    return tmp_path


def pull(root: Path, *more: Any, code: int = 0) -> Any:
    return run("pull", root / "packs", "--site", SITE, "--state", root / "state", *more, code=code, now=STAMP)


def bundle(root: Path, site: str = SITE) -> Bundle:
    told: Bundle = json.loads(max((root / "packs/targets").glob(f"*.{site}.json")).read_bytes())
    return told


def show(root: Path, told: Bundle) -> None:
    """The thief publishes, with all the folder's keys."""
    distribution.publish(root / "packs", root / "publishing", {f"{SITE}.json": canonical(told)}, 900_000, NOW)


def other_card(b: Bundle) -> None:
    row = b["timeline"][-1]
    entry = b["entries"].pop(row[3])
    entry["allergens"][0]["contains"] = []
    row[3] = digest(entry)
    b["entries"][row[3]] = entry


def in_record(b: Bundle) -> None:
    other_card(b)
    b["releases"][-1]["entries"][-1][3] = b["timeline"][-1][3]


def in_effect(b: Bundle) -> None:
    in_record(b)
    for effect in b["approvals"]["releases"][-1]["effects"].values():
        for row in effect["entries"]:
            if SITE in effect["sites"][row[3]]:
                row[2] = b["timeline"][-1][3]


def start_at(when: str) -> Callable[[Bundle], None]:
    def earlier(b: Bundle) -> None:
        b["releases"][-1]["starts"][SITE] = when
        b["timeline"][-1][0] = when
        b["timeline"].sort(key=lambda r: (r[0], r[1], r[2]))

    return earlier


def no_release(number: int) -> Callable[[Bundle], None]:
    def leave_out(b: Bundle) -> None:
        b["timeline"] = [r for r in b["timeline"] if r[1] != number]
        b["releases"] = [r for r in b["releases"] if r["number"] != number]
        b["approvals"]["releases"] = [r for r in b["approvals"]["releases"] if r["number"] != number]
        b["entries"] = {r[3]: b["entries"][r[3]] for r in b["timeline"]}

    return leave_out


def without(scope: str) -> Callable[[Bundle], None]:
    def drop(b: Bundle) -> None:
        b["approvals"]["releases"][-1]["effects"].pop(scope)

    return drop


def put(*path: Any, value: Any) -> Callable[[Bundle], None]:
    def write(b: Bundle) -> None:
        at: Any = b
        for step in path[:-1]:
            at = at[step]
        at[path[-1]] = value

    return write


TRUST = ("approvals", "trust", 0)
ATTACKS: dict[str, tuple[Callable[[Bundle], None], str]] = {
    "arbitrary card": (other_card, "left out or told otherwise"),
    "arbitrary card in the record too": (in_record, "left out or told otherwise"),
    "arbitrary card in the effect too": (in_effect, "left out or told otherwise"),
    "backdating by a week": (start_at("2026-11-04T04:00:00Z"), "left out or told otherwise"),
    "rollback by leaving the newest out": (no_release(2), "left out or told otherwise"),
    "wrong base, the first left out": (no_release(1), "left out or told otherwise"),
    "no approvals": (lambda b: b.pop("approvals"), "does not say who approved it"),
    "no trust": (put("approvals", "trust", value=[]), "does not say who approved it"),
    "a rule asks nobody": (put(*TRUST, "trust", "rules", "amount", value=[]), "not those this site was given"),
    "nobody else must": (put(*TRUST, "trust", "otherwise", value=[]), "not those this site was given"),
    "a person with the thief's role": (put(*TRUST, "people", 0, "roles", value=["food-safety"]), "not well made"),
    "the approval of the newest gone": (lambda b: b["approvals"]["releases"].pop(), "the approval of release 2, which this site has verified, is left out"),
}


# A site that never pulled has no memory: there the signatures alone must refuse.
AT_FIRST = {
    "arbitrary card": (other_card, "names a card that is not in this bundle"),
    "arbitrary card in the record too": (in_record, "other cards than were signed"),
    "arbitrary card in the effect too": (in_effect, "over another effect"),
    "backdating by a week": (start_at("2026-11-04T04:00:00Z"), "before the day that was signed"),
    "wrong base, the first left out": (no_release(1), "another base"),
    "the approval of the newest gone": (lambda b: b["approvals"]["releases"].pop(), "release 2 comes without its approval"),
    "no statement": (put("statements", value=[]), "approved by nobody"),
    "chain effect dropped": (without("chain"), "over another effect"),
    "franchise effect dropped": (without("franchise/northsands"), "over another effect"),
    "another release's statements": (lambda b: b["approvals"]["releases"][1].update(statements=b["approvals"]["releases"][0]["statements"]), "two records"),
}


@pytest.mark.parametrize("name", ATTACKS)
def test_a_site_with_cards_refuses(place: Path, name: str) -> None:
    spoil, words = ATTACKS[name]
    refused(place, spoil, words)


@pytest.mark.parametrize("name", AT_FIRST)
def test_a_new_site_refuses(place: Path, name: str) -> None:
    shutil.rmtree(place / "state")
    (place / "state").mkdir()
    (place / "state/pinned.root.json").write_bytes((place / "packs/metadata/1.root.json").read_bytes())
    spoil, words = AT_FIRST[name]
    refused(place, spoil, words)


def refused(place: Path, spoil: Callable[[Bundle], Any], words: str) -> None:
    honest = bundle(place)
    told = json.loads(json.dumps(honest))
    spoil(told)
    told.pop("drawings", None)  # no signature rests on them, and those of a lost card would give the thief away
    before = kept(place)
    show(place, told)
    said = pull(place, code=1)
    assert words in " ".join(said.err.split()), said.err
    assert kept(place) == before
    show(place, honest)
    pull(place)


def kept(place: Path) -> dict[str, bytes]:
    """All but the mark of what was seen, which a refusal raises, and pages, which show their age."""
    return {n: d for n, d in tree_bytes(place / "state").items() if n != "highwater.json" and not n.startswith("pages/")}


def test_pull_tells_a_program_who_approved(place: Path) -> None:
    """By the signatures that were verified: what it says of the newest release is who signed it, and no manager of others."""
    told = pull(place, "--json").json["approved"]
    assert [each["release"] for each in told] == [1, 2] and [each["proposal"] for each in told] == ["1-opening-book", "2-more-paste"]
    said = {(one["person"], one["role"], one["scope"]) for one in told[1]["by"]}
    assert ("tobin-hale", "drinks", "chain") in said and ("wren-castell", "franchise-manager", "franchise/northsands") in said
    assert not {person for person, _, _ in said} & {"aoife-tarn", "dell-okafor"}


def test_pull_and_pages_say_that_approval_was_checked(place: Path) -> None:
    """And where the root is an old one, that it was not (tests/attacks/test_wrong_files.py's world has such a root)."""
    assert "Approved by the people the policy names: checked here, 2 releases." in pull(place).err
    pages = {p.name: " ".join(p.read_text(encoding="utf-8").split()) for p in (place / "state/pages").iterdir()}
    assert pages and all("Approved by the people the policy names: checked here." in text for text in pages.values()), pages.keys()
