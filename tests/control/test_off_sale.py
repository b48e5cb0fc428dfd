"""Off sale at once by one person, shown first at every site; back only by the whole quorum.

What a notice must reach follows from the demo recipes, read by hand: hazelnut
paste is in the Hazelnut frost; oat drink only in its milk choice (and, in
Ireland, its stand-in); sugar syrup is a prep in both.
"""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from chain_world import AUTHOR, MANAGERS, SAFETY, SECOND, World, day
from forge import commit_of, set_main

from specctl.actions.auditing import audit
from specctl.actions.judging import Findings
from specctl.actions.offsale import OffSale, OffSaleWish, back_on_sale, off_sale
from specctl.actions.publishing import bundles
from specctl.canonical import canonical
from specctl.change.notice import Notice, Posted, read_posted
from specctl.errors import NotFound, Refused, Untrusted
from specctl.site.bundle import Bundle
from specctl.site.pages import Times, make_pages
from specctl.store.signature import sign

WHY = "The supplier recalls it: metal in the jar."


def off(world: World, kind: str = "ingredient", id: str = "hazelnut-paste", *, at: float = 5, key: str = SAFETY, why: str = WHY, lot: str = "") -> OffSale:
    with world.open() as source:
        return off_sale(source, OffSaleWish(kind, id, why, day(at), lot, world.key(key)))


def bundle(world: World, site: str = "northsands-quay") -> bytes:
    with world.open() as source:
        return bundles(source.in_git(), world.main())[f"{site}.json"]


def pages(world: World, at: float, site: str = "northsands-quay") -> dict[str, str]:
    times = Times(day(at), day(at) - timedelta(minutes=5))
    return {name: data.decode() for name, data in make_pages(bundle(world, site), times).items()}


@pytest.mark.parametrize("person", [SAFETY, AUTHOR])
def test_one_person_is_enough_and_every_page_says_it_first(world: World, person: str) -> None:
    done = off(world, key=person)
    assert {r.item for r in done.reach["northsands-quay"]} == {"drink/hazelnut-frost"}
    for name, text in pages(world, 6).items():
        body = text[text.index("<body") :] if name.endswith(".html") else " ".join(text.replace("|", " ").split())
        at = body.index("OFF SALE")
        assert "metal in the jar" in body and "Hazelnut frost" in body
        assert at < body.index("Northsands"), name  # before the page's own title
    with world.open() as source:
        assert audit(source).first is None and audit(source).covered.notices == 1


@pytest.mark.parametrize("person", [SECOND, MANAGERS["marram"]])
def test_others_may_not(world: World, person: str) -> None:
    before = world.main()
    with pytest.raises(Refused, match="may not take anything off sale"):
        off(world, key=person)
    assert world.main() == before


def test_a_prep_carries_on_to_all_that_is_made_from_it(world: World) -> None:
    done = off(world, "prep", "sugar-syrup")
    assert {r.item for r in done.reach["northsands-quay"]} >= {"prep/sugar-syrup", "drink/hazelnut-frost"}


def test_an_ingredient_of_a_prep_reaches_the_drink(world: World) -> None:
    with world.open() as source:
        sugar = next(line.use for line in source.load().book.preps["sugar-syrup"].all_lines() if line.use in source.load().book.ingredients)  # type: ignore[union-attr]
    reached = {r.item for r in off(world, "ingredient", sugar).reach["northsands-quay"]}
    assert {"prep/sugar-syrup", "drink/hazelnut-frost"} <= reached


def test_only_a_choice_is_off_where_only_the_choice_uses_it(world: World) -> None:
    found = {r.item: r.choices for r in off(world, "ingredient", "oat-drink").reach["northsands-quay"]}
    assert found["drink/hazelnut-frost"] == ("Milk: Oat drink",)
    assert "In Hazelnut frost, do not serve: Milk: Oat drink." in pages(world, 6)["index.txt"].replace("\n| ", " ").replace(" |", "")


def test_an_unreadable_lot_counts_as_the_lot(world: World) -> None:
    off(world, "lot", lot="L2291")
    text = " ".join(pages(world, 6)["cards.txt"].replace("|", " ").split())
    assert "Lot L2291. A pack whose lot cannot be read counts as this lot." in text


def test_a_site_that_makes_nothing_of_it_hears_of_it_too(world: World) -> None:
    off(world, "drink", "pear-sage-fizz")
    told = [Bundle.parse(bundle(world, site)).off_sale(day(6)) for site in ("northsands-quay", "harbour-row", "marram-strand", "breakwater")]
    assert all(len(one) == 1 for one in told)


