"""The verb `settle`: a person decides a conflict of a proposal with main, and the reason stays.

The result is a new signed commit on the proposal with two parents, its tip and
today's main, so that the proposal is from then on edited from that main. The
choice, the reason and the person stand in the commit's words and in the
proposal's file. Every conflict is settled in one go or none is: half a merge is
nobody's recipe. Whoever settles becomes an author and cannot sign it off.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from specctl.actions.case import Case, open_case
from specctl.actions.checking import check_kept
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.judging import signatories_of
from specctl.actions.merging import settled_file
from specctl.actions.source import Source, book_files
from specctl.change.dispute import conflict_between
from specctl.change.facts import Change, as_rows, row_value
from specctl.change.facts import Path as FactPath
from specctl.change.merge import Conflict
from specctl.change.settlement import SIDES, allergen, fact_words
from specctl.codec.load import load, read_file
from specctl.codec.rewrite import rewrite
from specctl.domain.book import Book
from specctl.errors import Found, NotFound, Refused
from specctl.problem import errors_of
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree_with


@dataclass(frozen=True, slots=True)
class SettleWish:
    """`paths` are files, or `FILE:FACT`, each perhaps ending in `=main` or `=proposal`; `take` is for the others."""

    paths: tuple[str, ...]
    take: str | None
    why: str
    now: datetime
    key: Path | None = None


@dataclass(frozen=True, slots=True)
class SettledDone:
    """The commit made, and what was settled: (file, fact, side, the conflict in words)."""

    proposal: str
    commit: str
    main: str
    choices: tuple[tuple[str, str, str, str], ...]
    allergens: bool

    def as_json(self) -> dict[str, Any]:
        return {
            "settle": 1,
            "proposal": self.proposal,
            "commit": self.commit,
            "main": self.main,
            "settled": [{"file": f, "fact": a, "take": s, "conflict": w} for f, a, s, w in self.choices],
            "allergens": self.allergens,
        }


def disputed(source: Source, which: str, today: date) -> dict[str, Any]:
    """What a proposal changes on today's main and what of it is in conflict: `schema/changes.schema.json`."""
    case = open_case(source, which, today)
    stands = {"disputed": 1, "proposal": case.name, "main": case.main, "edited_from": case.base}
    return stands | dispute(case.files_changed, case.merged.conflicts, case.old_book)


def dispute(changes: Mapping[str, tuple[Change, ...]], conflicts: Sequence[Conflict], book: Book | None) -> dict[str, Any]:
    """Changed facts by file, and what is in conflict, as plain values: two formats of `schema/changes.schema.json`."""
    return {
        "changes": {path: as_rows(changed) for path, changed in changes.items()},
        "conflicts": [
            {
                "file": c.file,
                "path": list(c.path),
                **{side: row_value(getattr(c, side)) for side in ("base", "ours", "theirs")},
                "parts": list(c.parts),
                "words": conflict_between(c, book, "main", "the proposal"),
            }
            for c in conflicts
        ],
    }


def settle(source: Source, which: str, wish: SettleWish) -> SettledDone:
    """Settle every conflict of a proposal. Raises Refused with those that no path names."""
    if not wish.why.strip():
        raise Refused("nothing is settled without a reason", 'Say it with --why "...".')
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    case = open_case(source, which, wish.now.date())
    conflicts = case.merged.conflicts
    if not conflicts:
        raise Refused(f"{case.name} does not conflict with main", "There is nothing to settle.")
    who = identify(signatories_of(case), key_at_hand(repository, wish.key))
    chosen = _chosen(conflicts, wish, case)
    changes = _changes(case, chosen)
    words = tuple((c.file, fact_words(c.path), chosen[c], conflict_between(c, case.old_book, "main", "the proposal")) for c in conflicts)
    changes[f"proposals/{case.name}.yaml"] = _file(case, words, wish.why.strip(), who)
    _refuse_unsound(case, changes)
    tree = write_tree_with(repository.reader, repository.reader.commit(case.main).tree, changes)
    commit = make_commit(
        repository.root,
        CommitWish(
            tree, (case.tip, case.main), _message(case, words, wish.why.strip()), who.person.name, who.email, int(wish.now.timestamp()), who.key
        ),
    )
    repository.push_branch(case.name, commit)
    return SettledDone(case.name, commit, case.main, words, any(allergen(c) for c in conflicts))


