"""Who may sign changes at a site that was given only the first of them: by the old quorum and the new, and never backwards.

The rule is that of a root's rotation in The Update Framework 1.0 (5.3.4: a
threshold of the old keys and of the new), and 5.3.8 for keys that are no
longer named. Publishing keys are the thief's throughout; clocks are frozen.
After each refusal nothing moved, and the honest bundle is taken.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from chain_world import SECOND, begin_world, day, own_machine
from counter_world import run
from test_forged_releases import DRINKS, EARLY, MANAGER, ROLES, SAFETY, Forged, forge, gone, standard
from test_stolen_keys import SITE, STAMP, Bundle, kept, place, pull, show

from specctl.actions.deviating import DeviationWish, StandIn, deviate
from specctl.actions.offsale import OffSaleWish, off_sale
from specctl.actions.signing import SignWish, sign_in_clone
from specctl.change.deviation import Passed, read_passed
from specctl.change.notice import Posted, read_posted
from specctl.change.statement import read_envelope
from specctl.change.trust import read_trust, shown, trust_of
from specctl.domain.people import Signatories
from specctl.errors import Untrusted
from specctl.store.signature import make_key, sign

__all__ = ["place"]
NEWCOMER = "rue-fenn"
PEOPLE = "signatories.yaml"
ROLES.setdefault(NEWCOMER, ("food-safety", "chain"))


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Release 1; then food safety passes to a newcomer (2); then release 3 by the new people. The site holds release 1."""
    root = tmp_path_factory.mktemp("quorum")
    with pytest.MonkeyPatch.context() as patch:
        own_machine(patch, tmp_path_factory.mktemp("home"))
        world = begin_world(root)
        world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
        world.done(world.propose(0, "Opening book", start=day(2).date()).name, 0.5)
        with world.open() as source:
            off_sale(source, OffSaleWish("ingredient", "sage-leaf", "A lot was recalled.", day(0.6), "", world.key(SAFETY)))
            goods = StandIn(name="Oat drink from next door", contains=("soya",))
            deviate(source, DeviationWish(SITE, "oat-drink", goods, "Read off the carton.", "None came.", day(8).date(), day(0.7), world.key(SAFETY)))
        run("publish", root / "packs", "--keys", root / "publishing", "--new", "--book", world.book, now=STAMP)
        (root / "state").mkdir()
        pull(root, "--root", root / "packs/metadata/1.root.json")
        key = world.key(NEWCOMER)
        make_key(key, NEWCOMER)
        public = " ".join((root / f"keys/{NEWCOMER}.pub").read_text().split()[:2])
        text = world.on_main(PEOPLE).replace("roles: [food-safety]", "roles: [author]")
        text += f"\n  {NEWCOMER}:\n    name: Rue Fenn\n    roles: [food-safety]\n    keys:\n      {NEWCOMER}-1:\n        public: {public}\n"
        (world.book / PEOPLE).write_text(text)
        name = world.propose(1, "Food safety passes on", start=day(2).date()).name
        with world.open() as source:
            said = [e for who in (SECOND, SAFETY, NEWCOMER) for e in sign_in_clone(source, name, SignWish("signoff", day(1.1), world.key(who)))]
        world.collect(said, 1.2)
        world.release(name, 1.3)
        world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
        name = world.propose(2, "More paste").name
        world.signed(name, 2.1, SECOND, NEWCOMER, MANAGER, "aoife-tarn", "dell-okafor")
        world.release(name, 2.2)
        run("publish", root / "packs", "--keys", root / "publishing", "--book", world.book, now=STAMP)
        yield root


def honest(root: Path) -> Bundle:
    found = max((root / "packs/targets").glob(f"*.{SITE}.json"), key=lambda p: len(json.loads(p.read_bytes())["releases"]))
    told: Bundle = json.loads(found.read_bytes())
    assert [r["number"] for r in told["approvals"]["releases"]] == [1, 2, 3]
    return told


