"""The verb `why`: who changed a line of a spec, when, by which proposal, and what was signed for it.

Answers from main's releases alone, newest first, by meaning: a file laid out
otherwise is no change. The first commit of a book answers for what was there
from the beginning.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from specctl.actions.case import Case, edited_from
from specctl.actions.ledger import STATEMENTS, Ledger, signers_of
from specctl.actions.merging import file_changes
from specctl.actions.source import Source
from specctl.actions.verifying import commits_of, verified_releases
from specctl.change.facts import MAP, ORDER, SET, Change
from specctl.change.record import Release
from specctl.change.settlement import fact_words
from specctl.change.statement import read_envelope
from specctl.codec.load import read_file
from specctl.codec.node import Node
from specctl.codec.paths import record_at
from specctl.errors import NotFound, Refused, Stop
from specctl.store.repository import Repository
from specctl.store.signature import commit_signer


@dataclass(frozen=True, slots=True)
class Reason:
    """One release (0: the beginning) that moved the line: from what to what, why, by whom, signed over what."""

    release: int
    commit: str
    when: str
    proposal: str
    title: str
    why: str
    authors: tuple[str, ...]
    released_by: str
    signed: tuple[tuple[str, str, str, str], ...]
    effects: tuple[tuple[str, str], ...]
    changes: tuple[tuple[str, str, str], ...]
    settled: tuple[tuple[str, str, str], ...]

    def as_json(self) -> dict[str, Any]:
        plain = {n: getattr(self, n) for n in ("release", "commit", "when", "proposal", "title", "why", "released_by")}
        return plain | {
            "authors": list(self.authors),
            "signed": [{"person": p, "role": r, "scope": s, "said": t} for p, r, s, t in self.signed],
            "effects": dict(self.effects),
            "changes": [{"fact": f, "before": b, "after": a} for f, b, a in self.changes],
            "settled": [{"fact": f, "take": t, "why": w} for f, t, w in self.settled],
        }


@dataclass(frozen=True, slots=True)
class Told:
    """What was asked about, how it reads on main now, and every release that moved it, newest first."""

    file: str
    fact: str
    now: str
    reasons: tuple[Reason, ...]

    def as_json(self) -> dict[str, Any]:
        return {"why": 1, "file": self.file, "fact": self.fact, "now": self.now, "reasons": [r.as_json() for r in self.reasons]}


def why(source: Source, asked: str) -> Told:
    """`FILE`, `FILE:FACT` (layers/foam/lines/cream/amount) or `FILE:LINE` (a number, as main has the file)."""
    repository = source.in_git()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    file, _, rest = asked.partition(":")
    if record_at(file) is None:
        raise NotFound(f"{file} is no record of a book", "Name a file as main has it, such as drinks/ID.yaml.")
    fact = _fact_of_line(repository, main, file, int(rest)) if rest.isascii() and rest.isdigit() else rest.strip("/")
    ledger = Ledger(repository, main)
    releases = verified_releases(ledger)
    commits = commits_of(ledger)
    found = [r for release in reversed(releases) if (r := _reason(repository, release, commits[release.number], file, fact))]
    found += _beginning(repository, main, file, fact)
    if not found:
        raise NotFound(f"nothing on main ever stood at {asked}", "Name FILE, FILE:FACT or FILE:LINE as main has it.")
    return Told(file, fact, _now(repository, main, file, fact), tuple(found))


def _reason(repository: Repository, release: Release, commit: str, file: str, fact: str) -> Reason | None:
    changes = _changes(repository, release.parents[0], commit, file, fact)
    if not changes:
        return None
    case = Case(
        repository, release.proposal, release.parents[1], release.parents[0],
        edited_from(repository, release.parents[1], release.parents[0]), _day(release),
    )  # fmt: skip
    try:
        settled = tuple((s.fact, s.take, s.why) for s in case.proposal.settled.values() if s.file == file and _within(s.fact, fact))
        authors = tuple(sorted(case.authors))
    except Stop:
        settled, authors = (), ()
    return Reason(
        release.number, commit, release.released, release.proposal, release.title, release.why, authors,
        release.released_by, _signed(repository, release, commit), tuple(sorted(release.effects.items())), changes, settled,
    )  # fmt: skip


def _day(release: Release) -> Any:
    from datetime import date

    return date.fromisoformat(release.released[:10])


def _beginning(repository: Repository, main: str, file: str, fact: str) -> list[Reason]:
    from datetime import datetime, timezone

    from specctl.actions.collecting import main_book
    from specctl.actions.starts import stamp

    root = repository.reader.first_parents(main)[-1]
    changes = _changes(repository, None, root, file, fact)
    if not changes:
        return []
    signatories = main_book(repository, root).signatories
    assert signatories is not None
    who = commit_signer(repository.reader, root, signers_of(signatories)) or ""
    when = stamp(datetime.fromtimestamp(repository.reader.commit(root).committed, timezone.utc))
    return [Reason(0, root, when, "", "The beginning of the book", "", (who,) if who else (), who, (), (), changes, ())]


def _changes(repository: Repository, before: str | None, after: str, file: str, fact: str) -> tuple[tuple[str, str, str], ...]:
    reader = repository.reader
    sides = [{file: data} if (data := reader.file(c, file) if c else None) is not None else {} for c in (before, after)]
    changed = file_changes(sides[0], sides[1], repository.cache()).get(file, ())
    return tuple(row for c in changed if (row := _row(c)) and _within(row[0], fact))


def _row(change: Change) -> tuple[str, str, str] | None:
    # That a mapping exists is said by what stands in it.
    if change.path[-1] in (MAP, SET):
        return None
    if change.path[-1] == ORDER:
        before, after = (v if isinstance(v, tuple) else () for v in (change.before, change.after))
        if [k for k in before if k in after] == [k for k in after if k in before]:
            return None
    return fact_words(change.path).replace(ORDER, "order"), _text(change.before), _text(change.after)


def _text(value: object) -> str:
    if value is None:
        return ""
    return " > ".join(value) if isinstance(value, tuple) else str(value)


def _within(path: str, fact: str) -> bool:
    return not fact or path == fact or path.startswith(f"{fact}/")


def _signed(repository: Repository, release: Release, commit: str) -> tuple[tuple[str, str, str, str], ...]:
    ids = repository.reader.ids(commit, f"{STATEMENTS}{release.proposal}/")
    found = []
    for digest in release.statements:
        oid = ids[f"{STATEMENTS}{release.proposal}/{digest}.statement"]
        said = read_envelope(repository.reader.blob(oid).decode("ascii", "replace")).statement
        found.append((said.person, said.role, said.scope, said.said))
    return tuple(sorted(found, key=lambda s: (s[3], s)))


def _node(repository: Repository, main: str, file: str) -> Node | None:
    data = repository.reader.file(main, file)
    known = record_at(file)
    return read_file(known[0], file, data, repository.cache())[0] if data is not None and known is not None else None


def _fact_of_line(repository: Repository, main: str, file: str, line: int) -> str:
    """The fact, or the part, whose key stands on a line of the file as main has it."""
    node = _node(repository, main, file)
    found = [path for at, path in _places(node, (), file)] if node is None else [path for at, path in _places(node, (), file) if at == line]
    if not found:
        raise NotFound(f"no fact begins on line {line} of {file} as main has it", "Count in: git show main:" + file)
    # Several facts of one line: what they share.
    shared = found[0]
    for path in found[1:]:
        while shared != path[: len(shared)]:
            shared = shared[:-1]
    return "/".join(shared)


def _places(node: Node | None, path: tuple[str, ...], file: str) -> Iterator[tuple[int, tuple[str, ...]]]:
    if node is None or node.kind != "map":
        return
    for key, inner in node.pairs():
        item = node.item(key)
        if item is not None:
            yield item.key_node.place(file).line, (*path, key)
        yield from _places(inner, (*path, key), file)


def _now(repository: Repository, main: str, file: str, fact: str) -> str:
    node = _node(repository, main, file)
    for step in fact.split("/") if fact else ():
        node = node.get(step) if node is not None and node.kind == "map" else None
    if node is None:
        return ""
    return str(node.value) if node.kind not in ("map", "list") else ""
