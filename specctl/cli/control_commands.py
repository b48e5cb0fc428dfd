"""Commands about change control: audit, policy, settle, reinstate, off-sale, why, doctor."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption, KeyOption
from specctl.errors import Usage


def audit(
    afresh: Annotated[bool, typer.Option("--afresh", help="Judge every commit again, whatever was kept.")] = False,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Replay main from its first commit and name the first thing that does not hold."""
    from specctl.actions.auditing import audit as run
    from specctl.actions.source import open_source
    from specctl.change.audit import WORDS
    from specctl.cli import outlet

    outlet.progress("Replaying main ...")
    with open_source(book) as source:
        found = run(source, afresh=afresh)
    covered = found.covered
    said = (
        f"{outlet.count(covered.commits, 'commit')} of main hold, with {outlet.count(covered.releases, 'release')}, "
        f"{outlet.count(covered.statements, 'statement')} and {outlet.count(covered.notices, 'notice')}"
        + (f"; {covered.kept} of them judged before." if covered.kept else ".")
    )
    if json:
        outlet.result_json(found.as_json())
    elif found.first is None:
        outlet.result("Everything holds.")
    else:
        first = found.first
        outlet.say(f"Does not hold: {WORDS[first.code]}.")
        from specctl.report.clean import visible

        outlet.result(visible(f"{first.commit or 'references'}: {first.what}" + (f" (by {first.who})" if first.who else "")))
    outlet.say(said)
    for note in found.notes:
        outlet.say(f"Note: {note}")
    outlet.say(f"This rests on the first commit {found.root}; compare it with the one you were given, not by git.")
    return 1 if found.first else 0