def _chosen(conflicts: Sequence[Conflict], wish: SettleWish, case: Case) -> dict[Conflict, str]:
    """The side of each conflict. A path that names none, and a conflict no path names, stop it all."""
    chosen: dict[Conflict, str] = {}
    listed = "; ".join(f"{c.file}:{fact_words(c.path)}" if c.path else c.file for c in conflicts)
    for text in wish.paths:
        path, gap, side = text.rpartition("=")
        if not gap:
            path, side = text, wish.take or ""
        if side not in SIDES:
            raise Refused(f"{text!r} does not say which side to take", "Add --take main or --take proposal, or write PATH=main.")
        file, _, fact = path.partition(":")
        named = [c for c in conflicts if c.file == file and fact in ("", fact_words(c.path))]
        if not named:
            raise NotFound(f"{case.name} has no conflict at {path}", f"Conflicts: {listed}")
        for conflict in named:
            # A fact named by itself counts before the file it stands in.
            if fact or conflict not in chosen:
                chosen[conflict] = side
    left = [c for c in conflicts if c not in chosen]
    if left:
        open_ones = "; ".join(conflict_between(c, case.old_book, "main", "the proposal") for c in left)
        raise Refused(f"still open: {open_ones}", "Settle all of them in one go: name each FILE, or FILE:FACT=main.")
    return chosen


def _changes(case: Case, chosen: Mapping[Conflict, str]) -> dict[str, bytes | None]:
    """What the settled tree has otherwise than main."""
    reader = case.repository
    base, theirs = book_files(reader, case.base), book_files(reader, case.tip)
    files: dict[str, bytes | None] = {p: case.merged.files.get(p) for p in case.merged.changed}
    for path in sorted({c.file for c in chosen}):
        choices: dict[FactPath, str] = {c.path: side for c, side in chosen.items() if c.file == path}
        sides = (base.get(path), case.main_files.get(path), theirs.get(path))
        files[path] = settled_file(path, sides, choices, case.repository.cache())
    return files


def _file(case: Case, words: Sequence[tuple[str, str, str, str]], why: str, who: Identity) -> bytes:
    """The proposal's file with what was settled added, and with the main it is edited from now."""
    path = f"proposals/{case.name}.yaml"
    data = case.repository.reader.file(case.tip, path)
    node = read_file("proposal", path, data, case.repository.cache())[0] if data is not None else None
    if data is None or node is None:
        raise NotFound(f"{path} cannot be read", "Propose it again.")
    record: Any = node.plain()
    settled = dict(record.get("settled", {}))
    for file, fact, side, _ in words:
        settled[str(len(settled) + 1)] = {"file": file, "fact": fact, "take": side, "why": why, "by": who.person.id, "main": case.main}
    return rewrite(data, {**record, "edited_from": case.main, "settled": settled}, path)


def _refuse_unsound(case: Case, changes: Mapping[str, bytes | None]) -> None:
    """The settled whole is checked like any proposal; a reason that cannot stand in a file is found here too."""
    files = {**case.main_files, **{p: d for p, d in changes.items() if d is not None}}
    for path, data in changes.items():
        if data is None:
            files.pop(path, None)
    shelf = case.repository.cache()
    wrong = errors_of(list(check_kept(shelf, files, load(files, shelf), case.today)))
    if wrong:
        raise Found("settled so, the book has errors; nothing was changed", wrong, "Choose otherwise, or edit and propose again.")


def _message(case: Case, words: Sequence[tuple[str, str, str, str]], why: str) -> str:
    lines = "\n".join(f"Taken from {'main' if side == 'main' else 'the proposal'}: {what}" for _, _, side, what in words)
    return f"Settle {case.name} with main\n\n{why}\n\n{lines}\n\nEdited-from: {case.main}\n"
