"""What stands in for what at which site, by the deviations main holds: read, and refused where one is forged."""

from __future__ import annotations

from collections.abc import Iterable

from specctl.actions.collecting import main_book
from specctl.actions.ledger import Ledger
from specctl.change.deviation import FOLDER, Span, read_passed, spans
from specctl.errors import Damaged, Untrusted
from specctl.store.repository import Repository
from specctl.store.signature import Signer, verify


def deviations(ledger: Ledger) -> tuple[Span, ...]:
    """Every deviation on main with its real end. Raises Damaged or Untrusted for one that is not whole."""
    found = []
    for path, oid in sorted(ledger.under(FOLDER).items()):
        passed = read_passed(ledger.repository.reader.blob(oid).decode("ascii", "replace"))
        if passed.path != path:
            raise Damaged(f"{path} holds another deviation than its name says", "Restore it from another clone.")
        found.append(passed)
    return spans(found)


def refuse_forged(repository: Repository, commit: str, every: Iterable[Span]) -> None:
    """Each is signed by the person it names, now or with a key since retired. Raises Untrusted."""
    known = list(every)
    people = main_book(repository, commit).signatories if known else None
    for one in known:
        said = one.passed.deviation
        person = people.people.get(said.person) if people else None
        keys = [Signer(said.person, k.public) for k in person.keys.values()] if person else []
        if not keys or verify(one.passed.payload, one.passed.signature, said.namespace, keys) != said.person:
            raise Untrusted(f"the deviation {one.passed.digest[:12]} on main is not signed by {said.person}", "Find out who pushed it: specctl audit")
