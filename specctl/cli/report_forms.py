"""The forms of a report as bytes; the same bytes for the same impact and day."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from typing import TYPE_CHECKING

from specctl.errors import Usage

if TYPE_CHECKING:
    from specctl.change.impact import Impact
    from specctl.report.pages_folder import Report

SCREEN = ("terminal", "html", "markdown", "json")
FILES_ONLY = ("csv", "xlsx", "pdf")
FORMS = (*SCREEN, *FILES_ONLY)


def form_of(named: str, *, json: bool, to_file: bool) -> str:
    """The form asked for; raises Usage for one there is not, or one no screen can show."""
    form = "json" if json else named
    if form not in FORMS:
        raise Usage(f"there is no form {form!r}", f"Forms: {', '.join(FORMS)}.")
    if form in FILES_ONLY and not to_file:
        where = "a folder, one file a table" if form == "csv" else "a file"
        raise Usage(f"the form {form} is not for a screen", f"Name {where}, with --out.")
    return form


def page_bytes(impact: Impact, form: str, day: date) -> bytes:
    """A form that is one file, but for the terminal's. Only the day of a clock reaches a page."""
    if form == "json":
        return _json(impact)
    from specctl.report.view import view_of

    now = datetime.combine(day, time(), UTC)
    view = view_of(impact, now=now)
    if form == "html":
        return html_pages(impact, day).first
    if form == "markdown":
        from specctl.report.markdown import render_markdown

        return render_markdown(view).encode("utf-8")
    if form == "xlsx":
        from specctl.report.typed_control import typed_tables
        from specctl.report.workbook import workbook_bytes

        return workbook_bytes(typed_tables(impact, view), title=view.title, stamp=view.stamp)
    from specctl.report.pdf import paper_of, render_pdf

    paper = paper_of(frozenset(impact.names.site_market.values()))
    return render_pdf(view, paper=paper, day=now, stamp=view.stamp)


def html_pages(impact: Impact, day: date) -> Report:
    """The HTML form: one page, or where that would be too large a first page and linked ones."""
    from specctl.report.pages_folder import render_report
    from specctl.report.view import view_of

    return render_report(view_of(impact, now=datetime.combine(day, time(), UTC)))


def table_files(impact: Impact, day: date) -> dict[str, bytes]:
    """File name to bytes: every table as CSV."""
    from specctl.report.csv_tables import csv_files
    from specctl.report.typed_control import typed_tables
    from specctl.report.view import view_of

    return csv_files(typed_tables(impact, view_of(impact, now=datetime.combine(day, time(), UTC))))


def _json(impact: Impact) -> bytes:
    import json

    from specctl.report.json import report_json

    return (json.dumps(report_json(impact), ensure_ascii=False, indent=2, sort_keys=True) + "\n").encode("utf-8")
