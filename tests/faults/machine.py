"""Commands run in a process whose file-changing calls can be made to fail, one at a time.

One server process has everything imported and forks for each run, so that a run
costs what the command costs. The server's C library is fronted by `shim.c`,
which counts the calls of a command and all its children in one shared page and
fails the one it was told to. Where there is no C compiler the tests skip, and
say so.
"""

from __future__ import annotations

import json
import mmap
import os
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

COUNT, KILL, FULL_ONCE, FULL, SYNC_FAILS = range(5)
HOWS = {"kill": KILL, "disk full once": FULL_ONCE, "disk full for ever": FULL, "sync fails": SYNC_FAILS}
KINDS = ("none", "open", "write", "rename", "link", "unlink", "mkdir", "rmdir", "truncate", "sync", "symlink")
_PAGE = 8 * (8 + 400)
_HERE = Path(__file__).resolve().parent


def why_not() -> str | None:
    """Why faults cannot be made here, or None."""
    if not sys.platform.startswith("linux"):
        return "faults are made by preloading a library, which needs Linux"
    if shutil.which("cc") is None:
        return "there is no C compiler (cc) to build tests/faults/shim.c"
    return None


@dataclass(frozen=True)
class Ran:
    """How a run ended: its exit code (None: killed), its words, how many calls it made, and the kind that failed."""

    code: int | None
    out: str
    err: str
    calls: int
    hit: str


class Machine:
    """The server and its page. `run` is one command; a context manager ends the server."""

    def __init__(self, folder: Path) -> None:
        self._page = folder / "page"
        self._page.write_bytes(bytes(_PAGE))
        library = folder / "shim.so"
        subprocess.run(
            ["cc", "-O1", "-shared", "-fPIC", "-o", str(library), str(_HERE / "shim.c"), "-ldl", "-lpthread"],
            check=True, capture_output=True,
        )  # fmt: skip
        # A home of its own and no settings of this machine: the same calls everywhere.
        env = {k: v for k, v in os.environ.items() if not k.startswith(("GIT_", "SPECCTL_", "SSH_AUTH"))}
        env |= {
            "LD_PRELOAD": str(library), "SPECCTL_TEST_FAULTS": str(self._page), "PYTHONDONTWRITEBYTECODE": "1",
            "HOME": str(folder), "GIT_CONFIG_GLOBAL": os.devnull, "GIT_CONFIG_NOSYSTEM": "1", "TMPDIR": str(folder),
        }  # fmt: skip
        self._server = subprocess.Popen(
            [sys.executable, str(Path(__file__).resolve()), str(self._page)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=env, text=True,
        )  # fmt: skip

    @property
    def log(self) -> Path:
        """Where a logged run writes its calls (see `shim.c`)."""
        return Path(f"{self._page}.log")

    def run(self, words: list[str], now: str, *, at: int = 0, how: int = COUNT, log: bool = False) -> Ran:
        assert self._server.stdin and self._server.stdout
        if log:
            self.log.unlink(missing_ok=True)
        self._server.stdin.write(json.dumps({"words": words, "now": now, "at": at, "how": how, "log": log}) + "\n")
        self._server.stdin.flush()
        answer: dict[str, Any] = json.loads(self._server.stdout.readline())
        assert "Traceback" not in answer["err"], answer["err"]
        return Ran(**{**answer, "hit": KINDS[answer["hit"]]})

    def __enter__(self) -> Machine:
        return self

    def __exit__(self, *what: object) -> None:
        assert self._server.stdin
        self._server.stdin.close()
        self._server.wait(10)


def _serve(page_path: str) -> None:
    import importlib
    import pkgutil

    import specctl
    from specctl.cli.main import main  # noqa: F401  imported before the first fork

    for module in pkgutil.walk_packages(specctl.__path__, "specctl."):
        if not module.name.endswith("__main__"):
            importlib.import_module(module.name)
    handle = os.open(page_path, os.O_RDWR)
    page = mmap.mmap(handle, _PAGE)
    for line in sys.stdin:
        wish = json.loads(line)
        reader, writer = os.pipe()
        page[:64] = struct.pack("=8q", wish["at"], wish["how"], 0, 0, 0, int(wish["log"]), 0, 0)
        child = os.fork()
        if child == 0:
            os.close(reader)
            _one(wish, page, writer)
        os.close(writer)
        with os.fdopen(reader, "rb") as pipe:
            said = pipe.read()
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        page[32:40] = struct.pack("=q", 0)
        calls, hit = struct.unpack("=2q", page[16:32])
        words = json.loads(said) if said else {"out": "", "err": ""}
        answer = {"code": None if code < 0 else code, "calls": calls, "hit": hit, **words}
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


def _one(wish: dict[str, Any], page: mmap.mmap, writer: int) -> None:
    import io

    from specctl.cli.main import main

    code = 99
    try:
        os.environ["SPECCTL_NOW"] = wish["now"]
        sys.stdin = io.StringIO()
        sys.stdout, sys.stderr = io.StringIO(), io.StringIO()
        page[32:40] = struct.pack("=q", 1)
        code = main(wish["words"])
        page[32:40] = struct.pack("=q", 0)
        with os.fdopen(writer, "wb") as pipe:
            pipe.write(json.dumps({"out": sys.stdout.getvalue(), "err": sys.stderr.getvalue()}).encode())
    finally:
        os._exit(code)


if __name__ == "__main__":
    _serve(sys.argv[1])
