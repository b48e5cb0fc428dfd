"""The story of the demo: one book, three releases, a removal stopped, two very different counters, one attack.

Everything runs through the same actions the commands use. Times are the demo's
own, some days back, so that what is released is in force when it ends.
"""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from specctl.actions.asking import ask
from specctl.actions.case import open_case
from specctl.actions.collecting import collect
from specctl.actions.proposing import ProposeWish, propose
from specctl.actions.publishing import publish
from specctl.actions.releasing import release
from specctl.actions.reporting import impact_of
from specctl.actions.signing import SignWish, sign_in_clone, sign_report
from specctl.actions.source import Source, open_source
from specctl.change.impact import Impact
from specctl.change.statement import read_envelope
from specctl.demo.stage import Stage, set_up
from specctl.errors import Refused, Stop
from specctl.store.files import write_atomic
from specctl.store.process import git

AUTHOR, SECOND = "isla-varn", "tobin-hale"
SAFETY = "maren-oduya"
MANAGERS = {"northsands": "wren-castell", "marram": "aoife-tarn", "gull-rock": "dell-okafor"}
SCALE_SITE, SCOOP_SITE = "northsands-quay", "saltmarket"
DRINK = "blackcurrant-hojicha"
FOAM_BEFORE, FOAM_AFTER = "{regular: 30 g, large: 40 g}", "{regular: 34 g, large: 46 g}"
POWDER_BEFORE = "{use: foam-powder-ness, amount: 12 g, written: 2 scoop-amber at 6 g each, tolerance: 5 %}"
NEW_POWDER = "foam-powder-holm"
POWDER_AFTER = "{use: foam-powder-holm, amount: 12 g, tolerance: 5 %}"
CAUTION = "  - Contains lupin with this powder; say so before anybody orders."

Say = Callable[[str], None]


@dataclass
class Played:
    """What the demo made, by path."""

    stage: Stage
    report: Path
    sites: dict[str, Path] = field(default_factory=dict)
    refused: str = ""

    def as_json(self) -> dict[str, Any]:
        return {
            "demo": 1,
            "book": str(self.stage.book),
            "origin": str(self.stage.origin),
            "clone": str(self.stage.manager_clone),
            "keys": str(self.stage.root / "keys"),
            "publishing_keys": str(self.stage.publishing_keys),
            "packs": str(self.stage.packs),
            "root": str(self.stage.packs / "metadata" / "1.root.json"),
            "report": str(self.report),
            "reports": str(self.stage.reports),
            "allowed_signers": str(self.stage.book / ".git" / "specctl" / "allowed_signers"),
            "sites": {site: str(folder) for site, folder in self.sites.items()},
        }


def play(folder: Path | None, say: Say, now: datetime | None = None) -> Played:
    """Play the whole job in a fresh folder and say what happens."""
    end = now or datetime.now(timezone.utc).replace(microsecond=0)
    root = (folder or _fresh()).resolve()
    scene = _Scene(end, say)
    say(f"1. A book, throw-away keys for nine invented people, a bare origin and a second clone, in {root}")
    scene.stage = set_up(root, scene.at(12), AUTHOR, MANAGERS["northsands"])
    with open_source(scene.stage.book) as source:
        scene.source = source
        return _acts(scene)


def _acts(scene: _Scene) -> Played:
    stage = scene.stage
    opening = _opening_release(scene)
    _plain_change(scene)
    _publish(scene, 4, first=True)
    played = Played(stage, opening)
    _pull(scene, played, 4)
    played.report = _supplier_swap(scene)
    _removal_stopped(scene)
    _publish(scene, 0, first=False)
    _pull(scene, played, 0)
    played.refused = _attack(scene, played)
    _ask_the_past(scene)
    _farewell(scene, played)
    return played


