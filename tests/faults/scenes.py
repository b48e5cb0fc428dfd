"""The seven commands that change something, each with the world it starts from and what it must leave.

Times are frozen and signatures are ed25519, so a command makes the same bytes
in every run: what stands after a fault is compared with what an undisturbed run
left, id by id.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import sys
from dataclasses import dataclass
from datetime import timezone
from pathlib import Path
from typing import Callable

_NEIGHBOURS = [str(Path(__file__).resolve().parent.parent / name) for name in ("actions", "control")]
sys.path += [p for p in _NEIGHBOURS if p not in sys.path]

from chain_world import AUTHOR, SECOND, World, begin_world, day, git_says, plain_git  # noqa: E402
from forge import FROST, PASTE  # noqa: E402

from specctl.actions.publishing import publish  # noqa: E402
from specctl.site import state as site_state  # noqa: E402
from specctl.site.pull import PullWish, pull  # noqa: E402

VERBS = ("propose", "sign", "collect", "release", "publish", "pull", "settle")
SITE = "harbour-row"
MORE = "{regular: 24 g, large: 28 g}"
State = dict[str, str]


def at(number: float) -> str:
    return day(number).astimezone(timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass(frozen=True)
class Scene:
    """A verb's world as it stands before, the words of the command in a copy of it, and its clock."""

    verb: str
    root: Path
    words: Callable[[Path], list[str]]
    now: str
    observe: Callable[[Path], State]

    def copy(self, to: Path) -> Path:
        """A fresh copy of the world; git objects are never written in place and are linked."""
        shutil.rmtree(to, ignore_errors=True)
        shutil.copytree(self.root, to, symlinks=True, copy_function=_copy)
        for clone in ("book", "second"):
            config = to / clone / ".git" / "config"
            if config.exists():
                config.write_text(config.read_text().replace(str(self.root) + "/", str(to) + "/"))
        return to


def _copy(source: str, target: str) -> None:
    if "/objects/" in source:
        os.link(source, target)
    else:
        shutil.copy2(source, target)


def begin(root: Path) -> dict[str, Scene]:
    """Every scene, made with the project's own verbs under `root`."""
    made = root / "made"
    made.mkdir()
    world = begin_world(made)
    world.edit("drinks/pear-sage-fizz.yaml", "name: Pear and sage fizz", "name: Pear with sage, sparkling")
    world.done(world.propose(0, "Opening book", start=day(3).date()).name, 1)
    # What the README asks of whoever keeps an origin: git there syncs nothing of a push by itself.
    plain_git(world.origin, "config", "core.fsync", "all")
    with world.open() as source:
        publish(source, made / "packs", made / "publishing-keys", day(2), new_keys=True)
    pull(PullWish(str(made / "packs"), made / "state", SITE, made / "packs" / "metadata" / "1.root.json", day(2)))
    _indexed(world)
    scenes: dict[str, Scene] = {}

    def keep(verb: str, now: float, words: Callable[[Path], list[str]], observe: Callable[[Path], State]) -> None:
        shutil.copytree(made, root / verb, symlinks=True)
        config = root / verb / "book" / ".git" / "config"
        config.write_text(config.read_text().replace(str(made) + "/", str(root / verb) + "/"))
        scenes[verb] = Scene(verb, root / verb, words, at(now), observe)

    world.edit(FROST, PASTE, MORE)
    keep("propose", 4, lambda w: ["propose", "More paste", "--why", "Too thin.", *_book(w), "--key", _key(w, AUTHOR)], of_book)
    name = world.propose(4, "More paste").name
    plain_git(world.book, "checkout", "-q", "--", ".")
    _indexed(world)
    keep("sign", 5, lambda w: ["sign", "2", *_book(w), "--key", _key(w, SECOND)], of_book)
    letter = made / "letter.statement"
    letter.write_text("".join(e.text() for e in world.sign(name, SECOND, 5)), encoding="ascii")
    keep("collect", 5.1, lambda w: ["collect", str(w / "letter.statement"), *_book(w), "--key", _key(w, AUTHOR)], of_book)
    world.signed(name, 5)
    _indexed(world)
    keep("release", 6, lambda w: ["release", "2", *_book(w), "--key", _key(w, AUTHOR)], of_book)
    _conflict(world)
    keep("settle", 6.5, lambda w: ["settle", "3", FROST, "--take", "proposal", "--why", "Tasted.", *_book(w), "--key", _key(w, AUTHOR)], of_book)
    keep("publish", 7, lambda w: ["publish", str(w / "packs"), "--keys", str(w / "publishing-keys"), *_book(w)], of_packs)
    with world.open() as source:
        publish(source, made / "packs", made / "publishing-keys", day(7))
    keep("pull", 8, lambda w: ["pull", str(w / "packs"), "--site", SITE, "--state", str(w / "state")], of_site)
    return scenes


def _conflict(world: World) -> None:
    """Proposal 3, made before release 2, wants another amount of the same paste."""
    world.edit(FROST, PASTE, "{regular: 22 g, large: 31 g}")
    world.propose(5.5, "Less paste")
    plain_git(world.book, "checkout", "-q", "--", ".")
    world.release(_second(world), 6)
    _indexed(world)


def _second(world: World) -> str:
    names = plain_git(world.book, "for-each-ref", "--format=%(refname:lstrip=3)", "refs/heads/proposals").split()
    return next(n for n in names if n.startswith("2-"))


def _indexed(world: World) -> None:
    plain_git(world.book, "update-index", "-q", "--refresh")


def _book(world: Path) -> list[str]:
    return ["--book", str(world / "book")]


def _key(world: Path, person: str) -> str:
    return str(world / "keys" / person)


def of_book(world: Path) -> State:
    """Branches and tags here and at origin, the branch tips' trees whole, and the author's files."""
    found: State = {}
    for where in ("book", "origin.git"):
        for line in plain_git(world / where, "for-each-ref", "--format=%(refname) %(objectname)", "refs/heads", "refs/tags").splitlines():
            name, oid = line.split()
            found[f"{where} {name}"] = oid
    for path in sorted((world / "book").rglob("*")):
        if ".git" not in path.parts and path.is_file() and not path.name.startswith(".specctl-"):
            found[f"file {path.relative_to(world / 'book')}"] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def of_packs(world: Path) -> State:
    """What a site that pulls from the folder now is shown: it must always be able to."""
    copy = world / "asked"
    shutil.rmtree(copy, ignore_errors=True)
    shutil.copytree(world / "state", copy, symlinks=True)
    pull(PullWish(str(world / "packs"), copy, SITE, None, day(7.5)))
    return {"bundle": _bundle(copy)}


def of_site(world: Path) -> State:
    """What the site has kept, read the way its cards are."""
    return {"bundle": _bundle(world / "state")}


def _bundle(state: Path) -> str:
    kept = site_state.load(state)
    assert kept is not None and kept.note is None, "the last verified cards always open"
    return hashlib.sha256(kept.bundle).hexdigest()
