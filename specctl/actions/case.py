"""One proposal on today's main: merged, checked, compiled, and its effect by scope.

Everything a report shows, a signature names and a release needs follows from
here, so that all of them speak of the same bytes. Nothing is written.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import cached_property
from typing import Any

from specctl.actions.checking import check_kept
from specctl.actions.ledger import Ledger, person_of_key
from specctl.actions.merging import MergedTree, file_changes, merge_trees
from specctl.actions.source import Source, book_files
from specctl.canonical import canonical, digest_of
from specctl.change.compare import Pair, pairs_of
from specctl.change.compiled import Compiled, compile_book
from specctl.change.effect import (
    CHAIN,
    Effect,
    differing,
    file_digest,
    for_franchise,
    plan_waves,
)
from specctl.change.facts import Change
from specctl.change.notice import FOLDER as OFF_SALE
from specctl.change.trust import ROW as TRUST
from specctl.change.trust import change_of, trust_of
from specctl.codec.load import Loaded, blob_id, load, read_file
from specctl.domain.book import Book
from specctl.domain.people import Proposal
from specctl.errors import Found, NotFound, Refused, Untrusted
from specctl.problem import Problem, errors_of
from specctl.store.cache import Cache
from specctl.store.repository import Repository
from specctl.store.signature import commit_key

# Raise when the same book would compile to other entries: the shelf must not outlive the compiler.
COMPILER = "compile-4"


@dataclass(frozen=True)
class Case:
    """A proposal's tip, the commit it was edited from, and main, with all that follows."""

    repository: Repository
    name: str
    tip: str
    main: str
    base: str
    today: date

    @property
    def id(self) -> str:
        """All that this case follows from, in one word."""
        return " ".join((self.name, self.tip, self.main, self.base, self.today.isoformat()))

    @cached_property
    def main_files(self) -> dict[str, bytes]:
        return book_files(self.repository, self.main)

    @cached_property
    def merged(self) -> MergedTree:
        reader = self.repository
        return merge_trees(
            book_files(reader, self.base), self.main_files, book_files(reader, self.tip), self.repository.cache()
        )

    @cached_property
    def before(self) -> Loaded:
        return load(self.main_files, self.repository.cache())

    @cached_property
    def after(self) -> Loaded:
        return load(self.merged.files, self.repository.cache())

    @cached_property
    def book(self) -> Book:
        """The merged book. Raises Found if it cannot be read."""
        if self.after.book is None:
            raise Found("the merged book cannot be read", self.after.problems)
        return self.after.book

    @cached_property
    def old_book(self) -> Book:
        """Main's book; an empty one where main holds none that can be read."""
        return self.before.book or Book(self.book.settings)

    @cached_property
    def problems(self) -> tuple[Problem, ...]:
        """Everything wrong with the merged whole."""
        return check_kept(self.repository.cache(), self.merged.files, self.after, self.today)

    @cached_property
    def proposal(self) -> Proposal:
        found = self.book.proposals.get(self.name)
        if found is None:
            raise NotFound(f"proposals/{self.name}.yaml cannot be read", "Propose it again.")
        return found

    @cached_property
    def base_stated(self) -> str:
        """The commit its author's files were from, by the proposal's own word; empty where it says none.

        Where that is not `base`, the merge would take what main gained between the two for the author's removal.
        """
        return proposal_field(self.repository, self.tip, self.name, "edited_from")

    @cached_property
    def ledger(self) -> Ledger:
        return Ledger(self.repository, self.main)

    @cached_property
    def compiled(self) -> Compiled:
        """Every entry of the merged book. Raises Found if the book has errors."""
        wrong = errors_of(list(self.problems))
        if wrong:
            raise Found("the merged book has errors", wrong, "Correct them and propose again.")
        return compile_kept(self.repository, self.merged.files, self.book)

    @cached_property
    def files_changed(self) -> dict[str, tuple[Change, ...]]:
        """Changed facts by file, the proposal's own file left out: it holds the start and waves."""
        changed = file_changes(self.main_files, self.merged.files, self.repository.cache())
        found = {path: facts for path, facts in changed.items() if not path.startswith("proposals/")}
        # What comes back on sale is signed for like a file: the notice, and what became of the goods.
        for notice, disposal in self.proposal.back_on_sale.items():
            path = f"{OFF_SALE}{notice}.statement"
            if path not in self.ledger.under(path):
                raise Refused(f"{self.name} brings back what no notice on main took off sale", "Fetch, and name a standing notice.")
            found[path] = (Change(("back-on-sale",), None, disposal),)
        # So is what bears out that an allergen leaves: whoever signs has signed for these words too.
        if self.proposal.evidence:
            found[f"proposals/{self.name}.yaml"] = (Change(("evidence",), None, self.proposal.evidence),)
        return found

    @cached_property
    def effect(self) -> Effect:
        """The chain's effect: what is served now, by main's records, against the merged book."""
        return Effect(
            CHAIN,
            self.proposal.start.isoformat(),
            plan_waves(self.proposal, tuple(sorted(self.book.sites))),
            differing(self.ledger.rows, self.compiled.rows),
            self._file_rows,
        )

    @cached_property
    def _file_rows(self) -> tuple[tuple[str, str], ...]:
        """Every changed file by the digest of its changed facts; a change of who may sign, or must, as a row of its own."""
        rows = {}
        for path, facts in self.files_changed.items():
            book = self.merged.files.get(path) or self.main_files.get(path)
            secret = path.startswith("prices/") and book is not None
            beside = file_changes({}, {path: book}, self.repository.cache()).get(path) if secret and book else None
            rows[path] = file_digest(facts, beside)
        before, after = self.old_book, self.book
        if before.policy and before.signatories and after.policy and after.signatories:
            was, now = trust_of(before.signatories, before.policy).digest, trust_of(after.signatories, after.policy).digest
            if was != now:
                rows[TRUST] = change_of(was, now)
        return tuple(sorted(rows.items()))

    def effect_of(self, scope: str) -> Effect:
        """The effect of one scope: `chain` or `franchise/<id>`."""
        if scope == CHAIN:
            return self.effect
        franchise = scope.removeprefix("franchise/")
        if franchise not in self.book.franchises and franchise not in self.old_book.franchises:
            raise NotFound(f"there is no franchise {franchise}", "Franchises: " + ", ".join(sorted(self.book.franchises)))
        return for_franchise(self.effect, franchise, self.old_book, self.book)

    @cached_property
    def digests(self) -> dict[str, str]:
        """Effect digest by scope, for every scope there is."""
        scopes = [CHAIN, *(f"franchise/{f}" for f in sorted({*self.book.franchises, *self.old_book.franchises}))]
        return {scope: self.effect_of(scope).digest for scope in scopes}

    @cached_property
    def entries(self) -> dict[str, dict[str, Any]]:
        """Entries on both sides of the effect: stored ones before, compiled ones after."""
        stored = self.ledger.entries(row.before for row in self.effect.rows if row.before)
        return {**stored, **self.compiled.entries}

    def pairs(self, effect: Effect) -> tuple[Pair, ...]:
        return pairs_of(effect.rows, self.entries)

    @cached_property
    def author_keys(self) -> dict[str, str]:
        """Commit to person, for every commit of the proposal. Raises Untrusted for an unsigned or foreign one."""
        reader = self.repository.reader
        signatories = self.old_book.signatories
        found: dict[str, str] = {}
        for oid in reader.commits_between(self.base, self.tip):
            public = commit_key(reader, oid)
            person = person_of_key(signatories, public) if public and signatories else None
            if person is None:
                raise Untrusted(
                    f"commit {oid[:12]} of {self.name} is not signed by anyone main knows",
                    "Propose it again with your own key (specctl propose --key FILE).",
                )
            found[oid] = person.id
        return found

    @property
    def authors(self) -> frozenset[str]:
        return frozenset(self.author_keys.values())


