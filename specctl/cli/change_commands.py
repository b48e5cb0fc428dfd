"""Commands about a change: propose, proposals, report, release."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption, KeyOption, OutOption
from specctl.errors import Usage

if TYPE_CHECKING:
    from specctl.actions.proposing import WaveWish
    from specctl.actions.source import Source
    from specctl.change.impact import Impact
    from specctl.report.pages_folder import Report


def propose(
    title: Annotated[str, typer.Argument(metavar="TITLE", help="What changes, in a few words.")] = "",
    why: Annotated[str, typer.Option("--why", help="Why, in a sentence or two.")] = "",
    start: Annotated[Optional[str], typer.Option("--start", metavar="DATE", help="First day; in a week when left out.")] = None,
    wave: Annotated[
        Optional[list[str]],
        typer.Option("--wave", metavar="KEY=DATE[:SITE,SITE]", help="A wave of sites; without sites, the rest."),
    ] = None,
    only: Annotated[Optional[list[str]], typer.Option("--only", metavar="PATH", help="Only these files or folders.")] = None,
    draft: Annotated[bool, typer.Option("--draft", help="Keep it though it does not check yet.")] = False,
    update: Annotated[Optional[str], typer.Option("--update", metavar="PROPOSAL", help="Carry on an open proposal.")] = None,
    edited_from: Annotated[
        Optional[str], typer.Option("--edited-from", metavar="COMMIT", help="The commit of main these files are from.")
    ] = None,
    evidence: Annotated[
        str, typer.Option("--evidence", help="What bears out that an allergen leaves a declaration: the paper, and what was checked.")
    ] = "",
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Turn your edits into a signed proposal, without touching anything else."""
    from specctl.actions.proposing import ProposeWish, propose as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if not update and not (title.strip() and why.strip()):
        raise Usage("a proposal needs a title and --why", 'specctl propose "Thicker oat foam" --why "It sank at two sites."')
    wish = ProposeWish(
        title=title.strip(),
        why=why.strip(),
        now=clock.now(),
        start=clock.day(start, "--start"),
        waves=_waves(wave or []),
        only=tuple(only or ()),
        draft=draft,
        update=update,
        from_commit=edited_from,
        key=key,
        evidence=evidence.strip(),
    )
    with open_source(book) as source:
        done = run(source, wish)
    if json:
        outlet.result_json(
            {
                "propose": 1,
                "proposal": done.name,
                "commit": done.commit,
                "edited_from": done.base,
                "files": list(done.files),
                "start": done.start.isoformat(),
                "draft": done.draft,
                "pushed": done.pushed,
                "problems": [p.as_json() for p in done.problems],
            }
        )
    else:
        outlet.result(done.name)
    kind = "draft" if done.draft else "proposal"
    where = "pushed to origin" if done.pushed else "kept in this repository (there is no origin)"
    begun = f"This is the {kind}" if done.again else f"Made the {kind}"
    outlet.say(f"{begun} {done.name} of {outlet.count(len(done.files), 'file')}, {where}. Start: {done.start}.")
    warnings = [p for p in done.problems if not p.is_error]
    if warnings:
        outlet.say(f"{outlet.count(len(warnings), 'warning')}; see specctl check.")
    outlet.say(f"Your files are as you left them. Next: specctl report {done.name.split('-')[0]}")
    return 0


def _waves(texts: list[str]) -> tuple[WaveWish, ...]:
    waves = tuple(_wave(text) for text in texts)
    keys = [w.key for w in waves]
    if len(set(keys)) < len(keys):
        raise Usage("two waves have the same key", "Give each --wave a key of its own.")
    if sum(not w.sites for w in waves) > 1:
        raise Usage("two waves would both take the rest of the sites", "Name the sites of all but one --wave.")
    return waves


def _wave(text: str) -> WaveWish:
    from specctl.actions.proposing import WaveWish
    from specctl.cli import clock

    key, gap, rest = text.partition("=")
    day, _, sites = rest.partition(":")
    start = clock.day(day, "--wave") if gap else None
    if start is None or not key:
        raise Usage(f"--wave {text!r} cannot be read", "Write it as pilot=2026-12-01:ferry-steps,kelp-lane")
    return WaveWish(key, start, tuple(s.strip() for s in sites.split(",") if s.strip()))


