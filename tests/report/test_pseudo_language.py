"""Every word of a report comes from the catalogue: in a made-up language nothing stays in Latin letters.

What may stay is what the book holds, and the short list in `pseudo_words.ALLOWED`.
The demo's own book is looked at the same way in `tests/cli/test_cli_language.py`,
where only the files of the book count as data.
"""

from __future__ import annotations

import re

import pytest
from make_impact import NOW, chain, quiet, rich
from pseudo_words import CYRILLIC, Pseudo, plain, strings, unsaid, unsaid_on
from test_report_pages import many

from specctl.change.impact import Impact
from specctl.report.html import render_html
from specctl.report.markdown import render_markdown
from specctl.report.pages_folder import render_report
from specctl.report.tables import Command
from specctl.report.terminal import render_terminal
from specctl.report.tongue import _, speaking
from specctl.report.view import View, view_of

IMPACTS = {
    "rich": rich(),
    "chain": chain(),
    "quiet": quiet(),
    "released": rich(state="released", release=7),
    "draft": rich(state="draft"),
    "withdrawn": rich(state="withdrawn"),
    "in conflict": rich(conflicts=("drinks/x.yaml, a: main now has b, this proposal has c",)),
    "rewritten": rich(recompiled=("Matcha cloud",)),
    "unpriced": rich(price_books=(), costs=()),
    "without a day": rich(),
}


def pseudo(impact: Impact, day: bool = True) -> View:
    return view_of(impact, now=NOW if day else None)


@pytest.mark.parametrize("name", IMPACTS)
def test_no_word_of_a_page_is_left_out_of_the_catalogue(name: str) -> None:
    impact = IMPACTS[name]
    with speaking("eo", Pseudo(CYRILLIC)):
        page = render_html(pseudo(impact, name != "without a day")).decode()
    assert '<html lang="eo">' in page
    assert unsaid_on(page, strings(impact)) == {}


def test_nor_of_a_report_of_several_pages() -> None:
    impact = many(rich(), 12)
    with speaking("eo", Pseudo(CYRILLIC)):
        report = render_report(pseudo(impact), most=120_000)
    assert len(report.others) >= 3
    for page in (report.first, *report.others.values()):
        names = [*strings(impact), report.folder, *report.others]
        assert unsaid_on(page.decode(), names) == {}


@pytest.mark.parametrize("name", ["rich", "chain"])
def test_nor_of_markdown_nor_of_a_terminal(name: str) -> None:
    """Lines fold there, so each word is looked at by itself: one of the book's own may not be told from ours."""
    impact = IMPACTS[name]
    with speaking("eo", Pseudo(CYRILLIC)):
        view = pseudo(impact)
        markdown, terminal = render_markdown(view), render_terminal(view, 80)
    commands = [block.text for section in view.sections for block in section.blocks if isinstance(block, Command)]
    words = {word for text in (*strings(impact), *commands) for word in re.findall("[A-Za-z]+", text)}
    for text in (re.sub("(?s)<!--.*?-->|<[^>]*>|&[a-z]+;|`[^`]*`", " ", markdown), terminal):
        lines = [plain(line) for line in text.splitlines()]
        assert {word for word in unsaid(lines, words) if not re.fullmatch("[a-f]+", word)} == set()


def test_a_sentence_that_goes_past_the_catalogue_is_found() -> None:
    with speaking("eo", Pseudo(CYRILLIC)):
        said = _("No objection.")
    page = f"<p>{said} 3 sites</p><p>{said}</p><svg><text>more below</text></svg><img alt='a cup'>"
    assert set(unsaid_on(page, ["cup"])) == {"sites", "more below", "a"}
