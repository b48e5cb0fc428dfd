"""A merged file is made by small edits of main's text: it means what was asked, and comments live."""

from __future__ import annotations

import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as examples
from hypothesis import strategies as st
from little_book import demo_files

from specctl.codec import yamltext
from specctl.codec.rewrite import rewrite
from specctl.errors import Stop

FILES = {p: d for p, d in demo_files().items() if p.startswith(("drinks/", "preps/", "ingredients/", "sites/"))}


def plain(data: bytes) -> Any:
    node, problems = yamltext.read(data, "x.yaml")
    assert node is not None and not problems, problems
    return node.plain()


def ordered(value: Any) -> Any:
    """Plain data with the order of keys as part of it, and lists as sets."""
    if isinstance(value, dict):
        return [(k, ordered(v)) for k, v in value.items()]
    if isinstance(value, list):
        return ("set", sorted(map(str, value)))
    return value


def comments(data: bytes) -> list[str]:
    return [line.strip() for line in data.decode().splitlines() if line.strip().startswith("#")]


def _maps(value: Any) -> list[dict[str, Any]]:
    return [value, *(m for v in value.values() for m in _maps(v))] if isinstance(value, dict) else []


@st.composite
def wished(draw: st.DrawFn) -> tuple[bytes, Any, bool]:
    """A demo file, what it shall mean, and whether a whole key went."""
    data = FILES[draw(st.sampled_from(sorted(FILES)))]
    target = copy.deepcopy(plain(data))
    removed = False
    for _ in range(draw(st.integers(1, 4))):
        here = draw(st.sampled_from(_maps(target)))
        kind = draw(st.sampled_from(["set", "add", "remove", "member"]))
        if kind == "set" and here:
            key = draw(st.sampled_from(sorted(here)))
            if not isinstance(here[key], (dict, list)):
                here[key] = draw(st.sampled_from(["30 g", "no", "0123", "a: b # c", "1:30", "", "“Gut”", "x" * 90]))
        elif kind == "add":
            here[draw(st.sampled_from(["zest", "note", "lines", "extra-1"]))] = draw(
                st.sampled_from(["5 g", 3, True, ["milk", "soya"], {"use": "oat", "amount": "2 g"}, {"a": {"b": ["c"]}}])
            )
        elif kind == "remove" and len(here) > 1:
            del here[draw(st.sampled_from(sorted(here)))]
            removed = True
        elif kind == "member":
            for value in here.values():
                if isinstance(value, list) and all(isinstance(v, str) for v in value):
                    value.append("hazelnut") if "hazelnut" not in value else value.remove("hazelnut")
                    break
    return data, target, removed


@given(wished())
@examples(max_examples=150)
def test_it_means_what_was_asked(case: tuple[bytes, Any, bool]) -> None:
    data, target, removed = case
    try:
        after = rewrite(data, target, "x.yaml")
    except Stop:
        # Some edits a person must make; then nothing comes back at all.
        return
    assert ordered(plain(after)) == ordered(target)
    if not removed:
        for comment in comments(data):
            assert comment in comments(after)


def test_most_edits_can_be_made() -> None:
    """The law above is empty if everything is refused: plain edits of every file must go through."""
    for path, data in FILES.items():
        target = plain(data)
        target["name"] = "Another name"
        after = rewrite(data, target, path)
        assert plain(after)["name"] == "Another name"
        assert comments(after) == comments(data)
        changed = [a for a, b in zip(data.splitlines(), after.splitlines(), strict=True) if a != b]
        assert len(changed) == 1, path


def test_no_change_gives_the_same_bytes() -> None:
    for path, data in FILES.items():
        assert rewrite(data, plain(data), path) == data


def test_what_cannot_be_read_is_refused() -> None:
    with pytest.raises(Stop):
        rewrite(b"a: [\n", {"a": "b"}, "x.yaml")


@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_untouched_lines_keep_their_bytes(ends: str) -> None:
    text = ends.join(["# the head", "a:   'quoted'   ", "b: 2 g", "# about c", "c: [milk,  soya]", ""])
    after = rewrite(text.encode(), {"a": "quoted", "b": "3 g", "c": ["milk", "soya"]}, "x.yaml")
    assert after == text.replace("2 g", "3 g").encode()
