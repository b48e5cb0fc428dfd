"""The report and other findings on a terminal; the only rich.

Everything is built as `Text`, never as rich's markup strings, after `visible`
has been over it; lines fold and are never shortened. A table becomes a list of
its rows where columns would be too narrow to read. Colour only repeats what
the words say; whether there is colour is the caller's choice (NO_COLOR).
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any, Literal, Sequence, TextIO

from specctl.problem import Problem
from specctl.report.clean import columns as columns_of
from specctl.report.clean import visible
from specctl.report.cup_text import NARROWEST_DRAWN, pair_text
from specctl.report.numbers_whole import joined
from specctl.report.tables import Block, Cell, Column, Command, Cups, Facts, Listing, Note, Picture, Point, Section, Table
from specctl.report.tongue import _

if TYPE_CHECKING:
    from rich.console import Console
    from rich.text import Text

    from specctl.report.view import View

NARROWEST = 20
# A column that needs more gets at least this, and never cuts a word shorter than the
# longest below; where that leaves no room, the rows are listed instead.
_READABLE_COLUMN = 18
_LONGEST_WHOLE_WORD = 30
_GAP = 3
_ALARM = "bold red"
_STRONG = "bold"
_LABEL_WIDTH = 20
# Stands for a space that may not break a line; `visible` lets no such character through.
_JOINT = "\ue000"


def print_report(view: View, console_width: int, out: TextIO, *, colour: bool = False) -> None:
    """Write the report to `out`."""
    out.write(render_terminal(view, console_width, colour))


def render_terminal(view: View, width: int, colour: bool = False) -> str:
    """The whole report, no line wider than `width` columns."""
    screen = _Screen(width, colour)
    screen.line(view.title, _STRONG)
    standing = _("Proposal {proposal}, {state}, for {scope}. {book}")
    screen.line(standing.format(proposal=view.proposal, state=view.state, scope=view.scope_words, book=view.book_name))
    screen.line(_("Why: {why}").format(why=view.why))
    screen.blank()
    reach = max(_LABEL_WIDTH, *(len(point.label) + 2 for point in view.points))
    for point in view.points:
        screen.point(point, reach)
    for section in view.sections:
        screen.section(section)
    return screen.text()


def problems_text(problems: Sequence[Problem], width: int, *, colour: bool = False) -> str:
    """Each problem: place and code, what is wrong, what to do. "" for none."""
    screen = _Screen(width, colour)
    for problem in problems:
        place = f"{problem.place}: " if problem.place.file else ""
        screen.line(f"{place}{problem.severity} {problem.code}", _ALARM if problem.is_error else _STRONG)
        screen.line(problem.what, indent=2)
        if problem.todo:
            screen.line(f"To do: {problem.todo}", indent=2)
    return screen.text()


def table_text(
    columns: Sequence[str], rows: Sequence[Sequence[str]], width: int, *, colour: bool = False
) -> str:
    """A table of plain texts that folds, or lists its rows where it would not fit."""
    table = Table(
        "",
        tuple(Column(name) for name in columns),
        tuple(tuple(Cell((text,)) for text in row) for row in rows),
    )
    screen = _Screen(width, colour)
    screen.table(table)
    return screen.text()


class _Screen:
    """Text gathered at one width."""

    def __init__(self, width: int, colour: bool) -> None:
        from rich.console import Console

        self.width = max(width, NARROWEST)
        self._out = io.StringIO()
        self._console: Console = Console(
            file=self._out,
            width=self.width,
            force_terminal=colour,
            color_system="standard" if colour else None,
            no_color=not colour,
            markup=False,
            emoji=False,
            highlight=False,
            legacy_windows=False,
        )

    def text(self) -> str:
        text = self._out.getvalue().replace(_JOINT, " ")
        return "\n".join(line.rstrip(" ") for line in text.split("\n"))

    def line(self, text: str, style: str = "", indent: int = 0, lead: str = "") -> None:
        from rich.padding import Padding

        if lead:
            self._pair(lead, text, style, indent)
        else:
            self._console.print(Padding(_text(text, style), (0, 0, 0, indent)))

    def command(self, text: str) -> None:
        """A line to type; cut only before an option, where a shell joins it again."""
        line, *options = visible(text).split(" --")
        for option in options:
            if columns_of(f"{line} --{option}") > self.width - 6:
                self.line(f"{line} \\", indent=4)
                line = f"  --{option}"
            else:
                line = f"{line} --{option}"
        self.line(line, indent=4)

    def blank(self) -> None:
        self._console.print()

    def point(self, point: Point, reach: int) -> None:
        """`reach`: how wide the labels of all points stand."""
        style = _ALARM if point.alarm else ""
        if self.width < 60:
            self.line(point.label, _STRONG)
            self.line(point.text, style, indent=2)
        else:
            self._pair(point.label.ljust(reach), point.text, style, 0, lead_style=_STRONG)

    def section(self, section: Section) -> None:
        self.blank()
        self.line(section.title, _ALARM if section.alarm else _STRONG)
        self.line("=" * min(self.width, columns_of(visible(section.title))))
        for number, block in enumerate(section.blocks):
            if number:
                self.blank()
            self.block(block)

    def block(self, block: Block) -> None:
        match block:
            case Note(text, alarm):
                self.line(text, _ALARM if alarm else "")
            case Listing(lead, points, alarm):
                self.line(f"{lead}:", _ALARM if alarm else _STRONG)
                for point in points:
                    self.line(point, _ALARM if alarm else "", indent=2, lead="- ")
            case Facts(pairs):
                for name, value in pairs:
                    self.line(value, lead=f"{visible(name)}: ")
            case Command(text):
                self.command(text)
            case Picture(caption, alternative):
                self.line(f"{caption}. {alternative}")
            case Cups():
                self.cups(block)
            case Table():
                self.table(block)

    def cups(self, cups: Cups) -> None:
        """Drawn, or in words where the screen is too narrow to draw."""
        self.line(cups.caption, _STRONG)
        if self.width < NARROWEST_DRAWN:
            for view in (cups.before, cups.after):
                if view is not None:
                    self.line(view.alternative, indent=2)
            return
        for line in pair_text(cups.before, cups.after, self.width):
            self._out.write(f"{line}\n")

    def table(self, table: Table) -> None:
        if table.caption:
            self.line(table.caption, _STRONG)
        widths = _widths(table, self.width)
        if widths:
            self._grid(table, widths)
        else:
            self._stacked(table)

    def _grid(self, table: Table, widths: list[int]) -> None:
        from rich import box
        from rich.table import Table as Grid

        several = any(len(field.all_lines) > 1 for row in table.rows for field in row)
        grid = Grid(box=box.SIMPLE_HEAD, pad_edge=False, show_lines=several, expand=False)
        for column, width in zip(table.columns, widths, strict=True):
            side: Literal["left", "right"] = "right" if column.number else "left"
            grid.add_column(_text(column.name), overflow="fold", justify=side, width=width)
        for row in table.rows:
            grid.add_row(*(_cell_text(field) for field in row))
        self._console.print(grid)

    def _stacked(self, table: Table) -> None:
        for row in table.rows:
            first, *rest = row
            self.line("; ".join(first.all_lines), _ALARM if first.alarm else _STRONG, lead="- ")
            for column, field in zip(table.columns[1:], rest, strict=True):
                if field.all_lines:
                    style = _ALARM if field.alarm else ""
                    self.line("; ".join(field.all_lines), style, indent=2, lead=f"{visible(column.name)}: ")

    def _pair(self, lead: str, text: str, style: str, indent: int, lead_style: str = "") -> None:
        """`lead` and `text` side by side, or below each other where `lead` is long."""
        from rich.padding import Padding
        from rich.table import Table as Grid

        room = self.width - indent
        if columns_of(lead) > room // 2:
            self.line(lead.rstrip(" "), lead_style, indent)
            self.line(text, style, indent + 2)
            return
        grid: Any = Grid.grid(padding=0)
        grid.add_column(width=columns_of(lead), overflow="fold")
        grid.add_column(overflow="fold")
        grid.add_row(_text(lead, lead_style), _text(text, style))
        self._console.print(Padding(grid, (0, 0, 0, indent)))


def _text(text: str, style: str = "") -> Text:
    from rich.text import Text

    return Text(joined(visible(text), _JOINT), style=style, overflow="fold", no_wrap=False)


def _cell_text(field: Cell) -> Text:
    from rich.text import Text

    text = Text(overflow="fold", no_wrap=False)
    for lines, style in ((field.lines, _ALARM if field.alarm else ""), (field.quiet, "")):
        for line in lines:
            text.append("\n" if text else "")
            text.append(joined(visible(line), _JOINT), style=style)
    return text


def _widths(table: Table, width: int) -> list[int]:
    """Columns wide enough to read, within `width`; none where the rows must be listed."""
    wants, needs = [], []
    for number, column in enumerate(table.columns):
        lines = [column.name, *(line for row in table.rows for line in row[number].all_lines)]
        shown = [joined(visible(line), _JOINT) for line in lines]
        want = max(columns_of(line) for line in shown)
        word = max((columns_of(word) for line in shown for word in line.split()), default=1)
        wants.append(want)
        needs.append(max(min(word, _LONGEST_WHOLE_WORD), min(want, _READABLE_COLUMN)))
    room = width - _GAP * (len(wants) - 1) - 2
    if sum(needs) > room:
        return []
    widths = needs[:]
    for _step in range(min(room, sum(wants)) - sum(widths)):
        short = [want - has for want, has in zip(wants, widths, strict=True)]
        widths[short.index(max(short))] += 1
    return widths
