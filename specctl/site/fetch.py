"""Reads files of a published folder from a plain folder or a web address, within one deadline.

Standard library only, and no trust: the bytes are a stranger's until they are
verified. One deadline covers everything from the first look-up to the last
byte, so neither a stalled nor a dripping host holds a counter up. Redirects
stay on the same scheme, host and port. No proxy, no credentials, no cookies.
"""

from __future__ import annotations

import http.client
import os
import re
import socket
import ssl
import stat
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Protocol
from urllib.parse import SplitResult, urljoin, urlsplit

from specctl.errors import Unreachable, Usage

_PATH = re.compile(r"(?:metadata|targets)/[0-9a-z][0-9a-z.-]*\.json")
_CHUNK = 64 * 1024
_REDIRECTS = 3


class Absent(Exception):
    """The host answered that it has no such file."""


class Source(Protocol):
    """A place that has files of a published folder."""

    def read(self, path: str) -> Iterator[bytes]:
        """The file's bytes in chunks. Raises Absent, or Unreachable."""
        ...


class Deadline:
    """A point in time shared by everything one pull does."""

    def __init__(self, seconds: float, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._end = clock() + seconds
        self.seconds = seconds

    def left(self) -> float:
        """Seconds left. Raises Unreachable when none are."""
        left = self._end - self._clock()
        if left <= 0:
            raise Unreachable(
                f"the published folder did not answer within {self.seconds:g} s",
                "Try again, or pull from a copy of the folder.",
            )
        return left


def source_of(text: str, deadline: Deadline) -> Source:
    """The source that `text` names: an http(s) address, or a folder. Raises Usage."""
    if "://" not in text:
        return _Folder(Path(text), deadline)
    try:
        parts = urlsplit(text)
        port_is_fine = parts.port is None or parts.port > 0
    except ValueError:
        port_is_fine = False
    if not port_is_fine or parts.scheme not in ("http", "https") or not parts.hostname:
        raise Usage("this is no address to pull from", "Give http://, https:// or a folder.")
    if parts.username is not None or parts.query or parts.fragment:
        raise Usage(
            "an address to pull from has no user, password, query or fragment",
            "Give the plain address; bundles hold nothing secret.",
        )
    return _Web(text.rstrip("/") + "/", deadline)


class _Folder:
    def __init__(self, base: Path, deadline: Deadline) -> None:
        self._base = base
        self._deadline = deadline

    def read(self, path: str) -> Iterator[bytes]:
        if not _PATH.fullmatch(path):
            raise Absent(path)
        if not self._base.is_dir():
            raise Unreachable(
                f"there is no folder {self._base}", "Plug the stick in, or mount the share."
            )
        try:
            # Without O_NONBLOCK a named pipe on a stick would hold the open for ever.
            flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
            handle = os.open(self._base / path, flags)
            with os.fdopen(handle, "rb") as file:
                if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                    raise Absent(path)
                while chunk := file.read(_CHUNK):
                    self._deadline.left()
                    yield chunk
        except (FileNotFoundError, NotADirectoryError):
            raise Absent(path) from None
        except OSError as error:
            raise Unreachable(
                f"could not read {path}: {error.strerror or 'read error'}",
                "Check the share or the stick.",
            ) from None


class _Web:
    def __init__(self, base: str, deadline: Deadline) -> None:
        self._base = base
        self._deadline = deadline

    def read(self, path: str) -> Iterator[bytes]:
        if not _PATH.fullmatch(path):
            raise Absent(path)
        url = urljoin(self._base, path)
        try:
            for _ in range(_REDIRECTS + 1):
                with (
                    closing(self._connection(urlsplit(url))) as connection,
                    closing(self._ask(connection, url)) as answer,
                ):
                    if answer.status not in (301, 302, 303, 307, 308):
                        yield from self._body(answer, path)
                        return
                    url = _followed(url, answer.headers.get("Location", ""))
        except (OSError, http.client.HTTPException, ValueError) as error:
            self._deadline.left()
            raise Unreachable(
                f"could not fetch {path}: {type(error).__name__}",
                "Check the connection, then pull again.",
            ) from None
        raise Unreachable("the host redirects without end", "Check the address.")

    def _ask(self, connection: http.client.HTTPConnection, url: str) -> http.client.HTTPResponse:
        headers = {"Accept-Encoding": "identity", "Connection": "close", "User-Agent": "specctl"}
        connection.request("GET", urlsplit(url).path, headers=headers)
        return connection.getresponse()

    def _body(self, answer: http.client.HTTPResponse, path: str) -> Iterator[bytes]:
        if answer.status in (403, 404, 410):  # buckets say 403 for a file they lack
            raise Absent(path)
        if answer.status != 200:
            raise Unreachable(f"the host answered {answer.status} for {path}", "Try again later.")
        while chunk := answer.read1(_CHUNK):
            self._deadline.left()
            yield chunk
        if answer.length:  # the host promised more than it sent
            raise Unreachable(f"the answer for {path} broke off", "Pull again.")

    def _connection(self, parts: SplitResult) -> http.client.HTTPConnection:
        host = parts.hostname or ""
        port = parts.port or (443 if parts.scheme == "https" else 80)
        plain = self._socket(host, port)
        connection = http.client.HTTPConnection(parts.netloc)
        if parts.scheme == "https":
            context = ssl.create_default_context()
            context.sslsocket_class = _timed(ssl.SSLSocket, self._deadline)
            plain.settimeout(self._deadline.left())
            try:
                connection.sock = context.wrap_socket(plain, server_hostname=host)
            except BaseException:
                plain.close()
                raise
        else:
            connection.sock = plain
        return connection

    def _socket(self, host: str, port: int) -> socket.socket:
        kind = _timed(socket.socket, self._deadline)
        failed: OSError = OSError("no address")
        for family, type_, proto, _, address in self._addresses(host, port):
            tried = kind(family, type_, proto)
            try:
                tried.settimeout(self._deadline.left())
                tried.connect(address)
                return tried
            except OSError as error:
                failed = error
                tried.close()
            except BaseException:
                tried.close()
                raise
        raise failed

    def _addresses(self, host: str, port: int) -> list[tuple]:
        # The system's resolver knows no deadline, so it is asked from a thread
        # that may be left behind.
        found: list[tuple] = []

        def ask() -> None:
            try:
                found.extend(socket.getaddrinfo(host, port, type=socket.SOCK_STREAM))
            except (OSError, UnicodeError):
                return

        asker = threading.Thread(target=ask, daemon=True)
        asker.start()
        asker.join(self._deadline.left())
        self._deadline.left()
        if not found:
            raise Unreachable(f"no host is known as {host}", "Check the address and the network.")
        return list(found)


def _timed(base: type, deadline: Deadline) -> type:
    """A socket class whose every read and write gets only what is left of the deadline.

    A timeout set once would start anew with each byte a slow host drips.
    """

    class Timed(base):
        def recv_into(self, *args, **kwargs):
            self.settimeout(deadline.left())
            return super().recv_into(*args, **kwargs)

        def sendall(self, *args, **kwargs):
            self.settimeout(deadline.left())
            return super().sendall(*args, **kwargs)

    return Timed


def _followed(url: str, location: str) -> str:
    there = urljoin(url, location)
    old, new = urlsplit(url), urlsplit(there)
    if not location or (old.scheme, old.netloc) != (new.scheme, new.netloc):
        raise Unreachable(
            f"{old.hostname} redirects to another host; that was not followed",
            "If the folder has moved, pull from its new address.",
        )
    return new._replace(fragment="").geturl()
