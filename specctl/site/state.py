"""What a site keeps: the last verified bundle, the one before it, and how far it has seen.

    CURRENT              the name of the generation in use, swapped in one step
    g-000012/            one generation, never changed once it has its name
      bundle.json        the verified bundle
      before.json        the bundle it took the place of, if any
      confirmed.json     when it was confirmed, its digest, the numbers behind it
      metadata/          the signed metadata that proved it
    highwater.json       the highest numbers and the latest time ever verified
    pinned.root.json     the root this site was given by hand

Three generations stay, so a damaged one has one to fall back on. The
high-water mark lies apart from the metadata and outlives its loss; where it is
lost itself, the confirmation of the kept bundle stands in for it. A pointer
file, not a link: shares and sticks have none.
"""

from __future__ import annotations

import json
import re
import shutil
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from specctl import canonical
from specctl.errors import Damaged, Stop
from specctl.site import durable

GENERATIONS = 3
_GENERATION = re.compile(r"g-[0-9]{6,9}")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_TIME = "%Y-%m-%dT%H:%M:%SZ"


@dataclass(frozen=True, slots=True)
class Mark:
    """How far a site has seen: per role the highest number and the keys it was signed under."""

    root: int = 0
    timestamp: int = 0
    targets: int = 0
    timestamp_keys: tuple[str, ...] = ()
    targets_keys: tuple[str, ...] = ()
    seen: datetime | None = None


@dataclass(frozen=True, slots=True)
class Confirmed:
    """When and as what a bundle was last verified. Times are UTC, whole seconds.

    `trust` names by whose signatures it was approved; None: nobody checked here.
    """

    confirmed: datetime
    site: str
    book: str
    main: str
    bundle: str
    mark: Mark
    before: str | None = None
    before_confirmed: datetime | None = None
    trust: str | None = None


@dataclass(frozen=True, slots=True)
class Kept:
    """A generation as read back; `note` says if a newer one was damaged."""

    generation: str
    bundle: bytes
    confirmed: Confirmed
    before: bytes | None = None
    metadata: Mapping[str, bytes] = field(default_factory=dict)
    note: str | None = None


def load(state: Path) -> Kept | None:
    """The last verified bundle, re-hashed; None before a first pull.

    Falls back to an earlier generation if the newest is damaged, and says so
    in `note`. Raises Damaged when generations exist and none can be opened.
    """
    names = _generations(state)
    pointed = _pointed(state)
    newest = pointed or (names[-1] if names else "")
    for name in reversed(names):
        if _number(name) > _number(newest):
            continue  # written whole but never put in use: the pull was cut off
        kept = _open(state / name)
        if kept is not None:
            if name == pointed:
                return kept
            what = "which cards are in use was lost" if name == newest else "the newest were damaged"
            return replace(kept, note=f"{what}; the last good ones kept here are shown: pull again")
    if names or pointed is not None:
        raise Damaged("every kept bundle of this site is damaged", "Pull again.")
    return None


def mark_of(state: Path, kept: Kept | None) -> Mark:
    """The high-water mark: the file's, raised by what the kept bundle was confirmed at.

    Raises Damaged when the file cannot be read and no kept bundle stands in.
    """
    try:
        told = _mark_in(json.loads((state / "highwater.json").read_bytes()))
    except FileNotFoundError:
        told = Mark()
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        if kept is None:
            raise Damaged(
                "this site's record of what it has seen is damaged",
                "Begin anew in an empty state folder, with the root given by head office.",
            ) from None
        told = Mark()
    return raised(told, kept.confirmed.mark) if kept else told


def raised(mark: Mark, by: Mark) -> Mark:
    """Both marks in one: per role the higher number, in whichever order they are given.

    A role whose keys the newer root replaced counts only from that root on:
    whoever held the old key may have signed any number at all (TUF 1.0, 5.3.11).
    """
    older, newer = (mark, by) if mark.root <= by.root else (by, mark)
    timestamp, targets = newer.timestamp, newer.targets
    if newer.root == older.root or newer.timestamp_keys == older.timestamp_keys:
        timestamp = max(timestamp, older.timestamp)
    if newer.root == older.root or newer.targets_keys == older.targets_keys:
        targets = max(targets, older.targets)
    times = [time for time in (mark.seen, by.seen) if time is not None]
    return Mark(
        root=newer.root,
        timestamp=timestamp,
        targets=targets,
        timestamp_keys=newer.timestamp_keys,
        targets_keys=newer.targets_keys,
        seen=max(times, default=None),
    )


def pinned_root(state: Path) -> bytes | None:
    """The root given at the first pull, or None."""
    try:
        return (state / "pinned.root.json").read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _unwritable(error) from None


@contextmanager
def locked(state: Path) -> Iterator[None]:
    """Makes the folder if need be and holds it for one pull."""
    with ExitStack() as held:
        try:
            state.mkdir(parents=True, exist_ok=True)
            held.enter_context(durable.locked(state))
        except OSError as error:
            raise _unwritable(error) from None
        yield


def keep_mark(state: Path, mark: Mark) -> None:
    """Writes the high-water mark. Raises Stop when the disk says no."""
    try:
        durable.write(state / "highwater.json", canonical.canonical(_mark_out(mark)))
    except OSError as error:
        raise _unwritable(error) from None


