"""Each typed table as one CSV file: RFC 4180, UTF-8, numbers with a decimal point.

A number, a day and a yes or no are written bare; a cell of text that starts like
a formula (`=`, `+`, `-`, `@`, and their full-width forms) gets an apostrophe in
front, and a tab, a return or any other character that hides is shown as its code
point. Units stand in the head of a column. Same tables, same bytes.

Heads, `yes` and `no` are English whatever the language of the words in the cells:
a program that reads the file finds its columns by them.
"""

from __future__ import annotations

import csv
import io
from datetime import date
from decimal import Decimal
from typing import Iterable

from specctl.report.clean import for_csv
from specctl.report.typed_table import TypedTable, Value


def csv_files(tables: Iterable[TypedTable]) -> dict[str, bytes]:
    """File name to bytes, one file a table."""
    return {f"{t.key}.csv": _csv(t).encode("utf-8") for t in tables}


def _csv(table: TypedTable) -> str:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([for_csv(field.head) for field in table.fields])
    writer.writerows([_cell(value) for value in row] for row in table.rows)
    return out.getvalue()


def _cell(value: Value) -> str:
    """An empty cell is not known or not there, never zero."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int):
        return str(value)
    return for_csv(value)