def policy(
    proposal: Annotated[str, typer.Argument(metavar="PROPOSAL", help="Its number or its name.")] = "",
    explain: Annotated[str, typer.Option("--explain", metavar="PROPOSAL", help="The same, named by an option.")] = "",
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Say which rule asks for whom on a proposal, which statements count, and which do not."""
    from specctl.actions.explaining import explain as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if bool(proposal) == bool(explain):
        raise Usage("policy speaks of one proposal", "specctl policy NUMBER")
    with open_source(book) as source:
        found = run(source, proposal or explain, clock.now().date())
    if json:
        outlet.result_json(found.as_json())
    else:
        from specctl.report.policy_words import policy_text

        outlet.result(policy_text(found.as_json()))
    missing = sum(not n.met_by for n in found.needs)
    outlet.say(f"{found.proposal} is {found.state}: {outlet.count(len(found.needs), 'signature')} asked for, {missing} missing.")
    return 0


def collisions(book: Path, fetch: bool, json: bool) -> int:
    """Pairs of open proposals that would each pass and together fail; an option of `proposals`."""
    from specctl.actions.colliding import collisions as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    outlet.progress("Merging open proposals, pair by pair ...")
    with open_source(book) as source:
        if fetch and source.in_git().has_origin():
            source.in_git().fetch()
        found = run(source, clock.now().date())
    if json:
        outlet.result_json(found.as_json())
    else:
        for c in found.found:
            outlet.result(visible(f"{c.one} and {c.two}: {c.what}"))
    for name, why in found.left_out:
        outlet.say(f"Not compared: {name}, for {why}.")
    outlet.say(f"{outlet.count(len(found.compared), 'open proposal')} compared, {outlet.count(len(found.found), 'collision')}.")
    return 1 if found.found else 0


def settle(
    proposal: Annotated[str, typer.Argument(metavar="PROPOSAL", help="Its number or its name.")],
    paths: Annotated[
        Optional[list[str]],
        typer.Argument(
            metavar="PATH...",
            help="A file in conflict, or FILE:FACT; =main or =proposal behind one chooses for it alone. Without any, the conflicts are listed.",
        ),
    ] = None,
    take: Annotated[Optional[str], typer.Option("--take", metavar="SIDE", help="main or proposal.")] = None,
    why: Annotated[str, typer.Option("--why", help="Why this side; it stays with the proposal.")] = "",
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Settle a conflict of a proposal with main, with a reason that stays."""
    from specctl.actions.settling import SettleWish, settle as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if not paths:
        return _disputed(proposal, book, json)
    if take not in (None, "main", "proposal"):
        raise Usage(f"there is no side {take!r}", "Sides: main, proposal.")
    if not why.strip():
        raise Usage("nothing is settled without a reason", 'Say it with --why "...".')
    with open_source(book) as source:
        done = run(source, proposal, SettleWish(tuple(paths), take, why, clock.now(), key))
    if json:
        outlet.result_json(done.as_json())
    for _, _, side, what in done.choices:
        outlet.say(f"Taken from {'main' if side == 'main' else 'the proposal'}: {what}")
    if done.allergens:
        outlet.say("An allergen fact was among them: food-safety is asked to sign, whichever side was taken.")
    outlet.say(f"{done.proposal} now follows main at {done.main[:12]}. Signatures over its earlier effect no longer count.")
    outlet.say(f"Next: specctl report {done.proposal.split('-')[0]}")
    return 0


def _disputed(proposal: str, book: Path, json: bool) -> int:
    """The conflicts of a proposal, listed; nothing is changed."""
    from specctl.actions.settling import disputed
    from specctl.actions.source import open_source
    from specctl.change.settlement import fact_words
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    with open_source(book) as source:
        found = disputed(source, proposal, clock.now().date())
    if json:
        outlet.result_json(found)
    else:
        for c in found["conflicts"]:
            fact = fact_words(tuple(c["path"]))
            outlet.result(visible(f"{c['file']}{f':{fact}' if fact else ''}: {c['words']}"))
    outlet.say(f"{outlet.count(len(found['conflicts']), 'conflict')} with main.")
    return 1 if found["conflicts"] else 0


def reinstate(
    release: Annotated[int, typer.Argument(metavar="RELEASE", min=1, help="The number of the release to go back to.")],
    why: Annotated[str, typer.Option("--why", help="Why, in a sentence or two.")] = "",
    start: Annotated[Optional[str], typer.Option("--start", metavar="DATE", help="First day; in a week when left out.")] = None,
    draft: Annotated[bool, typer.Option("--draft", help="Keep it though it does not check yet.")] = False,
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Propose what a release changed, as it was in that release."""
    from specctl.actions.reinstating import ReinstateWish, reinstate as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    if not why.strip():
        raise Usage("going back needs its reason", 'Say it with --why "...".')
    wish = ReinstateWish(release, why.strip(), clock.now(), clock.day(start, "--start"), draft, key)
    with open_source(book) as source:
        done = run(source, wish)
    if json:
        outlet.result_json(
            {
                "reinstate": 1,
                "release": release,
                "proposal": done.name,
                "commit": done.commit,
                "files": list(done.files),
                "start": done.start.isoformat(),
            }
        )
    else:
        outlet.result(done.name)
    for path in done.files:
        outlet.say(f"As in release {release}: {path}")
    outlet.say(f"Nothing is undone yet: this is proposal {done.name}, to be signed and released like any other.")
    outlet.say(f"Next: specctl report {done.name.split('-')[0]}")
    return 0


def off_sale(
    kind: Annotated[str, typer.Argument(metavar="KIND", help="ingredient, lot, prep or drink.")] = "",
    id: Annotated[str, typer.Argument(metavar="ID", help="Its id; of a lot, the ingredient's.")] = "",
    why: Annotated[str, typer.Option("--why", help="Why; it is shown at every counter.")] = "",
    lot: Annotated[str, typer.Option("--lot", help="One lot, as it stands on the pack.")] = "",
    back: Annotated[Optional[str], typer.Option("--back", metavar="NOTICE", help="Propose to lift a notice, by its digest.")] = None,
    disposal: Annotated[str, typer.Option("--disposal", help="With --back: what became of the goods.")] = "",
    start: Annotated[Optional[str], typer.Option("--start", metavar="DATE", help="With --back: first day on sale again.")] = None,
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Take an ingredient, lot, prep or drink off sale at once, at every site's next pull."""
    from specctl.actions.offsale import OffSaleWish, back_on_sale, off_sale as run
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    if back is not None:
        with open_source(book) as source:
            made = back_on_sale(source, back, disposal, why.strip(), clock.now(), clock.day(start, "--start"), key)
        outlet.result_json({"proposal": made.name, "commit": made.commit}) if json else outlet.result(made.name)
        outlet.say("It is off sale until this proposal is signed by everybody it asks for and released.")
        return 0
    if not kind or not id or not why.strip():
        raise Usage("off-sale needs what, and --why", 'specctl off-sale ingredient hazelnut-paste --why "Recalled by the supplier."')
    with open_source(book) as source:
        done = run(source, OffSaleWish(kind, id, why, clock.now(), lot, key))
    if json:
        outlet.result_json(done.as_json())
    else:
        for site, items in done.reach.items():
            names = ", ".join(r.name + (f" (only with {', '.join(r.choices)})" if r.choices else "") for r in items)
            outlet.result(visible(f"{site}: {names or 'no card uses it'}"))
    outlet.say(f"Off sale, by notice {done.posted.digest[:12]} on main. Sites hear of it at their next pull: publish now.")
    outlet.say(f"Back on sale only by a proposal: specctl off-sale --back {done.posted.digest[:12]} --disposal ...")
    return 0


def why(
    path: Annotated[str, typer.Argument(metavar="PATH", help="FILE, FILE:FACT or FILE:LINE, as main has it.")],
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Tell who changed a line of a spec, when, by which proposal, and what was signed."""
    from specctl.actions.recalling import why as run
    from specctl.actions.source import open_source
    from specctl.cli import outlet

    with open_source(book) as source:
        told = run(source, path)
    if json:
        outlet.result_json(told.as_json())
    else:
        from specctl.report.policy_words import why_text

        outlet.result(why_text(told.as_json()))
    return 0


def doctor(
    mend: Annotated[bool, typer.Option("--mend", help="Do what is safe: stale locks, files behind, missing tags.")] = False,
    patience: Annotated[float, typer.Option("--patience", metavar="SECONDS", min=1, max=3600, help="How long it may take.")] = 10,
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Find damage of a book's repository, and say what to do about it."""
    from specctl.actions.doctoring import doctor as run
    from specctl.cli import clock, outlet
    from specctl.report.clean import visible

    outlet.progress("Looking it over ...")
    found = run(book, clock.now(), patience=patience, mend=mend, key=key)
    if json:
        outlet.result_json({"doctor": 1, "sound": found.sound, "faults": [f.as_json() for f in found.faults], "mended": list(found.mended)})
    else:
        for fault in found.faults:
            outlet.result(visible(f"{fault.kind}: {fault.where}: {fault.what}".replace(": : ", ": ")) + "\n  " + visible(fault.todo))
    for done in found.mended:
        outlet.say(f"Mended: {done}.")
    outlet.say("No damage was found." if found.sound else f"{outlet.count(sum(f.kind != 'note' for f in found.faults), 'fault')} found.")
    return 0 if found.sound else 1


def merge_driver(
    base: Annotated[Path, typer.Argument(metavar="BASE", help="The common version, from git.")],
    ours: Annotated[Path, typer.Argument(metavar="OURS", help="Our version; the result is written here.")],
    theirs: Annotated[Path, typer.Argument(metavar="THEIRS", help="Their version.")],
    path: Annotated[str, typer.Argument(metavar="PATH", help="The file's path in the book.")],
) -> int:
    """Join three versions of a record by meaning; git runs this."""
    from specctl.actions.drivers import join_files
    from specctl.cli import outlet

    left = join_files(base, ours, theirs, path)
    for words in left:
        outlet.say(f"{path}: {words}")
    return 1 if left else 0


def fact_text(file: Annotated[Path, typer.Argument(metavar="FILE", help="A version of a record, from git.")]) -> int:
    """Write a record as one fact a line; git runs this to compare."""
    from specctl.actions.drivers import fact_text as run
    from specctl.cli import outlet

    try:
        data = file.read_bytes()
    except OSError:
        raise Usage(f"{file.name} cannot be read") from None
    outlet.result(run(data))
    return 0
