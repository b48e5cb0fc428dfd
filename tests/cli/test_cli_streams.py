"""What every command owes whoever runs it: streams, exit codes, JSON, width, no surprise on a screen."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from counter_world import NOW, SCRIPT, Told, World, run, script

from specctl.cli.verbs import VERBS
from specctl.report.clean import columns

# The words settled for the main job; more may stand beside them.
SETTLED = {
    "init", "demo", "check", "normalise", "show", "propose", "proposals", "report", "sign", "object",
    "collect", "release", "publish", "pull", "card", "in-force", "trace",
}  # fmt: skip
ESC = "\x1b"


def reads(world: World) -> dict[str, tuple[str | Path, ...]]:
    """Every read verb, on what the demo left with proposal 4 open."""
    return {
        "check": ("check", "--book", world.book),
        "show": ("show", "blackcurrant-hojicha", "--site", "saltmarket", "--book", world.book),
        "proposals": ("proposals", "--book", world.book),
        "report": ("report", "4", "--book", world.book),
        "trace": ("trace", "oat-drink", "--book", world.book),
        "in-force": ("in-force", "saltmarket", "--book", world.book),
        "in-force drink": ("in-force", "saltmarket", "blackcurrant-hojicha", "--book", world.book),
        "card": ("card", "--state", world.site("saltmarket")),
        "card of book": ("card", "--book", world.book, "--site", "saltmarket"),
        "normalise": ("normalise", "--look", "--book", world.book),
    }


@pytest.fixture(scope="module")
def look(with_open: World, played: tuple[World, Told]) -> dict[str, tuple[str | Path, ...]]:
    """The read verbs on the shared world: none of them changes it."""
    commands = reads(with_open)
    commands["card"] = ("card", "--state", played[0].site("saltmarket"))
    return commands


READS = tuple(reads(World(Path("x"))))


@pytest.mark.parametrize("verb", [*VERBS])
@pytest.mark.parametrize("width", ["80", "120"])
def test_help_of_every_command(verb: str, width: str) -> None:
    told = run(verb, "--help", COLUMNS=width)
    assert told.out.startswith(f"Usage: specctl {verb}") and told.err == ""
    assert max(map(columns, told.out.splitlines())) <= int(width)
    assert run(verb, "-h", COLUMNS=width).out == told.out


def test_help_lists_the_words_that_are_settled() -> None:
    told = run("--help")
    listed = [line.split()[0] for line in told.out.split("Commands:\n")[1].splitlines() if line.strip()]
    assert SETTLED <= set(listed) and set(listed) >= VERBS.keys()
    assert run(code=2).err == told.out, "without a word, the same on stderr"


@pytest.mark.parametrize("name", READS)
def test_json_is_json_alone_on_stdout_and_the_same_twice(name: str, look: dict[str, tuple[str | Path, ...]]) -> None:
    told = run(*look[name], "--json", code=None)
    assert told.code in (0, 1)
    value = json.loads(told.out)
    assert isinstance(value, dict) and any(v == 1 for v in value.values()), "a format number"
    assert told.out.endswith("}\n") and told.out.count("\n{") == 0
    assert list(value) == sorted(value)
    again = run(*look[name], "--json", code=None)
    assert again.out == told.out
    assert ESC not in told.both


@pytest.mark.parametrize("width", [80, 120])
@pytest.mark.parametrize("name", READS)
def test_no_line_is_wider_than_the_screen_and_none_has_an_escape(name: str, width: int, look: dict[str, tuple[str | Path, ...]]) -> None:
    """No escape where nobody has a terminal, not even where the environment asks for colour."""
    told = run(*look[name], COLUMNS=str(width), FORCE_COLOR="1", TERM="xterm-256color")
    wide = [line for line in told.out.splitlines() if columns(line) > width]
    assert not wide, (wide[0], columns(wide[0]))
    assert told.out or name == "normalise"
    assert told.err.strip(), "words about the result"
    assert ESC not in told.both


def _on_a_terminal(words: tuple[str | Path, ...], **env: str) -> str:
    """What the script writes on a pseudo-terminal of 80 columns."""
    import fcntl
    import pty
    import struct
    import termios

    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    asked = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "TERM")}
    child = subprocess.Popen(
        [SCRIPT, *map(str, words)], stdout=slave, stderr=slave, stdin=subprocess.DEVNULL, env={**asked, "TERM": "xterm", **env}
    )
    os.close(slave)
    data = b""
    while True:
        try:
            more = os.read(master, 65536)
        except OSError:  # how Linux says that the other end is closed
            break
        if not more:
            break
        data += more
    child.wait(60)
    os.close(master)
    return data.decode("utf-8")


def test_colour_on_a_terminal_and_never_against_no_color(look: dict[str, tuple[str | Path, ...]]) -> None:
    words = look["report"]
    assert ESC + "[" in _on_a_terminal(words)
    for env in ({"NO_COLOR": "1"}, {"NO_COLOR": ""}, {"TERM": "dumb"}):
        shown = _on_a_terminal(words, **env)
        # no-color.org, version of 2023: "when present and not an empty string". An empty one may go either way.
        if env != {"NO_COLOR": ""}:
            assert ESC not in shown, env
    assert "Comparing ..." in _on_a_terminal(words), "progress where somebody watches"
    assert "Comparing ..." not in run(*words).err, "silent where nobody does"


@pytest.mark.parametrize(
    "words",
    [
        ("no-such-verb",), ("check", "--nonsense"), ("show",), ("propose",), ("propose", "Title"), ("object", "4"),
        ("report", "4", "--as", "pdf"), ("propose", "T", "--why", "w", "--start", "yesterday"),
        ("propose", "T", "--why", "w", "--start", "2026-02-30"), ("propose", "T", "--why", "w", "--wave", "pilot"),
        ("propose", "T", "--why", "w", "--wave", "=2026-12-01"), ("propose", "T", "--why", "w", "--wave", "a=soon:b"),
        ("in-force", "saltmarket", "--at", "noon"), ("card",), ("init", "folder"), ("publish", "folder"), ("pull", "folder"),
        ("collect",), ("sign", "x.json"), ("card", "--book", "."),
    ],
)  # fmt: skip
def test_words_that_do_not_fit_end_with_two(words: tuple[str, ...]) -> None:
    told = run(*words, code=2)
    assert told.out == "" and told.err.strip()


def test_a_clock_that_is_no_time_is_usage(world: World) -> None:
    told = world.run("check", code=2, now="half past nine")
    assert "SPECCTL_NOW" in told.err


def test_findings_end_with_one_and_warnings_only_when_strict(world: World) -> None:
    assert world.run("check").code == 0
    assert world.run("check", "--strict", code=1).out.strip()
    world.edit("drinks/pear-sage-fizz.yaml", "use: pear-juice", "use: pear-juce")
    told = world.run("check", code=1)
    assert "pear-juice" in told.out and "drinks/pear-sage-fizz.yaml:" in told.out


@pytest.mark.parametrize(("shell", "word"), [("bash", "complete"), ("zsh", "compdef"), ("fish", "complete")])
def test_completion_scripts(shell: str, word: str, tmp_path: Path) -> None:
    """The three shells' own built-ins for it: bash and fish `complete`, zsh `compdef`."""
    done = script("--show-completion", shell, env={"_TYPER_COMPLETE_TEST_DISABLE_SHELL_DETECTION": "1", "SHELL": f"/bin/{shell}"})
    assert done.returncode == 0, done.stderr
    assert word in done.stdout.decode() and "specctl" in done.stdout.decode()


