"""The report as Markdown for a git host's page.

GitHub-flavoured tables (spec 0.29, section 4.10) and CommonMark. Every text of
a view is escaped, letter for letter; what a host adds on top (turning `@name`,
`#12` or an address into a link or a call to somebody) is kept apart by an empty
comment.
Nothing is folded but what a view lets fold.
"""

from __future__ import annotations

import html
import re

from specctl.report.clean import for_markdown, visible
from specctl.report.cup_text import pair_text
from specctl.report.tables import Block, Cell, Command, Cups, Facts, Listing, Note, Picture, Section, Table
from specctl.report.view import View

_APART = "<!-- -->"
_CALLS = re.compile(r"(\\[@#!&~$](?=\w)|\\:(?=\\/)|(?i:www)(?=\\\.))")
_BREAK = "<br>"
_NO_TAG = str.maketrans("<>", "‹›")
_CODE_WIDTH = 76


def render_markdown(view: View) -> str:
    """The whole report; ends with one line feed."""
    parts = [
        f"# {_text(view.title)}",
        view.standing(_text),
        _text(view.why),
        "\n".join(f"- **{_text(p.label)}**: {_text(p.text)}" for p in view.points),
    ]
    for section in view.sections:
        parts += _section(section)
    parts.append(f"<!-- {_unmarked(view.stamp)} -->")
    return "\n\n".join(part for part in parts if part) + "\n"


def _unmarked(stamp: str) -> str:
    """A stamp holds only letters, digits and `- / =`; anything else stays out of a comment."""
    return re.sub(r"[^A-Za-z0-9/= -]|--+", "", stamp)


def _section(section: Section) -> list[str]:
    return [f"## {_text(section.title)}", *(_block(block) for block in section.blocks)]


def _block(block: Block) -> str:
    match block:
        case Note(text, alarm):
            return _strong(text) if alarm else _text(text)
        case Listing(lead, points, alarm, fold):
            return _listing(lead, points, fold)
        case Facts(pairs):
            return "\n".join(f"- **{_text(name)}**: {_text(value)}" for name, value in pairs)
        case Command(text):
            return f"    {visible(text)}"
        case Picture(caption, alternative):
            return f"{_strong(caption)}: {_text(alternative)}"
        case Cups(caption, before, after):
            drawn = pair_text(before, after, _CODE_WIDTH)
            # An indented block: nothing in a name can end it. Nothing can be escaped in one either,
            # so what could begin a tag where somebody reads it otherwise becomes another sign.
            inert = [line.translate(_NO_TAG) for line in drawn]
            return "\n\n".join([_strong(caption), "\n".join(f"    {line}".rstrip() for line in inert)])
        case Table(fold=True):
            summary = html.escape(visible(block.caption))
            return f"<details><summary>{summary}</summary>\n\n{_table(block)}\n\n</details>"
        case Table():
            return _table(block)


def _listing(lead: str, points: tuple[str, ...], fold: bool) -> str:
    listed = "\n".join(f"- {_text(point)}" for point in points)
    if fold:
        return f"<details><summary>{html.escape(visible(lead))}</summary>\n\n{listed}\n\n</details>"
    return f"{_strong(lead)}\n\n{listed}"


def _table(table: Table) -> str:
    head = "| " + " | ".join(_text(column.name) for column in table.columns) + " |"
    rule = "| " + " | ".join("---:" if column.number else "---" for column in table.columns) + " |"
    rows = ["| " + " | ".join(_field(field) for field in row) + " |" for row in table.rows]
    return "\n".join([_strong(table.caption), "", head, rule, *rows])


def _field(field: Cell) -> str:
    lines = [_strong(line) if field.alarm else _text(line) for line in field.lines]
    return _BREAK.join(lines + [_text(line) for line in field.quiet])


def _strong(text: str) -> str:
    shown = _text(text)
    return f"**{shown}**" if shown else ""


def _text(text: str) -> str:
    """One text that means only itself, on one line."""
    escaped = re.sub(" {2,}", " ", for_markdown(text))
    return _CALLS.sub(rf"\1{_APART}", escaped)
