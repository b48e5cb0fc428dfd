"""Fetches one named file of a published folder and proves who signed it, how new it is.

Wraps the client of the tuf library, the only place that reads with it. Works
on a copy of the metadata it is given and hands back new metadata as bytes:
what is kept, and when, is the caller's. Its time is the caller's time.

Promises: nothing unverified comes back, no exception of a library gets out,
and every refusal says in plain words what was refused. tuf is imported late.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from specctl.errors import Stop, Unreachable, Untrusted
from specctl.site.bundle import CAP
from specctl.site.fetch import Absent, Deadline, Source, source_of

if TYPE_CHECKING:
    from tuf.ngclient import FetcherInterface, Updater

DEADLINE = 60.0
KEPT_NAME = re.compile(r"(?:timestamp|snapshot|targets|root_history/[0-9]+\.root)\.json")

_ASK = "Ask head office; until it is settled the last verified cards hold."


@dataclass(frozen=True, slots=True)
class Ask:
    """What to fetch: `metadata` is a kept copy by file name, `seconds` the total deadline."""

    source: str
    name: str
    now: datetime
    pinned_root: bytes
    metadata: Mapping[str, bytes] = field(default_factory=dict)
    seconds: float = DEADLINE


@dataclass(frozen=True, slots=True)
class Seen:
    """The numbers of what was verified, and the key ids that may sign each.

    Zero where a role was not reached.
    """

    root: int
    timestamp: int = 0
    targets: int = 0
    timestamp_keys: tuple[str, ...] = ()
    targets_keys: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fetched:
    """Verified bytes, the metadata that proves them, and when each role expires (UTC)."""

    data: bytes
    seen: Seen
    metadata: Mapping[str, bytes]
    expires: Mapping[str, datetime]


@dataclass(frozen=True, slots=True)
class NotFetched:
    """Why nothing came; `seen` is what had been verified before, None before any root."""

    why: Stop
    seen: Seen | None


def fetch_bundle(ask: Ask) -> Fetched | NotFetched:
    """Fetches and verifies `ask.name`. Raises Usage for a source that is no address."""
    fetcher = _fetcher(source_of(ask.source, Deadline(ask.seconds)))
    try:
        with tempfile.TemporaryDirectory(prefix="specctl-") as folder:
            return _fetch(ask, Path(folder), fetcher)
    except OSError as error:
        why = Stop(
            f"could not write while fetching: {error.strerror or 'write error'}",
            "Check the space on this machine's disk.",
        )
        return NotFetched(why, None)


def _fetch(ask: Ask, work: Path, fetcher: Any) -> Fetched | NotFetched:
    from tuf.api.exceptions import DownloadError, RepositoryError

    for name, data in ask.metadata.items():
        if KEPT_NAME.fullmatch(name):
            path = work / "metadata" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
    (work / "metadata").mkdir(exist_ok=True)
    updater = None
    try:
        updater = _updater(ask, work, fetcher)
        updater.refresh()
        found = updater.get_targetinfo(ask.name)
        if found is None:
            raise Untrusted(f"the published folder holds no {ask.name} for this site", _ASK)
        if found.length > CAP:
            raise Untrusted(f"{ask.name} is said to be {found.length} bytes, over the cap", _ASK)
        path = work / ask.name
        updater.download_target(found, str(path))
        data = path.read_bytes()
    except (Untrusted, Unreachable) as error:
        return NotFetched(error, _seen(updater))
    except (RepositoryError, DownloadError) as error:
        return NotFetched(_in_words(error, updater, fetcher.last, ask), _seen(updater))
    except (ArithmeticError, AttributeError, LookupError, RecursionError, TypeError, ValueError):
        # Only tuf runs above, on a stranger's bytes: whatever it trips over is theirs.
        return NotFetched(Untrusted(f"{fetcher.last} cannot be read", _ASK), _seen(updater))
    trusted = updater._trusted_set
    roles = ("root", "timestamp", "snapshot", "targets")
    return Fetched(
        data=data,
        seen=_seen(updater) or Seen(0),
        metadata=_kept(work / "metadata"),
        expires={role: trusted[role].expires for role in roles},
    )


def _updater(ask: Ask, work: Path, fetcher: FetcherInterface) -> Updater:
    """The library's client, with its clock set to ours.

    tuf reads the system clock once, into an attribute of the trusted set that
    each Updater owns, and has no parameter for it; it is set on this one
    instance before anything expires against it. Nothing of the library itself
    is changed.
    """
    from tuf.ngclient import Updater, UpdaterConfig

    updater = Updater(
        metadata_dir=str(work / "metadata"),
        metadata_base_url="metadata/",
        target_base_url="targets/",
        fetcher=fetcher,
        config=UpdaterConfig(
            max_root_rotations=64,
            max_delegations=0,  # our folders delegate to nobody
            root_max_length=64 * 1024,
            timestamp_max_length=16 * 1024,
            snapshot_max_length=64 * 1024,
            targets_max_length=1024 * 1024,
        ),
        bootstrap=ask.pinned_root,
    )
    updater._trusted_set.reference_time = ask.now
    return updater


def _fetcher(source: Source) -> Any:
    from tuf.api.exceptions import DownloadHTTPError
    from tuf.ngclient import FetcherInterface

    class Fetcher(FetcherInterface):
        last = "the pinned root"

        def _fetch(self, url: str) -> Iterator[bytes]:
            self.last = url
            try:
                yield from source.read(url)
            except Absent:
                raise DownloadHTTPError(f"no {url}", 404) from None

    return Fetcher()


def _seen(updater: Updater | None) -> Seen | None:
    """What the client had verified when it ended, an expired timestamp included."""
    if updater is None:
        return None
    trusted = updater._trusted_set
    root = trusted.root
    return Seen(
        root=root.version,
        timestamp=trusted.timestamp.version if "timestamp" in trusted._trusted_set else 0,
        targets=trusted.targets.version if "targets" in trusted._trusted_set else 0,
        timestamp_keys=tuple(sorted(root.roles["timestamp"].keyids)),
        targets_keys=tuple(sorted(root.roles["targets"].keyids)),
    )


def _kept(folder: Path) -> dict[str, bytes]:
    found = {}
    for path in sorted(folder.rglob("*.json")):
        name = path.relative_to(folder).as_posix()
        if KEPT_NAME.fullmatch(name):
            found[name] = path.read_bytes()
    return found


def _in_words(error: Exception, updater: Updater | None, last: str, ask: Ask) -> Stop:
    from tuf.api import exceptions as tuf

    # From the most special to the most general; the first that fits speaks.
    if isinstance(error, tuf.ExpiredMetadataError):
        return Untrusted(
            f"the published folder is too old to trust: {_expired(updater, ask.now)}",
            "Head office must publish again; check this machine's date too.",
        )
    if isinstance(error, tuf.UnsignedMetadataError):
        return Untrusted(f"{last} is signed by an unknown key, or by too few of the keys", _ASK)
    if isinstance(error, tuf.BadVersionNumberError):
        if last.endswith("timestamp.json"):
            what = "the folder is older than what this site has already seen"
        elif ".root." in last:
            what = f"{last} is not the root that follows the one before"
        else:
            what = f"{last} belongs to another publication than the rest, or an older one"
        return Untrusted(what, _ASK)
    if isinstance(error, tuf.LengthOrHashMismatchError):
        return Untrusted(f"{last} is not the file that was signed", _ASK)
    if isinstance(error, tuf.DownloadLengthMismatchError):
        return Untrusted(f"{last} is longer than it may be", _ASK)
    if isinstance(error, tuf.DownloadHTTPError):
        return Unreachable(
            f"{last} is not there", "Check the address; if it is right, pull again in a minute."
        )
    if isinstance(error, tuf.DownloadError):
        return Unreachable(f"{last} could not be fetched", "Check the connection, then try again.")
    if updater is None:
        return Untrusted("the pinned root is no root of a published folder", _ASK)
    return Untrusted(f"{last} is not well made", _ASK)


def _expired(updater: Updater | None, now: datetime) -> str:
    trusted = updater._trusted_set if updater else {}
    for role in ("root", "timestamp", "snapshot"):
        if role in getattr(trusted, "_trusted_set", {}) and trusted[role].is_expired(now):
            return f"its {role} expired on {trusted[role].expires:%Y-%m-%d at %H:%M} UTC"
    return "its list of files has expired"
