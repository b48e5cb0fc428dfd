"""The gold files: one report in each form, as text, with what moves for other reasons scrubbed.

`python tests/report/gold_files.py --write` writes them again; look at the difference before it is committed.
"""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

FOLDER = Path(__file__).resolve().parent / "gold"
if __name__ == "__main__":
    sys.path[:0] = [str(Path(__file__).resolve().parent), str(Path(__file__).resolve().parents[2])]

import pypdf  # noqa: E402
from make_impact import NOW, rich  # noqa: E402
from openpyxl import load_workbook  # noqa: E402

from specctl.report.csv_tables import csv_files  # noqa: E402
from specctl.report.html import render_html  # noqa: E402
from specctl.report.json import report_json  # noqa: E402
from specctl.report.markdown import render_markdown  # noqa: E402
from specctl.report.pdf import A4, render_pdf  # noqa: E402
from specctl.report.terminal import render_terminal  # noqa: E402
from specctl.report.typed_control import typed_tables  # noqa: E402
from specctl.report.view import view_of  # noqa: E402
from specctl.report.workbook import workbook_bytes  # noqa: E402

VIEW = view_of(rich(), now=NOW)
TABLES = typed_tables(rich(), VIEW)


def _html() -> str:
    """The page without its styles, their digests and the drawings, a tag a line."""
    page = render_html(VIEW).decode("utf-8")
    page = re.sub(r"<style>.*?</style>", "<style></style>", page, flags=re.DOTALL)
    page = re.sub(r"'sha256-[^']*'", "'sha256'", page)
    return re.sub(r"<svg.*?</svg>", "<svg></svg>", page, flags=re.DOTALL)


def _csv() -> str:
    return "".join(f"== {name}\n{data.decode('utf-8')}" for name, data in csv_files(TABLES).items()).replace("\r\n", "\n")


def _xlsx() -> str:
    """Each cell with its type and the way its number is shown."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n", delimiter="\t")
    book = load_workbook(io.BytesIO(workbook_bytes(TABLES, title=VIEW.title, stamp=VIEW.stamp)))
    for sheet in book:
        writer.writerow([f"== {sheet.title}"])
        for row in sheet.iter_rows(min_row=2):
            writer.writerow([f"{c.data_type} {c.value}" + (f" as {c.number_format}" if c.data_type != "s" else "") for c in row if c.value is not None])
    return out.getvalue()


def _pdf() -> str:
    data = render_pdf(VIEW, paper=A4, day=datetime(2026, 11, 25, tzinfo=UTC), stamp=VIEW.stamp)
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return "".join(f"== page {n}\n{page.extract_text()}\n" for n, page in enumerate(pages, 1)).replace("\u200b", "")


FORMS: dict[str, Callable[[], str]] = {
    "report.txt": lambda: render_terminal(VIEW, 80, False),
    "report.html": _html,
    "report.md": lambda: render_markdown(VIEW),
    "report.json": lambda: json.dumps(report_json(rich()), ensure_ascii=False, indent=1, sort_keys=True),
    "tables.csv": _csv,
    "workbook.tsv": _xlsx,
    "paper.txt": _pdf,
}


def made(name: str) -> str:
    """One form, scrubbed: the digests of a format that may grow, ends of lines."""
    text = re.sub(r"(?<![0-9a-f])(?!([0-9a-f])\1{63})[0-9a-f]{64}(?![0-9a-f])", "<digest>", FORMS[name]())
    return "\n".join(line.rstrip() for line in text.split("\n")).rstrip("\n") + "\n"


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("python tests/report/gold_files.py --write")
    FOLDER.mkdir(exist_ok=True)
    for name in FORMS:
        (FOLDER / name).write_text(made(name), encoding="utf-8", newline="")
