"""Reading a tree never raises; every failure is a problem with its place, and the shelf changes nothing."""

from __future__ import annotations

import hashlib
import json
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from little_book import BOOK, Shelf, demo, demo_files, ingredient, little, prep

from specctl.actions.checking import check_files
from specctl.codec.load import blob_id, load, read_file
from specctl.codec.paths import record_at
from specctl.problem import Problem, errors_of

TODAY = date(2026, 11, 25)
PATHS = sorted(demo_files())
# What people type by accident, and what somebody might on purpose.
SNIPPETS = [
    b"\n", b" ", b"\t", b":", b"- ", b"#", b"{", b"}", b"[", b"]", b'"', b"'", b"|", b">", b"&a ", b"*a", b"!!str ",
    b"%YAML 1.1\n", b"---\n", b"...\n", b"? ", b"<<: ", b"\xef\xbb\xbf", b"\xff", b"\x00", b"\x1b[31m", b"\xe2\x80\xae",
    b"null", b"~", b"yes", b"0x10", b"1e9", b".inf", b".nan", b"-0", b"1_000", b"2026-13-45", b"99999999999999999999",
    b"name: again\n", b"amount: 1,5 ml\n", b"lines: {}\n", b"key: [[[[[[\n",
]  # fmt: skip


def placed(problem: Problem, files: dict[str, bytes]) -> bool:
    """A file of the tree, and a line and column in it; line 0 only where the file as a whole is meant."""
    place = problem.place
    if place.file not in files:
        return False
    lines = files[place.file].count(b"\n") + 1
    return place.line == 0 or (1 <= place.line <= lines + 1 and place.column >= 1)


@st.composite
def harmed(draw: st.DrawFn) -> tuple[str, bytes]:
    """A real file after one or two accidents."""
    path = draw(st.sampled_from(PATHS))
    data = demo_files()[path]
    for _ in range(draw(st.integers(1, 2))):
        at = draw(st.integers(0, len(data)))
        kind = draw(st.sampled_from(["cut", "put", "flip", "line", "indent"]))
        if kind == "cut":
            data = data[:at] + data[at + draw(st.integers(1, 40)) :]
        elif kind == "put":
            data = data[:at] + draw(st.sampled_from(SNIPPETS)) + data[at:]
        elif kind == "flip" and at < len(data):
            data = data[:at] + bytes([draw(st.integers(0, 255))]) + data[at + 1 :]
        else:
            lines = data.splitlines(keepends=True)
            number = draw(st.integers(0, max(0, len(lines) - 1)))
            if kind == "line":
                lines.insert(number, lines[draw(st.integers(0, len(lines) - 1))] if lines else b"")
            elif lines:
                lines[number] = b"  " + lines[number]
            data = b"".join(lines)
    return path, data


@given(harmed())
@examples(max_examples=250)
def test_a_harmed_file_is_problems_never_an_exception(case: tuple[str, bytes]) -> None:
    path, data = case
    files = {"book.yaml": demo_files()["book.yaml"], path: data}
    loaded = load(files)
    assert all(placed(p, files) for p in loaded.problems), loaded.problems
    assert all(p.code and p.what and p.todo for p in loaded.problems)
    kind, id = record_at(path)  # type: ignore[misc]
    if errors_of([p for p in loaded.problems if p.place.file == path]) and kind != "book":
        assert loaded.book is not None and f"{kind}/{id}" in loaded.book.broken


@given(harmed())
@examples(max_examples=8)
def test_a_book_with_one_harmed_file_is_checked_to_its_end(case: tuple[str, bytes]) -> None:
    files = {**demo_files(), case[0]: case[1]}
    loaded = load(files, SHELF)
    problems = check_files(files, loaded, TODAY)
    assert all(placed(p, files) for p in problems), [p for p in problems if not placed(p, files)]


SHELF = Shelf()


@given(st.sampled_from(PATHS), st.binary(max_size=300))
def test_any_bytes_are_problems_never_an_exception(path: str, data: bytes) -> None:
    files = {"book.yaml": BOOK, path: data}
    loaded = load(files)
    assert all(placed(p, files) for p in loaded.problems)
    assert errors_of(list(loaded.problems)), "no record of ours is so short"


def test_the_demo_book_has_no_problem() -> None:
    assert demo().problems == ()
    assert demo().book is not None


