"""Tells plain git whose signatures hold, so that `git verify-commit` accepts what main accepts."""

from __future__ import annotations

from pathlib import Path

from specctl.actions.ledger import signers_of
from specctl.domain.people import Signatories
from specctl.store.files import write_atomic
from specctl.store.process import git
from specctl.store.repository import Repository
from specctl.store.signature import GIT_NAMESPACE, allowed_signers_text

PURPOSES = ("signoff", "objection", "confirmation", "notice")


def write_signers(repository: Repository, signatories: Signatories) -> Path:
    """The allowed-signers file of this clone, made from main's signatories, and git told of it."""
    path = repository.git_dir / "specctl" / "allowed_signers"
    text = allowed_signers_text(
        signers_of(signatories, retired=True), [GIT_NAMESPACE, *(f"{p}@specctl" for p in PURPOSES)]
    )
    write_atomic(path, text.encode("ascii"))
    for name, value in (("gpg.format", "ssh"), ("gpg.ssh.allowedSignersFile", str(path))):
        if repository.setting(name) != value:
            git(repository.root, ["config", name, value])
    return path


def remember_key(repository: Repository, key: Path, name: str, email: str) -> None:
    """Git in this clone signs with this key, as this person."""
    for setting, value in (("user.signingkey", str(key.resolve())), ("user.name", name), ("user.email", email)):
        git(repository.root, ["config", setting, value])
