"""A bundle of the invented Tidewick chain, built by hand: two sites, hostile names, open allergens."""

from __future__ import annotations

import copy
import json
from datetime import UTC, date, datetime
from typing import Any

from specctl import canonical

NOW = datetime(2026, 11, 25, 6, 0, tzinfo=UTC)
CONFIRMED = datetime(2026, 11, 25, 5, 40, tzinfo=UTC)
TODAY = date(2026, 11, 25)
HOSTILE = "Oat foam\u202e \u200b\x1b[31m<script>alert(1)</script>|`x`"
LONG = "Sanddornbeerenfruchtsaftkonzentratzubereitungsgrundstoffmischungslösung"
GROUPS = {
    "gluten": "Cereals containing gluten", "crustaceans": "Crustaceans", "egg": "Eggs",
    "fish": "Fish", "peanut": "Peanuts", "soya": "Soybeans", "milk": "Milk",
    "tree-nuts": "Nuts", "celery": "Celery", "mustard": "Mustard", "sesame": "Sesame",
    "sulphites": "Sulphur dioxide and sulphites", "lupin": "Lupin", "molluscs": "Molluscs",
}  # fmt: skip
LIST = {
    "id": "gb-14", "name": "The fourteen, Great Britain",
    "source": "Regulation (EU) No 1169/2011, Annex II, as kept in Great Britain law",
}  # fmt: skip


def move(tool: str, name: str, times: str = "1", mark: str | None = None) -> dict[str, Any]:
    return {"tool": tool, "name": name, "times": times, "mark": mark}


def measure(by: str, moves: list[Any], verdict: str = "within", **more: Any) -> dict[str, Any]:
    told = {"by": by, "moves": moves, "gives": None, "off": None, "verdict": verdict, "note": None}
    return told | more


def scale(grams: str) -> dict[str, Any]:
    moves = [move("scale-bench", "Bench scale", mark=f"{grams} g")]
    return measure("scale", moves, gives=grams, off="0")


def line(key: str, name: str, grams: str, how: dict[str, Any], **more: Any) -> dict[str, Any]:
    told = {
        "key": key, "of": f"ingredient/{key}", "name": name, "grams": grams, "each": None,
        "rule": None, "tolerance": {"minus": "1", "plus": "1"}, "measure": how,
    }  # fmt: skip
    return told | more


def fact(substance: str, name: str, group: str | None, *paths: str, listed: bool = True) -> Any:
    return {"substance": substance, "group": group, "name": name, "listed": listed, "paths": list(paths)}


def row(choice: str, name: str, **lists: Any) -> dict[str, Any]:
    told = {
        "choice": choice, "name": name, "contains": [], "may_contain": [], "unknown": [],
        "absent_until": "2027-06-01",
    }  # fmt: skip
    return told | lists


MILK = fact("milk", "milk", "milk", "drink/amber-tide > top > Whole milk")
OATS = fact("oats", "oats", "gluten", "drink/amber-tide > foam > prep/oat-foam > Oat drink, unsweetened")
SOYA = fact("soya", "soya", "soya", "drink/amber-tide > base > Hojicha powder")
HAZEL = fact("hazelnut", "hazelnut", "tree-nuts", "drink/amber-tide > base > Blackcurrant purée")
SESAME = fact("sesame", "sesame", "sesame", "drink/amber-tide > base > Hojicha powder")
BUCKWHEAT = fact("buckwheat", "buckwheat", None, "drink/amber-tide > base > Hojicha powder", listed=False)


def vessel(name: str, brimful: str, fill: str) -> dict[str, Any]:
    return {"id": "glass", "name": name, "brimful_ml": brimful, "fill_line_mm": fill}


def powder(on_scale: bool) -> dict[str, Any]:
    if on_scale:
        return scale("28")
    moves = [
        move("scoop-amber", "Amber scoop", "2"),
        move("scoop-teal", "Teal scoop", "1"),
    ]
    return measure("tools", moves, gives="29.4", off="1.4", verdict="outside",
                   note="A premix of 10 drinks would be within tolerance.")  # fmt: skip


