"""Commands about what sites are shown: publish, pull, card, in-force."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption
from specctl.errors import NotFound, Usage

if TYPE_CHECKING:
    from datetime import datetime

    from specctl.actions.ledger import Ledger
    from specctl.actions.source import Source
    from specctl.site.state import Kept


def publish(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The folder sites pull from.")],
    keys: Annotated[Path, typer.Option("--keys", metavar="DIR", help="The publishing keys; never inside a book.")],
    new: Annotated[bool, typer.Option("--new", help="Begin a folder: make keys and its first root.")] = False,
    refresh: Annotated[bool, typer.Option("--refresh", help="Renew the timestamp alone; needs no book.")] = False,
    renew_root: Annotated[bool, typer.Option("--renew-root", help="Renew the root for a year; needs two root keys.")] = False,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Write one bundle per site into a plain folder, signed."""
    from specctl.actions import publishing
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if sum((new, refresh, renew_root)) > 1:
        raise Usage("--new, --refresh and --renew-root are three things", "Do one at a time.")
    if refresh or renew_root:
        published = (publishing.renew_root if renew_root else publishing.refresh)(folder, keys, clock.now())
        sites: tuple[str, ...] = ()
    else:
        outlet.progress("Making bundles ...")
        with open_source(book) as source:
            done = publishing.publish(source, folder, keys, clock.now(), new_keys=new)
        published, sites = done.published, done.sites
    roles = {
        name: {"version": role.version, "expires": role.expires.strftime("%Y-%m-%dT%H:%M:%SZ")}
        for name in ("root", "targets", "snapshot", "timestamp")
        if (role := getattr(published, name)) is not None
    }
    if json:
        outlet.result_json({"publish": 1, "folder": str(folder), "sites": list(sites), "roles": roles, "warnings": list(published.warnings)})
    for warning in published.warnings:
        outlet.say(f"Warning: {warning}")
    what = "Renewed the root" if renew_root else "Renewed the timestamp" if refresh else f"Published {len(sites)} bundles"
    until = roles.get("timestamp", {}).get("expires", "")
    outlet.say(f"{what} in {folder}; sites may trust it until {until}. Renew with: specctl publish {folder} --keys {keys} --refresh")
    if new:
        outlet.say(f"Give every site {folder / 'metadata' / '1.root.json'} by hand, once. Keep the root keys offline.")
    return 0


def pull(
    source: Annotated[str, typer.Argument(metavar="ADDRESS", help="The published folder, or its http(s) address.")],
    site: Annotated[str, typer.Option("--site", help="This site's id.")],
    state: Annotated[Optional[Path], typer.Option("--state", metavar="DIR", help="Where this site keeps its cards.")] = None,
    root: Annotated[Optional[Path], typer.Option("--root", metavar="FILE", help="The root file from head office; the first time only.")] = None,
    json: JsonOption = False,
) -> int:
    """Fetch, verify and install this site's approved cards, and make its pages."""
    from specctl.cli import clock, outlet
    from specctl.errors import Stop
    from specctl.site import state as states
    from specctl.site.pages import write_pages
    from specctl.site.pull import PullWish, pull as run

    where = state or _state_folder(site)
    now = clock.now()
    try:
        done = run(PullWish(source, where, site, root, now))
    except Stop:
        # The old cards stay; their pages are made again so that they show their age.
        kept = states.load(where) if where.is_dir() else None
        if kept is not None:
            _make_pages(kept, where, now)
            outlet.say(f"The last verified cards: {where / 'pages' / 'index.html'}")
        raise
    write_pages(where / "pages", done.pages)
    changed = [c for c in done.changed]
    if json:
        outlet.result_json(
            {
                "pull": 1,
                "site": done.site,
                "book": done.book,
                "main": done.main,
                "bundle": done.bundle,
                "confirmed": done.confirmed.strftime("%Y-%m-%dT%H:%M:%SZ"),
                "changed": [c.item for c in changed],
                "first": done.first,
                # null: not checked here, for the root in use names nobody who may.
                "approved": None
                if done.approved is None
                else [
                    {"release": a.number, "proposal": a.proposal, "by": [{"person": p, "role": r, "scope": s} for p, r, s in a.by]}
                    for a in done.approvals
                ],
                "pages": str(where / "pages" / "index.html"),
                "warnings": list(done.warnings),
            }
        )
    else:
        outlet.result(str(where / "pages" / "index.html"))
    for warning in done.warnings:
        outlet.say(f"Warning: {warning}")
    news = "the first cards of this site" if done.first else f"{len(changed)} cards changed"
    outlet.say(f"{done.site}: verified and confirmed at {done.confirmed:%Y-%m-%d %H:%M} UTC; {news}.")
    if done.approved is not None:
        outlet.say(f"Approved by the people the policy names: checked here, {done.approved} releases.")
    else:
        outlet.say("Approval was not checked here: the root in use is an old one.")
    return 0


