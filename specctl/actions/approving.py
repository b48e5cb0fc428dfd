"""What a bundle brings so that a site can check by itself that its releases were approved.

For each release a site is shown: the effects its counted statements are about,
as they were signed. Beside them everybody who could sign, from the first main
on, with each release that changed it. Made from main and kept by commit; an
effect that this version of the tool does not come to again is left out, and
sites that were told to check will refuse the bundle.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Any

from specctl.actions.collecting import main_book
from specctl.actions.ledger import Ledger
from specctl.actions.offsale import lifts
from specctl.actions.verifying import commits_of
from specctl.canonical import canonical, digest
from specctl.change.effect import CHAIN
from specctl.change.facts import as_rows
from specctl.change.record import Release
from specctl.change.statement import Envelope
from specctl.change.trust import Trust, shown, trust_of
from specctl.domain.place import Site
from specctl.errors import Refused, Stop
from specctl.store.repository import Repository

KEPT = "approval-2"
_TRUST_FILES = ("signatories.yaml", "policy.yaml")


class Approver:
    """The approvals of one main, for every site's bundle."""

    def __init__(self, ledger: Ledger, envelopes: dict[str, tuple[Envelope, ...]]) -> None:
        self._ledger = ledger
        self._envelopes = envelopes

    def key(self, site: Site) -> dict[str, Any]:
        """The `approvals` of a site's bundle."""
        scopes = self.scopes(site)
        releases = []
        for release in self._told(site):
            mine = scopes[release.number] & self._counted(release)
            told = self._facts_about(site, release)
            releases.append(
                {
                    "number": release.number,
                    "proposal": release.proposal,
                    "statements": list(release.statements),
                    "effects": {s: e for s, e in self._signed_effects(release).items() if s in mine},
                    **({"told": [[path, facts] for path, facts in told.items()]} if told else {}),
                }
            )
        owners = frozenset(s.removeprefix("franchise/") for each in scopes.values() for s in each if s != CHAIN) | {site.franchise}
        return {"approvals": {"trust": [{"since": n, **shown(t, owners)} for n, t in self.trusts], "releases": releases}}

    def scopes(self, site: Site) -> dict[int, frozenset[str]]:
        """By release, the scopes whose effects are about the site: the chain's, and of who owned it then."""
        found, owner = {}, site.franchise
        for release in reversed(self._ledger.releases):
            owners = {owner}
            for path, before, _ in self._facts_about(site, release).get(f"sites/{site.id}.yaml", ()):
                if path == ["franchise"] and isinstance(before, str):
                    owners.add(before)
                    owner = before
            found[release.number] = frozenset([CHAIN, *(f"franchise/{each}" for each in owners)])
        return found

    def statements(self, site: Site) -> list[str]:
        """Counted statements of releases that change no card here but who may sign, or what is off sale."""
        scopes = self.scopes(site)
        texts = []
        for release in self._told(site):
            if not any(row.site == site.id for row in release.rows):
                counted = [e for e in self._envelopes[release.proposal] if e.digest in release.statements]
                texts += [e.text() for e in counted if e.statement.scope in scopes[release.number]]
        return texts

    @cached_property
    def trusts(self) -> tuple[tuple[int, Trust], ...]:
        """Who could sign, from the first main (0) and from each release that changed it."""
        ledger = self._ledger
        assert ledger.commit is not None
        found = [(0, first_trust(ledger.repository, ledger.commit))]
        reader = ledger.repository.reader
        commits = commits_of(ledger)
        for release in ledger.releases:
            commit = commits[release.number]
            before, after = ({p: reader.ids(c, p).get(p) for p in _TRUST_FILES} for c in (release.parents[0], commit))
            if before == after:
                continue
            trust = _trust_at(ledger.repository, commit)
            if trust.digest != found[-1][1].digest:
                found.append((release.number, trust))
        return tuple(found)

    def _told(self, site: Site) -> Iterator[Release]:
        changing = {number for number, _ in self.trusts} | {number for number, _ in lifts(self._ledger).values()}
        for release in self._ledger.releases:
            if release.number in changing or self._facts_about(site, release) or any(row.site == site.id for row in release.rows):
                yield release

    def _counted(self, release: Release) -> set[str]:
        return {e.statement.scope for e in self._envelopes[release.proposal] if e.digest in release.statements}

    def _signed_effects(self, release: Release) -> dict[str, Any]:
        """By scope, each effect as it was signed."""
        found: dict[str, Any] = self._signed[release.number]["effects"]
        return found

    def _facts_about(self, site: Site, release: Release) -> Mapping[str, Any]:
        """The changed facts of the files that say what the site is, and whose."""
        told = self._signed[release.number]["told"]
        return {p: told[p] for p in (f"sites/{site.id}.yaml", f"markets/{site.market}.yaml", "book.yaml") if p in told}

    @cached_property
    def _signed(self) -> dict[int, dict[str, Any]]:
        commits = commits_of(self._ledger)
        return {release.number: self._signed_of(release, commits[release.number]) for release in self._ledger.releases}

    def _signed_of(self, release: Release, commit: str) -> dict[str, Any]:
        repository = self._ledger.repository
        shelf = repository.cache()
        kept = shelf.get(KEPT, commit)
        if kept is not None:
            found: dict[str, Any] = json.loads(kept)
            effects = found["effects"]
            if effects.keys() == release.effects.keys() and all(digest(e) == release.effects[s] for s, e in effects.items()):
                return found
        # What was made once is kept, so most runs never need the case again.
        from datetime import date

        from specctl.actions.audit_release import RecordedCase
        from specctl.actions.case import edited_from

        main, tip = release.parents
        made: dict[str, Any] = {}
        told: dict[str, Any] = {}
        try:
            case = RecordedCase(
                repository=repository,
                name=release.proposal,
                tip=tip,
                main=main,
                base=edited_from(repository, tip, main),
                today=date.fromisoformat(release.released[:10]),
                release=release,
                commit=commit,
            )
            for scope, stated in release.effects.items():
                effect = case.effect_of(scope)
                if effect.digest == stated:
                    made[scope] = effect.as_json()
            told = {p: as_rows(facts) for p, facts in case.files_changed.items() if p == "book.yaml" or p.startswith(("sites/", "markets/"))}
        except Stop:  # a book of that time that reads no more: its sites are told nothing rather than something else
            made, told = {}, {}
        kept_now = {"effects": made, "told": told}
        shelf.put(KEPT, commit, canonical(kept_now))
        return kept_now


def first_trust(repository: Repository, main: str) -> Trust:
    """Who could sign by main's first commit: what a site is given by hand, as a digest."""
    return _trust_at(repository, repository.reader.first_parents(main)[-1])


def _trust_at(repository: Repository, commit: str) -> Trust:
    book = main_book(repository, commit)
    if book.policy is None or book.signatories is None:
        raise Refused(f"main had no policy that can be read at {commit[:12]}", "Restore it from another clone.")
    return trust_of(book.signatories, book.policy)