def size(key: str, name: str, on_scale: bool) -> dict[str, Any]:
    pump = measure("tools", [move("pump-syrup", "Syrup pump", "3")], gives="24", off="0")
    jigger = measure("tools", [move("jigger-steel", "Jigger", "1", "25 ml")], "unproven", gives="25.6", off="-0.4")
    foam = measure("none", [], "no-tool")
    return {
        "key": key, "name": name, "vessel": vessel("Tall glass", "480", "125"), "makes_g": "372.5",
        "layers": [
            {"key": "base", "name": "Blackcurrant base", "lines": [
                line("hojicha", "Hojicha powder", "28", powder(on_scale)),
                line("puree", "Blackcurrant purée", "26", scale("26") if on_scale else jigger),
                line("syrup", LONG, "24", scale("24") if on_scale else pump),
            ]},
            {"key": "ice", "name": "Ice", "lines": [
                line("cubes", "Ice cubes", "90", measure("count", [], gives="90", off="0"), each="6"),
            ]},
            {"key": "top", "name": "Milk", "lines": [
                line("milk", "Whole milk", "180", measure("eye", []), rule="top to 15 mm below rim"),
            ]},
            {"key": "foam", "name": "Salted oat foam", "lines": [
                line("foam", HOSTILE, "24.5", scale("24.5") if on_scale else foam, of="prep/oat-foam"),
            ]},
        ],
    }  # fmt: skip


def amber_tide(on_scale: bool) -> dict[str, Any]:
    """A layered drink with two sizes, two options, a stand-in and every allergen status."""
    facts = {"contains": [MILK, OATS], "may_contain": [HAZEL, SOYA, BUCKWHEAT], "unknown": [SESAME]}
    oat = line("milk", "Oat drink, unsweetened", "184", measure("eye", []), of="ingredient/oat-drink",
               rule="top to 15 mm below rim")  # fmt: skip
    shot = line("shot", "Roasted barley shot", "30", scale("30"))
    return {
        "entry": 1, "item": "drink/amber-tide", "name": "Amber Tide", "market": "gb", "list": LIST,
        "sizes": [size("regular", "Regular", on_scale), size("large", "Large", on_scale)],
        "steps": [
            {"key": "shake", "do": "Shake powder, purée and syrup with the ice for 12 seconds.",
             "layer": "base", "equipment": ["shaker"], "caution": None},
            {"key": "pour", "do": "Pour the milk over the back of a spoon, slowly.",
             "layer": "top", "equipment": [], "caution": "Allergen: rinse the jug between milk and oat."},
            {"key": "crown", "do": f"Lay the foam on top. {HOSTILE}", "layer": "foam",
             "equipment": ["whisk"], "caution": None},
        ],
        "options": [
            {"key": "milk", "name": "Milk", "choices": [{"key": "oat", "name": "Oat drink", "sizes": [
                {"key": "regular", "lines": [{"path": "top/milk", "line": oat}]},
                {"key": "large", "lines": [{"path": "top/milk", "line": oat}]}]}]},
            {"key": "extras", "name": "Extras", "choices": [
                {"key": "shot", "name": "Extra shot", "sizes": [
                    {"key": "regular", "lines": [{"path": "base/shot", "line": shot}]},
                    {"key": "large", "lines": [{"path": "base/shot", "line": shot}]}]},
                {"key": "no-foam", "name": "No foam", "sizes": [
                    {"key": "regular", "lines": [{"path": "foam/foam", "line": None}]},
                    {"key": "large", "lines": [{"path": "foam/foam", "line": None}]}]}]},
        ],
        "substitutes": [{"key": "soy", "for": "ingredient/milk", "with": "ingredient/soya-drink",
                         "name": "Soya drink", "ratio": "1.01"}],
        "allergens": [
            row("", "", **facts),
            row("milk=oat", "Milk: Oat drink", contains=[OATS], may_contain=[HAZEL, SOYA, MILK],
                unknown=[SESAME]),
            row("extras=shot", "Extras: Extra shot", contains=[MILK, OATS, fact("barley", "barley",
                "gluten", "drink/amber-tide > base > Roasted barley shot")], may_contain=[HAZEL, SOYA],
                unknown=[SESAME]),
            row("extras=no-foam", "Extras: No foam", **facts),
            row("substitute=soy", "Stand-in: Soya drink", contains=[OATS, SOYA], may_contain=[HAZEL],
                unknown=[SESAME, MILK]),
        ],
        "hold": None, "equipment": ["shaker", "whisk"],
        "cautions": ["Contains caffeine."], "claims": [],
    }  # fmt: skip


