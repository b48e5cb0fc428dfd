"""Runs git and ssh-keygen, and nothing else, under a deadline.

Promises: never a shell; an environment in which nothing set outside points git
at another repository, another object store or a prompt; a child that outlives
its deadline is ended together with what it started; what a child says is made
printable before it reaches a message. What a command means is left to callers.
"""

from __future__ import annotations

import os
import signal
import subprocess
import unicodedata
from dataclasses import dataclass
from pathlib import Path
from typing import Mapping, Sequence

from specctl.errors import Damaged, LostRace, Refused, Stop, Unreachable

LOCAL_DEADLINE = 10.0
NETWORK_DEADLINE = 60.0
QUIET_SSH = "-oBatchMode=yes -oConnectTimeout=15"
SIGNING_DEADLINE = 120.0  # a person may have to type a passphrase or touch a key

# A variable of git's own that is allowed through; all other GIT_* are dropped.
_KEPT = frozenset(
    {
        "GIT_CONFIG_GLOBAL",
        "GIT_CONFIG_SYSTEM",
        "GIT_CONFIG_NOSYSTEM",
        "GIT_EXEC_PATH",
        "GIT_SSH_COMMAND",
        "GIT_SSL_CAINFO",
        "GIT_SSL_CAPATH",
        "GIT_SSL_CERT",
        "GIT_SSL_KEY",
    }
)

SETTINGS = (
    "core.fsync=all",  # an acknowledged commit must survive a power failure
    "core.fsyncMethod=fsync",
    "core.fsmonitor=false",
    "core.commitGraph=false",  # a cache of history that nobody re-hashes
    "core.quotePath=false",
    "core.autocrlf=false",
    "core.askPass=",
    "core.protectHFS=true",
    "core.protectNTFS=true",
    "gc.auto=0",
    "maintenance.auto=false",
    "color.ui=false",
    "transfer.fsckObjects=true",
    "http.lowSpeedLimit=1000",
    "http.lowSpeedTime=20",
)

_TODO = {
    "git": "Install git (2.30 or newer) and make sure it is on the PATH.",
    "ssh-keygen": "Install the OpenSSH client (8.9 or newer) and make sure ssh-keygen is on the PATH.",
}

_DAMAGE = (
    "corrupt",
    "bad object",
    "missing",
    "unable to read",
    "could not read",
    "unable to parse",
    "inflate",
    "broken",
    "unexpected line in",
    "hash mismatch",
    "bad tree",
    "not a valid object",
)


@dataclass(frozen=True, slots=True)
class Result:
    """What a child left behind. `words` is its stderr made safe for a message."""

    returncode: int
    stdout: bytes
    stderr: bytes

    @property
    def ok(self) -> bool:
        """True when the return code is 0."""
        return self.returncode == 0

    @property
    def text(self) -> str:
        """stdout as text without the final newline; undecodable bytes shown as escapes."""
        return self.stdout.decode("utf-8", "backslashreplace").removesuffix("\n")

    @property
    def words(self) -> str:
        """stderr as one line of plain text, for a message."""
        return plain(self.stderr.decode("utf-8", "backslashreplace"))


def plain(text: str, limit: int = 600) -> str:
    """`text` on one line, with control and format characters shown as code points."""
    joined = "; ".join(line.strip() for line in text.splitlines() if line.strip())
    shown = "".join(
        c if unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp") else f"<U+{ord(c):04X}>"
        for c in joined
    )
    return shown if len(shown) <= limit else shown[:limit] + " …"