class _Scene:
    """The demo's clock, stage and voice."""

    stage: Stage
    source: Source

    def __init__(self, end: datetime, say: Say) -> None:
        self.end = end
        self.say = say

    def at(self, days_ago: float) -> datetime:
        return (self.end - timedelta(days=days_ago)).replace(microsecond=0)

    def propose(self, title: str, why: str, days_ago: float, start: float, update: str | None = None) -> str:
        wish = ProposeWish(
            title, why, self.at(days_ago), start=self.at(start).date(), update=update, key=self.stage.key(AUTHOR)
        )
        return propose(self.source, wish).name

    def report(self, name: str, days_ago: float, franchise: str | None = None) -> tuple[Impact, Path]:
        """Write the report as a page and as JSON; gives the page."""
        from specctl.report.html import render_html
        from specctl.report.json import report_json
        from specctl.report.markdown import render_markdown
        from specctl.report.view import view_of

        scope = f"franchise/{franchise}" if franchise else "chain"
        impact = impact_of(open_case(self.source, name, self.at(days_ago).date()), scope)
        stem = f"{name}{'-for-' + franchise if franchise else ''}"
        view = view_of(impact, now=self.at(days_ago))
        page = self.stage.reports / f"{stem}.html"
        page.parent.mkdir(parents=True, exist_ok=True)
        write_atomic(page, render_html(view))
        write_atomic(page.with_suffix(".md"), render_markdown(view).encode("utf-8"))
        text = json.dumps(report_json(impact), ensure_ascii=False, indent=2, sort_keys=True) + "\n"
        write_atomic(page.with_suffix(".json"), text.encode("utf-8"))
        return impact, page

    def sign(self, name: str, people: tuple[str, ...], days_ago: float) -> None:
        """Each signs in the author's clone with a key of their own; one commit takes all in."""
        envelopes = []
        for person in people:
            wish = SignWish("signoff", self.at(days_ago), self.stage.key(person))
            envelopes += [(person, e) for e in sign_in_clone(self.source, name, wish)]
        collect(self.source, envelopes, self.at(days_ago), self.stage.key(people[0]))

    def sign_elsewhere(self, name: str, franchise: str, days_ago: float) -> None:
        """A manager with a clone of their own: what they sign reaches everybody through origin."""
        key = self.stage.key(MANAGERS[franchise])
        with open_source(self.stage.manager_clone) as source:
            envelopes = sign_in_clone(source, name, SignWish("signoff", self.at(days_ago), key))
            collect(source, [(franchise, e) for e in envelopes], self.at(days_ago), key)

    def sign_by_mail(self, name: str, franchises: tuple[str, ...], days_ago: float) -> None:
        """Managers with a report and a key, and no clone; the text travels by mail."""
        mails = []
        for franchise in franchises:
            _, page = self.report(name, days_ago, franchise)
            person = MANAGERS[franchise]
            wish = SignWish("signoff", self.at(days_ago), self.stage.key(person), role="franchise-manager")
            mail = sign_report(page.with_suffix(".json"), wish, person).text().replace("\n", "\r\n")
            mails.append((f"mail from {person}", read_envelope(mail)))
        collect(self.source, mails, self.at(days_ago), self.stage.key(AUTHOR))

    def release(self, name: str, days_ago: float) -> None:
        done = release(self.source, name, self.at(days_ago), self.stage.key(AUTHOR))
        self.say(f"   Released as release {done.release.number}, commit {done.commit[:12]}, tag {done.tag}.")


def _fresh() -> Path:
    """The first free folder of our name here."""
    for number in range(1, 1000):
        folder = Path("tidewick-demo" if number == 1 else f"tidewick-demo-{number}")
        if not folder.exists():
            return folder
    raise Refused("there are too many demo folders here", "Name one: specctl demo DIR")


def _opening_release(scene: _Scene) -> Path:
    scene.say("2. The opening book: proposed, signed by food safety, drinks and three franchises, released")
    name = scene.propose("Opening book", "The first approved specs of the chain.", 11, 10)
    _, page = scene.report(name, 11)
    scene.sign(name, (SAFETY, SECOND, *MANAGERS.values()), 11)
    scene.release(name, 10.5)
    return page


