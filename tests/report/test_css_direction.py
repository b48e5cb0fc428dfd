"""Style that reads from the right as well as from the left: logical properties only (CSS Logical Properties, Level 1)."""

from __future__ import annotations

import re
from importlib.resources import files
from pathlib import Path

import pytest

from specctl.report.paper import page_rules

CSS = {
    "style.css": files("specctl.report").joinpath("style.css").read_text(encoding="utf-8"),
    "print": page_rules("Proposal 7, left: right;"),
}
TEMPLATES = Path(str(files("specctl.report").joinpath("templates")))
# left, right, float and clear speak of a side of the screen wherever they stand as property or value.
_SIDED = re.compile(r"(?<![a-z-])(?:[a-z-]+-)?(?:left|right)(?:-[a-z]+)*\s*:|:\s*(?:left|right)\b|(?<![a-z-])(?:float|clear)\s*:")
_FOUR = re.compile(r"(?<![a-z-])(margin|padding|inset|border-width|border-radius|scroll-margin)\s*:\s*([^;}]+)")


def sided(css: str) -> list[str]:
    """Declarations that name a physical side, or give the two sides of a line different widths."""
    css = re.sub(r'/\*.*?\*/|"(?:[^"\\]|\\.)*"', "", css, flags=re.DOTALL)
    found = [m[0] for m in _SIDED.finditer(css)]
    for m in _FOUR.finditer(css):
        values = re.findall(r"[a-z]+\([^()]*(?:\([^()]*\))*[^()]*\)|[^\s]+", m[2])
        if len(values) == 4 and values[1] != values[3]:
            found.append(m[0])
    return found


@pytest.mark.parametrize("name", CSS)
def test_no_side_of_the_screen_is_named(name: str) -> None:
    assert sided(CSS[name]) == []


def test_templates_carry_no_style_of_their_own() -> None:
    for path in TEMPLATES.rglob("*.html"):
        text = re.sub(r"<html [^\n]*>", "", path.read_text(encoding="utf-8"))  # the page's own direction is its language's
        assert not re.search(r"\sstyle=|\salign=|\sdir=", text), path.name


@pytest.mark.parametrize(
    "css",
    [
        "p{margin-left: 1em}", "p{text-align: right}", "p{padding:1px 2px 3px 4px}", "p{left:0}", "p{float: left}",
        "p{border-top-right-radius:1px}", "p{inset:0 auto 0 0}",
    ],
)  # fmt: skip
def test_the_check_itself_sees(css: str) -> None:
    assert sided(css)


@pytest.mark.parametrize("css", ["p{margin: 0 1em 2px 1em}", "p{padding-inline-start:1em; text-align: start}", "p{clip-path: inset(50%)}"])
def test_the_check_itself_lets_pass(css: str) -> None:
    assert sided(css) == []