def environment(extra: Mapping[str, str] | None = None) -> dict[str, str]:
    """The caller's environment without what could redirect git, and without prompts."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith("GIT_") or k in _KEPT}
    for name in ("SSH_ASKPASS", "LANGUAGE"):
        kept.pop(name, None)
    ssh = kept.get("GIT_SSH_COMMAND", "ssh")
    kept.update(
        LC_ALL="C",
        GIT_TERMINAL_PROMPT="0",
        GIT_NO_REPLACE_OBJECTS="1",
        GIT_NO_LAZY_FETCH="1",
        GIT_OPTIONAL_LOCKS="0",
        GIT_ADVICE="0",
        GIT_SSH_COMMAND=f"{ssh} {QUIET_SSH}",
    )
    kept.update(extra or {})
    return kept


def git_command(root: Path, args: Sequence[str]) -> list[str]:
    """The full command line for a git verb in `root`."""
    command = ["git", "-C", str(root), "--no-pager", "--literal-pathspecs", "--no-replace-objects"]
    for setting in SETTINGS:
        command += ["-c", setting]
    return [*command, *args]


def run(
    command: Sequence[str],
    *,
    input: bytes | None = None,
    deadline: float = LOCAL_DEADLINE,
    env: Mapping[str, str] | None = None,
    interactive: bool = False,
) -> Result:
    """Run `command` to its end. Unreachable when the deadline (seconds) passes.

    `interactive` leaves the child on the terminal, so that ssh-keygen can ask
    for a passphrase; all others get a session of their own and cannot ask.
    """
    try:
        child = subprocess.Popen(
            list(command),
            stdin=subprocess.DEVNULL if input is None else subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=environment(env),
            start_new_session=not interactive,
        )
    except FileNotFoundError:
        raise missing_program(command[0]) from None
    except (OSError, ValueError) as error:
        raise Stop(f"{command[0]} could not be started: {plain(str(error))}") from None
    try:
        out, err = child.communicate(input, timeout=deadline)
    except subprocess.TimeoutExpired:
        end(child, whole_session=not interactive)
        raise Unreachable(
            f"{_verb(command)} did not finish within {deadline:g} s and was ended",
            "Try again; if it happens again, run the same command with git itself to see why.",
        ) from None
    except BaseException:
        end(child, whole_session=not interactive)
        raise
    return Result(child.returncode, out, err)


def end(child: subprocess.Popen[bytes], *, whole_session: bool) -> None:
    """End a child we started, with its own children when it has its own session."""
    try:
        if whole_session:
            os.killpg(child.pid, signal.SIGKILL)
        else:
            child.kill()
    except (ProcessLookupError, PermissionError):
        pass
    for pipe in (child.stdin, child.stdout, child.stderr):
        if pipe is not None:
            try:
                pipe.close()
            except OSError:
                pass
    child.wait()


def missing_program(name: str) -> Stop:
    """What to say when a program is not installed."""
    return Stop(f"{name} was not found", _TODO.get(name, f"Install {name}."))


def run_git(
    root: Path,
    args: Sequence[str],
    *,
    input: bytes | None = None,
    deadline: float = LOCAL_DEADLINE,
    env: Mapping[str, str] | None = None,
) -> Result:
    """Run one git verb in `root`; the caller judges the return code."""
    return run(git_command(root, args), input=input, deadline=deadline, env=env)


def git(
    root: Path,
    args: Sequence[str],
    *,
    input: bytes | None = None,
    deadline: float = LOCAL_DEADLINE,
    env: Mapping[str, str] | None = None,
) -> Result:
    """Run one git verb that must succeed; its failure becomes one of our errors."""
    result = run_git(root, args, input=input, deadline=deadline, env=env)
    if not result.ok:
        raise failure(args[0], result)
    return result


def failure(verb: str, result: Result) -> Stop:
    """The error that fits what git said."""
    said = result.words
    lower = said.lower()
    if "dubious ownership" in lower:
        return Refused(
            f"git does not trust this folder: {said}",
            "It belongs to another user. Work in a clone of your own.",
        )
    if ("file exists" in lower and ".lock" in lower) or "cannot lock ref" in lower:
        return LostRace(
            f"another git command is at work in this book: {said}",
            "Wait for it to finish, then run the command again.",
        )
    if any(word in lower for word in _DAMAGE):
        return Damaged(f"git {verb} met damage: {said}", "Run: git fsck --full --strict")
    return Stop(f"git {verb} failed: {said or f'exit code {result.returncode}'}")


def _verb(command: Sequence[str]) -> str:
    if command[0] != "git":
        return command[0]
    rest = iter(command[1:])
    for word in rest:
        if word in ("-C", "-c"):
            next(rest, None)
        elif not word.startswith("-"):
            return f"git {word}"
    return "git"
