"""The verb `scoop-check`: weighings of one ingredient with one tool at one site become a record.

A check is a file like any other: it changes what a site is told only through a
proposal. An existing file of the same check is edited in place, comments kept.
"""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from specctl.actions.source import Source
from specctl.actions.starting import SCHEMAS
from specctl.analysis import scoopcheck
from specctl.analysis.density import Item, scoop_density
from specctl.analysis.dose import LEAST_WEIGHINGS, fits_kind
from specctl.codec.emit import write_value
from specctl.codec.load import Loaded, load
from specctl.codec.paths import LONGEST_ID
from specctl.codec.rewrite import rewrite
from specctl.codec.weighings import Weighings
from specctl.domain.amount import plain
from specctl.domain.book import Book
from specctl.domain.equipment import Tool
from specctl.domain.ingredient import Ingredient
from specctl.domain.place import ScoopCheck, Site
from specctl.errors import Found, NotFound, Refused
from specctl.problem import Problem, errors_of
from specctl.store.files import write_atomic

_BY_DOSE = ("scoop", "spoon", "disher", "pump")


@dataclass(frozen=True, slots=True)
class Wish:
    """What was weighed, where, by whom, on which day; `busy`: at a busy hour."""

    site: str
    item: str
    tool: str
    who: str
    day: date
    busy: bool = False


@dataclass(frozen=True, slots=True)
class Checked:
    """The check, where it stands, and what the weighings say. `other` is the check of the
    other hour (quiet against busy) at this site, where there is one."""

    path: str
    check: ScoopCheck
    weighed: scoopcheck.Weighed
    due: date
    other: ScoopCheck | None
    notes: tuple[Problem, ...]
    written: bool
    names: tuple[str, str, str]
    """Of the site, the ingredient and the tool."""

    def as_json(self) -> dict[str, Any]:
        check = self.check
        known = self.weighed.half_width
        return {
            "scoop_check": 1,
            "file": self.path,
            "written": self.written,
            "site": {"id": check.site, "name": self.names[0]},
            "ingredient": {"id": check.ingredient, "name": self.names[1]},
            "tool": {"id": check.tool, "name": self.names[2]},
            "weighings": check.n,
            "mean_g": plain(check.mean),
            "spread_g": plain(check.spread),
            "spread_from_step": self.weighed.floored,
            "date": check.date.isoformat(),
            "who": check.who,
            "busy": check.busy,
            "product_code": check.product_code or None,
            "supplier": check.supplier or None,
            "bulk_density": plain(check.bulk_density) if check.bulk_density is not None else None,
            "estimate": {
                "confidence": scoopcheck.CONFIDENCE,
                "mean_low_g": round(float(check.mean) - known, 3),
                "mean_high_g": round(float(check.mean) + known, 3),
            },
            "proves": self.weighed.proves,
            "least_weighings": LEAST_WEIGHINGS,
            "due": self.due.isoformat(),
            "other_hour": self._other(),
            "problems": [note.as_json() for note in self.notes],
        }

    def _other(self) -> dict[str, Any] | None:
        if self.other is None:
            return None
        quiet, busy = (self.other, self.check) if self.check.busy else (self.check, self.other)
        off, share, sure = scoopcheck.bias(quiet, busy)
        return {
            "file": f"scoop-checks/{self.other.id}.yaml",
            "busy_less_quiet_g": plain(off),
            "share": round(float(share), 4),
            "more_than_chance": sure,
        }


def check_scoop(source: Source, wish: Wish, weighings: Weighings, today: date, *, look: bool = False) -> Checked:
    """Weigh up and store. Raises Found for weighings that are not one scoop weighed several times."""
    files = source.files()
    loaded = load(files, source.shelf)
    if loaded.book is None:
        raise Found("this book cannot be read", loaded.problems)
    book = loaded.book
    site, item, tool = _named(book, wish)
    if wish.day > today:
        raise Refused(f"{wish.day} lies ahead", "Give the day it was weighed on with --date.")
    if not wish.who.strip():
        raise Refused("nobody is named", "Say who weighed with --who.")
    id = check_id(wish)
    path = f"scoop-checks/{id}.yaml"
    weighed, problems = scoopcheck.weigh_up(weighings.grams, weighings.step, item, tool, weighings.places)
    if weighed is None:
        raise Found(f"these weighings of {item.id} with {tool.id} are no scoop check", problems)
    record = _record(wish, item, weighed)
    data = _text(files, path, record, source)
    check = _read_back({**files, path: data}, loaded, path, source)
    _not_older(book, check)
    if not look:
        write_atomic(source.root / path, data)
    other = _other_hour(book, check)
    lasts = book.settings.checks_last
    names = (site.name, item.name, tool.name)
    return Checked(path, check, weighed, scoopcheck.due(wish.day, lasts), other, tuple(problems), not look, names)


