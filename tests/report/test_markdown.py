"""The Markdown form, read back by a CommonMark parser (markdown-it, with GitHub tables)."""

from __future__ import annotations

import re

import pytest
from make_impact import HOSTILE, NOW, chain, hostile, quiet, rich
from markdown_it import MarkdownIt
from markdown_it.token import Token

from specctl.change.impact import Impact
from specctl.report.clean import visible
from specctl.report.markdown import render_markdown
from specctl.report.view import view_of

IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}
OURS = {
    "heading", "inline", "text", "paragraph", "strong", "bullet_list", "list_item", "table", "thead", "tbody", "tr",
    "th", "td", "html_inline", "html_block", "code_block",
}  # fmt: skip
HTML = re.compile(r"<!-- -->|<!-- specctl-report/1 [a-z0-9/ -]+ -->|<br>|<details><summary>[^<>]*</summary>|</details>")


def tokens(text: str) -> list[Token]:
    parser = MarkdownIt("commonmark").enable(["table", "strikethrough"])
    flat: list[Token] = []
    for token in parser.parse(text):
        flat += [token, *(token.children or [])]
    return flat


def made(impact: Impact) -> str:
    return render_markdown(view_of(impact, now=NOW))


def read(text: str) -> str:
    """What a reader sees, without our own breaks and comments."""
    return " ".join("".join(t.content if t.type in ("text", "code_block") else " " if t.content == "<br>" or t.nesting else "" for t in tokens(text) if t.type != "inline").split())


@pytest.mark.parametrize("name", IMPACTS)
def test_only_our_own_structure_comes_out(name: str) -> None:
    found = tokens(made(IMPACTS[name]()))
    assert {t.type.removesuffix("_open").removesuffix("_close") for t in found} <= OURS
    for token in found:
        if token.type in ("html_inline", "html_block"):
            assert HTML.fullmatch(token.content.strip()), token.content


@pytest.mark.parametrize("name", IMPACTS)
def test_every_text_of_the_view_is_read(name: str) -> None:
    impact = IMPACTS[name]()
    view = view_of(impact, now=NOW)
    folded = {getattr(b, "lead", "") for s in view.sections for b in s.blocks if getattr(b, "fold", False)}
    text = read(made(impact))
    for wanted in view.texts():
        if wanted not in folded:
            assert " ".join(visible(wanted).split()) in text


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_text_stands_there_as_text(text: str) -> None:
    assert " ".join(visible(text).split()) in read(made(rich(why=text)))


def test_a_table_keeps_its_columns_whatever_stands_in_it() -> None:
    found = tokens(made(hostile()))
    width, widths = 0, []
    for token in found:
        if token.type == "tr_open":
            width = 0
        elif token.type in ("td_open", "th_open"):
            width += 1
        elif token.type == "tr_close":
            widths.append(width)
    plain = tokens(made(rich()))
    assert set(widths) <= {3, 4, 5, 6}
    assert sum(t.type == "table_open" for t in found) == sum(t.type == "table_open" for t in plain)


def test_nobody_is_called_and_nothing_is_linked() -> None:
    # Hosts look for @name, #12 and addresses in the text that is left after parsing.
    text = made(hostile())
    for token in tokens(text):
        if token.type == "text":
            assert not re.search(r"[@#]\w|://|www\.", token.content), token.content


def test_no_character_hides_or_steers() -> None:
    text = made(hostile())
    for character in "\x1b\x07\r\u202e\u2066\u200b\ufeff":
        assert character not in text
    assert text.endswith("\n") and not text.endswith("\n\n")


def test_allergens_are_not_folded() -> None:
    text = made(rich())
    start = text.index("## Allergens")
    assert "<details" not in text[start : text.index("\n## ", start + 5)]
    assert "| **soya**" in text


def test_same_view_same_text() -> None:
    assert made(rich()) == made(rich())
