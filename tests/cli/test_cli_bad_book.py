"""A book with many faults: `check` names each in one run, with file, line, column, what, what to do and a stable code."""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from counter_world import own_machine, run

from specctl import resources
from specctl.report.clean import columns

Edit = Callable[[bytes], bytes]


def instead(before: str, after: str) -> Edit:
    def edit(data: bytes) -> bytes:
        assert data.decode().count(before) >= 1, before
        return data.decode().replace(before, after, 1).encode()

    return edit


def without_density(data: bytes) -> bytes:
    found, count = re.subn(rb"density:\n(  .*\n)+", b"", data)
    assert count == 1
    return found


# path, edit, code, the text at whose first place the problem must stand (or None: only its line is known), words in it
FAULTS: tuple[tuple[str, Edit, str, str | None, tuple[str, ...]], ...] = (
    ("ingredients/orange-slice.yaml", instead("name:", "name: [broken"), "yaml-syntax", None, ()),
    ("drinks/pear-sage-fizz.yaml", instead("use: pear-juice", "use: pear-juce"), "item-unknown", "pear-juce", ("pear-juce", "pear-juice")),
    ("ingredients/rose-petal.yaml", instead("state:", "name: Again\nstate:"), "yaml-duplicate-key", "name: Again", ("name",)),
    ("ingredients/pear-chip.yaml", lambda data: b"\xef\xbb\xbf" + data, "yaml-encoding", None, ("byte order mark",)),
    ("ingredients/cinnamon-ground.yaml", instead("  document:", "\tdocument:"), "yaml-character", "\tdocument", ("tab",)),
    ("ingredients/lemon-slice.yaml", instead("name: ", "name: &a "), "yaml-alias", "&a", ("anchor",)),
    ("ingredients/almond-drink.yaml", lambda data: data + b"\xff\xfe\n", "yaml-encoding", None, ("UTF-8",)),
    ("drinks/blackcurrant-hojicha.yaml", instead("{regular: 30 g, large: 40 g}", "{regular: 30±5 ml, large: 40 g}"), "amount-form", "30±5", ("tolerance",)),
    ("drinks/matcha-cloud.yaml", instead("{regular: 3 g, large", "{regular: '1,5 ml', large"), "amount-form", "'1,5", ("1.5 ml",)),
    ("drinks/tideline-tea-latte.yaml", instead("caution: ", "cautoin: "), "schema-unknown-key", "cautoin", ("cautoin", "caution")),
    ("ingredients/hazelnut-paste.yaml", instead("contains: [", "contains: [hazlenut, "), "allergen-unknown-name", "hazlenut", ("hazlenut", "Did you mean hazelnut")),
    ("preps/vanilla-cream-foam.yaml", instead("lines:\n", "lines:\n  ring: {use: cocoa-base, amount: 10 g}\n"), "prep-cycle", None, ("cocoa-base",)),
    ("preps/cocoa-base.yaml", instead("lines:\n", "lines:\n  ring: {use: vanilla-cream-foam, amount: 10 g}\n"), "", None, ()),
    ("ingredients/vanilla-syrup.yaml", without_density, "density-missing", None, ("density",)),
    ("drinks/coconut-ginger-shake.yaml", instead("equipment: [", "equipment: [moon-blender, "), "", None, ()),
    ("drinks/roasted-barley-latte.yaml", instead("{use: soya-drink, amount: {regular: 124 g, large: 175 g}}", "{use: soya-drink, amount: {regular: 124 g}}"), "option-amount-missing", "{use: soya-drink", ("large", "milk=soya")),
    ("drinks/sesame-steamer.yaml", instead("served:", "# claims\nserved:"), "", None, ()),
    ("drinks/harbour-mocha.yaml", instead("served:", "claims: [dairy-free]\nserved:"), "claim-contradicted", None, ("milk",)),
    ("drinks/hazelnut-frost.yaml", instead("{use: skim-milk, amount: {regular: 110 g, large: 150 g}}", "{use: skim-milk, amount: {regular: 110 g, large: 2 shot}}"), "amount-form", "2 shot", ("shot",)),
    ("prices/marram/price-book.yaml", instead("price: 11.50 EUR", "price: '11,50 EUR'"), "money-form", "'11,50", ("11.50",)),
    ("ingredients/coconut-milk.yaml", instead("state: liquid", "state: fluid"), "schema-value", "fluid", ("liquid",)),
)  # fmt: skip