def pear_fizz(on_scale: bool, *, grams: str = "60", lapsed: bool = False) -> dict[str, Any]:
    """A plain drink with nothing named; its documents may be too old."""
    how = scale(grams) if on_scale else measure(
        "tools", [move("jigger-steel", "Jigger", "2", "30 ml")], gives="61.2", off="1.2"
    )  # fmt: skip
    until = "2026-11-25" if lapsed else "2026-12-24"
    return {
        "entry": 1, "item": "drink/pear-fizz", "name": "Pear and Sage Fizz", "market": "gb", "list": LIST,
        "sizes": [{"key": "one", "name": "One size", "vessel": vessel("Short glass", "330", "90"),
                   "makes_g": "240", "layers": [
            {"key": "base", "name": "Pear", "lines": [line("pear", "Pear syrup", grams, how)]}]}],
        "steps": [{"key": "stir", "do": "Stir once.", "layer": None, "equipment": [], "caution": None}],
        "options": [], "substitutes": [], "allergens": [row("", "", absent_until=until)],
        "hold": None, "equipment": [], "cautions": [], "claims": [],
    }  # fmt: skip


def oat_foam(on_scale: bool) -> dict[str, Any]:
    """A prep with a hold time."""
    return {
        "entry": 1, "item": "prep/oat-foam", "name": "Salted oat foam", "market": "gb", "list": LIST,
        "sizes": [{"key": "batch", "name": "Batch", "vessel": None, "makes_g": "480", "layers": [
            {"key": "mix", "name": "Mix", "lines": [
                line("oat", "Oat drink, unsweetened", "470", scale("470") if on_scale else measure(
                    "tools", [move("jug-litre", "Litre jug", "1", "450 ml")], gives="463", off="-7")),
                line("salt", "Sea salt", "10", scale("10") if on_scale else measure(
                    "tools", [move("scoop-teal", "Teal scoop", "1")], "outside", gives="8.1", off="-1.9")),
            ]}]}],
        "steps": [{"key": "whip", "do": "Whip for two minutes.", "layer": None,
                   "equipment": ["whisk"], "caution": "Clean the whisk first."}],
        "options": [], "substitutes": [], "allergens": [row("", "", contains=[OATS])],
        "hold": {"keep": "chilled", "own": "24 h", "note": "Label with the time it was made."},
        "equipment": ["whisk"], "cautions": [], "claims": [],
    }  # fmt: skip


def bundle_value(*, on_scale: bool = False, lapsed: bool = False) -> dict[str, Any]:
    """The bundle as JSON values: one change yesterday, one start to come, one drink gone."""
    old_fizz, new_fizz = pear_fizz(on_scale, grams="55"), pear_fizz(on_scale, lapsed=lapsed)
    tide = amber_tide(on_scale)
    before = copy.deepcopy(tide)
    before["allergens"][0]["may_contain"].remove(HAZEL)
    before["steps"][0]["do"] = "Shake powder, purée and syrup with the ice for 8 seconds."
    before["sizes"][0]["layers"][0]["lines"][1]["grams"] = "24"
    later = copy.deepcopy(tide)
    later["options"][1]["choices"].pop()
    later["allergens"].pop(3)
    gone = pear_fizz(on_scale) | {"item": "drink/harbour-fog", "name": "Harbour Fog"}
    foam = oat_foam(on_scale)
    timeline, entries = [], {}
    for start, release, entry in (
        ("2026-10-01T03:00:00Z", 1, before), ("2026-10-01T03:00:00Z", 1, gone),
        ("2026-10-01T03:00:00Z", 1, old_fizz), ("2026-10-01T03:00:00Z", 1, foam),
        ("2026-11-25T04:00:00Z", 2, tide), ("2026-11-25T04:00:00Z", 2, None),
        ("2026-11-25T04:00:00Z", 3, new_fizz), ("2026-11-30T04:00:00Z", 4, later),
    ):  # fmt: skip
        digest = canonical.digest(entry) if entry else None
        if entry:
            entries[digest] = entry
        timeline.append([start, release, entry["item"] if entry else "drink/harbour-fog", digest])
    timeline.sort(key=lambda each: each[:3])
    releases = [
        {"release": 1, "number": number, "book": "tidewick", "title": title, "why": why, "entries": []}
        for number, title, why in (
            (1, "Autumn card", "Season"),
            (2, "Purée from a second supplier", "The first one ran out; its factory handles hazelnut."),
            (3, "Sweeter fizz", "Guests asked."), (4, "No foam goes", "Nobody orders it."),
        )
    ]  # fmt: skip
    return {
        "bundle": 1, "book": "tidewick", "book_name": "Tidewick", "main": "a" * 40,
        "site": {"id": "lantern-quay", "name": "Lantern Quay", "franchise": "northsands", "market": "gb",
                 "market_name": "Great Britain", "time_zone": "Europe/London", "day_starts": "04:00"},
        "timeline": timeline, "entries": entries, "releases": releases, "statements": [],
    }  # fmt: skip


def bundle_bytes(**how: bool) -> bytes:
    return json.dumps(bundle_value(**how)).encode()