def _state_folder(site: str) -> Path:
    import os

    base = os.environ.get("XDG_STATE_HOME") or str(Path.home() / ".local" / "state")
    return Path(base) / "specctl" / site


def _make_pages(kept: Kept, where: Path, now: datetime) -> None:
    from specctl.site.pages import make_pages, write_pages
    from specctl.site.pages_masthead import Times

    times = Times(now=now, confirmed=kept.confirmed.confirmed, since=kept.confirmed.before_confirmed, approved=kept.confirmed.trust is not None)
    write_pages(where / "pages", make_pages(kept.bundle, times))


def card(
    item: Annotated[Optional[str], typer.Argument(metavar="DRINK", help="A drink or prep; all when left out.")] = None,
    site: Annotated[Optional[str], typer.Option("--site", help="This site's id.")] = None,
    state: Annotated[Optional[Path], typer.Option("--state", metavar="DIR", help="Where this site keeps its cards.")] = None,
    book: Annotated[Optional[Path], typer.Option("--book", metavar="DIR", help="Read the released card from a book instead.")] = None,
    json: JsonOption = False,
) -> int:
    """Show the cards in force at a site, from what it last verified; works offline."""
    from specctl.cli import clock, outlet
    from specctl.site.pages_text import card_text

    if book is None and site is None and state is None:
        raise Usage("which site's cards?", "Name it with --site, or its folder with --state.")
    now = clock.now()
    if book is not None:
        if site is None:
            raise Usage("which site's cards?", "Name it with --site.")
        found, head = _from_book(book, site, item, now)
    else:
        found, head = _from_state((state or _state_folder(site or ""), site), item, now)
    if json:
        outlet.result_json({"card": 1, "standing": head, "entries": [entry for entry, _ in found]})
        return 0
    outlet.say(head)
    for entry, standing in found:
        outlet.result(card_text(entry, today=now.date(), standing=standing, width=outlet.width()))
    return 0


def _wanted(item: Optional[str], name: str) -> bool:
    return item is None or item in (name, name.partition("/")[2])


def _from_state(at: tuple[Path, Optional[str]], item: Optional[str], now: datetime) -> tuple[list[tuple[dict[str, Any], str]], str]:
    from specctl.site import state as states
    from specctl.site.bundle import Bundle

    state, site = at
    kept = states.load(state) if state.is_dir() else None
    if kept is None:
        raise NotFound(f"{state} holds no verified cards yet", "Pull first: specctl pull ADDRESS --site ID --root FILE")
    bundle = Bundle.parse(kept.bundle)
    if site is not None and bundle.site.id != site:
        raise Usage(f"{state} holds the cards of {bundle.site.id}, not of {site}", "Name the right site, or its own folder.")
    rows = [(n, s) for n, s in sorted(bundle.in_force(now).items()) if s.digest is not None and _wanted(item, n)]
    if item is not None and not rows:
        raise NotFound(f"{bundle.site.name} has no card of {item} in force", "See all with: specctl card")
    confirmed = kept.confirmed.confirmed
    head = f"{bundle.site.name}: confirmed {confirmed:%Y-%m-%d %H:%M} UTC"
    if (now - confirmed).total_seconds() > 48 * 3600:
        head = f"{bundle.site.name}: NOT CONFIRMED since {confirmed:%Y-%m-%d %H:%M} UTC. Ask before answering about allergens."
    # What is off sale is said before any card.
    for one in bundle.off_sale(now):
        head = f"OFF SALE: {one.about}{f', lot {one.lot} or unreadable' if one.lot else ''}: {one.why} {head}"
    found = []
    for held in bundle.standing_in(now):
        head = f"DEVIATION until {held.ends:%Y-%m-%d %H:%M} UTC: {held.name} in place of {held.place_of}, checked: {held.checked} {head}"
    as_told = bundle.told(now)
    for name, standing in rows:
        found.append((dict(as_told[name]), f"Release {standing.release}, in force since {standing.since:%Y-%m-%d %H:%M} UTC. {head}"))
    return found, head


