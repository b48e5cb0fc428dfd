"""Nodes to values: policy, signatories, proposals."""

from __future__ import annotations

from datetime import date

from specctl.codec.cursor import Cursor
from specctl.codec.paths import is_id
from specctl.domain.people import Cover, Key, Person, Policy, Proposal, Rule, Settled, Signatories, Trial, Wave


def policy(c: Cursor, id: str) -> Policy:
    return Policy(
        rules={k: Rule(k, x.words("signs"), x.text("why"), _trial(x)) for k, x in c.pairs("rules")},
        otherwise=c.words("otherwise"),
        cost_limit=c.share("cost_limit", most=1000),
    )


def _trial(c: Cursor) -> Trial | None:
    trial = c.at("trial")
    return Trial(trial.integer("days"), frozenset(trial.words("sites"))) if trial else None


def signatories(c: Cursor, id: str) -> Signatories:
    people = {}
    holders: dict[str, str] = {}
    for person, x in c.pairs("people"):
        keys = {}
        for key, k in x.pairs("keys"):
            public = " ".join(k.text("public").split()[:2])
            if public in holders:
                k.problem(
                    "key-shared",
                    "public",
                    f"this key also belongs to {holders[public]}",
                    "One key belongs to one person; make a new one.",
                )
            holders[public] = person
            keys[key] = Key(key, k.text("public"), k.flag("retired"))
        people[person] = Person(
            id=person,
            name=x.text("name"),
            roles=frozenset(x.words("roles")),
            email=x.text("email"),
            franchises=frozenset(x.words("franchises")),
            deputy_for=frozenset(x.words("deputy_for")),
            keys=keys,
            covers=tuple(_cover(key, k, person) for key, k in x.pairs("cover")),
            place=x.place,
        )
    return Signatories(people)


def _cover(key: str, c: Cursor, of: str) -> Cover:
    begins, ends = c.date("from"), c.date("to")
    if begins and ends and ends < begins:
        c.problem("cover-dates", "to", "this cover ends before it begins", "Write the first day under from, the last under to.")
    if c.text("by") == of:
        c.problem("cover-self", "by", f"{of} cannot be covered by {of}", "Name the person who signs meanwhile.")
    # A day that cannot be read covers nobody.
    return Cover(key, c.text("by"), begins or date.max, ends or date.min, c.value_place("by"))


def proposal(c: Cursor, id: str) -> Proposal:
    number, _, slug = id.partition("-")
    if not number.isdecimal() or number.startswith("0") or not slug or not is_id(slug):
        c.problem("proposal-name", "title", "the file name is not <number>-<slug>", "Let propose name it.")
    start = c.date("start") or date.min
    waves = {}
    for key, x in c.pairs("waves"):
        sites = x.node.get("sites")
        begins = x.date("start") or start
        if begins < start:
            x.problem("wave-early", "start", "a wave starts before the proposal does", "Move the wave or the start.")
        waves[key] = Wave(key, begins, x.words("sites") if sites and sites.kind == "list" else None)
    return Proposal(
        name=id,
        title=c.text("title"),
        why=c.text("why"),
        start=start,
        waves=waves,
        draft=c.flag("draft"),
        edited_from=c.text("edited_from"),
        author=c.text("author"),
        evidence=c.text("evidence").strip(),
        back_on_sale={k: x.text("disposal") for k, x in c.pairs("back_on_sale")},
        settled={
            k: Settled(k, *(x.text(name) for name in ("file", "fact", "take", "why", "by", "main")))
            for k, x in c.pairs("settled")
        },
        place=c.place,
    )
