"""The verb `propose`: edits in the work tree become a signed commit on a branch of their own.

Nothing is checked out; the author's index, branch and other edits are not
touched. The commit states the commit it was edited from, so that it can be
merged three-way onto whatever main is on the day it is judged.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from specctl.actions.case import find_proposal
from specctl.actions.checking import check_kept
from specctl.actions.identity import Identity, identify, key_at_hand
from specctl.actions.merging import merge_trees
from specctl.actions.reporting import conflict_words
from specctl.actions.source import Source, book_files
from specctl.codec.emit import write_value
from specctl.codec.load import load
from specctl.codec.paths import is_controlled
from specctl.errors import Found, Refused
from specctl.problem import Place, Problem, errors_of
from specctl.store.commits import CommitWish, make_commit
from specctl.store.objects import write_tree_with
from specctl.store.repository import Repository

POLICY_FILES = ("policy.yaml", "signatories.yaml")
DAYS_AHEAD = 7
SCHEMA_LINE = "# yaml-language-server: $schema=../.schema/proposal.schema.json\n"


@dataclass(frozen=True, slots=True)
class WaveWish:
    """A wave: its key, its start, and its sites (empty: the rest)."""

    key: str
    start: date
    sites: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ProposeWish:
    """What the author asks. `update` names a proposal to carry on; `only` limits the files."""

    title: str
    why: str
    now: datetime
    start: date | None = None
    waves: tuple[WaveWish, ...] = ()
    only: tuple[str, ...] = ()
    draft: bool = False
    update: str | None = None
    from_commit: str | None = None
    key: Path | None = None
    back_on_sale: tuple[tuple[str, str], ...] = ()
    """Notices it lifts, each with the record of what became of the goods."""
    evidence: str = ""
    """What bears out that an allergen leaves a declaration."""


@dataclass(frozen=True, slots=True)
class Proposed:
    name: str
    commit: str
    base: str
    files: tuple[str, ...]
    start: date
    draft: bool
    pushed: bool
    problems: tuple[Problem, ...] = field(default_factory=tuple)
    again: bool = False
    """The very same proposal was there already."""


def propose(source: Source, wish: ProposeWish) -> Proposed:
    """Make or carry on a proposal. Raises Found where the result has errors and is no draft."""
    repository = source.in_git()
    if repository.has_origin():
        repository.fetch()
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    base = _base(repository, main, wish.from_commit)
    base_files = book_files(repository, base)
    changes = _changes(repository, base, base_files, wish.only)
    if not changes:
        raise Refused("nothing differs from the commit these files are from", "Edit a spec first, then propose.")
    return propose_changes(source, wish, base, changes)


def propose_changes(source: Source, wish: ProposeWish, base: str, changes: dict[str, bytes | None]) -> Proposed:
    """A proposal of these files on a commit of main's history, wherever they come from; None deletes one."""
    repository = source.in_git()
    main = repository.latest_main()
    assert main is not None
    base_files = book_files(repository, base)
    main_book = load(book_files(repository, main), source.shelf).book
    if main_book is None or main_book.signatories is None:
        raise Refused("main has no signatories that can be read", "Restore signatories.yaml on main.")
    author = identify(main_book.signatories, key_at_hand(repository, wish.key))
    tips = repository.proposal_tips()
    name = find_proposal(tips, wish.update) if wish.update else _name(repository, tips, wish.title, main)
    earlier = _earlier(repository, tips.get(name), name)
    start = wish.start or earlier.get("start") or wish.now.date() + timedelta(days=DAYS_AHEAD)
    record = _record(wish, earlier, start, base, author)
    changes[f"proposals/{name}.yaml"] = record
    problems = _check(source, repository, (base_files, main), changes, wish.now.date())
    if errors_of(problems) and not wish.draft:
        raise Found(
            "this proposal has errors, so it was not made",
            problems,
            "Correct them, or keep it as a draft with --draft.",
        )
    files = tuple(sorted(p for p in changes if not p.startswith("proposals/")))
    standing = {n: tip for n, tip in tips.items() if not repository.reader.is_ancestor(tip, main)}
    same = None if wish.update else _same(repository, standing, base, changes, name)
    if same is not None:
        # A run that was cut short after origin took it, or one typed twice: it is brought here, not made again.
        repository.push_branch(same, tips[same])
        return Proposed(same, tips[same], base, files, start, wish.draft, repository.has_origin(), tuple(problems), again=True)
    parents = (base,) if not wish.update else _parents(repository, tips[name], base, main)
    tree = write_tree_with(repository.reader, repository.reader.commit(base).tree, changes)
    commit = make_commit(
        repository.root,
        CommitWish(
            tree,
            parents,
            _message(wish, earlier, base),
            author.person.name,
            author.email,
            int(wish.now.timestamp()),
            author.key,
        ),
    )
    repository.push_branch(name, commit)
    return Proposed(name, commit, base, files, start, wish.draft, repository.has_origin(), tuple(problems))


