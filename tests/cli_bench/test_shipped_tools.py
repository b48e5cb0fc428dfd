"""The shipped tools against what their names mean, and tools that say too little."""

from __future__ import annotations

from pathlib import Path

import pytest

from specctl.cli.main import main
from specctl.codec.load import load
from specctl.domain.book import Book


def read(book: Path) -> Book:
    found = load({str(p.relative_to(book)): p.read_bytes() for p in sorted(book.rglob("*.yaml"))}).book
    assert found is not None
    return found


# NIST SP 811: US teaspoon 4.92892159375 ml, tablespoon three of them; metric spoons 5 and 15 ml;
# a disher of number N holds an Nth of a US quart of 946.353 ml (the trade's definition)
@pytest.mark.parametrize(
    ("tool", "ml"),
    [
        ("spoon-tsp-us", 4.92892159375), ("spoon-tbsp-us", 14.78676478125), ("spoon-quarter-us", 4.92892159375 / 4),
        ("spoon-tsp-metric", 5), ("spoon-tbsp-metric", 15), ("spoon-quarter-metric", 1.25),
        ("disher-16", 946.352946 / 16), ("disher-60", 946.352946 / 60),
    ],
)
def test_spoons_and_dishers(book: Path, tool: str, ml: float) -> None:
    assert float(read(book).tools[tool].volume or 0) == pytest.approx(ml, rel=1e-4)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("name: Bare\nkind: scoop\n", "tool-without-size"), ("name: Bare\nkind: pump\n", "tool-without-size"),
        ("name: Bare\nkind: scoop\nvolume: 0 ml\n", "volume-form"), ("name: Bare\nkind: scale\nreadability: -1 g\n", "mass-form"),
        ("name: Bare\nkind: scoop\nvolume: 15 g\n", "volume-form"),
    ],
)
def test_a_tool_that_says_too_little(book: Path, capsys: pytest.CaptureFixture[str], text: str, code: str) -> None:
    (book / "tools" / "bare.yaml").write_text(text)
    assert main(["check", "--book", str(book)]) == 1
    assert "tools/bare.yaml:" in (out := capsys.readouterr().out) and code in out