def _plain_change(scene: _Scene) -> None:
    scene.say("3. A plain change of amount: four grams more foam on the blackcurrant hojicha")
    _edit(scene.stage.book / "drinks" / f"{DRINK}.yaml", FOAM_BEFORE, FOAM_AFTER)
    name = scene.propose("Thicker oat foam", "One gram too thin and the foam sinks; it did at two sites.", 8, 6)
    impact, _ = scene.report(name, 8)
    for change in impact.amounts:
        if not change.choice and change.item == f"drink/{DRINK}":
            scene.say(f"   {change.item_name}, {change.size_name}: {change.line_name} {change.before} g, now {change.after} g")
    left = impact.untouched
    scene.say(f"   Not affected: {left.drinks} of {left.drinks_total} drinks, {left.sites} of {left.sites_total} sites.")
    scene.sign(name, (SECOND,), 7.5)
    scene.say("   Northsands signs in a clone of its own; Marram and Gull Rock sign a report by mail, without git")
    scene.sign_elsewhere(name, "northsands", 7.4)
    scene.sign_by_mail(name, ("marram", "gull-rock"), 7.3)
    scene.release(name, 7)


def _supplier_swap(scene: _Scene) -> Path:
    scene.say("5. A supplier's powder is swapped; the new one holds lupin")
    prep = scene.stage.book / "preps" / "salted-oat-foam.yaml"
    _edit(prep, POWDER_BEFORE, POWDER_AFTER)
    name = scene.propose("Holm foam powder", "The Ness powder is out of stock until spring.", 3.5, 1)
    impact, _ = scene.report(name, 3.5)
    for change in impact.allergens:
        if not change.choice and change.after == "contains":
            where = "on the market's list" if change.listed else "not on this market's list, still shown"
            scene.say(f"   {change.item_name}, {impact.names.markets.get(change.market, change.market)}: CONTAINS {change.name} ({where})")
    scene.say("   The food-safety lead objects: the counters are not told to say it")
    words = "Tell the counters on the card to say lupin before anybody orders."
    wish = SignWish("objection", scene.at(3.4), scene.stage.key(SAFETY), note=words)
    envelopes = sign_in_clone(scene.source, name, wish)
    collect(scene.source, [("objection", e) for e in envelopes], scene.at(3.4), scene.stage.key(SAFETY))
    scene.say("   " + _refusal(lambda: scene.release(name, 3.3)))
    scene.say("   The author corrects it: a caution on the prep's card. Earlier signatures would no longer count")
    _edit(prep, "cautions:\n", f"cautions:\n{CAUTION}\n")
    scene.propose("", "", 3, 1, update=name)
    scene.sign(name, (SAFETY, SECOND), 2.8)
    scene.sign_by_mail(name, tuple(MANAGERS), 2.6)
    _, page = scene.report(name, 2.55)
    scene.release(name, 2.5)
    return page


def _removal_stopped(scene: _Scene) -> None:
    """In a copy without origin, thrown away afterwards: the book gains no proposal by it."""
    stage = scene.stage
    scene.say("6. The author takes lupin off the new powder's declaration, in a copy of the book, and names no paper")
    copy = stage.root / "copy-without-origin"
    shutil.copytree(stage.book, copy, symlinks=True)
    git(copy, ["remote", "remove", "origin"])
    _edit(copy / "ingredients" / f"{NEW_POWDER}.yaml", "contains: [lupin]", "contains: []")
    with open_source(copy) as source:
        at = scene.at(2.4)
        wish = ProposeWish("No lupin", "The supplier rang.", at, start=scene.at(1).date(), key=stage.key(AUTHOR))
        name = propose(source, wish).name
        why = _refusal(lambda: sign_in_clone(source, name, SignWish("signoff", at, stage.key(SAFETY))))
        scene.say(f"   Signing: {why.partition(';')[0]}, and more. It needs --evidence")
        scene.say("   Releasing: " + _refusal(lambda: release(source, name, at, stage.key(AUTHOR))))
    shutil.rmtree(copy)


def _publish(scene: _Scene, days_ago: float, *, first: bool) -> None:
    done = publish(scene.source, scene.stage.packs, scene.stage.publishing_keys, scene.at(days_ago), new_keys=first)
    scene.say(f"4. Published {len(done.sites)} bundles, without a price in them" if first else "7. Published again")


