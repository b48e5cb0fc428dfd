"""A deviation is one food-safety signature, one site, an end; what nobody read off the pack stays unknown.

What it must reach follows from the demo recipes, read by hand: oat drink is in
the Hazelnut frost's milk choice, hazelnut paste in its standard build. That an
undeclared allergen must never read as absent is Regulation (EU) 1169/2011,
articles 9(1)(c) and 44. The four weeks are common practice, no source.
"""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from chain_world import AUTHOR, MANAGERS, SAFETY, SECOND, World, day, plain_git
from forge import commit_of, set_main
from jsonschema.validators import Draft202012Validator
from referencing import Registry, Resource

from specctl.actions.auditing import audit
from specctl.actions.deviating import Deviated, DeviationWish, StandIn, deviate, in_force_at, stop
from specctl.actions.ledger import Ledger
from specctl.actions.offsale import OffSaleWish, off_sale
from specctl.actions.publishing import bundles
from specctl.canonical import canonical
from specctl.change.deviation import Passed, read_passed
from specctl.errors import NotFound, Refused, Untrusted
from specctl.site.bundle import Bundle
from specctl.site.pages import Times, make_pages
from specctl.store.signature import sign

QUAY = "northsands-quay"
LAST = day(8).date()
STATUSES = ("contains", "may_contain", "unknown")


def allowed(world: World, *, at: float = 5, key: str = SAFETY, until: date = LAST, of: str = "hazelnut-paste", stand_in: StandIn | None = None, checked: str = "Label read by phone.") -> Deviated:
    goods = stand_in or StandIn(name="Nut paste from next door", contains=("milk",), may_contain=("soya",), absent=("celery",))
    with world.open() as source:
        return deviate(source, DeviationWish(QUAY, of, goods, checked, "The depot sent none.", until, day(at), world.key(key)))


def bundle(world: World, site: str = QUAY) -> Bundle:
    with world.open() as source:
        return Bundle.parse(bundles(source.in_git(), world.main())[f"{site}.json"])


def statuses(entry: Any, choice: str = "") -> dict[str, str]:
    row = next(r for r in entry["allergens"] if r["choice"] == choice)
    return {f["substance"]: s for s in STATUSES for f in row[s]}


def test_facts_are_united_and_the_unanswered_is_unknown(world: World) -> None:
    frost = "drink/hazelnut-frost"
    before = statuses(bundle(world).told(day(4))[frost])
    allowed(world)
    held = bundle(world)
    now = statuses(held.told(day(6))[frost])
    assert now["milk"] == "contains" and "celery" not in now or now["celery"] == before.get("celery")
    rank = {s: n for n, s in enumerate(STATUSES)}
    assert all(rank[now[s]] <= rank[status] for s, status in before.items())  # nothing of the spec's own is taken away
    with world.open() as source:
        book = source.load().book
        assert book is not None
        listed = book.lists[book.markets[book.sites[QUAY].market].allergen_list].substances()
    for substance in listed - {"milk", "soya", "celery"}:
        assert substance in now, substance  # said by nobody: unknown, or what the spec says
    assert held.told(day(6))[frost]["claims"] == []


def test_pages_say_it_and_it_ends_by_itself(world: World) -> None:
    allowed(world)
    held = bundle(world)
    for at, words in ((6, "DEVIATION until"), (10, "no Nut paste from next door any more")):
        pages = make_pages(held, Times(day(at), day(at) - timedelta(minutes=5)))
        for name, data in pages.items():
            assert words in " ".join(data.decode().split()), (at, name)
    assert statuses(held.told(day(10))["drink/hazelnut-frost"]) == statuses(held.entries[held.in_force(day(10))["drink/hazelnut-frost"].digest or ""])
    assert "in place of hazelnut paste" in make_pages(held, Times(day(6), day(6)))["allergens.txt"].decode()


def test_it_reaches_one_site_only(world: World) -> None:
    allowed(world)
    for site in ("harbour-row", "marram-strand", "breakwater"):
        assert bundle(world, site).deviations == ()


def test_what_shares_equipment_may_carry_it(world: World) -> None:
    """The blender's other drinks: cross-contact from shared equipment (Codex CXC 80-2020)."""
    allowed(world)
    held = bundle(world)
    plain = {i: held.entries[s.digest or ""] for i, s in held.in_force(day(6)).items()}
    reached = {i for one in held.deviations for i, _, _ in one.items}
    tools = {t for i in reached for t in plain[i]["equipment"]}
    sharing = [i for i, e in plain.items() if i not in reached and any(c["equipment"] in tools and not c["lowered"] for c in e["contact"])]
    for item, entry in held.told(day(6)).items():
        if item in sharing:
            assert statuses(entry)["milk"] in ("contains", "may_contain")
        elif item not in reached:
            assert entry == plain[item]


@pytest.mark.parametrize("person", [AUTHOR, SECOND, MANAGERS["northsands"]])
def test_only_food_safety_says_yes(world: World, person: str) -> None:
    before = world.main()
    with pytest.raises(Refused, match="may not allow a deviation"):
        allowed(world, key=person)
    assert world.main() == before


@pytest.mark.parametrize("until", [day(3).date(), day(40).date()])
def test_no_end_no_deviation(world: World, until: date) -> None:
    with pytest.raises(Refused, match="ends after now"):
        allowed(world, until=until)


def test_what_cannot_be_allowed(world: World) -> None:
    with pytest.raises(Refused, match="what was checked"):
        allowed(world, checked=" ")
    with pytest.raises(NotFound, match="no list of this book names"):
        allowed(world, stand_in=StandIn(name="x", contains=("mylk",)))
    with pytest.raises(NotFound, match="no ingredient"):
        allowed(world, of="hazelnut-past")
    with world.open() as source:
        off_sale(source, OffSaleWish("ingredient", "oat-drink", "Recalled.", day(5), key=world.key(SAFETY)))
    with pytest.raises(Refused, match="itself off sale"):
        allowed(world, at=5.1, stand_in=StandIn(by="oat-drink"))


