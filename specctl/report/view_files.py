"""Other controlled files that change, fact by fact."""

from __future__ import annotations

import re

from specctl.change.impact import Impact
from specctl.report.tables import Block, Cell, Column, Note, Section, Table, cell
from specctl.report.told_words import file_told
from specctl.report.tongue import _
from specctl.report.words import span_words

KEY = "files"


def section(impact: Impact) -> Section:
    """Fact by fact; what bears on a declaration never folds."""
    title = _("Other controlled files that change")
    if not impact.file_changes:
        return Section(KEY, title, (Note(_("No other controlled file changes.")),))
    columns = (_("File"), _("What"), _("Before"), _("After"))
    open_rows: list[tuple[Cell, ...]] = []
    folded: list[tuple[Cell, ...]] = []
    for file, path, before, after in impact.file_changes:
        row = (cell(file), cell(file_told(path)), *_fact_cells(before, after))
        (open_rows if _about_allergens(file, path) else folded).append(row)
    heads = tuple(Column(c) for c in columns)
    blocks: list[Block] = []
    if open_rows:
        blocks.append(Table(_("Facts about allergens that differ, file by file"), heads, tuple(open_rows)))
    if folded:
        blocks.append(Table(_("Facts that differ, file by file"), heads, tuple(folded), fold=True))
    return Section(KEY, title, tuple(blocks))


def _about_allergens(file: str, path: str) -> bool:
    """What bears on a declaration: a list, an ingredient's facts or documents, an ingredient as a whole."""
    if file.startswith("lists/"):
        return True
    return file.startswith("ingredients/") and path.split("/")[0] in ("allergens", "product_code", "the whole file", "supplier")


_SECONDS = re.compile(r"([0-9]{1,9}) s")


def _fact_cells(before: str, after: str) -> tuple[Cell, Cell]:
    if not before and not after:
        return cell(_("no fact differs")), cell(_("no fact differs"))
    return cell(_fact_words(before) or _("not there")), cell(_fact_words(after) or _("taken out"))


def _fact_words(text: str) -> str:
    """A span in seconds as people say it, the rest as written."""
    found = _SECONDS.fullmatch(text)
    if not found or int(found[1]) % 60:
        return file_told(text)
    return span_words(f"{int(found[1]) // 60} min") if int(found[1]) % 3600 else span_words(f"{int(found[1]) // 3600} h")
