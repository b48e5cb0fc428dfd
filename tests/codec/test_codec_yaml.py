"""Reading the YAML of a book: what is read, and every refusal with its place."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from specctl.codec import scalars, yamlguard, yamltext
from specctl.codec.emit import write_value
from specctl.codec.node import Node, from_json, same_meaning
from specctl.codec.yamltext import read
from specctl.errors import Refused


def tree(text: str) -> Node:
    node, problems = read(text.encode(), "drinks/x.yaml")
    assert not problems
    assert node is not None
    return node


# text, code, line, column
REFUSED = [
    ("contains: soya #and milk\n", "yaml-comment", 1, 16),
    ("contains:\n  - soya # milk\n", "yaml-comment", 2, 10),
    ("contains: [soya] # milk\n", "yaml-comment", 1, 18),
    ("contains: [soya, # x\n  milk]\n", "yaml-comment", 1, 18),
    ("contains: [\n  soya\n  ] # milk\n", "yaml-comment", 3, 5),
    ('a: "\\UFFFFFFFF"\n', "yaml-syntax", 1, 2),
    ("amount: | # x\n  30 g\n", "yaml-comment", 1, 11),
    ("amount: '30 g' # x\n", "yaml-comment", 1, 16),
    ("%YAML 1.1\n---\na: b\n", "yaml-directive", 2, 1),
    ("%TAG ! x\n---\na: b\n", "yaml-directive", 2, 1),
    ("%OTHER x\n---\na: b\n", "yaml-directive", 1, 1),
    ("a: &x b\nc: *x\n", "yaml-alias", 1, 4),
    ("a: *x\n", "yaml-alias", 1, 4),
    ("&x a: b\n", "yaml-alias", 1, 1),
    ("a: &x {b: c}\n", "yaml-alias", 1, 4),
    ("a: !!str 123\n", "yaml-tag", 1, 4),
    ("a: !own b\n", "yaml-tag", 1, 4),
    ("a: !!set {b: c}\n", "yaml-tag", 1, 4),
    ("<<: {a: b}\n", "yaml-merge-key", 1, 1),
    ("'<<': {a: b}\n", "yaml-merge-key", 1, 1),
    ("a: b\n---\nc: d\n", "yaml-document", 2, 1),
    ("a: b\n...\nc: d\n", "yaml-document", 3, 1),
    ("\ufeffa: b\n", "yaml-encoding", 1, 1),
    ("a: e\u0301\n", "yaml-character", 1, 1),
    ("x: y\na: b\u200bc\n", "yaml-character", 2, 5),
    ("a: b\u202ec\n", "yaml-character", 1, 5),
    ("a: \u2066b\n", "yaml-character", 1, 4),
    ("a: b\x07\n", "yaml-character", 1, 5),
    ("a: b\x85c\n", "yaml-character", 1, 5),
    ("a: b\u2028c\n", "yaml-character", 1, 5),
    ("a: \ue000\n", "yaml-character", 1, 4),
    ("a: \u0378\n", "yaml-character", 1, 4),
    ("a: \u3164\n", "yaml-character", 1, 4),
    ("a:\tb\n", "yaml-character", 1, 3),
    ("a: b\rc: d\n", "yaml-character", 1, 5),
    ("# \u202e comment\na: b\n", "yaml-character", 1, 3),
    ('a: "\\u200b"\n', "yaml-character", 1, 4),
    ('a: "\\0"\n', "yaml-character", 1, 4),
    ('a: "e\\u0301"\n', "yaml-character", 1, 4),
    ('"a\\u202e": b\n', "yaml-character", 1, 1),
    ("5: a\n", "yaml-key", 1, 1),
    ("true: a\n", "yaml-key", 1, 1),
    ("1.5: a\n", "yaml-key", 1, 1),
    ("? a\n: b\n", "yaml-key", 1, 1),
    ("? [a]\n: b\n", "yaml-key", 1, 3),
    ("{a: b}: c\n", "yaml-key", 1, 1),
    (": b\n", "yaml-key", 1, 1),
    ('"a\\nb": c\n', "yaml-key", 1, 1),
    ("a: 1\nb: 2\na: 3\n", "yaml-duplicate-key", 3, 1),
    ("a: 1\n'a': 3\n", "yaml-duplicate-key", 2, 1),
    ("x: {a: 1, a: 3}\n", "yaml-duplicate-key", 1, 11),
    ("a:\nb: c\n", "yaml-empty", 1, 1),
    ("a: {b: }\n", "yaml-empty", 1, 5),
    ("a: {b}\n", "yaml-empty", 1, 5),
    ("- a\n-\n", "yaml-empty", 2, 2),
    ("", "yaml-empty", 0, 0),
    ("# nothing\n", "yaml-empty", 0, 0),
    ("a: [b\n", "yaml-syntax", 2, 1),
    ("a: b: c\n", "yaml-syntax", 1, 5),
    ("a: 'b\n", "yaml-syntax", 2, 1),
    ("a: @b\n", "yaml-syntax", 1, 4),
    ('a: "\\q"\n', "yaml-syntax", 1, 6),
    ("[" * 33 + "]" * 33, "yaml-too-deep", 1, 33),
    ("[" * 5000, "yaml-too-deep", 1, 33),
    ("- " * 40 + "a\n", "yaml-too-deep", 1, 65),
]


@pytest.mark.parametrize(("text", "code", "line", "column"), REFUSED)
def test_refused_with_its_place(text: str, code: str, line: int, column: int) -> None:
    _, problems = read(text.encode("utf-8"), "x.yaml")
    found = [(p.code, p.place.line, p.place.column) for p in problems]
    assert (code, line, column) in found
    for problem in problems:
        assert problem.is_error and problem.todo and problem.place.file == "x.yaml"
        assert (problem.what + problem.todo).isprintable()


# YAML 1.1 types repository: bool, int, float, null, timestamp, merge, value.
MISREAD = (
    "y Y n N yes Yes YES no No NO on On ON off Off OFF True TRUE False FALSE null Null NULL ~ "
    "017 0o17 0x1F 0b101 1_000 1:30 190:20:30 04:00 20:30.15 .inf -.inf +.INF .nan .NaN 1e3 6.8523015e+5 "
    "+5 -0 -0.0 .5 5. 007 00.5 685_230.15 = 2001-12-14t21:59:43.10-05:00 2001-1-1 1234567890123456"
).split()


@pytest.mark.parametrize("text", MISREAD)
def test_what_another_reader_would_misread_must_be_quoted(text: str) -> None:
    node, problems = read(f"a: {text}\n".encode(), "x.yaml")
    assert [p.code for p in problems] == ["yaml-ambiguous"]
    assert problems[0].place.column == 4
    assert tree(f"a: '{text}'\n").plain() == {"a": text}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("true", True),
        ("false", False),
        ("0", 0),
        ("-18", -18),
        ("12.40", Decimal("12.40")),
        ("0.1", Decimal("0.1")),
        ("-0.5", Decimal("-0.5")),
        ("30 g", "30 g"),
        ("1,5 ml", "1,5 ml"),
        ("2026-09-01", "2026-09-01"),
        ("nine", "nine"),
        ("oat drink", "oat drink"),
        ("½ cup", "½ cup"),
        ("'12.40'", "12.40"),
        ('"true"', "true"),
        ("''", ""),
        ("a#b", "a#b"),
        ("{}", {}),
        ("[]", []),
    ],
)
def test_scalars(text: str, value: Any) -> None:
    found = tree(f"a: {text}\n").plain()
    assert same_meaning(found, {"a": value})


def test_decimals_are_exact() -> None:
    assert str(tree("a: 12.40\n").plain()["a"]) == "12.40"  # type: ignore[index,call-overload]


def test_comments_that_are_fine() -> None:
    text = (
        "# top\nname: Oat\n  # own\nlayers: # none of these hold a value\n"
        "  base:\n    # own\n    amount: 30 g\n# end\nwhy: |\n  it # is text\nlast: 'a # b'\n"
    )
    assert tree(text).plain()["last"] == "a # b"  # type: ignore[index,call-overload]


def test_size_and_count_are_capped() -> None:
    _, problems = read(b"a: " + b"b" * yamlguard.MOST_BYTES, "x.yaml")
    assert [p.code for p in problems] == ["yaml-too-big"]
    _, problems = read(b"- 1\n" * (yamltext.MOST_EVENTS + 1), "x.yaml")
    assert [p.code for p in problems] == ["yaml-too-big"]


def test_a_merge_bomb_is_refused_at_its_first_anchor() -> None:
    bomb = "a: &a {x: y}\n" + "".join(f"b{i}: &b{i} {{<<: [*a, *a]}}\n" for i in range(40))
    node, problems = read(bomb.encode(), "x.yaml")
    assert node is None and [p.code for p in problems] == ["yaml-alias"]


def test_bytes_that_are_not_utf8() -> None:
    _, problems = read(b"a: b\nc: \xff\n", "x.yaml")
    assert [(p.code, p.place.line, p.place.column) for p in problems] == [("yaml-encoding", 2, 4)]


def test_places_and_offsets() -> None:
    text = "name: Oat\nlayers:\n  base: {of: 'prep/foam', amount: 30 g}\n# c\nset:\n  - a\n  - b\n\n"
    root = tree(text)
    amount = root.find(("layers", "base", "amount"))
    assert amount is not None
    assert (amount.line, amount.column) == (3, 35)
    assert text[amount.start : amount.end] == "30 g"
    base = root.find(("layers", "base"))
    assert base is not None and text[base.start : base.end] == "{of: 'prep/foam', amount: 30 g}"
    listed = root.get("set")
    assert listed is not None and text[listed.start : listed.end] == "- a\n  - b"
    item = root.item("layers")
    assert item is not None and (item.key_node.line, item.key_node.column) == (2, 1)


def test_windows_line_ends_are_read() -> None:
    text = "a: b\r\nc:\r\n  - d\r\n"
    root = tree(text)
    assert root.plain() == {"a": "b", "c": ["d"]}
    found = root.find(("c", 0))
    assert found is not None and text[found.start : found.end] == "d" and found.line == 3


def test_several_problems_in_one_run() -> None:
    _, problems = read(b"a: no\nb: 1:30\na: 3\nc:\nd: x # y\n", "x.yaml")
    assert [p.code for p in problems] == [
        "yaml-ambiguous", "yaml-ambiguous", "yaml-duplicate-key", "yaml-empty", "yaml-comment",
    ]


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda t: t.encode("utf-8", "surrogatepass")))
@settings(max_examples=300)
def test_reading_never_raises(raw: bytes) -> None:
    node, problems = read(raw, "x.yaml")
    assert node is not None or problems


yamlish = st.text(alphabet="ab:-?#[]{},&*!|>'\"%@ \n0.1<~\\", max_size=40)


@given(yamlish)
@settings(max_examples=500)
def test_what_is_read_means_the_same_to_the_library(text: str) -> None:
    from ruamel.yaml import YAML

    node, problems = read(text.encode(), "x.yaml")
    if node is None or problems:
        return

    def as_text(value: Any) -> Any:
        if isinstance(value, dict):
            return [(k, as_text(v)) for k, v in value.items()]
        if isinstance(value, list | tuple):
            return [as_text(v) for v in value]
        return value if isinstance(value, str | bool) else float(value)

    for version in ((1, 1), (1, 2)):
        loader = YAML(typ="safe", pure=True)
        loader.version = version
        assert as_text(loader.load(text)) == as_text(node.plain())


letters = st.characters(exclude_categories=("Cc", "Cf", "Co", "Cn", "Cs", "Zl", "Zp"), exclude_characters="".join(scalars._INVISIBLE))
texts = st.text(letters, max_size=20).filter(scalars.is_composed)
tricky = st.sampled_from([*MISREAD, "2026-09-01", "- a", "a: b", "a #b", "# a", "a:", " a", "a ", "", "[a", "*a", "&a", "!a", "%a", "@a", "`a", "'a", '"a"', "?", "-", "---", "...", "a\nb", "true", "12", "1.50", "a\\b", "a, b", "{", "|", ">"])
names = (texts | tricky).filter(lambda t: t.strip() == t and t and "\n" not in t and t != "<<")
scalar_values = st.one_of(
    texts, tricky, st.booleans(), st.integers(-(10**14), 10**14),
    st.decimals(min_value=-(10**6), max_value=10**6, places=4, allow_nan=False, allow_infinity=False),
)
values = st.recursive(
    scalar_values,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names, inner, max_size=4),
    max_leaves=12,
)


@given(st.dictionaries(names, values, min_size=1, max_size=4))
@settings(max_examples=300)
def test_reading_what_was_written_gives_the_value_back(value: dict[str, Any]) -> None:
    text = write_value(value)
    assert same_meaning(tree(text).plain(), value)
    assert write_value(tree(text).plain()) == text


@given(texts | tricky)
def test_what_is_written_is_read_alike_under_yaml_1_1(value: str) -> None:
    from ruamel.yaml import YAML

    loader = YAML(typ="safe", pure=True)
    loader.version = (1, 1)
    assert loader.load(write_value({"a": value})) == {"a": value}


@pytest.mark.parametrize("value", [None, 1.5, {"a": None}, {1: "a"}, {"": "a"}, {"<<": "a"}, "a\u200bb", "e\u0301", 10**16, Decimal("NaN"), b"a"])
def test_what_a_book_cannot_hold_is_not_written(value: Any) -> None:
    with pytest.raises(Refused):
        write_value({"a": value} if not isinstance(value, dict) else value)


@given(st.dictionaries(names, values, min_size=1, max_size=3))
def test_a_node_survives_the_cache(value: dict[str, Any]) -> None:
    node = tree(write_value(value))
    again = from_json(json.loads(json.dumps(node.to_json())))
    assert again == node and same_meaning(again.plain(), node.plain())


@pytest.mark.parametrize("data", [[], ["m"], ["x", 1, 1, 0, 0, "", "a"], ["s", 1, 1, 0, 0, "", None], None, ["d", 1, 1, 0, 0, "", "x"]])
def test_a_damaged_cache_is_a_value_error(data: Any) -> None:
    with pytest.raises(ValueError):
        from_json(data)
