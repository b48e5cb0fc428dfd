"""Files written whole or not at all, and the lock around everything that writes.

Promises: after `write_atomic` returns, the new bytes survive a power failure;
before it returns, the old ones stand. One writer at a time holds `Lock`; while
it does, lock files that a killed git left behind are removed.
"""

from __future__ import annotations

import fcntl
import os
import tempfile
import time
from pathlib import Path
from types import TracebackType

from specctl.errors import LostRace, Stop
from specctl.store.process import plain

LOCK_WAIT = 30.0
_YOUNG = 2.0  # seconds during which a lock file is taken for a living command's
_UNKNOWN = 600.0  # the same, where running programs cannot be listed


def write_atomic(path: Path, data: bytes, *, mode: int = 0o644, folder_too: bool = True) -> None:
    """Replace `path` by `data`: temporary file beside it, sync, rename, sync of the folder.

    With `folder_too` False the caller syncs the folder once for many files.
    """
    path = Path(path)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(prefix=".specctl-", dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fchmod(file.fileno(), mode & ~_umask())
                os.fsync(file.fileno())
            os.replace(temporary, path)
        except BaseException:
            _forget(temporary)
            raise
        if folder_too:
            sync_folder(path.parent)
    except OSError as error:
        raise Stop(f"{path} could not be written: {plain(error.strerror or str(error))}", "Nothing was changed.") from None


def remove_durably(path: Path) -> None:
    """Remove a file if it is there, and sync its folder."""
    try:
        os.unlink(path)
    except FileNotFoundError:
        return
    except OSError as error:
        raise Stop(f"{path} could not be removed: {plain(error.strerror or str(error))}") from None
    sync_folder(Path(path).parent)


def sync_folder(folder: Path) -> None:
    """Make renames and removals in a folder survive a power failure."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class Lock:
    """The writers' lock of one repository: `specctl/lock` in its git folder.

    LostRace when another writer does not finish within `wait` seconds. The
    system frees it when its holder dies, so no lock of ours can be stale.
    """

    def __init__(self, git_dir: Path, *, wait: float = LOCK_WAIT) -> None:
        self._git_dir = Path(git_dir)
        self._wait = wait
        self._handle: int | None = None

    def __enter__(self) -> Lock:
        path = self._git_dir / "specctl" / "lock"
        try:
            path.parent.mkdir(exist_ok=True)
            handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as error:
            raise Stop(f"{path} cannot be opened: {plain(error.strerror or str(error))}") from None
        until = time.monotonic() + self._wait
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() >= until:
                    os.close(handle)
                    raise LostRace(
                        "another command is writing to this book",
                        "Wait for it to finish, then run the command again.",
                    ) from None
                time.sleep(0.02)
            except BaseException:
                os.close(handle)
                raise
        self._handle = handle
        remove_stale_locks(self._git_dir)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._handle is not None:
            os.close(self._handle)  # closing frees the flock
            self._handle = None


def remove_stale_locks(git_dir: Path) -> tuple[Path, ...]:
    """Remove git's own lock files that no living git can own; those removed.

    Only under `Lock`. A lock stays while it is young, or while any git runs
    that works in this repository (or whose place we may not see).
    """
    stale = [p for p in git_locks(git_dir) if age_of(p) >= _YOUNG]
    if not stale:
        return ()
    living = git_is_running(git_dir)
    removed = []
    for path in stale:
        if living is True or (living is None and age_of(path) < _UNKNOWN):
            continue
        _forget(str(path))
        removed.append(path)
    return tuple(removed)


def git_locks(git_dir: Path) -> list[Path]:
    fixed = [git_dir / name for name in ("index.lock", "HEAD.lock", "packed-refs.lock")]
    refs = [Path(folder) / n for folder, _, names in os.walk(git_dir / "refs") for n in names if n.endswith(".lock")]
    indexes = list((git_dir / "worktrees").glob("*/index.lock"))
    return [p for p in [*fixed, *refs, *indexes] if p.is_file()]


def age_of(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except OSError:
        return 0.0


def git_is_running(git_dir: Path) -> bool | None:
    """Whether a git of anybody works here; None where the system does not tell."""
    processes = Path("/proc")
    if not (processes / "self" / "comm").exists():
        return None
    here = git_dir.resolve()
    top = here.parent if here.name == ".git" else here
    for entry in processes.iterdir():
        if not entry.name.isdigit():
            continue
        try:
            name = (entry / "comm").read_text().strip()
            if name != "git" and not name.startswith("git-"):
                continue
            words = (entry / "cmdline").read_bytes()
            if b"\0cat-file\0" in words:
                continue  # a reader, ours among them, takes no locks
            place = Path(os.readlink(entry / "cwd"))
        except (FileNotFoundError, ProcessLookupError):
            continue
        except OSError:
            return True
        if place.is_relative_to(top) or os.fsencode(str(top)) in words:
            return True
    return False


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _forget(path: str) -> None:
    try:
        os.unlink(path)
    except OSError:
        pass