@pytest.fixture(scope="module")
def bad(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    root = tmp_path_factory.mktemp("bad") / "book"
    shutil.copytree(resources.demo_book(), root)
    for path, edit, *_ in FAULTS:
        (root / path).write_bytes(edit((root / path).read_bytes()))
    honey = root / "ingredients" / "honey.yaml"
    honey.write_bytes(honey.read_bytes().replace(b"\n", b"\r\n"))
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        yield root


@pytest.fixture(scope="module")
def problems(bad: Path) -> list[dict[str, Any]]:
    return run("check", "--book", bad, "--json", code=1).json["problems"]


@pytest.mark.parametrize("fault", [f for f in FAULTS if f[2]], ids=[f"{f[0]}:{f[2]}" for f in FAULTS if f[2]])
def test_each_is_named_with_its_place(fault: tuple[str, Edit, str, str | None, tuple[str, ...]], problems: list[dict[str, Any]], bad: Path) -> None:
    path, _, code, at, words = fault
    ring = {"preps/vanilla-cream-foam.yaml", "preps/cocoa-base.yaml"}  # a ring stands in each of its preps
    mine = [p for p in problems if p["code"] == code and (p["file"] == path or {p["file"], path} <= ring)]
    assert mine, [(p["code"], p["what"]) for p in problems if p["file"] == path]
    problem = mine[0]
    assert problem["severity"] == "error" and problem["line"] > 0 and problem["column"] > 0
    assert problem["what"] and problem["todo"]
    for word in words:
        assert any(word in p["what"] + " " + p["todo"] for p in mine), (word, mine)
    if at is not None:
        before = (bad / path).read_text(encoding="utf-8").split(at, 1)[0]
        line, column = before.count("\n") + 1, len(before.rsplit("\n", 1)[-1]) + 1
        assert problem["line"] == line, problem
        # A fault inside an amount may stand at the very character that is wrong.
        assert column <= problem["column"] <= column + len(at), (problem, column)


def test_a_drink_a_site_cannot_make(problems: list[dict[str, Any]]) -> None:
    cannot = [p for p in problems if p["code"] == "site-cannot-make" and "moon-blender" in p["what"]]
    assert {p["file"] for p in cannot} >= {"sites/saltmarket.yaml", "sites/beacon-street.yaml"}
    assert all("Coconut and ginger shake" in p["what"] and "not_served" in p["todo"] for p in cannot)


def test_line_ends_of_another_system_read_the_same(problems: list[dict[str, Any]]) -> None:
    assert not [p for p in problems if p["file"] == "ingredients/honey.yaml"]


def test_no_file_without_a_fault_is_blamed_with_an_error(problems: list[dict[str, Any]]) -> None:
    faulty = {path for path, *_ in FAULTS}
    assert {p["file"] for p in problems if p["severity"] == "error"} <= faulty


def test_in_order_without_repeats_and_codes_stable(problems: list[dict[str, Any]]) -> None:
    places = [(p["file"], p["line"], p["column"]) for p in problems]
    assert places == sorted(places)
    keys = [json.dumps(p, sort_keys=True) for p in problems]
    assert len(set(keys)) == len(keys)
    assert all(re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", p["code"]) for p in problems)


@pytest.mark.parametrize("width", [80, 120])
def test_on_a_screen_every_problem_says_the_same(width: int, problems: list[dict[str, Any]], bad: Path) -> None:
    told = run("check", "--book", bad, code=1, COLUMNS=str(width))
    assert max(map(columns, told.out.splitlines())) <= width
    for p in problems:
        place = f"{p['file']}:{p['line']}:{p['column']}" if p["line"] else p["file"]
        assert f"{place}: {p['severity']} {p['code']}" in told.out
    errors = sum(p["severity"] == "error" for p in problems)
    assert told.err.startswith(f"{errors} errors, {len(problems) - errors} warnings in ")


def test_a_bad_book_is_not_shown_traced_or_normalised_silently(bad: Path, tmp_path: Path) -> None:
    assert run("show", "harbour-mocha", "--book", bad, code=None).code in (0, 1)
    assert run("show", "no-such-drink", "--book", bad, code=1).out == ""
    close = run("show", "harbor-mocha", "--book", bad, code=1)
    assert "harbour-mocha" in close.err
    copy = tmp_path / "copy"
    shutil.copytree(bad, copy)
    told = run("normalise", "--book", copy, "--json", code=1)
    assert "drinks/blackcurrant-hojicha.yaml" in {p["file"] for p in told.json["problems"]}
    assert "30±5 ml" in (copy / "drinks" / "blackcurrant-hojicha.yaml").read_text(encoding="utf-8"), "never guessed at"


NO_RECORDS = {
    "bomb": b"a: &a [x,x,x,x,x,x,x,x,x]\n" + b"".join(b"%c: &%c [*%c,*%c,*%c,*%c,*%c,*%c,*%c,*%c]\n" % ((i, i) + (i - 1,) * 8) for i in range(98, 112)),
    "deep": b"name: " + b"[" * 5000 + b"]" * 5000, "binary": bytes(range(256)) * 40, "empty": b"", "list": b"- a\n- b\n",
    "directive": b"%YAML 1.1\n---\nname: x\n", "two": b"name: x\n---\nname: y\n", "tag": b"name: !!python/object:os.system x\n",
    "nul": b"name: a\x00b\n", "bidi": "name: \u202egnik\n".encode(), "long": b"name: " + b"x" * 2_000_000 + b"\n", "number": b"name: 9" + b"9" * 9000 + b"\n",
}  # fmt: skip


def test_no_bytes_in_a_record_stop_the_check(tmp_path: Path) -> None:
    """Bombs, depth, directives, tags; each is a problem with a place, in one run."""
    root = tmp_path / "book"
    shutil.copytree(resources.demo_book(), root)
    for name, data in NO_RECORDS.items():
        (root / "drinks" / f"{name}.yaml").write_bytes(data)
    told = run("check", "--book", root, "--json", code=1)
    for name in NO_RECORDS:
        mine = [p for p in told.json["problems"] if p["file"] == f"drinks/{name}.yaml"]
        assert mine and all(p["severity"] == "error" for p in mine), name
    assert len(told.out) < 200_000 and "\u202e" not in told.both and "\x00" not in told.both