@pytest.mark.parametrize(("kind", "id", "lot"), [("ingredient", "hazelnut-past", ""), ("lot", "hazelnut-paste", ""), ("drink", "hazelnut-frost", "L1"), ("site", "northsands-quay", "")])
def test_what_cannot_be_taken_off(world: World, kind: str, id: str, lot: str) -> None:
    with pytest.raises((NotFound, Refused)):
        off(world, kind, id, lot=lot)


def test_twice_is_refused(world: World) -> None:
    off(world)
    with pytest.raises(Refused, match="off sale already"):
        off(world, at=5.1)


@pytest.mark.parametrize("why", ["", "x" * 501])
def test_a_reason_that_cannot_stand(world: World, why: str) -> None:
    with pytest.raises(Refused, match="nothing was taken off sale"):
        off(world, why=why)


def test_hostile_words_reach_no_screen_raw(world: World) -> None:
    off(world, why="<script>x</script>\x1b[2J\u202emetal")
    for name, text in pages(world, 6).items():
        assert "\x1b" not in text and "\u202e" not in text
        assert name.endswith(".txt") or "<script>x" not in text


def lift(world: World, done: OffSale, at: float = 7, disposal: str = "Six jars thrown away, seen by Maren Oduya.") -> str:
    with world.open() as source:
        return back_on_sale(source, done.posted.digest[:12], disposal, "", day(at), key=world.key(AUTHOR)).name


def test_back_on_sale_needs_everybody_and_the_disposal(world: World) -> None:
    done = off(world)
    with pytest.raises(Refused, match="what became of the goods"):
        lift(world, done, disposal=" ")
    name = lift(world, done)
    with world.case(name, 7) as case:
        asked = {(n.role, n.scope) for n in Findings(case).needs}
    assert asked == {("food-safety", "chain"), ("drinks", "chain"), *(("franchise-manager", f"franchise/{f}") for f in MANAGERS)}
    world.signed(name, 7.1, SAFETY)
    with pytest.raises(Refused, match="not approved"):
        world.release(name, 7.2)
    world.signed(name, 7.3, SECOND, *MANAGERS.values())
    world.release(name, 7.5)
    held = Bundle.parse(bundle(world))
    assert held.off_sale(day(8)) != () and held.off_sale(day(20)) == ()
    assert "OFF SALE" in pages(world, 8)["index.txt"] and "OFF SALE" not in pages(world, 20)["index.txt"]
    with world.open() as source:
        assert audit(source).first is None
    with pytest.raises(NotFound, match="no standing notice"):
        lift(world, done, 9)


def forged(world: World, key: str, **said: Any) -> Posted:
    notice = Notice(**({"book": "tidewick", "about": "drink/hazelnut-frost", "lot": "", "why": "x", "role": "food-safety", "person": SAFETY, "said": "2026-11-07T09:00:00Z"} | said))
    return Posted(notice, notice.payload, sign(notice.payload, world.key(key), notice.namespace))


@pytest.mark.parametrize(("key", "said", "code"), [(SECOND, {}, "statement"), (SECOND, {"person": SECOND}, "statement"), (SAFETY, {"book": "other"}, "replay")])
def test_a_forged_notice_is_found(world: World, key: str, said: dict[str, Any], code: str) -> None:
    posted = forged(world, key, **said)
    commit = commit_of(world, {posted.path: posted.text().encode()}, key=world.key(AUTHOR), at=5)
    set_main(world, commit)
    with world.open() as source:
        first = audit(source).first
    assert first is not None and (first.code, first.commit) == (code, commit)
    if not said:
        with pytest.raises(Untrusted, match="is not signed by"):
            bundle(world)


def test_a_bundle_with_a_spoiled_notice_is_refused(world: World) -> None:
    off(world)
    raw = json.loads(bundle(world))
    for change in ({"about": "site/x"}, {"lifted": "soon"}, {"items": [["x"]]}, {"extra": 1}, {"notice": "1"}):
        spoiled = raw | {"notices": [raw["notices"][0] | change]}
        with pytest.raises(Untrusted):
            Bundle.parse(canonical(spoiled))
    with pytest.raises(Untrusted, match="told twice"):
        Bundle.parse(canonical(raw | {"notices": raw["notices"] * 2}))


@pytest.mark.parametrize("change", [{"notice": 2}, {"why": 3}, {"about": "drink/../x"}, {"extra": "x"}, {"lot": "L", "about": "drink/a"}])
def test_a_notice_that_is_not_whole(world: World, change: dict[str, Any]) -> None:
    posted = forged(world, SAFETY)
    payload = canonical(posted.notice.as_json() | change)
    with pytest.raises(Untrusted):
        read_posted(Posted(posted.notice, payload, posted.signature).text())
