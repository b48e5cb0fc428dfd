"""Schema checks: our words, the right place, and nothing fetched."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from specctl.codec.schema import MOST_PROBLEMS, kinds, validate
from specctl.codec.yamltext import read
from specctl.errors import Damaged, NotFound
from specctl.problem import Problem

COMMON = {
    "$id": "common.schema.json",
    "$defs": {
        "id": {"title": "an id", "type": "string", "pattern": "^[a-z0-9]+(-[a-z0-9]+)*$", "maxLength": 12},
        "amount": {"title": "an amount", "type": "string", "minLength": 1},
    },
}
THING = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "$id": "thing.schema.json",
    "type": "object",
    "required": ["name", "kind"],
    "additionalProperties": False,
    "patternProperties": {"^x-[a-z]+$": {"type": "string"}},
    "properties": {
        "name": {"type": "string", "maxLength": 10},
        "kind": {"enum": ["scale", "scoop", "pump"]},
        "version": {"const": 1},
        "of": {"$ref": "common.schema.json#/$defs/id"},
        "share": {"type": "number", "minimum": 0, "maximum": 1},
        "tenth": {"type": "number", "minimum": 0.1, "maximum": 0.3},
        "count": {"type": "integer", "minimum": 1},
        "set": {"type": "array", "items": {"$ref": "common.schema.json#/$defs/id"}, "uniqueItems": True, "minItems": 1},
        "sizes": {
            "type": "object",
            "propertyNames": {"pattern": "^[a-z]+$"},
            "minProperties": 1,
            "additionalProperties": {"type": "object", "required": ["ml"], "properties": {"ml": {"type": "number"}}},
        },
        "amount": {
            "anyOf": [
                {"$ref": "common.schema.json#/$defs/amount", "title": "an amount"},
                {"title": "an amount for each size", "type": "object", "additionalProperties": {"type": "string"}},
            ]
        },
    },
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name, content in (("common", COMMON), ("thing", THING)):
        (tmp_path / f"{name}.schema.json").write_text(json.dumps(content))
    return tmp_path


def check(folder: Path, text: str, kind: str = "thing") -> list[Problem]:
    node, problems = read(text.encode(), "things/x.yaml")
    assert node is not None and not problems
    return validate(kind, node, "things/x.yaml", folder)


GOOD = "name: a\nkind: scoop\n"


def test_a_good_record_has_no_problems(folder: Path) -> None:
    text = GOOD + "of: oat-milk\nshare: 0.25\ncount: 3\nset: [a, b]\nsizes: {big: {ml: 12.5}}\namount: {big: 30 g}\nx-note: a\n"
    assert check(folder, text) == []


def test_bounds_are_decimal(folder: Path) -> None:
    # 0.1 and 0.3 have no exact binary form: held against floats one of them would fail.
    assert check(folder, GOOD + "tenth: 0.1\n") == [] == check(folder, GOOD + "tenth: 0.3\n")


# text, code, line, column, part of what, part of todo
CASES = [
    ("kind: scoop\n", "schema-missing", 1, 1, "name is missing", "Add name"),
    (GOOD + "sizes:\n  big: {}\n", "schema-missing", 4, 8, "sizes.big lacks ml", "Add ml"),
    (GOOD + "vresion: 1\n", "schema-unknown-key", 3, 1, "unknown key vresion", "Did you mean version?"),
    (GOOD + "zzz: 1\n", "schema-unknown-key", 3, 1, "unknown key zzz", "Known here"),
    (GOOD + '"x-a\\u0041": a\n', "schema-unknown-key", 3, 1, "unknown key", "Known here"),
    ("name: 3\nkind: scoop\n", "schema-type", 1, 7, "name is 3, not text", 'in quotes: "3"'),
    ("name: true\nkind: scoop\n", "schema-type", 1, 7, "name is true, not text", 'in quotes: "true"'),
    ("- a\n", "schema-type", 1, 1, "the record is a list, not a map", "Write a map"),
    (GOOD + "share: true\n", "schema-type", 3, 8, "not a number", "a number"),
    (GOOD + "count: 1.5\n", "schema-type", 3, 8, "not a whole number", "a whole number"),
    (GOOD + "share: 1.01\n", "schema-range", 3, 8, "share is 1.01", "at most 1"),
    (GOOD + "share: -0.5\n", "schema-range", 3, 8, "share is -0.5", "at least 0"),
    ("name: a\nkind: scop\n", "schema-value", 2, 7, 'kind is "scop"', "Did you mean scoop?"),
    (GOOD + "version: 2\n", "schema-value", 3, 10, "version is 2", "Write 1."),
    (GOOD + "of: Oat\n", "schema-pattern", 3, 5, 'of is "Oat"', "Write an id."),
    (GOOD + 'of: "oat\\n"\n', "schema-pattern", 3, 5, "of is", "Write an id."),
    ("name: abcdefghijk\nkind: scoop\n", "schema-size", 1, 7, "name has 11", "at most 10 characters"),
    (GOOD + "set: []\n", "schema-size", 3, 6, "set has 0", "at least 1 entry"),
    (GOOD + "sizes: {}\n", "schema-size", 3, 8, "sizes has 0", "at least 1 entry"),
    (GOOD + "set: [a, b, a]\n", "schema-repeat", 3, 13, '"a" stands twice', "Keep one"),
    (GOOD + "sizes:\n  Big: {ml: 1}\n", "schema-key", 4, 3, "the key Big in sizes", "small letters"),
    (GOOD + "amount: 30\n", "schema-value", 3, 9, "amount is 30", "an amount or an amount for each size"),
    (GOOD + "amount: {big: 30}\n", "schema-type", 3, 15, "amount.big is 30", 'in quotes: "30"'),
    (GOOD + "amount: ''\n", "schema-size", 3, 9, "amount has 0", "at least 1 character"),
]


@pytest.mark.parametrize(("text", "code", "line", "column", "what", "todo"), CASES)
def test_a_failed_rule_in_our_words(
    folder: Path, text: str, code: str, line: int, column: int, what: str, todo: str
) -> None:
    problems = check(folder, text)
    assert [(p.code, p.place.line, p.place.column) for p in problems] == [(code, line, column)]
    assert what in problems[0].what and todo in problems[0].todo
    assert problems[0].place.file == "things/x.yaml"


def test_several_unknown_and_missing_keys_each_have_their_line(folder: Path) -> None:
    problems = check(folder, "a: 1\nb: 2\n")
    assert [(p.code, p.place.line) for p in problems] == [
        ("schema-missing", 1), ("schema-missing", 1), ("schema-unknown-key", 1), ("schema-unknown-key", 2),
    ]


def test_neighbours_of_a_bad_value_are_never_shown(folder: Path) -> None:
    problems = check(folder, "name: a\nkind: scoop\nsizes: {big: {ml: 7319.55}, small: 8421.66}\nset: {secret: 9532.77}\n")
    words = " ".join(p.what + p.todo for p in problems)
    assert "8421.66" in words  # the value at fault itself, short
    assert "7319.55" not in words and "9532.77" not in words


def test_long_and_hostile_values_are_cut_and_cleaned(folder: Path) -> None:
    problems = check(folder, GOOD + "of: " + "A" * 500 + "\n")
    assert all(len(p.what) < 200 for p in problems)
    problems = check(folder, 'name: a\nkind: "a\\nb"\n')
    assert all(p.what.isprintable() for p in problems)


def test_problems_are_bounded(folder: Path) -> None:
    text = GOOD + "".join(f"k{i}: 1\n" for i in range(MOST_PROBLEMS * 3))
    assert len(check(folder, text)) == MOST_PROBLEMS


@pytest.mark.parametrize(
    "reference",
    ["https://example.org/x.json", "file:///etc/hostname", "elsewhere.schema.json", "common.schema.json#/$defs/nowhere"],
)
def test_nothing_outside_the_folder_is_opened(folder: Path, reference: str, monkeypatch: Any) -> None:
    def refuse(*_: Any, **__: Any) -> Any:
        raise AssertionError("opened something")

    (folder / "open.schema.json").write_text(json.dumps({"$id": "open.schema.json", "properties": {"a": {"$ref": reference}}}))
    node, _ = read(b"a: b\n", "x.yaml")
    assert node is not None
    monkeypatch.setattr("urllib.request.urlopen", refuse)
    monkeypatch.setattr("socket.socket.connect", refuse)
    with pytest.raises(Damaged):
        validate("open", node, "x.yaml", folder)


@pytest.mark.parametrize("kind", ["nothing", "../common", "", "thing.schema"])
def test_an_unknown_kind(folder: Path, kind: str) -> None:
    node, _ = read(b"a: b\n", "x.yaml")
    assert node is not None
    with pytest.raises(NotFound):
        validate(kind, node, "x.yaml", folder)


def test_schemas_that_ship_are_valid_by_the_metaschema() -> None:
    from jsonschema import Draft202012Validator

    from specctl.resources import schema_folder

    assert len(kinds()) >= 15
    for path in schema_folder().glob("*.schema.json"):
        Draft202012Validator.check_schema(json.loads(path.read_bytes()))