def proposals(
    fetch: Annotated[bool, typer.Option("--fetch", help="Ask origin first.")] = False,
    collisions: Annotated[
        bool, typer.Option("--collisions", help="Open proposals that would each pass and together fail.")
    ] = False,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """List proposals: what is open, and what each waits for."""
    if collisions:
        from specctl.cli.control_commands import collisions as together

        return together(book, fetch, json)
    from specctl.actions.listing import proposals as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    with open_source(book) as source:
        found = run(source, clock.now().date(), fetch=fetch)
    if json:
        outlet.result_json({"proposals": 1, "list": [p.as_json() for p in found]})
        return 0
    from specctl.report.terminal import table_text

    rows = [(p.name, p.title, p.state, p.start, p.waits_for or (f"release {p.release}" if p.release else "")) for p in found]
    if rows:
        outlet.result(table_text(("proposal", "title", "state", "start", "waits for, or became"), rows, outlet.width(), colour=outlet.colour()))
    outlet.say(f"{sum(p.state != 'released' for p in found)} open, {sum(p.state == 'released' for p in found)} released.")
    return 0


def report(
    proposal: Annotated[str, typer.Argument(metavar="PROPOSAL", help="Its number or its name.")] = "",
    franchise: Annotated[Optional[str], typer.Option("--for", metavar="FRANCHISE", help="Only this franchise's sites and prices.")] = None,
    verify: Annotated[
        Optional[Path], typer.Option("--verify", metavar="FILE", help="Check that a saved page is what the book gives, and still what is to be signed.")
    ] = None,
    form: Annotated[str, typer.Option("--as", metavar="FORM", help="terminal, html, markdown, json, csv, xlsx or pdf.")] = "terminal",
    language: Annotated[
        str, typer.Option("--language", metavar="CODE", help="The language of its words, as de; else the market's, else English.")
    ] = "",
    json: JsonOption = False,
    out: OutOption = None,
    book: BookOption = HERE,
) -> int:
    """Show what a proposal does, merged onto today's main, for every site it touches."""
    if verify is not None:
        return _verify(verify, book, json=json)
    if not proposal:
        raise Usage("which proposal?", "Name its number: specctl report 4")
    from specctl.actions.case import open_case
    from specctl.actions.reporting import impact_of, languages_at
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet, report_forms
    from specctl.cli.report_overflow import drawn_where_it_overflows
    from specctl.report.catalogue import LANGUAGE
    from specctl.report.tongue import chosen, speaking

    chosen(language, ())
    form = report_forms.form_of(form, json=json, to_file=out is not None)
    outlet.progress("Comparing ...")
    scope = f"franchise/{franchise}" if franchise else "chain"
    day = clock.now().date()
    with open_source(book) as source, drawn_where_it_overflows(source, proposal, day, wanted=form != "json"):
        _ask_origin(source)
        if form == "html":
            from specctl.cli.report_kept import Asked, Kept, pages_for

            def make() -> Kept:
                case = open_case(source, proposal, day)
                impact = impact_of(case, scope)
                with speaking(chosen(language, languages_at(case, scope))):
                    return Kept(report_forms.html_pages(impact, day), impact.digest)

            kept = pages_for(source, Asked(proposal, scope, day, chosen(language, ()) if language else ""), make)
            _give_html(kept.pages, out)
            digest = kept.effect
        else:
            case = open_case(source, proposal, day)
            impact = impact_of(case, scope)
            with speaking(LANGUAGE if form == "json" else chosen(language, languages_at(case, scope))):
                _give(impact, form, out)
            digest = impact.digest
    outlet.say(f"Effect of {scope}: {digest}")
    return 0


def _verify(page: Path, book: Path, *, json: bool) -> int:
    from specctl.cli import clock, outlet
    from specctl.cli.report_verify import verify

    found = verify(page, book, clock.now().date(), _ask_origin)
    if json:
        outlet.result_json(found.as_json())
    else:
        outlet.result("\n".join(found.words))
    return 0 if found.holds else 1


def _give(impact: Impact, form: str, out: Path | None) -> None:
    """To the screen, a file, or for CSV a folder."""
    from specctl.cli import clock, outlet, report_forms

    day = clock.now().date()
    if out is None and form == "json":
        from specctl.report.json import report_json

        outlet.result_json(report_json(impact))
        return
    if form == "terminal":
        data = _screen(impact).encode("utf-8")
    elif form != "csv":
        data = report_forms.page_bytes(impact, form, day)
    if out is None:
        outlet.result(data.decode("utf-8"))
        return
    from specctl.store.files import write_atomic

    if form == "csv":
        files = report_forms.table_files(impact, day)
        for name, table in files.items():
            write_atomic(out / name, table)
        outlet.say(f"Wrote {outlet.count(len(files), 'table')} into {out}.")
        return
    write_atomic(out, data)
    outlet.say(f"Wrote {out}.")


def _give_html(report: Report, out: Path | None) -> None:
    """One file; a report of several pages needs a folder beside it."""
    from specctl.cli import outlet

    if out is None:
        if report.others:
            raise Usage(f"this report has {len(report.others)} pages", "Name a file for the first, with --out; the others go beside it.")
        outlet.result(report.first.decode("utf-8"))
        return
    from specctl.actions.report_files import write_report

    write_report(out, report.first, report.folder, report.others)
    outlet.say(f"Wrote {out}.")
    if report.others:
        outlet.say(f"It has {len(report.others)} pages, in the folder {report.folder} beside it: pass that folder on whole.")


def _screen(impact: Impact) -> str:
    from specctl.cli import clock, outlet
    from specctl.report.terminal import render_terminal
    from specctl.report.view import view_of

    return render_terminal(view_of(impact, now=clock.now()), outlet.width(), outlet.colour())


def _ask_origin(source: Source) -> None:
    """Bring in what origin has; without an answer the report is of main as it was last seen, and says so."""
    from specctl.cli import outlet
    from specctl.errors import Unreachable

    repository = source.repository
    if repository is None or not repository.has_origin():
        return
    try:
        repository.fetch()
    except Unreachable:
        outlet.say("Origin does not answer: this is on main as it was last seen here.")


def release(
    proposal: Annotated[str, typer.Argument(metavar="PROPOSAL", help="Its number or its name.")],
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Release an approved proposal: one signed commit on main, and a signed tag."""
    from specctl.actions.releasing import release as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    with open_source(book) as source:
        done = run(source, proposal, clock.now(), key)
    record = done.release
    if json:
        outlet.result_json({**record.as_json(), "commit": done.commit, "tag": done.tag, "in_the_way": list(done.in_the_way)})
    else:
        outlet.result(done.tag)
    outlet.say(f"Released {record.proposal} as release {record.number}, commit {done.commit[:12]}.")
    for wave in record.waves:
        first = min((record.starts[s] for s in wave.sites if s in record.starts), default="")
        outlet.say(f"Wave {wave.key}: {outlet.count(len(wave.sites), 'site')}, from {first}.")
    if done.in_the_way:
        outlet.say(
            "Your edits of " + ", ".join(done.in_the_way) + " kept these files from being brought along; they are untouched."
        )
    outlet.say("Next: specctl publish FOLDER --keys DIR")
    return 0
