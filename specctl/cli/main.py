"""The command line: every command, and the one place where an error becomes words and an exit code.

0 clean, 1 findings, 2 usage, 3 a bug of ours, 130 interrupted. Results go to
stdout, words about them to stderr. Commands import what they need when they
run, so that --help costs no more than it must.
"""

from __future__ import annotations

import os
import sys
from typing import Sequence

import typer

from specctl.cli import book_commands, change_commands, demo_command, site_commands
from specctl.errors import Found, Stop

# Every complaint about the words of a command descends from this class. Where it lives
# differs between typer's versions (click's own, or a copy inside typer); its place does not.
_WordsDoNotFit: type[Exception] = typer.BadParameter.__mro__[2]

app = typer.Typer(
    name="specctl",
    help="Keeps one approved spec per drink and gets it to every counter in that counter's own tools.",
    no_args_is_help=True,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["--help", "-h"], "max_content_width": 100},
)

app.command("init")(book_commands.init)
app.command("demo")(demo_command.demo)
app.command("check")(book_commands.check)
app.command("normalise")(book_commands.normalise)
app.command("show")(book_commands.show)
app.command("propose")(change_commands.propose)
app.command("proposals")(change_commands.proposals)
app.command("report")(change_commands.report)
app.command("sign")(change_commands.sign)
app.command("object")(change_commands.object_)
app.command("collect")(change_commands.collect)
app.command("release")(change_commands.release)
app.command("publish")(site_commands.publish)
app.command("pull")(site_commands.pull)
app.command("card")(site_commands.card)
app.command("in-force")(site_commands.in_force)
app.command("trace")(book_commands.trace)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and give its exit code."""
    try:
        code = app(args=list(arguments) if arguments is not None else None, standalone_mode=False)
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
        error.show()  # type: ignore[attr-defined]
        return 2
    except BrokenPipeError:
        # The reader went away (a pager, head): no complaint, and none at exit either.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception:  # noqa: BLE001 - the last resort: our own bug, told as such
        return _bug()


def _tell(stop: Stop) -> None:
    from specctl.cli import outlet

    outlet.say(f"specctl: {stop.what}" + (f"\n{stop.todo}" if stop.todo else ""))


def _tell_problems(found: Found) -> None:
    from specctl.cli import outlet
    from specctl.report.terminal import problems_text

    sys.stderr.write(problems_text(list(found.problems), outlet.width()))


def _bug() -> int:
    import traceback

    from specctl.cli import outlet

    outlet.say(traceback.format_exc())
    outlet.say("specctl: this is a fault of specctl itself, not of your book. Nothing half-done was kept.")
    return 3


def run() -> None:
    """The console script."""
    sys.exit(main())


if __name__ == "__main__":
    run()
