"""The command line: every command, and the one place where an error becomes words and an exit code.

0 clean, 1 findings, 2 usage, 3 a bug of ours, 130 interrupted. Results go to
stdout, words about them to stderr. A verb is imported when it is asked for, and
imports what it needs when it runs, so that --help costs no more than it must.
"""

from __future__ import annotations

import gc
import io
import os
import re
import sys
from typing import Sequence

import typer

from specctl.cli.verbs import Verbs
from specctl.errors import Found, Stop

# Every complaint about the words of a command descends from this class. Where it lives
# differs between typer's versions (click's own, or a copy inside typer); its place does not.
_WordsDoNotFit: type[Exception] = typer.BadParameter.__mro__[2]

_ENDLESS = re.compile(r"\S{1000,}")

app = typer.Typer(
    name="specctl",
    cls=Verbs,
    help="Keeps one approved spec per drink and gets it to every counter in that counter's own tools.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)


@app.callback()
def _every_verb() -> None:
    """Nothing is common to all verbs; without this no group is made."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code."""
    try:
        words = list(arguments) if arguments is not None else None
        code = app(args=words, prog_name="specctl", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except Found as found:
        _tell(found)
        _tell_problems(found)
        return found.exit_code
    except Stop as stop:
        _tell(stop)
        return stop.exit_code
    except (typer.Abort, KeyboardInterrupt):
        return 130
    except typer.Exit as leave:
        return leave.exit_code
    except _WordsDoNotFit as error:
        return _tell_usage(error)
    except BrokenPipeError:
        return _nobody_reads()
    except SystemExit as leave:
        # Where typer notices first that the reader went away, it leaves by itself, with 1.
        if isinstance(leave.__context__, BrokenPipeError):
            return _nobody_reads()
        raise
    except OSError as error:
        # No room, no right, no such folder: the machine's state, not a fault of ours.
        return _tell_machine(error)
    except Exception:  # noqa: BLE001 - the last resort: our own bug, told as such
        return _bug()


def _nobody_reads() -> int:
    """The reader went away (a pager, head): no complaint, and none at exit either."""
    sys.stdout = sys.__stdout__
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _tell(stop: Stop) -> None:
    from specctl.cli import outlet

    # What was typed is said back, but not by the screenful.
    what = _ENDLESS.sub(lambda word: word[0][:100] + "…", stop.what)
    outlet.say(f"specctl: {what}" + (f"\n{stop.todo}" if stop.todo else ""))


def _tell_usage(error: Exception) -> int:
    """The parser's own words, which quote what was typed as it was typed, made harmless."""
    from specctl.cli import outlet

    words = io.StringIO()
    error.show(file=words)  # type: ignore[attr-defined]
    outlet.say(_ENDLESS.sub(lambda word: word[0][:100] + "…", words.getvalue().rstrip("\n")))
    return 2


def _tell_problems(found: Found) -> None:
    from specctl.cli import outlet
    from specctl.report.terminal import problems_text

    sys.stderr.write(problems_text(list(found.problems), outlet.width()))


def _tell_machine(error: OSError) -> int:
    named = f"{error.filename}: " if error.filename else ""
    _tell(Stop(f"{named}{error.strerror or error}", "Nothing half-done was kept. Put that right and run the command again."))
    return Stop.exit_code


def _bug() -> int:
    import traceback

    from specctl.cli import outlet

    outlet.say(traceback.format_exc())
    outlet.say("specctl: this is a fault of specctl itself, not of your book. Nothing half-done was kept.")
    return 3


def run() -> None:
    """The console script."""
    code = main()
    gc.freeze()  # what is left ends with the process; searching it for circles first costs a sixth of --help
    sys.exit(code)


if __name__ == "__main__":
    run()
