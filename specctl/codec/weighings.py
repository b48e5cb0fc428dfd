"""Reads weighings: typed one after the other, or a column of a CSV file.

Promises: grams, exactly as weighed, or what is wrong with which of them; every
weighing carries a unit of mass, and all the same one. A number without a unit is
refused, never guessed at; in a CSV the head of the column may name the unit for
all of it, as in `weight (g)`.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from decimal import Decimal

from specctl.codec.amount_faults import Fault, say
from specctl.codec.amounts import parse_quantity
from specctl.problem import NOWHERE, Place, Problem

MOST_BYTES = 1_000_000
MOST_ROWS = 1000
_CODE = "weighing-form"
_HEAD_UNIT = re.compile(r"(?:.*[\s(\[_/])?(mg|g|kg|oz-av|oz|lb)[)\]]?")
_BARE = re.compile(r"-?[0-9]+(?:\.[0-9]+)?")
_SEPARATORS = re.compile(r"\s*[,;\n]\s*")


@dataclass(frozen=True, slots=True)
class Weighings:
    """Grams, one each, the finest step they were written to, in grams, and where each stands."""

    grams: tuple[Decimal, ...]
    step: Decimal
    places: tuple[Place, ...] = ()


def read_typed(text: str) -> tuple[Weighings | None, list[Problem]]:
    """Weighings typed as `8.4 g, 8.2 g`, parted by commas, semicolons or lines."""
    place = NOWHERE
    if not text.strip():
        return None, [Problem(_CODE, place, "no weighing was given", "Write them as 8.4 g, 8.2 g.")]
    if len(text) > MOST_BYTES:
        return None, [Problem(_CODE, place, "the weighings are too long a text", "Give a CSV file.")]
    parts = _SEPARATORS.split(text.strip())
    return _read([(place, f"weighing {at}", part) for at, part in enumerate(parts, 1)])


def read_csv(data: bytes, name: str, column: str | None = None) -> tuple[Weighings | None, list[Problem]]:
    """Weighings of one column of a CSV with a head row; the only column needs no name."""
    rows, wrong = _rows(data, name)
    if wrong is not None:
        return None, [wrong]
    head = [cell.strip() for cell in rows[0][1]]
    if column is None and len(head) > 1:
        listed = ", ".join(say(cell) for cell in head)
        return None, [Problem(_CODE, Place(name, 1), "the file has several columns", f"Name one with --column: {listed}.")]
    wanted = head[0] if column is None else column
    if head.count(wanted) != 1:
        listed = ", ".join(say(cell) for cell in head)
        return None, [Problem(_CODE, Place(name, 1), f"there is no one column {say(wanted)}", f"Columns: {listed}.")]
    at = head.index(wanted)
    found = _HEAD_UNIT.fullmatch(wanted)
    cells = []
    for line, row in rows[1:]:
        if len(row) != len(head):
            todo = "Write every row with as many fields as the head; a decimal comma parts fields."
            return None, [Problem(_CODE, Place(name, line), f"{len(row)} fields under {len(head)} heads", todo)]
        text = row[at].strip()
        unit = f" {found[1]}" if found is not None and _BARE.fullmatch(text) else ""
        cells.append((Place(name, line, _column(data, line, row, at)), f"line {line}", text + unit))
    return _read(cells)


def _column(data: bytes, line: int, row: list[str], at: int) -> int:
    """Where in its line the field begins, from 1; quoted fields count from the line's start."""
    raw = io.StringIO(data.decode("utf-8-sig"), newline="").readlines()[line - 1]
    return 1 if '"' in raw else sum(len(cell) + 1 for cell in row[:at]) + 1


def _rows(data: bytes, name: str) -> tuple[list[tuple[int, list[str]]], Problem | None]:
    place = Place(name)
    if len(data) > MOST_BYTES:
        return [], Problem(_CODE, place, "the file is larger than weighings can be", "Give only the weighings.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return [], Problem(_CODE, place, "the file is not UTF-8 text", "Save it as CSV in UTF-8.")
    first = text.split("\n", 1)[0]
    parted = ";" if first.count(";") > first.count(",") else "," if "," in first else "\t" if "\t" in first else ","
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=parted, strict=True)
    rows: list[tuple[int, list[str]]] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append((reader.line_num, row))
    except csv.Error as error:
        return [], Problem(_CODE, Place(name, reader.line_num), f"this is not CSV: {say(str(error))}", "Save it as CSV again.")
    if len(rows) < 2:
        return [], Problem(_CODE, place, "there is no weighing in it", "Write a head and under it a weighing a line.")
    if len(rows) > MOST_ROWS + 1:
        return [], Problem(_CODE, place, f"{len(rows) - 1} rows are too many", f"Give at most {MOST_ROWS} weighings.")
    return rows, None


def _read(cells: list[tuple[Place, str, str]]) -> tuple[Weighings | None, list[Problem]]:
    grams: list[Decimal] = []
    steps: list[Decimal] = []
    wrong: list[Problem] = []
    seen: dict[str, str] = {}
    for place, which, text in cells:
        read = parse_quantity(text, "mass")
        if isinstance(read, Fault):
            wrong.append(Problem(_CODE, place, f"{which}, {say(text) if text else 'empty'}: {read.what}", read.todo))
            continue
        number, unit = text.split(" ", 1)
        grams.append(read)
        steps.append(Decimal(1).scaleb(-len(number.partition(".")[2])) * read / Decimal(number))
        seen.setdefault(unit, which)
    if len(seen) > 1:
        named = ", ".join(f"{unit} ({which})" for unit, which in seen.items())
        todo = "Write them all in the unit the scale shows."
        wrong.append(Problem("weighings-units", cells[0][0], f"weighings in more than one unit: {named}", todo))
    if wrong:
        return None, wrong
    return Weighings(tuple(grams), min(steps, default=Decimal(1)), tuple(place for place, _, _ in cells)), []
