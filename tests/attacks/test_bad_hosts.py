"""A host that holds good files and serves them ill (TUF 1.0, 1.5.2): malicious mirror, endless data, slow retrieval; folder and http.

Time is a clock that moves on as the host drips or is looked at; only silence is waited for, a third of a second.
The web host is a thread on the loopback.
"""

from __future__ import annotations

import http.server
import threading
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hostile import GOOD, LATER, Case, Hostile, Spoil, attack

from specctl.site import client
from specctl.site.fetch import Deadline

FILES = ("timestamp", "snapshot", "targets", "bundle")
LONGER = "is longer than it may be"


def path_of(site: Hostile, what: str) -> str:
    found = site.target(LATER) if what == "bundle" else site.file(what)
    return found.relative_to(site.folder).as_posix()


def serves(what: str, change: Callable[[bytes], bytes | None]) -> Spoil:
    """One file of the newest publication is served otherwise; None: not at all."""

    def spoil(site: Hostile) -> None:
        site.later()
        path = site.folder / path_of(site, what)
        data = change(path.read_bytes())
        path.unlink()
        if data is not None:
            path.write_bytes(data)

    return spoil


GARBAGE = {
    "an error page": b"<html><h1>Welcome to the harbour wifi</h1></html>",
    "nothing": b"",
    "bytes that are no text": b"\xff\xfe\x00" * 40,
    "deep nesting": b"[" * 9000,
}
SAID = {"timestamp": "timestamp.json", "snapshot": "3000.snapshot.json", "targets": "3000.targets.json", "bundle": "quay-steps.json"}
MIRROR = {
    **{f"{what} not there": Case(serves(what, lambda d: None), "is not there") for what in FILES},
    **{f"{what} cut in half": Case(serves(what, lambda d: d[: len(d) // 2]), SAID[what]) for what in FILES},
    **{
        f"{what} is {name}": Case(serves(what, lambda d, junk=junk: junk), SAID[what])  # type: ignore[misc]
        for what in FILES
        for name, junk in GARBAGE.items()
        if what in ("timestamp", "bundle")
    },
    "the folder is gone": Case(lambda site: site.folder.rename(site.place / "gone") and None, "there is no folder"),
    "a second root that is none": Case(lambda site: bad_root(site, b"{}"), "2.root.json"),
    "a second root cut in half": Case(lambda site: bad_root(site, site.repo.new_root()[:900]), "2.root.json"),
}


def bad_root(site: Hostile, data: bytes) -> None:
    site.repo.files["metadata/2.root.json"] = data
    site.repo.serve()


def long_root(site: Hostile) -> None:
    bad_root(site, site.repo.new_root() + b" " * 70_000)


ENDLESS = {
    "root": Case(long_root, LONGER),
    **{what: Case(serves(what, lambda d: d + b" " * 2_000_000), LONGER) for what in FILES},
    "one byte more of the bundle": Case(serves("bundle", lambda d: d + b" "), LONGER),
}


class Host(http.server.BaseHTTPRequestHandler):
    """Serves `server.folder`; for `server.path` it does what `server.mood` says."""

    server: Web

    def log_message(self, *_args: object) -> None:
        pass

    def do_GET(self) -> None:
        path = self.server.folder / self.path.lstrip("/")
        mood = self.server.mood if self.path.lstrip("/") == self.server.path else ""
        if mood == "500":
            self.send_error(500)
        elif mood == "404" or not path.is_file():
            self.send_error(404)
        elif mood == "stall":
            self.server.over.wait(20)
        else:
            self.begin(len(path.read_bytes()) if mood in ("cut", "drip") else None)
            self.fill(path.read_bytes(), mood)

    def begin(self, length: int | None) -> None:
        self.send_response(200)
        if length is not None:
            self.send_header("Content-Length", str(length))
        self.end_headers()

    def fill(self, data: bytes, mood: str) -> None:
        if mood == "garbage":
            data = GARBAGE["an error page"]
        if mood == "cut":
            data = data[: len(data) // 2]
        if mood == "drip":
            for at in range(len(data)):
                self.server.seconds += 1.0
                self.wfile.write(data[at : at + 1])
            return
        self.wfile.write(data)
        if mood == "endless":
            for _ in range(2000):
                self.wfile.write(b" " * 1000)

    def handle(self) -> None:
        try:
            super().handle()
        except (BrokenPipeError, ConnectionResetError):
            pass


class Web(http.server.ThreadingHTTPServer):
    """The host, and the time that has passed while it dripped."""

    daemon_threads = True
    path = mood = ""
    seconds = 0.0
    folder: Path
    over: threading.Event

    def aim(self, site: Hostile, what: str, mood: str) -> None:
        self.folder, self.path, self.mood = site.folder, path_of(site, what), mood


@pytest.fixture(scope="module")
def web() -> Iterator[Web]:
    server = Web(("127.0.0.1", 0), Host)
    server.over = threading.Event()
    threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True).start()
    yield server
    server.over.set()
    server.shutdown()
    server.server_close()


def over_http(site: Hostile, web: Web, case: tuple[str, str, str], monkeypatch: pytest.MonkeyPatch) -> None:
    what, mood, words = case
    site.address = f"http://127.0.0.1:{web.server_address[1]}"

    def spoil(site: Hostile) -> None:
        site.later()
        web.aim(site, what, mood)
        if mood == "drip":
            monkeypatch.setattr(client, "Deadline", lambda seconds: Deadline(seconds, lambda: web.seconds))

    def mend(site: Hostile) -> None:
        web.mood = ""
        monkeypatch.setattr(client, "Deadline", Deadline)
        site.honest()

    attack(site, Case(spoil, words, mend=mend))


def hurried(monkeypatch: pytest.MonkeyPatch, tick: float) -> None:
    """A pull's deadline by a clock that moves on `tick` seconds at each look."""
    looked = [0.0]

    def clock() -> float:
        looked[0] += tick
        return looked[0]

    monkeypatch.setattr(client, "Deadline", lambda seconds: Deadline(seconds, clock))


HTTP_MIRROR = {
    f"{what} {mood}": (what, mood, words)
    for what in FILES
    for mood, words in (
        ("404", "is not there"),
        ("500", "the host answered 500"),
        ("cut", "broke off"),
        ("garbage", SAID[what]),
    )
}
HTTP_ENDLESS = {what: (what, "endless", LONGER) for what in FILES}
HTTP_DRIP = {what: (what, "drip", "did not answer within 60 s") for what in FILES}


@pytest.mark.parametrize("name", MIRROR)
def test_malicious_mirror(site: Hostile, name: str) -> None:
    attack(site, MIRROR[name])


@pytest.mark.parametrize("name", HTTP_MIRROR)
def test_malicious_mirror_over_http(site: Hostile, web: Web, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    over_http(site, web, HTTP_MIRROR[name], monkeypatch)


@pytest.mark.parametrize("name", ENDLESS)
def test_endless_data(site: Hostile, name: str) -> None:
    attack(site, ENDLESS[name])


@pytest.mark.parametrize("name", HTTP_ENDLESS)
def test_endless_data_over_http(site: Hostile, web: Web, name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    over_http(site, web, HTTP_ENDLESS[name], monkeypatch)


@pytest.mark.parametrize("what", FILES)
def test_slow_retrieval_byte_by_byte(site: Hostile, web: Web, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each file dripped; by the clock a second passes before each byte, and each file has more than sixty."""
    over_http(site, web, HTTP_DRIP[what], monkeypatch)


@pytest.mark.parametrize("what", FILES)
def test_slow_retrieval_by_silence(site: Hostile, web: Web, what: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The host takes the question and never answers; of its minute three tenths of a second are left."""
    site.address = f"http://127.0.0.1:{web.server_address[1]}"

    def spoil(site: Hostile) -> None:
        site.later()
        web.aim(site, what, "stall")
        monkeypatch.setattr(client, "Deadline", lambda seconds: _nearly_over(seconds))

    def mend(site: Hostile) -> None:
        web.mood = ""
        monkeypatch.setattr(client, "Deadline", Deadline)
        site.honest()

    attack(site, Case(spoil, "did not answer within 60 s", mend=mend))


def _nearly_over(seconds: float) -> Deadline:
    short = Deadline(0.3)
    short.seconds = seconds
    return short


def test_slow_retrieval_from_a_share(site: Hostile, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each read of the share takes 20 s by the clock."""

    def spoil(site: Hostile) -> None:
        site.later()
        hurried(monkeypatch, 20.0)

    def mend(site: Hostile) -> None:
        monkeypatch.setattr(client, "Deadline", Deadline)
        site.honest()

    attack(site, Case(spoil, "did not answer within 60 s", mend=mend))


def test_the_same_host_serves_well(site: Hostile, web: Web) -> None:
    site.address = f"http://127.0.0.1:{web.server_address[1]}"
    web.folder = site.folder
    site.pull()
    assert site.card() == "31" and GOOD in site.kept().values()


@pytest.mark.parametrize("error", [ValueError, KeyError, TypeError, AttributeError, OverflowError, RecursionError])
def test_malicious_mirror_that_trips_the_library(site: Hostile, error: type[Exception], monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the library raises over a stranger's bytes is a refusal: no such bytes are known, so it is made to."""
    from tuf.ngclient import Updater

    kept = Updater.refresh

    def trip(self: Updater) -> None:
        raise error("over these bytes")

    def spoil(site: Hostile) -> None:
        site.later()
        monkeypatch.setattr(Updater, "refresh", trip)

    def mend(site: Hostile) -> None:
        monkeypatch.setattr(Updater, "refresh", kept)
        site.honest()

    attack(site, Case(spoil, "cannot be read", mend=mend))