def _pull(scene: _Scene, played: Played, days_ago: float) -> None:
    from specctl.site import state as states
    from specctl.site.bundle import Bundle
    from specctl.site.pages import write_pages
    from specctl.site.pull import PullWish, pull

    for site, what in ((SCALE_SITE, "has a scale"), (SCOOP_SITE, "has scoops and jugs only")):
        folder = scene.stage.site(site)
        root = scene.stage.packs / "metadata" / "1.root.json"
        pinned = None if folder.exists() else root
        done = pull(PullWish(str(scene.stage.packs), folder, site, pinned, scene.at(days_ago)))
        write_pages(folder / "pages", done.pages)
        kept = states.load(folder)
        assert kept is not None
        played.sites[site] = folder
        bundle = Bundle.parse(kept.bundle)
        foam = _foam_words(bundle, scene.at(days_ago))
        scene.say(f"   {bundle.site.name} {what}: {len(done.changed)} cards new or changed; foam: {foam}")


def _foam_words(bundle: Any, at: datetime) -> str:
    from specctl.report.words import measure_words

    standing = bundle.in_force(at).get(f"drink/{DRINK}")
    if standing is None or standing.digest is None:
        return "not in force yet"
    entry = bundle.entry(standing.digest)
    for layer in entry["sizes"][0]["layers"]:
        for line in layer["lines"]:
            if line["of"] == "prep/salted-oat-foam":
                return f"{line['grams']} g, measured as {measure_words(line)}"
    return "none"


def _attack(scene: _Scene, played: Played) -> str:
    """Somebody changes one bundle on the server; the site must notice and keep its cards."""
    from specctl.site import state as states
    from specctl.site.pull import PullWish, pull

    tampered = scene.stage.root / "packs-tampered"
    shutil.copytree(scene.stage.packs, tampered)
    for target in (tampered / "targets").rglob(f"*{SCOOP_SITE}.json"):
        target.write_bytes(target.read_bytes().replace(b'"lupin"', b'"lemon"'))
    folder = scene.stage.site(SCOOP_SITE)
    before = states.load(folder)
    scene.say("8. A tampered bundle: somebody turned lupin into lemon on the server")
    words = _refusal(lambda: pull(PullWish(str(tampered), folder, SCOOP_SITE, None, scene.at(0))))
    after = states.load(folder)
    if before is None or after is None or before.bundle != after.bundle:
        raise Stop("the tampered bundle changed the cards of a site", "This is a fault of specctl: report it.")
    scene.say("   " + words)
    return words


def _refusal(act: Callable[[], object]) -> str:
    """Runs what must be refused, and gives the refusal's words."""
    try:
        act()
    except Stop as stop:
        return f"Refused: {stop.what}"
    raise Stop("something that must be refused was not", "This is a fault of specctl: report it.")


def _ask_the_past(scene: _Scene) -> None:
    scene.say("9. Asked about the past: the blackcurrant hojicha at Saltmarket")
    for days_ago in (8, 3):
        answers, _ = ask(scene.source, SCOOP_SITE, scene.at(days_ago), DRINK)
        for answer in answers:
            signers = ", ".join(sorted({s["person"] for s in answer.signers}))
            scene.say(f"   {answer.at}: release {answer.release}, entry {(answer.entry or '')[:12]}, signed by {signers}")


def _farewell(scene: _Scene, played: Played) -> None:
    stage = scene.stage
    pages = played.sites[SCOOP_SITE] / "pages"
    scene.say("")
    scene.say("Open in a browser:")
    scene.say(f"  {played.report}")
    scene.say(f"  {pages / 'index.html'}")
    scene.say("Type next:")
    for words in (
        f"cd {stage.book}",
        "specctl proposals",
        "specctl trace foam-powder-holm",
        f"specctl in-force {SCOOP_SITE} {DRINK} --at {scene.at(8):%Y-%m-%dT%H:%M:%SZ}",
        "git verify-tag release/3",
        f"specctl card {DRINK} --state {played.sites[SCOOP_SITE]}",
    ):
        scene.say(f"  {words}")


def _edit(path: Path, before: str, after: str) -> None:
    text = path.read_text(encoding="utf-8")
    if text.count(before) != 1:
        raise Stop(f"{path.name} of the demo book is not as the demo expects", "Install specctl again.")
    write_atomic(path, text.replace(before, after).encode("utf-8"))