def _same(repository: Repository, tips: Mapping[str, str], base: str, changes: Mapping[str, bytes | None], name: str) -> str | None:
    """The open proposal that is one commit on the same base, with the same files and the same words."""
    reader = repository.reader
    record = changes[f"proposals/{name}.yaml"]
    there = reader.ids(base)
    for other, tip in tips.items():
        if reader.commit(tip).parents != (base,) or reader.file(tip, f"proposals/{other}.yaml") != record:
            continue
        ids = reader.ids(tip)
        differ = {p for p in there.keys() | ids.keys() if there.get(p) != ids.get(p)} - {f"proposals/{other}.yaml"}
        wanted = changes.keys() - {f"proposals/{name}.yaml"}
        if differ == wanted and all(reader.file(tip, p) == changes[p] for p in wanted):
            return other
    return None


def _base(repository: Repository, main: str, given: str | None) -> str:
    """The commit the files on disk were edited from."""
    if given is not None:
        base = repository.reader.resolve_oid(given)
        if not repository.reader.is_ancestor(base, main):
            raise Refused(f"{given[:12]} is not part of main's history", "Name the commit specctl printed.")
        return base
    if repository.behind() is not None:
        in_the_way = repository.catch_up()
        old = repository.behind()
        if old is not None:
            raise Refused(
                "main moved on under these files, and your edits of "
                + ", ".join(in_the_way or ("some files",))
                + " stood in the way of bringing them along",
                f"To propose your edits as made on the old state, run: specctl propose --edited-from {old} "
                "(what main gained since is kept by the merge).",
            )
    head = repository.head_commit()
    base = repository.reader.merge_base(head, main) if head else None
    if base is None:
        raise Refused("these files share no history with main", "Propose from a clone of this book.")
    return base


def _changes(
    repository: Repository, base: str, base_files: Mapping[str, bytes], only: tuple[str, ...]
) -> dict[str, bytes | None]:
    """Controlled files that differ between the work tree and the base; None deletes."""
    disk = repository.work_files(is_controlled)
    changes: dict[str, bytes | None] = {}
    for path in sorted({*disk, *(p for p in base_files if is_controlled(p))}):
        if path.startswith("proposals/") or disk.get(path) == base_files.get(path):
            continue
        if not only or any(path == o or path.startswith(o.rstrip("/") + "/") for o in only):
            changes[path] = disk.get(path)
    stale = repository.stale_paths(list(changes), base)
    if stale:
        raise Refused(
            f"{', '.join(stale)}: these files are from an earlier state of main, not edits of yours",
            "To propose your edits as made on that earlier state, run: specctl propose --edited-from "
            f"{_before(repository, base, stale[0])} (what main gained since is kept by the merge). "
            "If you edited nothing in them, bring them along with git instead.",
        )
    touched = set(changes)
    if touched & set(POLICY_FILES) and touched - set(POLICY_FILES):
        raise Refused(
            "who may sign, or who must, is proposed apart from recipes",
            "Propose one and then the other, with: specctl propose --only FILE",
        )
    return changes


def _before(repository: Repository, base: str, path: str) -> str:
    """The newest commit of main before `base` that had another state of a file."""
    reader = repository.reader
    now = reader.ids(base).get(path)
    for oid in reader.first_parents(base)[1:]:
        if reader.ids(oid).get(path) != now:
            return oid
    return base


