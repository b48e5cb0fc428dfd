"""The shipped tools against what their names mean, and tools that say too little."""

from __future__ import annotations

import json
from itertools import takewhile
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


@pytest.mark.parametrize(
    ("with_", "code", "words"),
    [
        ("with: oat-drink", "substitute-self", "stands in for itself"),
        # almonds are tree nuts on the market's list; nothing it may bring is named
        ("with: almond-drink, brings: []", "substitute-allergen", "which it says it may not"),
    ],
)
def test_a_stand_in_that_cannot_be(book: Path, capsys: pytest.CaptureFixture[str], with_: str, code: str, words: str) -> None:
    file = book / "drinks" / "pearl-milk-tea.yaml"
    text = file.read_text()
    assert "for: oat-drink, with: oat-drink-skerry" in text
    file.write_text(text.replace("with: oat-drink-skerry", with_))
    line = next(at for at, each in enumerate(text.split("\n"), 1) if "oat-drink-skerry" in each)
    assert main(["check", "--book", str(book)]) == 1
    out = capsys.readouterr().out
    assert f"drinks/pearl-milk-tea.yaml:{line}:" in out and code in out and words in " ".join(out.split())


def test_a_scale_coarser_than_the_amount_is_not_used(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A scale in steps of 50 g alone: nothing within ± 24 g is measured with it, and none is guessed at."""
    (book / "tools" / "coarse.yaml").write_text("name: Coarse scale\nkind: scale\nreadability: 50 g\n")
    site = book / "sites" / "dune-cross.yaml"
    text = site.read_text()
    tools = text[text.index("\ntools:") + 1 :]
    block = "tools:\n" + "".join(line + "\n" for line in takewhile(lambda line: line.startswith(" "), tools.split("\n")[1:]))
    site.write_text(text.replace(block, "tools:\n  coarse: 1\n"))
    assert main(["site-fit", "dune-cross", "--json", "--book", str(book)]) == 1
    fit = json.loads(capsys.readouterr().out)
    by_scale = [row["line"] for row in fit["amounts"] if row["line"]["measure"]["by"] == "scale"]
    assert all(min(float(line["tolerance"][side]) for side in ("minus", "plus")) >= 25 for line in by_scale)
    none = [row["line"]["measure"] for row in fit["amounts"] if row["line"]["measure"]["verdict"] == "no-tool"]
    assert none and all("or finer would serve" in measure["note"] and not measure["moves"] for measure in none)
