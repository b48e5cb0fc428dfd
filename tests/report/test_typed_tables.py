"""The typed tables, and their two writers: CSV as Python's own reader of RFC 4180 reads it, XLSX as its XML says (ECMA-376)."""

from __future__ import annotations

import csv
import io
import unicodedata
import zipfile
from dataclasses import replace
from datetime import date
from decimal import Decimal
from xml.etree import ElementTree

import pytest
from make_impact import HOSTILE, LONG_WORD, NOW, chain, hostile, quiet, rich
from openpyxl import load_workbook

from specctl.change.impact import Impact
from specctl.errors import Refused
from specctl.report.csv_tables import csv_files
from specctl.report.tables import Table
from specctl.report.typed_control import typed_tables
from specctl.report.typed_table import COUNT, NUMBER, Field, TypedTable, table
from specctl.report.view import view_of
from specctl.report.workbook import workbook_bytes

IMPACTS = {"rich": rich, "chain": chain, "quiet": quiet, "hostile": hostile}
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
# What starts a formula in a spreadsheet, by the OWASP page on CSV injection: these, a tab and a return.
STARTS = "=+-@\t\r\uff1d\uff0b\uff0d\uff20"


def tables(impact: Impact) -> dict[str, TypedTable]:
    return {t.key: t for t in typed_tables(impact, view_of(impact, now=NOW))}


def workbook(impact: Impact) -> bytes:
    return workbook_bytes(tables(impact).values(), title=impact.title, stamp="specctl-report/1")


def steering(text: str) -> list[str]:
    return [c for c in text if c not in "\r\n" and unicodedata.category(c) in ("Cc", "Cf", "Cs", "Co", "Cn")]


@pytest.mark.parametrize("name", IMPACTS)
def test_every_part_of_the_page_with_a_table_has_one_here(name: str) -> None:
    impact = IMPACTS[name]()
    tabled = {s.key for s in view_of(impact, now=NOW).sections if any(isinstance(b, Table) for b in s.blocks)}
    assert tabled <= {t.section for t in tables(impact).values()}


def test_numbers_keep_type_unit_and_exact_value() -> None:
    found = tables(rich())
    heads = {key: [f.head for f in t.fields] for key, t in found.items()}
    assert {"before [g]", "after [g]", "change [g]"} <= set(heads["amounts"])
    costs = dict(zip(heads["costs"], found["costs"].rows[0], strict=True))
    assert costs["currency"] == "GBP" and costs["a cup before [currency at left]"] == Decimal("0.413")
    assert costs["change of a cup [currency at left]"] == Decimal("0.033") and costs["cups a week"] == 640
    missing = dict(zip(heads["costs"], found["costs"].rows[1], strict=True))
    assert missing["a cup after [currency at left]"] is None, "unknown is no zero"
    papers = dict(zip(heads["documents"], found["documents"].rows[0], strict=True))
    assert papers["dated"] == date(2025, 2, 3)
    week = dict(zip(heads["buying"], found["buying"].rows[0], strict=True))
    assert (week["change a week, all sites here"], week["unit"]) == (Decimal(5200), "g")


def test_nothing_is_left_out_or_grouped_away() -> None:
    found, impact = tables(rich()), rich()
    assert len(found["allergens"].rows) == len(impact.allergens)
    assert len(found["amounts"].rows) == len(impact.amounts)
    assert len(found["amounts-at-sites"].rows) == sum(len(c.at) for c in impact.amounts)
    assert len(found["cards"].rows) == len(impact.effect.rows)
    assert found["unchanged-names"].rows == (("drink", "Roasted-barley latte"), ("drink", "Sea-buckthorn lemonade"), ("site", "Lightvessel"))


def test_a_value_of_another_kind_is_a_bug() -> None:
    with pytest.raises(TypeError):
        table("t", "T", "s", (Field("n", NUMBER),), ((0.5,),))  # type: ignore[arg-type]
    with pytest.raises(TypeError):
        table("t", "T", "s", (Field("n", COUNT),), (("5",),))
    with pytest.raises(ValueError):
        table("t", "T", "s", ("n",), (("5", "6"),))


