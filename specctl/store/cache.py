"""Bytes worth keeping between runs, by (namespace, key).

A cache may only make things faster: what cannot be read, or does not carry its
own SHA-256, is a miss; what cannot be written is not kept; nothing here stops
a command. Keys are hex (a blob id, a digest), so a value never grows old.
"""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path
from typing import Any

_NAMESPACE = re.compile(r"[a-z0-9][a-z0-9.-]*")
_KEY = re.compile(r"[0-9a-f]{8,128}")
_HEAD = hashlib.sha256().digest_size


class Cache:
    """A folder of cached values."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        self.memory: dict[tuple[str, str], Any] = {}
        """Values this process has read already, for whoever asks often; never written."""
        self._off = False

    @classmethod
    def of_repository(cls, git_dir: Path) -> Cache:
        """The cache of a book in git: inside its git folder, shared with nobody."""
        return cls(Path(git_dir) / "specctl" / "cache")

    @classmethod
    def of_user(cls) -> Cache:
        """The cache for plain folders, in the user's own cache folder."""
        base = os.environ.get("XDG_CACHE_HOME", "")
        if not os.path.isabs(base):
            base = os.path.join(os.path.expanduser("~"), ".cache")
        return cls(Path(base) / "specctl")

    def get(self, namespace: str, key: str) -> bytes | None:
        """The value, or None."""
        try:
            stored = self._path(namespace, key).read_bytes()
        except OSError:
            return None
        data = stored[_HEAD:]
        return data if hashlib.sha256(data).digest() == stored[:_HEAD] else None

    def put(self, namespace: str, key: str, data: bytes) -> None:
        """Keep a value if that is possible."""
        path = self._path(namespace, key)
        if self._off:
            return
        import tempfile  # brings a random generator along; reading needs neither

        temporary = None
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            handle, temporary = tempfile.mkstemp(prefix=".new-", dir=path.parent)
            with os.fdopen(handle, "wb") as file:
                file.write(hashlib.sha256(data).digest() + data)
            os.replace(temporary, path)
        except OSError:
            self._off = True
            if temporary is not None:
                try:
                    os.unlink(temporary)
                except OSError:
                    pass

    def _path(self, namespace: str, key: str) -> Path:
        if _NAMESPACE.fullmatch(namespace) is None or _KEY.fullmatch(key) is None:
            raise ValueError(f"not a cache key: {namespace!r}, {key!r}")
        return self.folder / namespace / key[:2] / key[2:]
