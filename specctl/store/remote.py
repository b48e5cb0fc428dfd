"""Talks to `origin` through git itself, within a deadline.

Promises: no prompt, no force, at most two attempts; what origin sends passes
git's own object checks; origin's main may only grow. What stands in
refs/remotes/origin after `fetch` is what origin said.
"""

from __future__ import annotations

import os
import re
import time

from specctl.errors import Damaged, LostRace, NotFound, Refused, Stop, Unreachable
from specctl.store.files import remove_stale_locks
from specctl.store.layout import Layout
from specctl.store.names import is_oid, is_ref
from specctl.store.process import NETWORK_DEADLINE, QUIET_SSH, Result, failure, plain, run_git

_MAIN = "refs/heads/main:refs/remotes/origin/main"
_PROPOSALS = "+refs/heads/proposals/*:refs/remotes/origin/proposals/*"
_REJECTED = re.compile(r"! \[rejected\]\s+(\S+)\s+-> (\S+)\s+\(([^)]*)\)")
_RACES = ("fetch first", "non-fast-forward", "stale info", "cannot lock ref", "failed to update ref", "incorrect old")
_LATER = "Check the network and try again; nothing was changed here."


def has_origin(layout: Layout) -> bool:
    """True when a remote named origin is set up."""
    return run_git(layout.root, ["config", "--get", "remote.origin.url"]).ok


def fetch(layout: Layout) -> tuple[str, ...]:
    """Take main, proposals and tags from origin. Unreachable, Damaged, Refused when its main was rewritten.

    Gives the tags of which origin has another version than ours; ours stand.
    """
    result = _twice(layout, _fetch_words(_MAIN, _PROPOSALS))
    if b"couldn't find remote ref refs/heads/main" in result.stderr:
        known = run_git(layout.root, ["show-ref", "--verify", "--quiet", "refs/remotes/origin/main"])
        if known.ok:
            raise Refused(
                "origin has no branch main any more",
                "Find out who removed it. A clone that has it can push it back: git push origin main",
            )
        result = _twice(layout, _fetch_words(_PROPOSALS))
    said = result.stderr.decode("utf-8", "replace")
    rejected = [m.groups() for m in _REJECTED.finditer(said)]
    for source, target, why in rejected:
        if target == "origin/main":
            raise Refused(
                f"origin's main was rewritten ({why}): commits that were there are gone",
                "Find out who did it before going on. A book's history only grows.",
            )
        if "clobber existing tag" not in why:
            raise LostRace(f"{source} could not be taken from origin ({why})", "Run the command again.")
    if not result.ok and not rejected:
        raise _fetch_failure(result)
    return tuple(sorted(source for source, _, _ in rejected))


def push(layout: Layout, oid: str, ref: str) -> None:
    """Move `ref` at origin to `oid`, forward only.

    LostRace when origin is already elsewhere, Refused when it says no,
    Unreachable when it does not answer (it may have taken the commit all the
    same: fetch and look).
    """
    if not is_oid(oid) or not is_ref(ref):
        raise NotFound("only a full object id can be pushed to a full reference name")
    words = ["push", "--porcelain", "--no-progress", "--no-follow-tags", "--no-signed",
             "--recurse-submodules=no", "origin", f"{oid}:{ref}"]
    result = run_git(layout.root, words, deadline=NETWORK_DEADLINE, env=_ssh(layout))
    if not result.ok and ".lock" in result.words + result.text and _freed(layout):
        result = run_git(layout.root, words, deadline=NETWORK_DEADLINE, env=_ssh(layout))
    if result.ok:
        return
    said = result.text
    for line in said.splitlines():
        if line.startswith("!"):
            if any(race in line for race in _RACES):
                raise LostRace(f"origin's {ref} moved first", "Run the command again.")
            if "would clobber existing tag" in line or "already exists" in line:
                raise Refused(f"origin has another {ref}", "A tag never moves. Find out who made it.")
            raise Refused(
                f"origin does not take {ref}: {plain(line.split(chr(9))[-1])}; {result.words}",
                "If origin has a branch checked out, it must be a bare repository; else ask who keeps it.",
            )
    raise Unreachable(f"origin did not take the push: {result.words}", _LATER)


def _freed(layout: Layout) -> bool:
    """Whether lock files of a dead git were removed from an origin that is a folder of this machine.

    Nobody else may ever come by to remove them, and until then origin takes nothing.
    """
    url = run_git(layout.root, ["config", "--get", "remote.origin.url"]).text
    folder = (layout.root / url.removeprefix("file://")) if url else None
    if folder is None or not (folder / "HEAD").is_file():
        return False
    return bool(remove_stale_locks(folder))


def _fetch_words(*refspecs: str) -> list[str]:
    return [
        "-c", "fetch.pruneTags=false", "-c", "remote.origin.pruneTags=false", "-c", "fetch.writeCommitGraph=false",
        "fetch", "--no-progress", "--no-auto-maintenance", "--no-write-fetch-head", "--no-recurse-submodules",
        "--prune", "--tags", "--refmap=", "origin", *refspecs,
    ]


def _ssh(layout: Layout) -> dict[str, str]:
    """The ssh command set up for this book, kept from asking: ours in the environment would hide it."""
    if "GIT_SSH_COMMAND" in os.environ:
        return {}
    result = run_git(layout.root, ["config", "--get", "core.sshCommand"])
    return {"GIT_SSH_COMMAND": f"{result.text} {QUIET_SSH}"} if result.ok else {}


def _twice(layout: Layout, words: list[str]) -> Result:
    """Run a fetch; once more if it failed early for a reason that may pass. One deadline for both."""
    until = time.monotonic() + NETWORK_DEADLINE
    env = _ssh(layout)
    result = run_git(layout.root, words, deadline=NETWORK_DEADLINE, env=env)
    left = until - time.monotonic()
    if result.ok or left <= 1 or not isinstance(_fetch_failure(result), Unreachable):
        return result
    if b"[rejected]" in result.stderr or b"couldn't find remote ref" in result.stderr:
        return result
    return run_git(layout.root, words, deadline=left, env=env)


def _fetch_failure(result: Result) -> Stop:
    lower = result.words.lower()
    if "fsck error" in lower or "index-pack" in lower or "unpack-objects" in lower or "bad pack" in lower:
        return Damaged(f"origin sent something unsound: {result.words}", "Have origin checked: git fsck --full --strict")
    if "cannot lock ref" in lower or ".lock" in lower or "dubious ownership" in lower:
        return failure("fetch", result)
    return Unreachable(f"origin did not answer: {result.words}", _LATER)