def _name(repository: Repository, tips: Mapping[str, str], title: str, main: str) -> str:
    """The next number, with the title as a slug."""
    taken = [*tips, *(p.split("/", 1)[1].removesuffix(".yaml") for p in repository.reader.ids(main, "proposals/"))]
    numbers = [int(head) for name in taken if (head := name.split("-", 1)[0]).isdecimal()]
    return f"{max(numbers, default=0) + 1}-{slug(title)}"


def slug(title: str) -> str:
    """A title as a short id: ASCII words joined by hyphens."""
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode()
    words = re.findall(r"[a-z0-9]+", plain.lower())
    return "-".join(words)[:40].strip("-") or "change"


def _earlier(repository: Repository, tip: str | None, name: str) -> dict[str, Any]:
    """What the proposal's file said so far, for fields the author does not give again."""
    if tip is None:
        return {}
    path = f"proposals/{name}.yaml"
    data = repository.reader.file(tip, path)
    book = load(book_files(repository, tip), repository.cache()).book if data else None
    found = book.proposals.get(name) if book else None
    if found is None:
        return {}
    waves = tuple(WaveWish(w.key, w.start, w.sites or ()) for w in found.waves.values())
    return {"title": found.title, "why": found.why, "start": found.start, "waves": waves, "settled": found.settled, "back_on_sale": found.back_on_sale, "evidence": found.evidence}


def _record(wish: ProposeWish, earlier: Mapping[str, Any], start: date, base: str, author: Identity) -> bytes:
    record: dict[str, Any] = {
        "title": wish.title or earlier.get("title", ""),
        "why": wish.why or earlier.get("why", ""),
        "start": start.isoformat(),
    }
    if wish.draft:
        record["draft"] = True
    record["edited_from"] = base
    record["author"] = author.person.id
    evidence = wish.evidence or earlier.get("evidence", "")
    if evidence:
        record["evidence"] = evidence
    waves = wish.waves or earlier.get("waves", ())
    if waves:
        record["waves"] = {
            w.key: {"start": w.start.isoformat(), "sites": list(w.sites) if w.sites else "the-rest"} for w in waves
        }
    lifted = dict(wish.back_on_sale) or dict(earlier.get("back_on_sale", {}))
    if lifted:
        record["back_on_sale"] = {notice: {"disposal": disposal} for notice, disposal in lifted.items()}
    settled = earlier.get("settled")
    if settled:
        # What a person once settled stays on the page of the proposal, whatever is edited later.
        record["settled"] = {
            key: {name: getattr(one, name) for name in ("file", "fact", "take", "why", "by", "main")}
            for key, one in settled.items()
        }
    return (SCHEMA_LINE + write_value(record).strip("\n") + "\n").encode("utf-8")


def _check(
    source: Source,
    repository: Repository,
    onto: tuple[Mapping[str, bytes], str],
    changes: Mapping[str, bytes | None],
    today: date,
) -> list[Problem]:
    """Problems of the edit merged onto today's main."""
    base_files, main = onto
    edited = {**base_files, **{p: d for p, d in changes.items() if d is not None}}
    for path, data in changes.items():
        if data is None:
            edited.pop(path, None)
    merged = merge_trees(base_files, book_files(repository, main), edited, source.shelf)
    loaded = load(merged.files, source.shelf)
    problems = list(check_kept(source.shelf, merged.files, loaded, today))
    problems += [
        Problem("merge-conflict", Place(c.file), conflict_words(c), "Settle it in your files and propose again.")
        for c in merged.conflicts
    ]
    return problems


def _parents(repository: Repository, tip: str, base: str, main: str) -> tuple[str, ...]:
    """On top of what was proposed; and on the newer main, where the files were brought along to it.

    Refused where the files are from an older main than the proposal already
    follows: the merge would take what main gained between for this author's removal.
    """
    reader = repository.reader
    if not reader.is_ancestor(base, tip):
        return (tip, base)
    follows = reader.merge_base(tip, main)
    if follows != base:
        raise Refused(
            f"these files are from an earlier state of main than the proposal already follows ({(follows or '')[:12]})",
            "Bring your files along to main, make the edit there, and propose again: specctl propose --update",
        )
    return (tip,)


def _message(wish: ProposeWish, earlier: Mapping[str, Any], base: str) -> str:
    title = wish.title or earlier.get("title", "")
    why = wish.why or earlier.get("why", "")
    return f"{title}\n\n{why}\n\nEdited-from: {base}\n"