def test_an_empty_tree_says_so() -> None:
    loaded = load({})
    assert loaded.book is None and [p.code for p in loaded.problems] == ["book-missing"]


def test_a_broken_book_file_leaves_no_book() -> None:
    loaded = load({"book.yaml": b"format: [\n"})
    assert loaded.book is None and loaded.problems


@pytest.mark.parametrize(
    ("path", "data", "line", "column"),
    [
        pytest.param("preps/some.yaml", prep("30 g").replace(b"hold: 24 h", b"hold: 24 hours"), 11, 10, id="a unit"),
        pytest.param("ingredients/something.yaml", ingredient("1.03 g/ml").replace(b"state: liquid", b"state: gas"), 2, 8, id="a word"),
        pytest.param("ingredients/something.yaml", ingredient("1.03 kg"), 3, 20, id="a dimension"),
        pytest.param("ingredients/something.yaml", ingredient(None) + b"storage: ambient\n", 4, 1, id="a key twice"),
    ],
)
def test_the_place_is_where_a_person_must_look(path: str, data: bytes, line: int, column: int) -> None:
    """Counted by hand in the text above; a wrong unit is pointed at, not the value it stands in."""
    loaded = load({**little("30 g", "1 g/ml"), path: data})
    found = [p.place for p in loaded.problems if p.is_error]
    assert [(p.file, p.line, p.column) for p in found] == [(path, line, column)]


def test_a_shelf_changes_nothing() -> None:
    files = dict(demo_files())
    files["drinks/matcha-cloud.yaml"] = files["drinks/matcha-cloud.yaml"].replace(b"name:", b"nmae:", 1)
    files["preps/espresso.yaml"] = b"name: [\n"
    shelf = Shelf()
    without, first, second = load(files), load(files, shelf), load(files, shelf)
    assert shelf.hits >= len([p for p in files if record_at(p)])
    for other in (first, second):
        assert other.book == without.book
        assert other.problems == without.problems
        assert other.nodes == without.nodes
    assert without.problems


@pytest.mark.parametrize("path", PATHS[::8])
def test_a_kept_file_keeps_its_places(path: str) -> None:
    """Equality of records ignores places, so they are compared by themselves."""
    shelf = Shelf()
    kind, _ = record_at(path)  # type: ignore[misc]
    one = read_file(kind, path, demo_files()[path], shelf)
    two = read_file(kind, path, demo_files()[path], shelf)
    assert shelf.hits == 1 and one[0] is not None and two[0] is not None
    assert one[0].to_json() == two[0].to_json() and one[1] == two[1]


@pytest.mark.parametrize("kept", [b"", b"{", b"[]", b'{"node": 7, "problems": []}', b'{"problems": []}', b'{"node": {}, "problems": []}'])
def test_a_harmed_shelf_is_a_miss(kept: bytes) -> None:
    class Harmed(Shelf):
        def get(self, namespace: str, key: str) -> bytes | None:
            return kept

    path = "ingredients/sugar.yaml"
    assert read_file("ingredient", path, demo_files()[path], Harmed()) == read_file("ingredient", path, demo_files()[path], None)


def test_one_text_as_two_kinds_is_kept_apart() -> None:
    """A file's meaning depends on its kind too; a shelf by blob id alone would mix them up."""
    shelf = Shelf()
    data = b"name: Marram\n"
    assert not read_file("franchise", "franchises/marram.yaml", data, shelf)[1]
    assert read_file("drink", "drinks/marram.yaml", data, shelf)[1]


@given(st.binary(max_size=60))
def test_blob_ids_are_gits(data: bytes) -> None:
    """Git's object format: SHA-1 of the type, the length, a NUL and the bytes."""
    assert blob_id(data) == hashlib.sha1(b"blob " + str(len(data)).encode() + b"\0" + data).hexdigest()
    assert blob_id(b"") == "e69de29bb2d1d6434b8b29ae775ad8c2e48c5391"  # the well-known empty blob


def test_what_is_kept_is_plain_json() -> None:
    shelf = Shelf()
    path = "drinks/matcha-cloud.yaml"
    read_file("drink", path, demo_files()[path], shelf)
    ((_, data),) = shelf.kept.items()
    kept: Any = json.loads(data)
    assert set(kept) == {"node", "problems"}
