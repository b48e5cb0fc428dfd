"""What somebody with a key, or none, and plain git can put on main; made with git itself, not with specctl."""

from __future__ import annotations

import os
import subprocess
from collections.abc import Mapping
from pathlib import Path

from chain_world import World, day, plain_git

FROST = "drinks/hazelnut-frost.yaml"
FIZZ = "drinks/pear-sage-fizz.yaml"
PASTE = "{regular: 20 g, large: 28 g}"


def commit_of(
    world: World,
    files: Mapping[str, bytes | None],
    *,
    key: Path | None,
    at: float,
    parents: tuple[str, ...] | None = None,
    clone: Path | None = None,
) -> str:
    """A commit by plain git: the first parent's tree with these files; dated; signed or not."""
    root = clone or world.book
    parents = parents or (world.main(root),)
    index = root / ".git" / "forged-index"
    env = {**os.environ, "GIT_INDEX_FILE": str(index)}
    _git(root, env, "read-tree", parents[0])
    for path, data in files.items():
        if data is None:
            _git(root, env, "update-index", "--force-remove", path)
            continue
        blob = subprocess.run(["git", "hash-object", "-w", "--stdin"], cwd=root, input=data, capture_output=True, check=True)
        _git(root, env, "update-index", "--add", "--cacheinfo", f"100644,{blob.stdout.decode().strip()},{path}")
    tree = _git(root, env, "write-tree")
    index.unlink()
    stamp = day(at).strftime("%Y-%m-%dT%H:%M:%S+0000")
    dated = {**os.environ, "GIT_AUTHOR_DATE": stamp, "GIT_COMMITTER_DATE": stamp}
    signing = ("-c", "gpg.format=ssh", "-c", f"user.signingkey={key}") if key else ()
    over = [word for parent in parents for word in ("-p", parent)]
    return _git(root, dated, *signing, "commit-tree", *(("-S",) if key else ()), *over, "-m", "A small fix", tree)


def set_main(world: World, commit: str, *, push: bool = True) -> None:
    plain_git(world.book, "update-ref", "refs/heads/main", commit)
    if push:
        plain_git(world.book, "push", "-q", "--force", "origin", "main")
        plain_git(world.book, "update-ref", "refs/remotes/origin/main", commit)


def _git(root: Path, env: Mapping[str, str], *args: str) -> str:
    identity = ["-c", "user.name=Maud Pellow", "-c", "user.email=maud@tidewick.example"]
    done = subprocess.run(["git", *identity, *args], cwd=root, env=dict(env), capture_output=True)
    assert done.returncode == 0, (args, done.stderr)
    return done.stdout.decode().strip()
