"""What the pages of one site show at one time, as frozen values; no wording of HTML here.

Made from a verified bundle, the time, the time of the last confirmation and the
time to compare with. Reads no clock.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, tzinfo
from typing import Any

from specctl.report.clean import visible
from specctl.report.ways import way_words
from specctl.report.words import say, time_words
from specctl.site.bundle import Bundle, Standing
from specctl.site.pages_card import Card, card_of
from specctl.site.pages_changed import Changed, changed_between, upcoming_after
from specctl.report.declared import Cell, Facts, cell_of, columns_of, facts_of
from specctl.site.pages_masthead import (
    Masthead,
    Times,
    last_opening,
    masthead_of,
    standing_words,
    zone_of,
)

Record = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One build of a drink: its facts and its cells in the order of the columns.

    `same_cells` marks a choice whose cells are those of the standard build.
    """

    drink: str
    anchor: str
    choice: str
    facts: Facts
    cells: tuple[Cell, ...]
    standing: str
    same_cells: bool

    @property
    def is_standard(self) -> bool:
        return self.facts.choice == ""

    @property
    def absent(self) -> str:
        return say("word.list").join(cell.column for cell in self.cells if cell.absent)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The allergen sheet: `drinks` groups the rows, the standard build first."""

    columns: tuple[str, ...]
    drinks: tuple[tuple[SheetRow, ...], ...]
    lists: tuple[str, ...]
    names: frozenset[str] = frozenset()

    def way(self, path: str) -> str:
        """A way in, in words."""
        return way_words(path, self.names)


@dataclass(frozen=True, slots=True)
class View:
    """Everything the pages of one site show."""

    masthead: Masthead
    drinks: tuple[Card, ...]
    preps: tuple[Card, ...]
    sheet: Sheet
    since: str
    changed: tuple[Changed, ...]
    unchanged: int
    upcoming: tuple[Changed, ...]


def view_of(bundle: Bundle, times: Times) -> View:
    """The view of a bundle at a time."""
    zone = zone_of(bundle.site.time_zone)
    held = bundle.in_force(times.now)
    served = {item: standing for item, standing in held.items() if standing.digest is not None}
    today = times.now.astimezone(zone).date()
    as_told = bundle.told(times.now)
    cards = sorted(
        (
            card_of(
                as_told[item], today=today, standing=standing_words(standing, zone),
                drawn=bundle.drawings.get(standing.digest or "", {}),
            )
            for item, standing in served.items()
        ),
        key=lambda card: (card.name.casefold(), card.item),
    )
    since = times.since or last_opening(times.now, zone, bundle.site.day_starts)
    changed = tuple(changed_between(bundle, since, times.now, zone))
    return View(
        masthead=masthead_of(bundle, times, served),
        drinks=tuple(card for card in cards if not card.is_prep),
        preps=tuple(card for card in cards if card.is_prep),
        sheet=_sheet(as_told, served, zone, today),
        since=time_words(since.astimezone(zone)),
        changed=changed,
        unchanged=len(served.keys() - {change.item for change in bundle.changed_since(since, times.now)}),
        upcoming=tuple(upcoming_after(bundle, times.now, zone)),
    )


def _sheet(
    as_told: Mapping[str, Record], served: Mapping[str, Standing], zone: tzinfo, today: date
) -> Sheet:
    drinks = [
        (as_told[item], standing_words(standing, zone))
        for item, standing in served.items()
        if item.startswith("drink/")
    ]
    drinks.sort(key=lambda pair: (visible(pair[0]["name"]).casefold(), pair[0]["item"]))
    columns = columns_of([entry for entry, _ in drinks])
    lists = {
        say("allergens.list", name=entry["list"]["name"], source=entry["list"]["source"]): None
        for entry, _ in drinks
    }
    return Sheet(
        columns=tuple(name for _, name in columns),
        drinks=tuple(
            tuple(_sheet_rows(entry, standing, columns, today)) for entry, standing in drinks
        ),
        lists=tuple(lists),
        names=frozenset(visible(entry["name"]) for entry in as_told.values()),
    )


def _sheet_rows(
    entry: Record, standing: str, columns: list[tuple[str, str]], today: date
) -> Iterator[SheetRow]:
    card = card_of(entry, today=today)
    rows = [card.facts]
    rows += [choice.facts for option in card.options for choice in option.choices]
    rows += [stand_in.facts for stand_in in card.stand_ins]
    known = {facts.choice for facts in rows}
    # A row that belongs to no option or stand-in of the card still says something.
    rows += [
        facts_of(entry, row["choice"], today)
        for row in entry["allergens"]
        if row["choice"] not in known
    ]
    standard = _cells(rows[0], columns)
    for facts in rows:
        cells = _cells(facts, columns)
        yield SheetRow(
            drink=card.name,
            anchor=card.anchor,
            choice=facts.name if facts.choice else say("allergens.standard"),
            facts=facts,
            cells=cells,
            standing=standing,
            same_cells=bool(facts.choice) and cells == standard,
        )


def _cells(facts: Facts, columns: list[tuple[str, str]]) -> tuple[Cell, ...]:
    return tuple(cell_of(facts, column, name) for column, name in columns)
