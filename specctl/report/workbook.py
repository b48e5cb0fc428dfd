"""The typed tables as one XLSX workbook, a leaf each; the only openpyxl.

A number is a number, a day a day; a text is stored as a text whatever it starts
with, so nothing in it is ever a formula, and characters that hide are shown as
code points. Heads are in the language spoken: a workbook is read by people. The file carries no clock: the same tables give the same bytes
(ECMA-376 packs parts in a ZIP, whose dates are set to the format's first day).
"""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any, Iterable

from specctl.errors import Refused
from specctl.report.clean import visible
from specctl.report.tongue import _
from specctl.report.typed_table import COUNT, DAY, NUMBER, Field, TypedTable, Value

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet  # type: ignore[import-untyped]

# ECMA-376 and the program most people open it with: 32 767 characters a cell, 1 048 576 rows.
_LONGEST = 32_767
_MOST_ROWS = 1_048_576
_FIRST_DAY = datetime(1980, 1, 1)
_STAMPS = re.compile(rb"(<dcterms:(created|modified)[^>]*>)[^<]*(</dcterms:)")
_WIDEST = 60


def workbook_bytes(tables: Iterable[TypedTable], *, title: str, stamp: str) -> bytes:
    """The whole file. `stamp` goes into its properties, as the keywords."""
    from openpyxl import Workbook  # type: ignore[import-untyped]

    book = Workbook()
    book.remove(book.active)
    book.properties.title = visible(title)
    book.properties.creator = "specctl"
    book.properties.keywords = visible(stamp)
    for table in tables:
        _leaf(book.create_sheet(table.key), table)
    out = io.BytesIO()
    book.save(out)
    return _without_clock(out.getvalue())


def _leaf(sheet: Worksheet, table: TypedTable) -> None:
    from openpyxl.styles import Alignment, Font  # type: ignore[import-untyped]

    if len(table.rows) >= _MOST_ROWS:
        raise Refused(f"{table.title}: {len(table.rows)} rows are more than a workbook's leaf holds", "Ask for CSV instead: --as csv --out FOLDER")
    bold, wrapped = Font(bold=True), Alignment(wrap_text=True, vertical="top")
    for number, field in enumerate(table.fields, 1):
        head = _put(sheet, 1, number, _head(field), Field(field.name))
        head.font, head.alignment = bold, wrapped
    for line, row in enumerate(table.rows, 2):
        for number, (value, field) in enumerate(zip(row, table.fields, strict=True), 1):
            if value is not None:
                _put(sheet, line, number, value, field)
    for number, field in enumerate(table.fields, 1):
        sheet.column_dimensions[sheet.cell(1, number).column_letter].width = _width(table, number - 1, field)
    sheet.freeze_panes = "A2"


def _head(field: Field) -> str:
    return f"{_(field.name)} [{_(field.unit)}]" if field.unit else _(field.name)


def _put(sheet: Worksheet, line: int, column: int, value: Value, field: Field) -> Any:
    cell = sheet.cell(line, column)
    if isinstance(value, str):
        text = visible(value)
        if len(text) > _LONGEST:
            raise Refused("a text is too long for a workbook's cell, and is not cut short", "Ask for CSV instead: --as csv --out FOLDER")
        cell.value = text
        cell.data_type = "s"  # openpyxl takes a text that begins with = for a formula, and #N/A for an error
    elif isinstance(value, bool):
        cell.value = _("yes") if value else _("no")
    else:
        cell.value = value
        cell.number_format = {DAY: "yyyy-mm-dd", COUNT: "0", NUMBER: _format(value)}[field.kind]
    return cell


def _format(value: Value) -> str:
    """As many places as the number was stated to."""
    exponent = value.as_tuple().exponent if isinstance(value, Decimal) else 0
    return "0." + "0" * -exponent if isinstance(exponent, int) and exponent < 0 else "0"


def _width(table: TypedTable, number: int, field: Field) -> int:
    longest = max((len(_shown(row[number])) for row in table.rows), default=0)
    return min(max(longest, len(_head(field)) // 2, 8) + 2, _WIDEST)


def _shown(value: Value) -> str:
    return value.isoformat() if isinstance(value, date) else str(value if value is not None else "")


def _without_clock(data: bytes) -> bytes:
    """The same parts in the same order, every date in the archive and its properties the same."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as made, zipfile.ZipFile(out, "w") as kept:
        for name in made.namelist():
            part = made.read(name)
            if name == "docProps/core.xml":
                part = _STAMPS.sub(rb"\g<1>" + _FIRST_DAY.strftime("%Y-%m-%dT%H:%M:%SZ").encode() + rb"\g<3>", part)
            entry = zipfile.ZipInfo(name, _FIRST_DAY.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o600 << 16
            entry.create_system = 3
            kept.writestr(entry, part)
    return out.getvalue()
