"""A thief with every publishing key, and a few people's keys, adds a release of their own: what the signatures must still refuse.

Another site's bundle, stale sign-off, wrong base, backdating, disguised removal
(of our own threat list), and keys below or doubled to a threshold (The Update
Framework 1.0, 1.5.2). The classes asked for follow from the policy of the demo
book: a declaration going down needs food safety, the franchise and drinks.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from test_stolen_keys import (  # noqa: F401
    NOW,
    OTHER,
    SITE,
    Bundle,
    bundle,
    kept,
    made,
    place,
    pull,
    show,
)

from specctl.canonical import digest
from specctl.change.statement import Envelope, Statement
from specctl.store.signature import sign

DRINKS, SAFETY, MANAGER = "tobin-hale", "maren-oduya", "wren-castell"
ROLES = {
    DRINKS: ("drinks", "chain"),
    "isla-varn": ("drinks", "chain"),
    SAFETY: ("food-safety", "chain"),
    "piet-sorrel": ("food-safety", "chain"),
    MANAGER: ("franchise-manager", "franchise/northsands"),
    "jory-pell": ("franchise-manager", "franchise/northsands"),
    "aoife-tarn": ("franchise-manager", "franchise/northsands"),
    "nell-brandt": ("food-safety", "chain"),
}
ALL = (DRINKS, SAFETY, MANAGER)
Change = Callable[[dict[str, Any]], Any]


@dataclass(frozen=True)
class Forged:
    """One release more: what becomes of the card, who signs, by whose key, over which day, what is spoiled after signing."""

    words: str
    change: Change = lambda entry: None
    by: tuple[str, ...] = ALL
    keys: tuple[tuple[str, str], ...] = ()
    day: str = "2026-11-12"
    start: str = "2026-11-12T04:00:00Z"
    before: str | None = None
    signed: tuple[tuple[str, Any], ...] = ()
    after: Callable[[Bundle], Any] = lambda bundle: None
    files: tuple[tuple[str, str], ...] = ()


def forge(b: Bundle, keys: Path, how: Forged) -> None:
    number = b["approvals"]["releases"][-1]["number"] + 1
    item, old = b["timeline"][-1][2:]
    new = copy.deepcopy(b["entries"][old])
    new["name"] += ", again"
    how.change(new)
    row = [item, how.before or old, digest(new)]
    effects = copy.deepcopy(b["approvals"]["releases"][-1]["effects"])
    for effect in effects.values():
        effect |= {"entries": [[*row, 0]], "sites": [[SITE]], "start": how.day, "files": [*how.files]}
        effect["waves"] = [{"key": "all", "sites": [SITE], "start": how.day}]
    statements = []
    for person in how.by:
        role, scope = ROLES[person]
        told = {"purpose": "signoff", "book": "tidewick", "proposal": f"{number}-again", "scope": scope, "effect": digest(effects[scope])}
        told |= {"role": role, "person": person, "said": "2026-11-05T10:00:00Z", **dict(how.signed)}
        said = Statement(**told)
        key = dict(how.keys).get(person, person)
        statements.append(Envelope(said, said.payload, sign(said.payload, keys / key, said.namespace)))
    digests = [one.digest for one in statements]
    record = b["releases"][-1] | {
        "number": number, "proposal": f"{number}-again", "entries": [[SITE, *row]], "statements": digests, "start": how.day, "starts": {SITE: how.start},
    }  # fmt: skip
    b["releases"].append(record)
    b["approvals"]["releases"].append({"number": number, "proposal": f"{number}-again", "statements": digests, "effects": effects})
    b["statements"] += [one.text() for one in statements]
    b["entries"][digest(new)] = new
    b["timeline"] = sorted([*b["timeline"], [how.start, number, item, digest(new)]], key=lambda r: (r[0], r[1], r[2]))
    b.pop("drawings", None)
    how.after(b)


def standard(entry: dict[str, Any]) -> dict[str, Any]:
    return next(row for row in entry["allergens"] if row["choice"] == "")


def gone(part: str, substance: str) -> Change:
    def leave(entry: dict[str, Any]) -> None:
        row = standard(entry)
        row[part] = [fact for fact in row[part] if fact["substance"] != substance]

    return leave


def everywhere(entry: dict[str, Any]) -> None:
    for row in entry["allergens"]:
        row["contains"] = [fact for fact in row["contains"] if fact["substance"] != "hazelnut"]


def moved(to: str) -> Change:
    def move(entry: dict[str, Any]) -> None:
        row = standard(entry)
        row[to] += [fact for fact in row["contains"] if fact["substance"] == "hazelnut"]
        gone("contains", "hazelnut")(entry)

    return move


def renamed(entry: dict[str, Any]) -> None:
    """The nut under another id and name, so that nothing looks gone but the one word."""
    for row in entry["allergens"]:
        for fact in row["contains"]:
            if fact["substance"] == "hazelnut":
                fact |= {"substance": "frost-paste", "name": "frost paste", "listed": False, "group": None}


def swapped(entry: dict[str, Any]) -> None:
    for row in entry["allergens"]:
        for fact in row["contains"]:
            if fact["substance"] == "hazelnut":
                fact |= {"substance": "almond", "name": "almond"}


SAFETY_DID_NOT = "food-safety for chain did not sign"
REMOVAL = {
    "hazelnut left out": Forged(SAFETY_DID_NOT, everywhere, (DRINKS, MANAGER)),
    "left out of the standard build alone": Forged(SAFETY_DID_NOT, gone("contains", "hazelnut"), (DRINKS, MANAGER)),
    "milk left out": Forged(SAFETY_DID_NOT, gone("contains", "milk"), (DRINKS, MANAGER)),
    "contains becomes may contain": Forged(SAFETY_DID_NOT, moved("may_contain"), (DRINKS, MANAGER)),
    "contains becomes unknown": Forged(SAFETY_DID_NOT, moved("unknown"), (DRINKS, MANAGER)),
    "a may-contain left out": Forged(SAFETY_DID_NOT, gone("may_contain", "barley"), (DRINKS, MANAGER)),
    "under another name": Forged(SAFETY_DID_NOT, renamed, (DRINKS, MANAGER)),
    "swapped for almond": Forged(SAFETY_DID_NOT, swapped, (DRINKS, MANAGER)),
    "food safety alone": Forged("release 3 is not approved: drinks for chain did not sign", everywhere, (SAFETY,)),
    "the franchise did not": Forged("franchise-manager for franchise/northsands did not sign", everywhere, (SAFETY, DRINKS)),
    "no standard build any more": Forged("the standard build has no row", lambda e: e["allergens"].remove(standard(e))),
    "a list of the three missing": Forged("allergens[0].may_contain: not a list", lambda e: standard(e).pop("may_contain")),
    "no rows at all": Forged("the standard build has no row", lambda e: e.update(allergens=[])),
}

STALE = {
    "over the effect of the release before": Forged("over another effect", signed=(("effect", "0" * 64),)),
    "for another proposal": Forged("signs off something else", signed=(("proposal", "2-more-paste"),)),
    "for another book": Forged("signs off something else", signed=(("book", "other-book"),)),
    "an objection counted as a yes": Forged("signs off something else", signed=(("purpose", "objection"), ("note", "No."))),
    "the card changed after it was signed": Forged("other cards than were signed", after=lambda b: b["releases"][-1]["entries"][0].__setitem__(3, b["timeline"][0][3])),
    "the day moved after it was signed": Forged("over another effect", after=lambda b: [e["waves"][0].update(start="2026-11-10") for e in b["approvals"]["releases"][-1]["effects"].values()]),
    "a site added after it was signed": Forged("over another effect", after=lambda b: b["approvals"]["releases"][-1]["effects"]["chain"]["sites"][0].append("zzz")),
    "a file added after it was signed": Forged("over another effect", after=lambda b: b["approvals"]["releases"][-1]["effects"]["chain"]["files"].append(["zz", "0" * 64])),
    "signed for a scope nobody is shown": Forged("over another effect", signed=(("scope", "franchise/marram"),)),
    "the statements of the release before": Forged("release 3 counts a statement of wren-castell that signs off something else", after=lambda b: reuse(b)),
}


def reuse(b: Bundle) -> None:
    for told in (b["releases"][-1], b["approvals"]["releases"][-1]):
        told["statements"] = b["releases"][1]["statements"]


BASE = {
    "from a card this site never had": Forged("another base", before="1" * 64),
    "from the card of the release before": Forged("another base", after=lambda b: rebase(b, b["releases"][1]["entries"][0][2])),
    "from nothing, as if new": Forged("another base", after=lambda b: rebase(b, None)),
    "another item's row": Forged("release 3 shows other cards than were signed for chain", after=lambda b: b["releases"][-1]["entries"][0].__setitem__(1, "drink/pear-sage-fizz")),
}


def rebase(b: Bundle, before: str | None) -> None:
    b["releases"][-1]["entries"][0][2] = before
    for effect in b["approvals"]["releases"][-1]["effects"].values():
        effect["entries"][0][1] = before


EARLY = "starts before the day that was signed"
BACKDATED = {
    "a second before the day begins anywhere": Forged(EARLY, gone("contains", "milk"), start="2026-11-11T09:59:59Z"),
    "a week before": Forged(EARLY, gone("contains", "milk"), start="2026-11-05T04:00:00Z"),
    "before the first release": Forged(EARLY, gone("contains", "milk"), start="2025-01-01T04:00:00Z"),
    "a start that does not exist": Forged("not a day or time that exists", start="2026-11-31T04:00:00Z"),
    "a day that does not exist": Forged("no day that exists", gone("contains", "milk"), day="2026-02-30"),
    "no start here": Forged("no start here", after=lambda b: b["releases"][-1].update(starts={OTHER: "2026-11-12T04:00:00Z"})),
    "the timeline says earlier": Forged("not the one its releases state", after=lambda b: earlier(b)),
}


def earlier(b: Bundle) -> None:
    b["timeline"][-1][0] = "2026-11-11T05:00:00Z"


NO_KEY = "that no key of theirs made"
KEYS = {
    "drinks alone": Forged("release 3 is not approved: food-safety for chain did not sign, and milk", gone("contains", "milk"), (DRINKS,)),
    "food safety alone": Forged("release 3 is not approved: drinks for chain did not sign", gone("contains", "milk"), (SAFETY,)),
    "the manager alone": Forged("release 3 is not approved: drinks for chain did not sign", gone("contains", "milk"), (MANAGER,)),
    "nobody": Forged("approved by nobody", by=()),
    "one signs in two names": Forged(NO_KEY, gone("contains", "milk"), keys=((SAFETY, DRINKS),)),
    "one signs in all names": Forged(NO_KEY, gone("contains", "milk"), keys=((SAFETY, DRINKS), (MANAGER, DRINKS))),
    "one signs thrice": Forged("release 3 is not approved: food-safety for chain did not sign, and milk", gone("contains", "milk"), (DRINKS, DRINKS, DRINKS)),
    "two of one role for another": Forged("release 3 is not approved: food-safety for chain did not sign, and milk", gone("contains", "milk"), (DRINKS, "isla-varn", MANAGER)),
    "the manager of another franchise": Forged("release 3 counts a sign-off of aoife-tarn that no key of theirs made", gone("contains", "milk"), (DRINKS, SAFETY, "aoife-tarn")),
    "a buyer as food safety": Forged("release 3 counts a sign-off of nell-brandt that no key of theirs made", gone("contains", "milk"), (DRINKS, "nell-brandt", MANAGER)),
    "statements withheld": Forged("approved by nobody", after=lambda b: b.update(statements=b["statements"][:4])),
}


def refused(place: Path, keys: Path, how: Forged) -> None:
    honest = bundle(place)
    told = json.loads(json.dumps(honest))
    forge(told, keys, how)
    before = kept(place)
    show(place, told)
    said = " ".join(pull(place, code=1).err.split())
    assert how.words in said and "Nothing was installed" in said, said
    assert kept(place) == before
    good = json.loads(json.dumps(honest))
    forge(good, keys, Forged(""))
    show(place, good)
    pull(place)
    assert kept(place) != before


TABLES = {"disguised-removal": REMOVAL, "stale": STALE, "wrong-base": BASE, "backdating": BACKDATED, "key-compromise": KEYS}


@pytest.mark.parametrize(("table", "name"), [(table, name) for table, cases in TABLES.items() for name in cases])
def test_a_forged_release(place: Path, made: Path, table: str, name: str) -> None:  # noqa: F811
    refused(place, made / "keys", TABLES[table][name])


def test_all_three_may_take_it_off(place: Path, made: Path) -> None:  # noqa: F811
    """The other side: with everybody the policy asks, the same release is taken, so the refusals are about who signed."""
    told = bundle(place)
    forge(told, made / "keys", Forged("", everywhere))
    show(place, told)
    pull(place)


OTHERS: dict[str, tuple[Callable[[Bundle, Bundle], Bundle], str]] = {
    "as it is": (lambda own, other: other, f"the bundle of {OTHER}, not of {SITE}"),
    "with this site's id": (lambda own, other: other | {"site": other["site"] | {"id": SITE}}, "holds a row of another site"),
    "with this site's label": (lambda own, other: other | {"site": own["site"]}, "made for another market's allergen list"),
    "its entries and timeline": (lambda own, other: own | {k: other[k] for k in ("entries", "timeline")}, "made for another market's allergen list"),
    "its releases": (lambda own, other: own | {"releases": other["releases"]}, "holds a row of another site"),
    "its approvals": (lambda own, other: own | {"approvals": other["approvals"]}, "release 1 shows other cards than were signed for franchise/marram"),
    "of another book": (lambda own, other: own | {"book": "other-book"}, "the record of another book"),
    "of another book throughout": (lambda own, other: json.loads(json.dumps(own).replace('"book": "tidewick"', '"book": "other-book"')), f"this folder is for {SITE} of book other-book; the cards kept here are for {SITE} of book tidewick"),
    "of another market": (lambda own, other: own | {"site": own["site"] | {"market": "us"}}, "another market's allergen list"),
}


@pytest.mark.parametrize("name", OTHERS)
def test_another_sites_bundle(place: Path, name: str) -> None:  # noqa: F811
    swap, words = OTHERS[name]
    own = bundle(place)
    told = json.loads(json.dumps(swap(own, bundle(place, OTHER))))
    if name != "as it is":
        told.pop("drawings", None)
    before = kept(place)
    show(place, told)
    said = " ".join(pull(place, code=1).err.split())
    assert words in said and "Nothing was installed" in said, said
    assert kept(place) == before
    show(place, own)
    pull(place)
