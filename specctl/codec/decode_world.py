"""Nodes to values: the book itself, lists, markets, franchises, sites, tools, vessels, scoop checks."""

from __future__ import annotations

import re
from datetime import date, timedelta
from decimal import Decimal
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from specctl.codec.cursor import Cursor
from specctl.domain.amount import Tolerance
from specctl.domain.book import Claim, Settings
from specctl.domain.cleaning import Cleaning, ClearOut
from specctl.domain.equipment import Tool, Vessel
from specctl.domain.place import AllergenList, Franchise, Group, Market, ScoopCheck, Site, SiteIce

_TIME = re.compile(r"([01][0-9]|2[0-3]):[0-5][0-9]")
_NEVER = date.min
_NEEDED = {
    "scale": ("readability",),
    "scoop": ("volume",),
    "spoon": ("volume",),
    "disher": ("volume",),
    "jigger": ("marks",),
    "jug": ("graduation", "up_to"),
    "pump": ("stroke",),
}


def settings(c: Cursor, id: str) -> Settings:
    lasts = c.quantity("allergen_documents_last", "duration") or Decimal(0)
    checks = c.quantity("scoop_checks_last", "duration")
    return Settings(
        id=c.text("id"),
        name=c.text("name"),
        place=c.place,
        day_starts=_time(c, "day_starts"),
        tolerance=c.tolerance("tolerance") or Tolerance(Decimal(0), Decimal(0), True),
        documents_last=timedelta(seconds=int(lasts)),
        spoons=c.text("spoons") or None,
        most_motions=c.integer("most_motions", 6),
        half_scoops=c.flag("half_scoops"),
        checks_last=timedelta(seconds=int(checks)) if checks is not None else None,
        claims={
            k: Claim(
                k,
                x.text("name"),
                frozenset(x.words("forbids")),
                frozenset(x.words("forbids_advisories")),
                frozenset(x.words("watches")),
            )
            for k, x in c.pairs("claims")
        },
    )


def allergen_list(c: Cursor, id: str) -> AllergenList:
    groups = {
        key: Group(
            key,
            x.text("name"),
            {s: str(m.node.value) for s, m in x.pairs("members")},
            x.text("threshold"),
            x.words("exempt"),
            l.number("mg_per_kg") if (l := x.at("limit")) else None,
            bool(l and l.text("declared") == "at-or-above"),
        )
        for key, x in c.pairs("groups")
    }
    seen: dict[str, str] = {}
    for key, group in groups.items():
        for substance in group.members:
            if substance in seen:
                c.problem(
                    "list-repeats",
                    "groups",
                    f"{substance} stands in the groups {seen[substance]} and {key}",
                    "Keep it in one group.",
                )
            seen[substance] = key
    return AllergenList(
        id=id,
        name=c.text("name"),
        place=c.place,
        source=c.text("source"),
        as_of=c.date("as_of") or _NEVER,
        groups=groups,
        note=c.text("note"),
    )


def market(c: Cursor, id: str) -> Market:
    tax = c.at("tax")
    return Market(
        id=id,
        name=c.text("name"),
        place=c.place,
        allergen_list=c.text("allergen_list"),
        currency=c.text("currency"),
        tax=(tax.share("rate") if tax else None) or Decimal(0),
        tax_in_menu_price=bool(tax and tax.flag("in_menu_price")),
        language=c.text("language"),
        spoons=c.text("spoons") or None,
        caution=c.text("caution"),
        switches=_switches(c),
        nutrition=c.text("nutrition", "eu"),
        holding=c.text("holding") or None,
    )


def _switches(c: Cursor) -> tuple[tuple[date, str], ...]:
    """Days on which a list takes over; each later than the one before."""
    node = c.node.get("allergen_lists")
    rows: list[tuple[date, str]] = []
    for item in node.items if node else ():
        x = Cursor(item, c.file, c.problems)
        day = x.date("from")
        if day is None:
            continue
        if rows and day <= rows[-1][0]:
            x.problem("list-switch-order", "from", f"{day} does not come after {rows[-1][0]}", "Put the switches in order of their days.")
            continue
        rows.append((day, x.text("list")))
    return tuple(rows)


def franchise(c: Cursor, id: str) -> Franchise:
    return Franchise(id=id, name=c.text("name"), place=c.place)


@cache
def _is_zone(name: str) -> bool:
    # Listing every zone costs more than reading a whole book; asking for one does not.
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        return False
    return True


def site(c: Cursor, id: str) -> Site:
    zone = c.text("time_zone")
    if not _is_zone(zone):
        c.problem("time-zone", "time_zone", "no such time zone", "Write an IANA name, such as Europe/London.")
    return Site(
        id=id,
        name=c.text("name"),
        place=c.place,
        franchise=c.text("franchise"),
        market=c.text("market"),
        time_zone=zone,
        tools={k: x.node.value for k, x in c.pairs("tools") if isinstance(x.node.value, int)},
        vessels=frozenset(c.words("vessels")),
        equipment=frozenset(c.words("equipment")),
        day_starts=_time(c, "day_starts"),
        not_served=frozenset(c.words("not_served")),
        stocks={k: str(x.node.value) for k, x in c.pairs("stocks")},
        ice=_ice(c),
        cleaning={
            k: Cleaning(k, x.text("method"), x.text("document"), x.date("dated"), x.place)
            for k, x in c.pairs("cleaning")
        },
        cleared={
            k: ClearOut(k, x.text("product_code"), x.date("confirmed") or _NEVER, x.text("by"), x.place)
            for k, x in c.pairs("cleared")
        },
    )