def check_id(wish: Wish) -> str:
    """`<site>-<item>-<tool>`, `-busy` behind it for a busy hour; shortened to a digest where too long."""
    tail = "-busy" if wish.busy else ""
    whole = f"{wish.site}-{wish.item}-{wish.tool}{tail}"
    if len(whole) <= LONGEST_ID:
        return whole
    mark = hashlib.sha256(whole.encode()).hexdigest()[:12]
    return f"{wish.site[: LONGEST_ID - len(mark) - len(tail) - 1].rstrip('-')}-{mark}{tail}"


def _named(book: Book, wish: Wish) -> tuple[Site, Item, Tool]:
    site = book.sites.get(wish.site)
    if site is None:
        raise _unknown("site", wish.site, book.sites)
    item = book.item(wish.item)
    if item is None:
        raise _unknown("ingredient", wish.item, [*book.ingredients, *book.preps])
    tool = book.tools.get(wish.tool)
    if tool is None:
        raise _unknown("tool", wish.tool, book.tools)
    if tool.id not in site.tools:
        raise Refused(f"{site.name} has no {tool.id}", "It has: " + ", ".join(sorted(site.tools)) + ".")
    if tool.kind not in _BY_DOSE:
        todo = "Check scoops, spoons, dishers and pumps; state the error of a jigger or jug on the tool itself."
        raise Refused(f"a {tool.kind} gives no one dose to weigh", todo)
    if not fits_kind(tool, item):
        raise Refused(f"{item.name} is not measured with a {tool.kind}", "Liquids are poured; powders and ice are scooped.")
    return site, item, tool


def _unknown(kind: str, id: str, known: Collection[str]) -> NotFound:
    close = difflib.get_close_matches(id, list(known), 3)
    return NotFound(f"there is no {kind} {id}", f"Did you mean {', '.join(close)}?" if close else f"See the folder {kind}s/.")


def _record(wish: Wish, item: Item, weighed: scoopcheck.Weighed) -> dict[str, Any]:
    record: dict[str, Any] = {
        "ingredient": item.id,
        "tool": wish.tool,
        "site": wish.site,
        "weighings": weighed.n,
        "mean": f"{plain(weighed.mean)} g",
        "spread": f"{plain(weighed.spread)} g",
        "date": wish.day.isoformat(),
        "who": wish.who.strip(),
    }
    if isinstance(item, Ingredient):
        if item.product_code:
            record["product_code"] = item.product_code
        if item.supplier:
            record["supplier"] = item.supplier
    density = scoop_density(item)
    if density is not None:
        record["bulk_density"] = f"{plain(density.value)} g/ml"
    if wish.busy:
        record["busy"] = True
    return record


def _text(files: Mapping[str, bytes], path: str, record: dict[str, Any], source: Source) -> bytes:
    """The file: edited where it is there and reads, so that its comments and note survive; else new."""
    there = files.get(path)
    if there is not None:
        kept = load({path: there}).nodes.get(path)
        if kept is None:
            raise Refused(f"{path} is there and cannot be read", "Run specctl check, and correct or remove it first.")
        before = kept.plain()
        assert isinstance(before, dict)
        target = {key: record.get(key, value) for key, value in before.items() if key in record or key == "note"}
        return rewrite(there, target | record, path)
    schemas = f"../{SCHEMAS}" if (source.root / SCHEMAS).is_dir() else "../../schema"
    head = f"# yaml-language-server: $schema={schemas}/scoop-check.schema.json\n"
    return (head + write_value(record)).encode("utf-8")


def _read_back(files: Mapping[str, bytes], before: Loaded, path: str, source: Source) -> ScoopCheck:
    """The record as the book will read it; refused where it would not."""
    after = load(files, source.shelf)
    fresh = [p for p in after.problems if p.place.file == path and p not in before.problems]
    id = path.removeprefix("scoop-checks/").removesuffix(".yaml")
    check = after.book.scoop_checks.get(id) if after.book is not None else None
    if errors_of(fresh) or check is None:
        raise Found("this check cannot stand in a book", fresh or after.problems, "Nothing was written.")
    return check


def _not_older(book: Book, check: ScoopCheck) -> None:
    there = book.scoop_checks.get(check.id)
    if there is not None and there.date > check.date:
        raise Refused(
            f"there is a check of {there.date} already, and this one is of {check.date}", "An older check replaces no newer one."
        )


def _other_hour(book: Book, check: ScoopCheck) -> ScoopCheck | None:
    def is_other(each: ScoopCheck) -> bool:
        same = (each.site, each.ingredient, each.tool) == (check.site, check.ingredient, check.tool)
        made_alike = (each.product_code, each.bulk_density) == (check.product_code, check.bulk_density)
        return same and made_alike and each.busy != check.busy and each.mean > Decimal(0)

    found = [each for each in book.scoop_checks.values() if is_other(each)]
    return max(found, key=lambda each: (each.date, each.id), default=None)