def refused(root: Path, told: Bundle, words: str, good: Bundle) -> None:
    before = kept(root)
    show(root, told)
    said = " ".join(pull(root, code=1).err.split())
    assert words in said and "the last verified cards stay" in said, said
    assert kept(root) == before
    show(root, good)
    pull(root)
    assert kept(root) != before


def without(b: Bundle, *people: str, number: int = 2) -> Bundle:
    """The statements these people made on one release are gone, from the count as well."""
    left = {e.digest for e in map(read_envelope, b["statements"]) if e.statement.person in people and e.statement.proposal.startswith(f"{number}-")}
    assert len(left) >= len(people)
    for record in (*b["approvals"]["releases"], *b["releases"]):
        record["statements"] = [one for one in record["statements"] if one not in left]
    return b


def rule_gone(b: Bundle) -> Bundle:
    """The new policy asks nobody for an amount; who signed the change signed for another."""
    b["approvals"]["trust"][1]["trust"]["rules"]["amount"] = []
    return b


def one_key_twice(b: Bundle) -> Bundle:
    people = b["approvals"]["trust"][1]["people"]
    people[0]["keys"] = people[1]["keys"]
    return b


def key_added(b: Bundle) -> Bundle:
    b["approvals"]["trust"][1]["people"][0]["keys"].append("ssh-ed25519 " + "A" * 68)
    return b


def never_told(b: Bundle) -> Bundle:
    b["approvals"]["trust"].pop()
    return b


def told_later(b: Bundle) -> Bundle:
    b["approvals"]["trust"][1]["since"] = 3
    return b


def told_at_no_release(b: Bundle) -> Bundle:
    b["approvals"]["trust"][1]["since"] = 4
    return b


def back_again(b: Bundle) -> Bundle:
    b["approvals"]["trust"].append(b["approvals"]["trust"][0] | {"since": 3})
    return b


TRUST: dict[str, tuple[Callable[[Bundle], Bundle], str]] = {
    "by the old quorum alone": (lambda b: without(b, NEWCOMER), "release 2 is not approved: food-safety for chain did not sign"),
    "by the new quorum alone": (lambda b: without(b, SAFETY), "release 2 is not approved: food-safety for chain did not sign"),
    "by drinks alone": (lambda b: without(b, SAFETY, NEWCOMER), "release 2 is not approved: food-safety for chain did not sign"),
    "by food safety, old and new, alone": (lambda b: without(b, SECOND), "release 2 is not approved: drinks for chain did not sign"),
    "by nobody": (lambda b: without(b, SECOND, SAFETY, NEWCOMER), "release 2 was approved by nobody this site knows"),
    "a rule of the new policy asks nobody": (rule_gone, "release 2 changes who may sign otherwise than was signed"),
    "one key under two persons": (one_key_twice, "who may sign is not well made in this bundle"),
    "a key nobody has": (key_added, "who may sign is not well made in this bundle"),
    "never told": (lambda b: never_told(without(b, NEWCOMER)), "release 2 changes who may sign, and to whom is not told"),
    "told one release later": (lambda b: told_later(without(b, NEWCOMER)), "release 2 changes who may sign, and to whom is not told"),
    "told at a release that is none": (told_at_no_release, "who may sign changed without a release"),
    "and set back at the next": (back_again, "release 3 changes who may sign otherwise than was signed"),
}


@pytest.mark.parametrize("name", TRUST)
def test_a_change_of_who_may_sign(place: Path, name: str) -> None:  # noqa: F811
    spoil, words = TRUST[name]
    good = honest(place)
    refused(place, spoil(json.loads(json.dumps(good))), words, good)


def test_both_quorums_are_taken_and_then_there_is_no_way_back(place: Path) -> None:  # noqa: F811
    old, good = bundle_of_one(place), honest(place)
    show(place, good)
    pull(place)
    before = kept(place)
    show(place, old)
    said = " ".join(pull(place, code=1).err.split())
    assert "release 3, which this site has verified, is left out or told otherwise" in said and kept(place) == before
    back = json.loads(json.dumps(good))
    back["approvals"]["trust"].pop()
    show(place, back)
    said = " ".join(pull(place, code=1).err.split())
    assert "who may sign was set back, or told otherwise than before" in said and kept(place) == before
    show(place, good)
    pull(place)