def _ice(c: Cursor) -> SiteIce | None:
    x = c.at("ice")
    if x is None:
        return None
    packing = x.share("packing") if x.has("packing") else None
    if packing == 0:
        x.problem("ice-packing", "packing", "a heap with no ice in it", "Weigh a level container of ice once.")
    return SiteIce(x.quantity("temperature", "temperature"), packing or None, x.quantity("piece", "mass"), x.place)


def tool(c: Cursor, id: str) -> Tool:
    kind = c.text("kind")
    for field in _NEEDED.get(kind, ()):
        if not c.has(field):
            c.problem("tool-without-size", "kind", f"a {kind} without {field}", f"Add {field}, as the tool itself says.")
    volume = c.quantity("volume", "volume") if c.has("volume") else None
    marks = c.node.get("marks")
    return Tool(
        id=id,
        name=c.text("name"),
        place=c.place,
        kind=kind,
        readability=c.quantity("readability", "mass"),
        min_load=c.quantity("min_load", "mass"),
        max_load=c.quantity("max_load", "mass"),
        volume=volume,
        marks=tuple(sorted(v for n in (marks.items if marks else ()) if (v := c.read(n, "volume")) is not None)),
        graduation=c.quantity("graduation", "volume"),
        up_to=c.quantity("up_to", "volume"),
        stroke=c.quantity("stroke", "volume"),
        error=c.share("error"),
    )


def vessel(c: Cursor, id: str) -> Vessel:
    brimful = c.quantity("brimful", "volume")
    height = c.quantity("height", "length")
    fill_line = c.quantity("fill_line", "length", zero=True)
    if height is not None and fill_line is not None and fill_line >= height:
        c.problem("vessel-fill-line", "fill_line", "the fill line lies below the base", "Measure it from the rim down.")
    working, least = c.quantity("working", "volume"), c.quantity("least", "volume")
    if working is not None and brimful is not None and working > brimful:
        c.problem("vessel-working", "working", "more is made in it than it holds to the rim", "Correct the volume.")
    most = working if working is not None else brimful
    if least is not None and most is not None and least > most:
        c.problem("vessel-working", "least", "it needs more than may be made in it", "Correct one of the two.")
    return Vessel(
        id=id,
        name=c.text("name"),
        place=c.place,
        kind=c.text("kind"),
        brimful=brimful or Decimal(0),
        height=height or Decimal(0),
        fill_line=fill_line or Decimal(0),
        rim=c.quantity("rim", "length"),
        base=c.quantity("base", "length"),
        working=working,
        least=least,
        shape=_shape(c, brimful, height),
        lid_room=c.quantity("lid", "length", zero=True),
    )


def _shape(c: Cursor, brimful: Decimal | None, height: Decimal | None) -> tuple[tuple[Decimal, Decimal], ...]:
    """The table of heights and volumes, rising from the base to the rim."""
    node = c.node.get("shape")
    rows: list[tuple[Decimal, Decimal]] = []
    for item in node.items if node else ():
        x = Cursor(item, c.file, c.problems)
        up, ml = x.quantity("height", "length"), x.quantity("holds", "volume")
        if up is None or ml is None:
            return ()
        if rows and (up <= rows[-1][0] or ml <= rows[-1][1]):
            c.problem("vessel-shape", "shape", "the table of heights does not rise", "Give heights and volumes from the base up.")
            return ()
        rows.append((up, ml))
    if rows and brimful is not None and height is not None and rows[-1] != (height, brimful):
        c.problem("vessel-shape", "shape", "the table does not end at the rim", "Let its last row be the height and the brimful capacity.")
        return ()
    return tuple(rows)


def scoop_check(c: Cursor, id: str) -> ScoopCheck:
    return ScoopCheck(
        id=id,
        name=id,
        place=c.place,
        ingredient=c.text("ingredient"),
        tool=c.text("tool"),
        site=c.text("site"),
        n=c.integer("weighings"),
        mean=c.quantity("mean", "mass") or Decimal(0),
        spread=c.quantity("spread", "mass", zero=True) or Decimal(0),
        date=c.date("date") or _NEVER,
        who=c.text("who"),
        product_code=c.text("product_code"),
        bulk_density=c.quantity("bulk_density", "density"),
        supplier=c.text("supplier"),
        busy=c.flag("busy"),
    )


def _time(c: Cursor, key: str) -> str:
    text = c.text(key)
    if text and not _TIME.fullmatch(text):
        c.problem("time-form", key, "this is not a time of day", 'Write it as "04:00".')
        return ""
    return text
