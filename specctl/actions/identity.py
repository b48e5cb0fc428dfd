"""Whose key is at hand, and who that is by the signatories on main."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from specctl.actions.ledger import person_of_key
from specctl.domain.people import Person, Signatories
from specctl.errors import Refused
from specctl.store.repository import Repository
from specctl.store.signature import public_of


@dataclass(frozen=True, slots=True)
class Identity:
    person: Person
    key: Path

    @property
    def email(self) -> str:
        return self.person.email or f"{self.person.id}@invalid"


def key_at_hand(repository: Repository | None, given: Path | None) -> Path:
    """The key file named on the command line, else git's user.signingkey."""
    if given is not None:
        return given.expanduser()
    setting = repository.setting("user.signingkey") if repository else None
    if setting and not setting.startswith(("ssh-", "key::")):
        return Path(setting).expanduser()
    raise Refused(
        "there is no key to sign with",
        "Name your private key with --key FILE, or set it once: git config user.signingkey FILE",
    )


def identify(signatories: Signatories, key: Path) -> Identity:
    """The person of a key. Raises Refused for a key main does not know or has retired."""
    public = public_of(key)
    person = person_of_key(signatories, public)
    if person is None:
        raise Refused(
            f"{key.name} belongs to nobody in signatories.yaml on main",
            "Use the key that stands there, or have yours added by a proposal.",
        )
    mine = " ".join(public.split()[:2])
    if any(k.retired and " ".join(k.public.split()[:2]) == mine for k in person.keys.values()):
        raise Refused(f"this key of {person.name} is retired", "Use your current key.")
    return Identity(person, key)
