"""The forms of a sheet: plain text for 80 columns, CSV, JSON and one self-contained HTML page."""

from __future__ import annotations

import csv
import io
from typing import Any

from specctl.report.clean import for_csv
from specctl.report.page import render
from specctl.report.plain import box, heading, wrap
from specctl.report.sheet import DrinkSheet, Row, Sheet
from specctl.report.tongue import _
from specctl.report.words import date_words, say, status_words

_LEGEND = ("contains", "may_contain", "unknown", "absent")


def sheet_html(sheet: Sheet) -> str:
    """One page that opens offline and prints."""
    footer = " · ".join((sheet.heading.where, date_words(sheet.heading.day), sheet.heading.standing))
    return render("sheet.html", footer=footer, sheet=sheet)


def sheet_text(sheet: Sheet, width: int = 80) -> str:
    """A list, since a matrix would not fit; every status in words."""
    lines = heading(sheet.title, width, "=")
    for words in sheet.top:
        lines += wrap(words, width)
    lines += ["", *box(list(sheet.cautions), width), ""]
    for status in _LEGEND:
        lines += wrap(say(f"legend.{status}"), width)
    if not sheet.drinks:
        lines += ["", *wrap(say("sheet.no-drinks"), width)]
    for drink in sheet.drinks:
        lines += ["", *heading(drink.name, width)]
        lines += wrap(f"{say('sheet.sentence')}: {_('“{words}”').format(words=drink.sentence)}", width)
        for row in drink.rows:
            lines += ["", *wrap(f"* {row.name}", width), *_row_text(sheet, drink, row, width)]
        for key, texts in (("contact.title", drink.contact), ("advisory.title", drink.advice)):
            if texts:
                lines += ["", f"{say(key)}:"]
                for words in texts:
                    lines += wrap(words, width, "  - ")
        if drink.claims:
            lines += ["", *wrap(f"{say('card.claims')}: {drink.claims}", width)]
        if drink.nutrition:
            lines += ["", f"{say('nutrition.title')}:"]
            for words in drink.nutrition:
                lines += wrap(words, width, "  ")
    if sheet.nutrition_note:
        lines += ["", *wrap(sheet.nutrition_note, width)]
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _row_text(sheet: Sheet, drink: DrinkSheet, row: Row, width: int) -> list[str]:
    if row.choice and row.facts.same_as(drink.rows[0].facts):
        return wrap(say("allergens.choice-same"), width, "  ")
    lines: list[str] = []
    for _status, words, names in row.facts.statements:
        lines += wrap(f"{words}: {names}", width, "  ")
    if row.facts.absent_words:
        lines += wrap(row.facts.absent_words, width, "  ")
    if row.facts.unlisted:
        lines += wrap(f"{say('allergens.unlisted')}: {row.facts.unlisted}", width, "  ")
    for fact in row.reasons:
        ways = "; ".join(sheet.way(path) for path in fact.paths)
        lines += wrap(f"{fact.name}, {fact.status_words}: {ways}", width, "  - ")
    if row.reasons_left:
        lines += wrap(row.reasons_left, width, "  ")
    return lines


def sheet_csv(sheet: Sheet) -> str:
    """A row for each build; cells say the status in words; no cell can run as a formula.

    The heads that every sheet has are English whatever the language, for programs find columns by them.
    """
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    head = sheet.heading
    writer.writerow(
        for_csv(name)
        for name in ("place", "market", "day", "standing", "drink", "choice", *(n for _group, n in sheet.columns), "off the list", "caution")
    )
    for drink in sheet.drinks:
        for row in drink.rows:
            cells = [cell.words.removeprefix(f"{cell.column}: ") for cell in row.cells]
            values = (head.where, head.market, head.day.isoformat(), head.standing, drink.name, row.name, *cells)
            writer.writerow(for_csv(v) for v in (*values, row.facts.unlisted, " ".join(sheet.cautions)))
    return out.getvalue()


def sheet_json(sheet: Sheet) -> dict[str, Any]:
    """The whole view as data; a status is one of contains, may_contain, unknown."""
    head = sheet.heading
    return {
        "sheet": 1,
        "where": head.where,
        "site": head.site or None,
        "market": head.market,
        "day": head.day.isoformat(),
        "standing": head.standing,
        "covers": head.covers or None,
        "lists": list(sheet.lists),
        "cautions": list(sheet.cautions),
        "columns": [{"group": group, "name": name} for group, name in sheet.columns],
        "drinks": [_drink_json(drink) for drink in sheet.drinks],
    }


def _drink_json(drink: DrinkSheet) -> dict[str, Any]:
    return {
        "item": drink.item,
        "name": drink.name,
        "sentence": drink.sentence,
        "contact": list(drink.contact),
        "advice": list(drink.advice),
        "claims": drink.claims,
        "nutrition": list(drink.nutrition),
        "rows": [
            {
                "choice": row.choice,
                "name": row.name,
                "lapsed": row.facts.lapsed,
                "absent": row.facts.absent_words,
                "facts": [
                    {
                        "status": fact.status,
                        "words": status_words(fact.status),
                        "name": fact.bare,
                        "group": fact.column,
                        "listed": fact.listed,
                        "paths": list(fact.paths),
                    }
                    for fact in row.facts.facts
                ],
            }
            for row in drink.rows
        ],
    }