def _from_book(book: Path, site: str, item: Optional[str], now: datetime) -> tuple[list[tuple[dict[str, Any], str]], str]:
    from specctl.actions.asking import ask
    from specctl.actions.source import open_source

    with open_source(book) as source:
        answers, ledger = ask(source, site, now, item)
        deviations, as_told = _deviating(source, ledger, site, now) if ledger.under("statements/deviations/") else ([], {})
        said = "".join(f"DEVIATION until {d['ends']}: {d['name']} in place of {d['of']}. " for d in deviations)
        found = [
            (as_told.get(a.item) or ledger.entry(a.entry), f"{said}Release {a.release}, in force since {a.since}. From the book, not from this site's own cards.")
            for a in answers
            if a.entry
        ]
    return found, f"{site}: {len(found)} cards in force by the book"


def _deviating(source: Source, ledger: Ledger, site: str, moment: datetime) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """What stood in for what at a site, and every entry there as it was told meanwhile."""
    from specctl.actions.asking import ask
    from specctl.actions.deviating import in_force_at
    from specctl.site.deviations import stand_ins, told

    rows = in_force_at(ledger, site, moment)
    answers, _ = ask(source, site, moment)
    return rows, told({a.item: ledger.entry(a.entry) for a in answers if a.entry}, stand_ins(rows))


def in_force(
    site: Annotated[str, typer.Argument(metavar="SITE", help="The site's id.")],
    item: Annotated[Optional[str], typer.Argument(metavar="DRINK", help="One drink or prep.")] = None,
    at: Annotated[Optional[str], typer.Option("--at", metavar="TIME", help="2026-11-25T08:30:00Z; now when left out.")] = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Answer what a site was shown at a minute: release, entry, signers, reason."""
    from specctl.actions.asking import ask
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    moment = clock.moment(at, "--at") if at else clock.now()
    with open_source(book) as source:
        answers, ledger = ask(source, site, moment, item)
        entries = {a.entry: ledger.entry(a.entry) for a in answers if a.entry and item is not None}
        off = []
        if ledger.under("statements/off-sale/"):  # most books never took anything off sale
            from specctl.actions.offsale import off_at

            off = [one for one in off_at(ledger, site, moment) if item is None or {i["item"] for i in one["items"]} & {a.item for a in answers}]
        deviations: list[dict[str, Any]] = []
        as_told: dict[str, Any] = {a.item: entries[a.entry] for a in answers if a.entry and a.entry in entries}
        if ledger.under("statements/deviations/"):
            deviations, all_told = _deviating(source, ledger, site, moment)
            as_told = {name: all_told[name] for name in as_told}
    for d in deviations:
        reaching = ", ".join(name for _, name, _ in d["items"]) or "no card here"
        outlet.say(visible(f"DEVIATION then: {d['name']} in place of {d['of']}, until {d['ends']}, by {d['person']}. Checked: {d['checked']}. In {reaching}."))
    for one in off:
        outlet.say(f"OFF SALE then: {one['about']}{', lot ' + one['lot'] if one['lot'] else ''}: {one['why']}")
        outlet.say("It reaches: " + (", ".join(i["name"] for i in one["items"]) or "no card here"))
    if json:
        outlet.result_json({"in_force": 1, "answers": [{**a.as_json(), "content": entries.get(a.entry or "")} for a in answers], "off_sale": off, "deviations": deviations})
        return 0
    names = ("item", "release", "since", "entry", "signed by", "why")
    rows = [
        (
            a.item,
            f"release {a.release}",
            a.since,
            a.entry[:16] if a.entry else "no longer served",
            ", ".join(f"{s['person']} ({s['role']})" for s in a.signers),
            a.why,
        )
        for a in answers
    ]
    if item is not None:  # one answer, asked for in a hurry: no table and no library to draw it
        from specctl.report.plain import pairs_text

        for row in rows:
            outlet.result(pairs_text(zip(names, row, strict=True), outlet.width()))
    elif rows:
        from specctl.report.terminal import table_text

        outlet.result(table_text(names, rows, outlet.width(), colour=outlet.colour()))
    if entries:
        from specctl.site.pages_text import card_text

        for a in answers:
            if a.entry:
                standing = f"Release {a.release}, in force at {site} since {a.since}."
                outlet.result(card_text(as_told[a.item], today=moment.date(), standing=standing, width=outlet.width()))
    outlet.say(f"{len(answers)} items in force at {site} at {moment:%Y-%m-%dT%H:%M:%SZ}. What staff then did is not known to this tool.")
    return 0