def bundle_of_one(root: Path) -> Bundle:
    return next(b for p in (root / "packs/targets").glob(f"*.{SITE}.json") if len((b := json.loads(p.read_bytes()))["releases"]) == 1)


def louder(entry: dict[str, Any]) -> None:
    """Declares more: a may-contain is contained from now on."""
    row = standard(entry)
    moved = next(fact for fact in row["may_contain"])
    row["may_contain"].remove(moved)
    row["contains"].append(moved)
    entry["name"] = entry["name"].removesuffix(", again")


def louder_with(more: Callable[[dict[str, Any]], Any]) -> Callable[[dict[str, Any]], None]:
    def change(entry: dict[str, Any]) -> None:
        louder(entry)
        more(entry)

    return change


def heavier(entry: dict[str, Any]) -> None:
    line = entry["sizes"][0]["layers"][0]["lines"][0]
    line["grams"] = "99"


PRESENT = (DRINKS, NEWCOMER, MANAGER)
AT_ONCE = "2026-11-05T10:00:00Z"
RETIRED: dict[str, Forged] = {
    "food safety of before": Forged("release 4 counts a sign-off of maren-oduya that no key of theirs made", gone("contains", "milk"), (DRINKS, SAFETY, MANAGER)),
    "and backdated to when it held": Forged(
        "release 4 counts a sign-off of maren-oduya that no key of theirs made", gone("contains", "milk"), (DRINKS, SAFETY, MANAGER), signed=(("said", "2026-11-02T10:00:00Z"),),
        after=lambda b: b["releases"][-1].update(released="2026-11-02T11:00:00Z"),
    ),
    "with the old key in the newcomer's name": Forged("release 4 counts a sign-off of rue-fenn that no key of theirs made", gone("contains", "milk"), PRESENT, ((NEWCOMER, SAFETY),)),
    "the deputy of before": Forged("release 4 counts a sign-off of piet-sorrel that no key of theirs made", gone("contains", "milk"), (DRINKS, "piet-sorrel", MANAGER)),
}  # fmt: skip
FAST: dict[str, Forged] = {
    "an amount at once": Forged(EARLY, heavier, PRESENT, start=AT_ONCE),
    "more declared, and an amount beside it": Forged(EARLY, louder_with(heavier), PRESENT, start=AT_ONCE),
    "more declared, and milk gone": Forged(EARLY, louder_with(gone("contains", "milk")), PRESENT, start=AT_ONCE),
    "more declared, by food safety alone, and milk gone": Forged("release 4 is not approved: drinks for chain did not sign", louder_with(gone("contains", "milk")), (NEWCOMER,), start=AT_ONCE),
    "more declared, by drinks alone": Forged("food-safety for chain did not sign", louder, (DRINKS,), start=AT_ONCE),
    "more declared, by food safety of before": Forged("release 4 counts a sign-off of maren-oduya that no key of theirs made", louder, (SAFETY,), start=AT_ONCE),
}
LIFTED: dict[str, Forged] = {
    "by drinks and the franchise": Forged("release 4 is not approved: food-safety for chain did not sign, and goods come back on sale", by=(DRINKS, MANAGER)),
    "by food safety alone": Forged("release 4 is not approved: drinks for chain did not sign", by=(NEWCOMER,)),
    "by food safety of before": Forged("release 4 counts a sign-off of maren-oduya that no key of theirs made", by=(DRINKS, SAFETY, MANAGER)),
    "by all, but sooner than was signed": Forged("is told to be back on sale before the day that was signed", by=PRESENT),
}


@pytest.mark.parametrize("name", [*RETIRED, *FAST])
def test_keys_that_were_and_ways_that_are_quick(place: Path, made: Path, name: str) -> None:  # noqa: F811
    how = (RETIRED | FAST)[name]
    good = honest(place)
    told = json.loads(json.dumps(good))
    forge(told, made / "keys", how)
    refused(place, told, how.words, good)