def install(state: Path, fresh: Kept, root: bytes) -> str:
    """Makes `fresh` the kept bundle, in one step, and returns its generation's name.

    Order: pinned root, mark, generation, pointer. Killed before the pointer,
    the old bundle stands and the same bundle may be pulled again. `fresh` is
    given without a generation; old generations go last.
    """
    names = _generations(state)
    number = _number(names[-1]) + 1 if names else 1
    name = f"g-{number:06d}"
    files = {"bundle.json": fresh.bundle}
    if fresh.before is not None:
        files["before.json"] = fresh.before
    files |= {f"metadata/{path}": data for path, data in fresh.metadata.items()}
    files["confirmed.json"] = canonical.canonical(_confirmed_out(fresh.confirmed))
    try:
        if pinned_root(state) != root:
            durable.write(state / "pinned.root.json", root)
        durable.write(state / "highwater.json", canonical.canonical(_mark_out(fresh.confirmed.mark)))
        durable.write_folder(state / name, files)
        durable.write(state / "CURRENT", f"{name}\n".encode("ascii"))
    except OSError as error:
        raise _unwritable(error) from None
    _remove_old(state, name)
    return name


def _remove_old(state: Path, newest: str) -> None:
    stay = set(_generations(state)[-GENERATIONS:]) | {newest}
    for path in sorted(state.iterdir()):
        old = _GENERATION.fullmatch(path.name) and path.name not in stay
        if old or path.name.startswith(".new-g-"):
            shutil.rmtree(path, ignore_errors=True)


def _generations(state: Path) -> list[str]:
    if not state.is_dir():
        return []
    found = [path.name for path in state.iterdir() if _GENERATION.fullmatch(path.name)]
    return sorted(found, key=_number)


def _number(generation: str) -> int:
    return int(generation[2:])


def _pointed(state: Path) -> str | None:
    try:
        name = (state / "CURRENT").read_text("ascii").strip()
    except (OSError, ValueError):
        return None
    return name if _GENERATION.fullmatch(name) else None


def _open(folder: Path) -> Kept | None:
    """A generation, or None if anything in it is not what it claims to be."""
    try:
        confirmed = _confirmed_in(json.loads((folder / "confirmed.json").read_bytes()))
        bundle = (folder / "bundle.json").read_bytes()
    except (OSError, ValueError, TypeError, KeyError, RecursionError):
        return None
    if canonical.digest_of(bundle) != confirmed.bundle:
        return None
    metadata = {}
    for path in sorted((folder / "metadata").rglob("*.json")):
        try:
            metadata[path.relative_to(folder / "metadata").as_posix()] = path.read_bytes()
        except OSError:
            continue  # can be fetched again; the mark keeps what it would have proved
    return Kept(folder.name, bundle, confirmed, _before(folder, confirmed), metadata)


def _before(folder: Path, confirmed: Confirmed) -> bytes | None:
    if confirmed.before is None:
        return None
    try:
        data = (folder / "before.json").read_bytes()
    except OSError:
        return None
    return data if canonical.digest_of(data) == confirmed.before else None


def _confirmed_out(confirmed: Confirmed) -> dict[str, Any]:
    said = asdict(confirmed)
    said["mark"] = _mark_out(confirmed.mark)
    said["confirmed"] = confirmed.confirmed.strftime(_TIME)
    if confirmed.before_confirmed is not None:
        said["before_confirmed"] = confirmed.before_confirmed.strftime(_TIME)
    return said


def _confirmed_in(said: dict[str, Any]) -> Confirmed:
    before = said["before_confirmed"]
    return Confirmed(
        confirmed=_time(said["confirmed"]),
        site=_text(said["site"]),
        book=_text(said["book"]),
        main=_text(said["main"]),
        bundle=_text(said["bundle"]),
        mark=_mark_in(said["mark"]),
        before=None if said["before"] is None else _text(said["before"]),
        before_confirmed=None if before is None else _time(before),
        trust=None if said.get("trust") is None else _text(said["trust"]),
    )


def _mark_out(mark: Mark) -> dict[str, Any]:
    # Numbers as text: an attacker's version may be past what JSON keeps exactly.
    return {
        "root": str(mark.root),
        "timestamp": str(mark.timestamp),
        "targets": str(mark.targets),
        "timestamp_keys": list(mark.timestamp_keys),
        "targets_keys": list(mark.targets_keys),
        "seen": None if mark.seen is None else mark.seen.strftime(_TIME),
    }


def _mark_in(said: dict[str, Any]) -> Mark:
    return Mark(
        root=int(_text(said["root"])),
        timestamp=int(_text(said["timestamp"])),
        targets=int(_text(said["targets"])),
        timestamp_keys=tuple(_text(key) for key in said["timestamp_keys"]),
        targets_keys=tuple(_text(key) for key in said["targets_keys"]),
        seen=None if said["seen"] is None else _time(said["seen"]),
    )


def _time(text: str) -> datetime:
    if _STAMP.fullmatch(text) is None:
        raise ValueError("not a time as it is written here")
    return datetime.fromisoformat(text)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError("not text")
    return value


def _unwritable(error: OSError) -> Stop:
    return Stop(
        f"this site's folder cannot be used: {error.strerror or 'disk error'}",
        "Check its space and rights; the last verified cards still open.",
    )