def test_a_stand_in_of_the_book_brings_its_own_facts(world: World) -> None:
    done = allowed(world, stand_in=StandIn(by="oat-drink"))
    contains = {k.substance for k in done.passed.deviation.facts["contains"]}
    with world.open() as source:
        book = source.load().book
        assert book is not None and set(book.ingredients["oat-drink"].facts.contains) <= contains  # type: ignore[union-attr]
    listed = {k.substance for rows in done.passed.deviation.facts.values() for k in rows}
    assert book.lists[book.markets[book.sites[QUAY].market].allergen_list].substances() <= listed
    # Recalled later, it is off wherever it stood in.
    with world.open() as source:
        off = off_sale(source, OffSaleWish("ingredient", "oat-drink", "Recalled.", day(6), key=world.key(SAFETY)))
    assert {r.item: r.choices for r in off.reach[QUAY]}["drink/hazelnut-frost"] == ()
    assert {r.item: r.choices for r in off.reach["harbour-row"]}.get("drink/hazelnut-frost") != ()


def test_stopped_it_is_over_and_replaced_it_is_the_newer(world: World) -> None:
    first = allowed(world)
    second = allowed(world, at=5.5, stand_in=StandIn(name="Another paste"))
    held = bundle(world)
    assert [d.name for d in held.standing_in(day(5.2))] == ["Nut paste from next door"]
    assert [d.name for d in held.standing_in(day(6))] == ["Another paste"]
    with world.open() as source, pytest.raises(NotFound, match="no standing deviation"):
        stop(source, first.passed.digest[:12], "Found some.", day(6), world.key(SAFETY))
    with world.open() as source:
        stop(source, second.passed.digest[:12], "Found some.", day(6), world.key(SAFETY))
    assert bundle(world).standing_in(day(6.1)) == ()
    with world.open() as source:
        ledger = Ledger(source.in_git(), world.main())
        assert [d["name"] for d in in_force_at(ledger, QUAY, day(5.7))] == ["Another paste"]
        assert in_force_at(ledger, QUAY, day(6.5)) == []
        assert audit(source).first is None


FORGED = [(SECOND, {}, "statement"), (SECOND, {"person": SECOND}, "statement"), (SAFETY, {"book": "other"}, "replay"), (SAFETY, {"said": "2026-11-04T09:00:00Z"}, "backdated")]


@pytest.mark.parametrize(("key", "said", "code"), FORGED)
def test_a_forged_one_is_found(world: World, key: str, said: dict[str, str], code: str) -> None:
    real = allowed(world).passed.deviation
    plain_git(world.book, "reset", "-q", "--hard", "HEAD~1")
    plain_git(world.book, "update-ref", "refs/remotes/origin/main", "HEAD")
    payload = canonical(real.as_json() | said)
    passed = Passed(real, payload, sign(payload, world.key(key), "deviation@specctl"))
    commit = commit_of(world, {passed.path: passed.text().encode()}, key=world.key(AUTHOR), at=5)
    set_main(world, commit)
    with world.open() as source:
        first = audit(source).first
    assert first is not None and (first.code, first.commit) == (code, commit), first
    if not said:
        with pytest.raises(Untrusted, match="is not signed by"):
            bundle(world)


@pytest.mark.parametrize("change", [{"extra": 1}, {"ends": "2027-01-01T00:00:00Z"}, {"of": "drink/x"}, {"checked": ""}, {"deviation": 2}, {"facts": {}}, {"name": 3}])
def test_what_is_not_whole_is_refused(world: World, change: dict[str, Any]) -> None:
    real = allowed(world).passed
    with pytest.raises(Untrusted):
        read_passed(Passed(real.deviation, canonical(real.deviation.as_json() | change), real.signature).text())


def test_one_substance_has_one_status(world: World) -> None:
    real = allowed(world).passed
    facts = real.deviation.as_json()["facts"]
    twice = {**facts, "absent": [*facts["absent"], ["milk", None, "milk"]]}
    with pytest.raises(Untrusted):
        read_passed(Passed(real.deviation, canonical(real.deviation.as_json() | {"facts": twice}), real.signature).text())


def test_a_spoiled_bundle_is_refused(world: World) -> None:
    allowed(world)
    with world.open() as source:
        raw = json.loads(bundles(source.in_git(), world.main())[f"{QUAY}.json"])
    row = raw["deviations"][0]
    for change in ({"of": "site/x"}, {"ends": "soon"}, {"items": [["x"]]}, {"extra": 1}, {"facts": {"contains": []}}, {"deviation": "1"}):
        with pytest.raises(Untrusted):
            Bundle.parse(canonical(raw | {"deviations": [row | change]}))
    with pytest.raises(Untrusted, match="told twice"):
        Bundle.parse(canonical(raw | {"deviations": [row, row]}))


def test_the_published_schema_takes_it(world: World) -> None:
    folder = Path(__file__).resolve().parents[2] / "schema"
    resources = [(p.name, Resource.from_contents(json.loads(p.read_text()))) for p in folder.glob("*.schema.json")]
    schema = Draft202012Validator(json.loads((folder / "deviation.schema.json").read_text()), registry=Registry().with_resources(resources))
    real = allowed(world).passed.deviation.as_json()
    assert schema.is_valid(real)
    assert not schema.is_valid(real | {"of": "drink/x"}) and not schema.is_valid({k: v for k, v in real.items() if k != "ends"})
