"""Commands about what people say of a change: sign, object, collect."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from specctl.cli.options import HERE, BookOption, JsonOption, KeyOption, OutOption
from specctl.errors import Stop, Usage


def sign(
    what: Annotated[str, typer.Argument(metavar="PROPOSAL|REPORT.json", help="A proposal in a clone, or a report's JSON.")],
    role: Annotated[Optional[str], typer.Option("--role", help="As what you sign, where it is not clear.")] = None,
    scope: Annotated[Optional[str], typer.Option("--scope", help="chain, or franchise/NAME.")] = None,
    note: Annotated[str, typer.Option("--note", help="Words to keep with it.")] = "",
    person: Annotated[str, typer.Option("--person", help="Your id, when you sign a report without a clone.")] = "",
    key: KeyOption = None,
    out: OutOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Sign off a proposal, in a clone or on a report alone."""
    return _state("signoff", what, (role, scope, note, person), key, (out, book, json))


def object_(
    what: Annotated[str, typer.Argument(metavar="PROPOSAL|REPORT.json", help="A proposal in a clone, or a report's JSON.")],
    note: Annotated[str, typer.Option("--note", help="What is wrong; it is shown to everybody.")] = "",
    role: Annotated[Optional[str], typer.Option("--role", help="As what you object.")] = None,
    scope: Annotated[Optional[str], typer.Option("--scope", help="chain, or franchise/NAME.")] = None,
    person: Annotated[str, typer.Option("--person", help="Your id, when you object to a report without a clone.")] = "",
    key: KeyOption = None,
    out: OutOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Object to a proposal; it cannot be released until you sign it off."""
    if not note.strip():
        raise Usage("an objection needs its reason", 'Say it with --note "...".')
    return _state("objection", what, (role, scope, note.strip(), person), key, (out, book, json))


def _state(
    purpose: str,
    what: str,
    said: tuple[Optional[str], Optional[str], str, str],
    key: Optional[Path],
    to: tuple[Optional[Path], Path, bool],
) -> int:
    from specctl.actions import signing
    from specctl.actions.collecting import collect as take_in
    from specctl.actions.source import open_source
    from specctl.cli import clock, outlet

    role, scope, note, person = said
    out, book, json = to
    wish = signing.SignWish(purpose, clock.now(), key, role, scope, note)
    commit = None
    if what.endswith(".json"):
        if not person:
            raise Usage("who signs this report?", "Say your id from signatories.yaml with --person.")
        envelopes = (signing.sign_report(Path(what), wish, person),)
        out = out or Path(f"{envelopes[0].statement.proposal}-{person}.statement")
    else:
        with open_source(book) as source:
            envelopes = signing.sign_in_clone(source, what, wish)
            if out is None:
                done = take_in(source, [(e.digest[:12], e) for e in envelopes], clock.now(), key)
                if done.refused:
                    raise Stop(done.refused[0].why, done.refused[0].todo)
                commit = done.commit
    if out is not None:
        from specctl.store.files import write_atomic

        write_atomic(out, "".join(e.text() for e in envelopes).encode("ascii"))
        outlet.say(f"Wrote {out}. Send it to whoever collects; it may travel by mail.")
    if json:
        outlet.result_json(
            {
                "statements": [{"digest": e.digest, **e.statement.as_json()} for e in envelopes],
                "commit": commit,
                "file": str(out) if out else None,
            }
        )
    for e in envelopes:
        s = e.statement
        outlet.say(f"{s.purpose} by {s.person} as {s.role} for {s.scope}, effect {s.effect}")
    if commit:
        outlet.say(f"On main since commit {commit[:12]}.")
    return 0


def collect(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Statement files, or mails that hold one; - reads standard input.")],
    key: KeyOption = None,
    book: BookOption = HERE,
    json: JsonOption = False,
) -> int:
    """Take signed statements into main."""
    from specctl.actions.collecting import collect as run
    from specctl.actions.source import open_source
    from specctl.change.statement import read_envelopes
    from specctl.cli import clock, outlet

    envelopes = []
    bad: list[tuple[str, Stop]] = []
    for file in files:
        try:
            text = _text_of(file)
            envelopes += [(file.name, e) for e in read_envelopes(text)]
        except Stop as stop:
            bad.append((file.name, stop))
    with open_source(book) as source:
        done = run(source, envelopes, clock.now(), key)
    refused = [(r.name, r.why, r.todo) for r in done.refused] + [(name, stop.what, stop.todo) for name, stop in bad]
    if json:
        outlet.result_json(
            {
                "collect": 1,
                "taken": [e.digest for e in done.taken],
                "known": [e.digest for e in done.known],
                "refused": [{"file": n, "what": w, "todo": t} for n, w, t in refused],
                "commit": done.commit,
            }
        )
    for e in done.taken:
        s = e.statement
        outlet.say(f"Taken in: {s.purpose} by {s.person} as {s.role} for {s.scope} on {s.proposal}")
    for e in done.known:
        outlet.say(f"Already on main: {e.statement.purpose} by {e.statement.person} on {e.statement.proposal}")
    for name, what, todo in refused:
        outlet.say(f"Not taken, {name}: {what}. {todo}")
    return 1 if refused else 0


def _text_of(file: Path) -> str:
    import sys

    try:
        data = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    except OSError:
        raise Stop(f"{file.name} cannot be read", "Check its name.") from None
    return data.decode("utf-8", "replace")
