"""The verb `doctor`: damage of a book's repository found, and what is safe to mend mended.

Mending never touches an object, a commit or main: it removes locks nobody owns,
finishes bringing files along, and makes missing release tags again, which only
repeat what main says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

from specctl.actions.audit_refs import records_of
from specctl.actions.identity import identify, key_at_hand
from specctl.actions.releasing import tag_release
from specctl.actions.ledger import Ledger
from specctl.domain.people import RELEASER
from specctl.errors import Stop
from specctl.store.damage import PATIENCE, Fault, examine
from specctl.store.files import Lock
from specctl.store.mainline import Behind
from specctl.store.repository import Repository

_TAGS = "refs/tags/release/"


@dataclass(frozen=True, slots=True)
class Examined:
    """Every fault, worst first, and what was mended of them."""

    faults: tuple[Fault, ...]
    mended: tuple[str, ...]

    @property
    def sound(self) -> bool:
        return all(f.kind == "note" for f in self.faults)


def doctor(path: Path, now: datetime, *, patience: float = PATIENCE, mend: bool = False, key: Path | None = None) -> Examined:
    """Look a book's repository over; `mend` does what is safe, and then looks again."""
    faults = examine(path, patience)
    mended: list[str] = []
    if not any(f.kind == "disguise" for f in faults):
        more, mended = _of_the_book(path, now, mend=mend, key=key, blocked=any(f.kind == "damage" for f in faults))
        if mend and any(f.code == "lock" for f in faults):
            faults = examine(path, patience)
        faults += more
    return Examined(tuple(faults), tuple(mended))


def _of_the_book(path: Path, now: datetime, *, mend: bool, key: Path | None, blocked: bool) -> tuple[list[Fault], list[str]]:
    """Faults only a book has: files that are behind, a main that parted from origin's, tags that are missing."""
    faults: list[Fault] = []
    mended: list[str] = []
    try:
        with Repository.open(path) as repository:
            if mend:
                with Lock(repository.layout.common_dir):
                    pass  # taking the lock removes those nobody owns
            faults += _behind(repository, mend, mended)
            if not blocked:
                faults += _tags(repository, now, mend, key, mended)
    except Stop as stop:
        faults.append(Fault("damage", "book", "", stop.what, stop.todo or "Mend the faults above first, then look again."))
    return faults, mended


def _behind(repository: Repository, mend: bool, mended: list[str]) -> list[Fault]:
    where = "specctl/behind"
    try:
        noted = Behind(repository.layout).note()
        if noted is None:
            return []
        if mend and not repository.catch_up():
            mended.append("the files were brought along to main")
            return []
        behind = repository.behind()
    except Stop as stop:
        return [Fault("damage", "behind", where, stop.what, stop.todo)]
    if behind is None:
        return [Fault("left-over", "behind", where, "a note of an older move of main stands, and the files are main's", "The next command that writes removes it; or now: specctl doctor --mend")]
    return [
        Fault(
            "left-over",
            "behind",
            where,
            f"main moved on and these files are still of {behind[:12]}",
            f"Bring them along: specctl doctor --mend. Where your edits are in the way: specctl propose --edited-from {behind}",
        )
    ]


def _tags(repository: Repository, now: datetime, mend: bool, key: Path | None, mended: list[str]) -> list[Fault]:
    main = repository.latest_main()
    if main is None:
        return []
    held = repository.reader.refs(_TAGS)
    ledger = Ledger(repository, main)
    commits = records_of(repository, repository.reader.first_parents(main)[::-1])
    faults = []
    for release in ledger.releases:
        if f"{_TAGS}{release.number}" in held or release.number not in commits:
            continue
        fault = Fault("left-over", "tag", f"{_TAGS}{release.number}", f"the tag of release {release.number} is missing; main still says all of it", "Fetch it: git fetch origin --tags. A releaser can make it again: specctl doctor --mend --key FILE")
        if not mend:
            faults.append(fault)
            continue
        try:
            from specctl.actions.collecting import main_book

            who = identify(main_book(repository, main).signatories, key_at_hand(repository, key))  # type: ignore[arg-type]
            if RELEASER not in who.person.roles:
                raise Stop(f"{who.person.name} may not release")
            tag_release(repository, release, commits[release.number], who, now)
            mended.append(f"the tag release/{release.number} was made again")
        except Stop as stop:
            faults.append(replace(fault, what=f"{fault.what}; it was not made again: {stop.what}"))
    return faults
