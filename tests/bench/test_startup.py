"""How long a command takes to begin, over an empty Python. Run: pytest tests/bench -m bench -s"""

from __future__ import annotations

import subprocess
from importlib import import_module
from inspect import cleandoc

import pytest

from bench_world import DRINK, EMPTY, SCRIPT, SITE, Bench
from specctl.cli.verbs import VERBS

HELP_GOAL, READ_GOAL = 6, 8
# Asserted far above the goals: a loaded machine, or one whose git starts slowly, is no regression.
HELP_MOST, READ_MOST = 11, 22


@pytest.mark.bench
def test_a_command_begins_in_a_few_empty_pythons(bench: Bench) -> None:
    found = bench.ratios(
        {
            "python -c pass": EMPTY,
            "specctl --help": (SCRIPT, "--help"),
            "in-force SITE DRINK": (SCRIPT, "in-force", SITE, DRINK, "--book", bench.book),
            "card DRINK --state": (SCRIPT, "card", DRINK, "--state", bench.state),
            "card --state (all cards)": (SCRIPT, "card", "--state", bench.state),
        },
        peer="python -c pass",
        rounds=9,
    )
    print("\nstart-up, times `python -c pass` in the same run:")
    for name, ratio in found.items():
        goal = {"specctl --help": f"   goal {HELP_GOAL}", "python -c pass": ""}.get(name, f"   goal {READ_GOAL}")
        print(f"  {name:<26} {ratio:5.1f}{goal}")
    assert found["specctl --help"] < HELP_MOST
    assert max(ratio for name, ratio in found.items() if name not in ("specctl --help", "python -c pass")) < READ_MOST


def test_help_needs_no_verb_and_no_heavy_library() -> None:
    """What costs 20 ms and more to import is not imported to list the verbs."""
    code = (
        "import sys; from specctl.cli.main import main; main(['--help']);"
        "print([m for m in sys.modules if m.split('.')[0] in {'rich','jinja2','pint','ruamel','tuf','pygit2','jsonschema',"
        "'rfc8785','decimal','json','hashlib'} or m.endswith('_commands')], file=sys.stderr)"
    )
    done = subprocess.run([EMPTY[0], "-c", code], capture_output=True, text=True)
    assert done.returncode == 0
    assert done.stderr.strip() == "[]"


@pytest.mark.parametrize("verb", VERBS)
def test_the_line_of_a_verb_is_the_first_of_its_own_help(verb: str) -> None:
    where, line = VERBS[verb]
    module, _, name = where.partition(":")
    told = cleandoc(getattr(import_module(f"specctl.cli.{module}"), name).__doc__ or "")
    assert told.split("\n\n")[0].replace("\n", " ") == line