def open_case(source: Source, which: str, today: date) -> Case:
    """The case of an open proposal, named by its number or its whole name."""
    repository = source.in_git()
    tips = repository.proposal_tips()
    name = find_proposal(tips, which)
    main = repository.latest_main()
    if main is None:
        raise Refused("this book has no main yet", "Begin one with: specctl init")
    tip = tips[name]
    case = Case(repository, name, tip, main, edited_from(repository, tip, main), today)
    # All that follows from a case follows from these ids: opened again, it is the same one.
    known: Case = repository.cache().memory.setdefault(("case", case.id), case)
    return known


def find_proposal(names: Mapping[str, Any], which: str) -> str:
    """A proposal by number or name. Raises NotFound with what there is."""
    if which in names:
        return which
    numbered = [name for name in names if name.split("-", 1)[0] == which.lstrip("#")]
    if len(numbered) == 1:
        return numbered[0]
    if numbered:
        raise NotFound(
            f"{which} is the number of {len(numbered)} proposals: {', '.join(sorted(numbered))}",
            "Two authors took one number at once: name the one you mean in full.",
        )
    known = ", ".join(sorted(names, key=_number)) or "none"
    raise NotFound(f"there is no proposal {which}", f"Proposals here: {known}. Someone else's may need: specctl proposals --fetch")


