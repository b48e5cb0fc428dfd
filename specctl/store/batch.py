"""Objects by id from one `git cat-file --batch` child, each one re-hashed.

git prints what lies under an id without asking whether it hashes to that id;
here a mismatch, a missing object and a cut-off one are all `Damaged`. A read
that does not finish within its deadline ends the child.
"""

from __future__ import annotations

import hashlib
import os
import select
import subprocess
import time
from pathlib import Path

from specctl.errors import Damaged, Refused
from specctl.store.names import is_oid
from specctl.store.process import end, environment, git_command, missing_program

MOST_BYTES = 16 * 1024 * 1024
READ_DEADLINE = 10.0

_FSCK = "Run: git fsck --full --strict; then clone again from origin, or restore a backup."


def object_id(kind: str, content: bytes) -> str:
    """The id git gives to `content` as a `kind`: SHA-1 of header and content."""
    header = f"{kind} {len(content)}\0".encode()
    return hashlib.sha1(header + content, usedforsecurity=False).hexdigest()


class Batch:
    """One child for many reads; started at the first, started again after a failure."""

    def __init__(self, root: Path, deadline: float = READ_DEADLINE) -> None:
        self._root = root
        self._deadline = deadline
        self._child: subprocess.Popen[bytes] | None = None
        self._held = b""

    def close(self) -> None:
        """End the child. A later read starts another."""
        child, self._child, self._held = self._child, None, b""
        if child is not None:
            end(child, whole_session=True)

    def read(self, oid: str) -> tuple[str, bytes]:
        """Kind ("commit", "tree", "blob", "tag") and content of `oid`. Damaged, Refused."""
        if not is_oid(oid):
            raise Damaged(f"{oid!r} is not an object id")
        try:
            kind, content = self._ask(oid)
        except BaseException:
            self.close()  # whatever is left in the pipe belongs to nobody
            raise
        if object_id(kind, content) != oid:
            raise Damaged(f"the content stored under object {oid} is not its own", _FSCK)
        return kind, content

    def _ask(self, oid: str) -> tuple[str, bytes]:
        child = self._living()
        until = time.monotonic() + self._deadline
        assert child.stdin is not None
        try:
            child.stdin.write(oid.encode() + b"\n")
            child.stdin.flush()
        except OSError:
            raise Damaged(f"git gave up before object {oid} could be read", _FSCK) from None
        line = self._line(oid, until)
        parts = line.split(b" ")
        if len(parts) == 2 and parts[1] == b"missing":
            raise Damaged(f"object {oid} is missing", _FSCK)
        if len(parts) != 3 or parts[0] != oid.encode() or not parts[2].isdigit():
            raise Damaged(f"object {oid} cannot be read", _FSCK)
        size = int(parts[2])
        if size > MOST_BYTES:
            raise Refused(f"object {oid} is larger than {MOST_BYTES // 1024 // 1024} MiB", "No file of a book is.")
        self._fill(size + 1, oid, until)
        content, end_mark = self._held[:size], self._held[size : size + 1]
        self._held = self._held[size + 1 :]
        if end_mark != b"\n":
            raise Damaged(f"object {oid} was cut off", _FSCK)
        return parts[1].decode("ascii", "replace"), content

    def _line(self, oid: str, until: float) -> bytes:
        while b"\n" not in self._held:
            self._more(oid, until)
        line, self._held = self._held.split(b"\n", 1)
        return line

    def _fill(self, size: int, oid: str, until: float) -> None:
        chunks = [self._held]
        have = len(self._held)
        while have < size:
            self._held = b""
            self._more(oid, until)
            chunks.append(self._held)
            have += len(self._held)
        self._held = b"".join(chunks)

    def _more(self, oid: str, until: float) -> None:
        child = self._child
        assert child is not None and child.stdout is not None
        left = until - time.monotonic()
        fd = child.stdout.fileno()
        poll = select.poll()
        poll.register(fd, select.POLLIN | select.POLLHUP)
        if left <= 0 or not poll.poll(left * 1000):
            # git itself reads for ever on some cut-off objects.
            raise Damaged(f"object {oid} could not be read within {self._deadline:g} s", _FSCK)
        data = os.read(fd, 1 << 20)
        if not data:
            raise Damaged(f"object {oid} cannot be read: git gave up on it", _FSCK)
        self._held += data

    def _living(self) -> subprocess.Popen[bytes]:
        if self._child is None or self._child.poll() is not None:
            self.close()
            try:
                self._child = subprocess.Popen(
                    git_command(self._root, ["cat-file", "--batch"]),
                    stdin=subprocess.PIPE,
                    stdout=subprocess.PIPE,
                    stderr=subprocess.DEVNULL,
                    bufsize=-1,
                    env=environment(),
                    start_new_session=True,
                )
            except FileNotFoundError:
                raise missing_program("git") from None
        return self._child
