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