def _number(name: str) -> int:
    head = name.split("-", 1)[0]
    return int(head) if head.isdecimal() else 0


def edited_from(repository: Repository, tip: str, main: str) -> str:
    """The commit the proposal was edited from: where it left main's history."""
    base = repository.reader.merge_base(tip, main)
    if base is None:
        raise Refused("the proposal shares no history with main", "Propose it again from a clone of this book.")
    return base


def proposal_field(repository: Repository, tip: str, name: str, field: str) -> str:
    """One text of a proposal's file at its tip, or empty; read alone, for the rest of the tip may not load."""
    path = f"proposals/{name}.yaml"
    data = repository.reader.file(tip, path)
    node = read_file("proposal", path, data, repository.cache())[0] if data is not None else None
    found = node.get(field) if node is not None else None
    return str(found.value) if found is not None and found.value is not None else ""


def compile_kept(repository: Repository, files: Mapping[str, bytes], book: Book) -> Compiled:
    """Compile a book, or take what the same files compiled to before."""
    key = _compile_key(files)
    shelf = repository.cache()
    remembered = shelf.memory.get((COMPILER, key))
    if remembered is not None:
        return remembered  # type: ignore[no-any-return]
    kept, rows = shelf.get(COMPILER, key), _kept_rows(shelf, key)
    if kept is not None and rows is not None:
        try:
            compiled = Compiled(json.loads(kept)["entries"], rows)
            shelf.memory[COMPILER, key] = compiled
            return compiled
        except (ValueError, KeyError, TypeError):
            pass
    compiled = compile_book(book)
    shelf.memory[COMPILER, key] = compiled
    shelf.put(COMPILER, key, json.dumps({"entries": compiled.entries}, separators=(",", ":")).encode())
    flat = [[site, item, digest] for (site, item), digest in compiled.rows.items()]
    shelf.put(f"{COMPILER}-rows", key, json.dumps(flat, separators=(",", ":")).encode())
    return compiled


def rows_kept(repository: Repository, files: Mapping[str, bytes], book: Book) -> Mapping[tuple[str, str], str]:
    """The rows alone: the entries they name are many times as large, and stay on the shelf."""
    shelf, key = repository.cache(), _compile_key(files)
    if (COMPILER, key) not in shelf.memory:
        rows = _kept_rows(shelf, key)
        if rows is not None:
            return rows
    return compile_kept(repository, files, book).rows


def _kept_rows(shelf: Cache, key: str) -> dict[tuple[str, str], str] | None:
    kept = shelf.get(f"{COMPILER}-rows", key)
    try:
        return None if kept is None else {(site, item): digest for site, item, digest in json.loads(kept)}
    except (ValueError, TypeError):
        return None


def _compile_key(files: Mapping[str, bytes]) -> str:
    return digest_of(canonical([[p, blob_id(data)] for p, data in sorted(files.items()) if _compiles(p)]))


def _compiles(path: str) -> bool:
    """Whether a file can move an entry: prices, people and proposals cannot."""
    return not path.startswith(("prices/", "proposals/")) and path not in ("policy.yaml", "signatories.yaml")