def test_completion_of_a_verb() -> None:
    done = script(env={"_SPECCTL_COMPLETE": "complete_bash", "COMP_WORDS": "specctl prop", "COMP_CWORD": "1"})
    assert done.stdout.decode().split() == ["propose", "proposals"], done.stderr


def test_a_reader_that_goes_away_is_no_complaint(look: dict[str, tuple[str | Path, ...]]) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [SCRIPT, *map(str, look["report"]), "--as", "html"], stdout=writing, stderr=subprocess.PIPE, timeout=60
    )
    os.close(writing)
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr and b"Exception ignored" not in done.stderr and b"Broken" not in done.stderr


def test_interrupted_ends_with_130_and_leaves_no_trace(opened: World) -> None:
    """A real SIGINT in a command that waits for standard input."""
    before = opened.as_stands()
    child = subprocess.Popen(
        [SCRIPT, "collect", "-", "--book", str(opened.book)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )  # fmt: skip
    # Wait until it reads: its own word for that is the wait channel, or that it no longer runs.
    for _ in range(600):
        if Path(f"/proc/{child.pid}/stat").read_text().rsplit(")", 1)[1].split()[0] == "S" and _modules_loaded(child.pid):
            break
        time.sleep(0.02)
    child.send_signal(signal.SIGINT)
    out, err = child.communicate(timeout=60)
    assert child.returncode == 130, err
    assert out == b"" and b"Traceback" not in err
    assert opened.as_stands() == before


def _modules_loaded(pid: int) -> bool:
    """Whether the child stands in read(0, ...): x86-64 and aarch64 say so in /proc/PID/syscall."""
    try:
        call = Path(f"/proc/{pid}/syscall").read_text().split()
    except OSError:
        return True
    return call[:2] in (["0", "0x0"], ["63", "0x0"])


def test_the_module_runs_too() -> None:
    done = subprocess.run([sys.executable, "-m", "specctl", "check", "--book", "nowhere"], capture_output=True, timeout=60)
    assert done.returncode == 1 and done.stdout == b"" and b"specctl: " in done.stderr
    assert NOW == os.environ["SPECCTL_NOW"]
