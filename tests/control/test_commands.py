"""The commands about control, as a person types them: exit codes, words on stderr, results and JSON on stdout."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, SAFETY, World, day, plain_git
from forge import FROST, PASTE, commit_of, set_main
from jsonschema import Draft202012Validator
from referencing import Registry, Resource

from specctl.cli.main import main


class Typed:
    def __init__(self, world: World, capsys: pytest.CaptureFixture[str], patch: pytest.MonkeyPatch) -> None:
        self.world, self._capsys, self._patch = world, capsys, patch

    def __call__(self, *words: str, at: float = 6) -> tuple[int, str, str]:
        self._patch.setenv("SPECCTL_NOW", day(at).strftime("%Y-%m-%dT%H:%M:%SZ"))
        self._patch.setenv("SPECCTL_BOOK", str(self.world.book))
        code = main(list(words))
        told = self._capsys.readouterr()
        return code, told.out, told.err

    def json(self, *words: str, at: float = 6) -> Any:
        return json.loads(self(*words, "--json", at=at)[1])


@pytest.fixture
def typed(world: World, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Typed:
    return Typed(world, capsys, monkeypatch)


def proposed(world: World, title: str, grams: str, at: float = 5) -> str:
    world.edit(FROST, PASTE, grams)
    name = world.propose(at, title).name
    plain_git(world.book, "checkout", "-q", "--", ".")
    return name


def test_audit(typed: Typed) -> None:
    code, out, err = typed("audit")
    assert (code, out) == (0, "Everything holds.\n") and "compare it with the one you were given" in err
    forged = commit_of(typed.world, {"README.md": b"x\n"}, key=None, at=5)
    set_main(typed.world, forged)
    code, out, err = typed("audit")
    assert code == 1 and out.startswith(f"{forged}: the commit is not signed") and "Traceback" not in err
    assert typed.json("audit", "--afresh")["first"]["code"] == "unsigned"


def test_policy(typed: Typed) -> None:
    proposed(typed.world, "More paste", "{regular: 22 g, large: 31 g}")
    code, out, _ = typed("policy", "2")
    assert code == 0 and "Because an amount changes (amount), the policy asks for: drinks, franchise-manager." in out
    assert typed("policy", "--explain", "2")[1] == out
    assert typed("policy")[0] == 2 and typed("policy", "9")[0] == 1
    assert {n["scope"] for n in typed.json("policy", "2")["needs"]} >= {"chain", "franchise/marram"}


def test_collisions(typed: Typed) -> None:
    assert typed("proposals", "--collisions")[0] == 0
    proposed(typed.world, "One", "{regular: 22 g, large: 31 g}")
    proposed(typed.world, "Two", "{regular: 23 g, large: 31 g}")
    code, out, err = typed("proposals", "--collisions")
    assert code == 1 and "2-one has 22 g, 3-two has 23 g" in out and "2 open proposals compared" in err
    told = typed.json("proposals", "--collisions")
    holds("collisions", told)
    assert told["found"][0]["kind"] == "conflict"


def holds(name: str, told: object) -> None:
    """What was printed holds to the schema published for it."""
    folder = Path(__file__).resolve().parents[2] / "schema"
    held = {p.name: json.loads(p.read_bytes()) for p in folder.glob("*.schema.json")}
    registry = Registry().with_resources([(n, Resource.from_contents(s)) for n, s in held.items()])
    Draft202012Validator(held[f"{name}.schema.json"], registry=registry).validate(told)


def test_settle(typed: Typed) -> None:
    one = proposed(typed.world, "One", "{regular: 22 g, large: 31 g}")
    two = proposed(typed.world, "Two", "{regular: 23 g, large: 31 g}")
    typed.world.done(two, 6)
    key = ("--key", str(typed.world.key(AUTHOR)))
    code, out, err = typed("settle", one)
    assert code == 1 and out.startswith(f"{FROST}:layers/frost/lines/paste/amount/regular: both change") and "1 conflict" in err
    told = typed.json("settle", one)
    holds("changes", told)
    assert [(c["base"], c["ours"], c["theirs"]) for c in told["conflicts"]] == [("20 g", "23 g", "22 g")]
    assert typed("settle", one, FROST, "--take", "main", *key)[0] == 2
    assert typed("settle", one, FROST, "--take", "theirs", "--why", "x", *key)[0] == 2
    assert typed("settle", one, FROST, "--why", "x", *key)[0] == 1
    code, out, err = typed("settle", one, FROST, "--take", "proposal", "--why", "Tasted.", *key, "--json", at=7)
    holds("settled", json.loads(out))
    assert code == 0 and "Taken from the proposal: both change the amount (regular) of paste in frost" in err


def test_reinstate(typed: Typed) -> None:
    typed.world.done(proposed(typed.world, "One", "{regular: 22 g, large: 31 g}"), 6)
    key = ("--key", str(typed.world.key(AUTHOR)))
    assert typed("reinstate", "1", *key)[0] == 2
    code, out, err = typed("reinstate", "1", "--why", "Guests miss it.", *key, at=8)
    assert code == 0 and out.startswith("3-reinstate-release-1") and f"As in release 1: {FROST}" in err


def test_off_sale(typed: Typed) -> None:
    key = ("--key", str(typed.world.key(SAFETY)))
    assert typed("off-sale", "ingredient", "hazelnut-paste", *key)[0] == 2
    code, out, err = typed("off-sale", "ingredient", "hazelnut-paste", "--why", "Metal in a jar.", *key)
    assert code == 0 and "northsands-quay: Hazelnut frost" in out
    notice = err.split("by notice ")[1][:12]
    code, _, err = typed("in-force", "northsands-quay", "hazelnut-frost", at=9)
    assert code == 0 and "OFF SALE then: ingredient/hazelnut-paste: Metal in a jar." in err and "It reaches: Hazelnut frost" in err
    assert "OFF SALE" not in typed("in-force", "northsands-quay", at=5.5)[2]
    assert "OFF SALE" not in typed("in-force", "northsands-quay", "pear-sage-fizz", at=9)[2]
    told = typed.json("off-sale", "--back", notice, "--disposal", "Thrown away.", "--key", str(typed.world.key(AUTHOR)), at=7)
    assert told["proposal"].startswith("2-back-on-sale")
    assert typed("off-sale", "--back", "feedfeedfeed", "--disposal", "x", *key)[0] == 1


def test_why(typed: Typed) -> None:
    code, out, _ = typed("why", f"{FROST}:layers/frost/lines/paste/amount/regular")
    assert code == 0 and "The beginning of the book" in out and "now 20 g" in out
    assert typed("why", "nothing.yaml")[0] == 1
    assert typed.json("why", FROST)["reasons"][0]["release"] == 0


def test_doctor(typed: Typed) -> None:
    assert typed("doctor")[0] == 0
    (typed.world.book / ".git/refs/heads/side").write_bytes(b"")
    code, out, err = typed("doctor")
    assert code == 1 and out.startswith("damage: refs/heads/side: the reference is empty") and err.rstrip().endswith("found.")
    assert typed.json("doctor")["sound"] is False
    assert typed("doctor", "--patience", "0")[0] == 2


def test_what_git_calls_is_not_listed(typed: Typed) -> None:
    assert "merge-driver" not in typed("--help")[1]
    assert typed("fact-text", str(typed.world.book / FROST))[1].startswith("cautions: ")
    assert typed("no-such-verb")[0] == 2


def test_deviation(typed: Typed) -> None:
    key = str(typed.world.key(SAFETY))
    words = ("deviation", "northsands-quay", "--for", "hazelnut-paste", "--named", "Paste <b>next door</b>", "--contains", "milk", "--checked", "Label read.", "--why", "None came.", "--until", "2026-11-10", "--key", key)
    assert typed("deviation", "northsands-quay")[0] == 2
    assert typed(*words[:-1], str(typed.world.key(AUTHOR)))[0] == 1
    code, out, err = typed(*words)
    assert code == 0 and out == "Hazelnut frost\n" and "UNKNOWN: " in err and "Contains: " in err
    code, out, err = typed("in-force", "northsands-quay", "hazelnut-frost", at=6.5)
    assert code == 0 and "DEVIATION then: Paste <b>next door</b> in place of" in err and "in place of hazelnut paste" in " ".join(out.split())
    told = typed.json("in-force", "northsands-quay", "hazelnut-frost", at=6.5)["deviations"]
    assert [d["name"] for d in told] == ["Paste <b>next door</b>"]
    assert typed.json("in-force", "northsands-quay", "hazelnut-frost", at=10)["deviations"] == []
    assert "DEVIATION until" in typed("card", "hazelnut-frost", "--site", "northsands-quay", "--book", str(typed.world.book), at=6.5)[1]
    assert typed("deviation", "--stop", told[0]["deviation"][:12], "--why", "Stock came.", "--key", key, at=7)[0] == 0
    assert typed.json("in-force", "northsands-quay", "hazelnut-frost", at=7.1)["deviations"] == []