@pytest.mark.parametrize("name", LIFTED)
def test_a_notice_is_lifted(place: Path, made: Path, name: str) -> None:  # noqa: F811
    good = honest(place)
    told = json.loads(json.dumps(good))
    forge(told, made / "keys", lifting(told, LIFTED[name], "2026-11-05T00:00:00Z"))
    refused(place, told, LIFTED[name].words, good)


def lifting(told: Bundle, how: Forged, when: str) -> Forged:
    path = f"statements/off-sale/{told['notices'][0]['notice']}.statement"
    return replace(how, files=((path, "0" * 64),), after=lambda b: b["notices"][0].update(lifted=when))


def test_the_other_side_of_each(place: Path, made: Path) -> None:  # noqa: F811
    """Present keys, upward alone and at once by one, a whole quorum for goods back on sale: taken, so the refusals are about those."""
    good = honest(place)
    for how in (Forged("", gone("contains", "milk"), PRESENT), Forged("", louder, (NEWCOMER,), start=AT_ONCE), lifting(good, Forged("", by=PRESENT), "2026-11-12T04:00:00Z")):
        told = json.loads(json.dumps(good))
        forge(told, made / "keys", how)
        show(place, told)
        number = len(list(place.glob("site-*")))
        state = place / f"site-{number}"
        run("pull", place / "packs", "--site", SITE, "--state", state, "--root", place / "packs/metadata/1.root.json", now=STAMP)


FORGED_WORDS = {
    "a notice by one who may take nothing off": ("notices", DRINKS, "aoife-tarn", "nobody who may took ingredient/sage-leaf off sale"),
    "a notice by a key that is not theirs": ("notices", SAFETY, DRINKS, "nobody who may took ingredient/sage-leaf off sale"),
    "a deviation by drinks": ("deviations", DRINKS, DRINKS, "nobody who may allowed anything in place of ingredient/oat-drink"),
    "a deviation by a key that is not theirs": ("deviations", SAFETY, DRINKS, "nobody who may allowed anything in place of ingredient/oat-drink"),
    "a deviation of another site": ("elsewhere", SAFETY, SAFETY, "the deviation for ingredient/oat-drink is told otherwise than it was said"),
}


@pytest.mark.parametrize("name", FORGED_WORDS)
def test_forged_notices_and_deviations(place: Path, made: Path, name: str) -> None:  # noqa: F811
    kind, person, key, words = FORGED_WORDS[name]
    good = honest(place)
    told = json.loads(json.dumps(good))
    if kind == "notices":
        row = told["notices"][0]
        notice = replace(read_posted(row["statement"]).notice, person=person, why="Again.")
        posted = Posted(notice, notice.payload, sign(notice.payload, made / "keys" / key, notice.namespace))
        told["notices"].append(row | {"notice": posted.digest, "person": person, "why": "Again.", "statement": posted.text()})
    else:
        row = told["deviations"][0]
        said = replace(read_passed(row["statement"]).deviation, person=person, why="Again.", **({"site": "marram-strand"} if kind == "elsewhere" else {}))
        passed = Passed(said, said.payload, sign(said.payload, made / "keys" / key, said.namespace))
        told["deviations"].append(row | {"deviation": passed.digest, "person": person, "why": "Again.", "statement": passed.text()})
    refused(place, told, words, good)


def test_a_key_that_stands_under_two_persons_proves_neither(place: Path) -> None:  # noqa: F811
    """Well made to the last digest, as whoever may change people could make it (The Update Framework 1.0, 1.5.2: faked threshold)."""
    honest_trust = read_trust({k: v for k, v in honest(place)["approvals"]["trust"][1].items() if k != "since"})
    people = dict(honest_trust.signatories.people)
    one, two = (people[who] for who in (DRINKS, NEWCOMER))
    people[NEWCOMER] = replace(two, keys=one.keys)
    franchises = frozenset({"northsands"})
    assert read_trust(shown(trust_of(Signatories(dict(honest_trust.signatories.people)), honest_trust.policy), franchises))
    with pytest.raises(Untrusted, match="who may sign is not well made"):
        read_trust(shown(trust_of(Signatories(people), honest_trust.policy), franchises))
