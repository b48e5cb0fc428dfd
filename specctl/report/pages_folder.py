"""A report too large for one page: a first page, and the parts in full on pages linked from it.

Promises: every block of the view is on exactly one page, in reading order, none
of it folded; no page is larger than `MOST`; every page names the proposal, the
effect digest, which page of how many it is, and the way back; links are
relative, and file names are made of checked words. A table or list that is
longer than a page goes on under its own caption. Same view, same bytes.
Writing the pages is `specctl.actions.report_files`' work.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from specctl.report.clean import file_name
from specctl.report.html import blocks_context, drawn_digest, render_html
from specctl.report.page import macros, render
from specctl.report.pages_rows import rows_of
from specctl.report.tables import Block, Listing, Section, Table
from specctl.report.tongue import _
from specctl.report.view import View

INDEX = "index.html"
MOST = 2_000_000
"""Bytes of the largest page, 2 MB."""
_PART = 1_500_000  # markup of one page without its head, foot and style
_FIRST = 60_000  # a section up to this size stays on the first page
_FIRST_ALL = 900_000  # what sections may take of the first page together
_SURE = 250_000  # a view with fewer characters of text always fits one page


@dataclass(frozen=True, slots=True)
class Report:
    """The first page, and all pages by file name: they lie together in `folder`, beside the first.

    `folder` holds the first page once more as `index.html`, so that it can be passed on by itself.
    """

    first: bytes
    folder: str = ""
    others: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Part:
    """One linked page: part `number` of `of` of a section, page `page` of the report; the first is page 1."""

    name: str
    title: str
    page: int
    number: int
    of: int
    body: str


@dataclass(frozen=True, slots=True)
class Place:
    """A section on the first page: its markup there, or the pages it is on."""

    section: Section
    body: str
    parts: tuple[Part, ...]


def render_report(view: View, *, most: int = MOST) -> Report:
    """One page where that is at most `most` bytes, else linked pages."""
    if _characters(view) <= _SURE or most < MOST:
        page = render_html(view)
        if len(page) <= most:
            return Report(page)
    return _linked(view, min(_PART, most * 3 // 4), most)


def _characters(view: View) -> int:
    return sum(map(len, view.texts()))


def _linked(view: View, room: int, most: int) -> Report:
    show = macros("report/blocks.html", **blocks_context())
    places: list[Place] = []
    used, page = 0, 1
    for section in view.sections:
        bodies = list(_pages_of(section, show, room))
        size = sum(map(len, bodies))
        if len(bodies) <= 1 and size <= min(_FIRST, room // 8) and used + size <= min(_FIRST_ALL, room // 2):
            used += size
            places.append(Place(section, "".join(bodies), ()))
            continue
        parts = []
        for number, body in enumerate(bodies, 1):
            page += 1
            name = file_name(f"{section.key}-{number}.html")
            parts.append(Part(name, section.title, page, number, len(bodies), body))
        places.append(Place(section, "", tuple(parts)))
    others = {}
    linked = [part for place in places for part in place.parts]
    for index, part in enumerate(linked):
        others[part.name] = _page(
            "report_part.html",
            view,
            page,
            part=part,
            back=INDEX,
            before=linked[index - 1] if index else None,
            after=linked[index + 1] if index + 1 < len(linked) else None,
        )
    others[INDEX] = _page("report_first.html", view, page, places=places, folder="", code=drawn_digest(view))
    folder = _folder_name(view, others)
    first = _page("report_first.html", view, page, places=places, folder=folder, code=drawn_digest(view))
    for name, data in {"first": first, **others}.items():
        if len(data) > most:
            raise ValueError(f"the page {name} has {len(data)} bytes")
    return Report(first, folder, others)


def _page(template: str, view: View, pages: int, **context: object) -> bytes:
    number = getattr(context.get("part"), "page", 1)
    foot = _("{foot}, page {page} of {pages} of the report").format(foot=view.running_foot, page=number, pages=pages)
    return render(template, footer=foot, view=view, pages=pages, **blocks_context(), **context).encode("utf-8")


def _folder_name(view: View, others: Mapping[str, bytes]) -> str:
    """Named by what is in it, so that a first page can only ever point to the pages it was made with."""
    found = hashlib.sha256()
    for name, data in others.items():
        found.update(f"{name} {len(data)}\n".encode() + data)
    return file_name(f"{view.proposal[:55].rstrip('-')}-pages-{found.hexdigest()[:32]}")


def _pages_of(section: Section, show: object, room: int) -> Iterator[str]:
    """The markup of a section, page by page, each at most about `room` long."""
    held: list[str] = []
    size = 0
    for block in section.blocks:
        for piece in _pieces(block, show, room):
            if held and size + len(piece) > room:
                yield "".join(held)
                held, size = [], 0
            held.append(piece)
            size += len(piece)
    if held:
        yield "".join(held)


def _pieces(block: Block, show: object, room: int) -> Iterator[str]:
    """One block as markup; a long table or list in several, each under its own caption."""
    if isinstance(block, Listing | Table):
        block = replace(block, fold=False)
    if isinstance(block, Table):
        yield from _table_pieces(block, show, room)
    elif isinstance(block, Listing) and sum(map(len, block.points)) > room // 4:
        held: list[str] = []
        size = 0
        for index, point in enumerate(block.points, 1):
            held.append(point)
            size += 2 * len(point) + 40
            if size > room // 3 or index == len(block.points):
                lead = block.lead if index <= len(held) else _("{caption}, continued").format(caption=block.lead)
                yield str(show.show_block(replace(block, lead=lead, points=tuple(held))))  # type: ignore[attr-defined]
                held, size = [], 0
    else:
        yield str(show.show_block(block))  # type: ignore[attr-defined]


def _table_pieces(table: Table, show: object, room: int) -> Iterator[str]:
    held: list[str] = []
    size = 0
    begun = False

    def piece() -> str:
        caption = _("{caption}, continued").format(caption=table.caption) if begun else table.caption
        head = replace(table, caption=caption, rows=table.rows[:_LOOKED_AT])
        return str(show.framed_table(head, "".join(held)))  # type: ignore[attr-defined]

    for row in rows_of(table.columns, table.rows):
        if held and size + len(row) > room // 3:
            yield piece()
            held, size, begun = [], 0, True
        held.append(row)
        size += len(row)
    if held or not begun:
        yield piece()


_LOOKED_AT = 200  # rows that the widths of a long table's columns are taken from