@pytest.mark.parametrize("name", IMPACTS)
def test_csv_reads_back_to_the_same_values(name: str) -> None:
    found = tables(IMPACTS[name]())
    files = csv_files(found.values())
    assert set(files) == {f"{key}.csv" for key in found}
    for key, typed in found.items():
        rows = list(csv.reader(io.StringIO(files[f"{key}.csv"].decode("utf-8"), newline="")))
        assert len(rows) == len(typed.rows) + 1
        for row, values in zip(rows[1:], typed.rows, strict=True):
            for text, value in zip(row, values, strict=True):
                if isinstance(value, Decimal):
                    assert Decimal(text) == value
                elif value is None:
                    assert text == ""


def test_hostile_text_in_csv_starts_no_formula_and_hides_nothing() -> None:
    for name, data in csv_files(tables(hostile()).values()).items():
        for row in csv.reader(io.StringIO(data.decode("utf-8"), newline="")):
            for cell in row:
                number = cell.lstrip("+-").replace(".", "", 1).isdecimal()
                assert number or not cell.lstrip(" ").startswith(tuple(STARTS)), (name, cell[:60])
                assert not steering(cell), (name, cell[:60])


@pytest.mark.parametrize("start", ["=1+1", "+1+1", "-1+1", "@SUM(1)", "\t=1+1", "\r=1+1", " =1+1", "\uff1d1+1", *HOSTILE])
def test_each_hostile_start_is_a_text_in_both(start: str) -> None:
    one = table("t", "T", "s", ("words",), ((start,),))
    [_, [cell]] = csv.reader(io.StringIO(csv_files([one])["t.csv"].decode("utf-8"), newline=""))
    assert not cell.lstrip(" ").startswith(tuple(STARTS)) and not steering(cell)
    data = workbook_bytes([one], title=start, stamp="x")
    sheet = load_workbook(io.BytesIO(data))["t"]
    assert sheet["A2"].data_type == "s" and not steering(str(sheet["A2"].value))


@pytest.mark.parametrize("name", IMPACTS)
def test_xlsx_holds_typed_cells_and_no_formula(name: str) -> None:
    impact = IMPACTS[name]()
    with zipfile.ZipFile(io.BytesIO(workbook(impact))) as made:
        parts = {n: made.read(n) for n in made.namelist()}
    assert not [n for n in parts if "vba" in n.lower() or "external" in n.lower()]
    for part, data in parts.items():
        tree = ElementTree.fromstring(data)
        assert not list(tree.iter(f"{MAIN}f")), part
        assert not list(tree.iter(f"{MAIN}hyperlink")), part
        assert not steering(data.decode("utf-8")), part
    book = load_workbook(io.BytesIO(workbook(impact)))
    for key, typed in tables(impact).items():
        sheet = book[key]
        for line, row in enumerate(typed.rows, 2):
            for column, value in enumerate(row, 1):
                shown = sheet.cell(line, column)
                if isinstance(value, (Decimal, int)) and not isinstance(value, bool):
                    assert shown.data_type == "n" and Decimal(str(shown.value)) == value
                elif isinstance(value, date):
                    assert shown.is_date and shown.value.date() == value
                elif isinstance(value, str) and value:
                    assert shown.data_type == "s"


def test_xlsx_is_the_same_bytes_at_any_time(monkeypatch: pytest.MonkeyPatch) -> None:
    import time

    import openpyxl.packaging.core
    import openpyxl.writer.excel

    first = workbook(rich())

    class Later(openpyxl.writer.excel.datetime.datetime):  # type: ignore[misc]
        @classmethod
        def now(cls, tz: object = None) -> object:
            return cls(2031, 5, 6, 7, 8, 9)

        utcnow = now

    monkeypatch.setattr(openpyxl.writer.excel.datetime, "datetime", Later)
    monkeypatch.setattr(time, "time", lambda: 2_000_000_000.0)
    assert workbook(rich()) == first
    with zipfile.ZipFile(io.BytesIO(first)) as made:
        assert {entry.date_time[:3] for entry in made.infolist()} == {(1980, 1, 1)}
        assert b"2031" not in made.read("docProps/core.xml") and made.read("docProps/core.xml").count(b"1980-01-01T00:00:00Z") == 2


def test_what_does_not_fit_a_cell_is_refused_not_cut() -> None:
    impact = replace(rich(), why=LONG_WORD * 2000)
    assert len(impact.why) > 32_767
    with pytest.raises(Refused):
        workbook(impact)
    assert LONG_WORD * 2000 in csv_files(tables(impact).values())["about.csv"].decode("utf-8")
