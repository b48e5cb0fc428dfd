"""What the pages promise is what the code does.

README.md: it opens with the job, its two commands come next, every command
line in it parses, and its command reference is written from the commands
themselves (`python tests/test_readme.py --write`). DEVELOPERS.md: every module
it names is there, every module there is named, and its table of libraries is
the one `test_layers` holds the imports against.
"""

from __future__ import annotations

import ast
import json
import os
import re
import shlex
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from typer.main import get_command

from specctl.cli.main import app

HOME = Path(__file__).resolve().parent.parent
README = HOME / "README.md"
PAGE = HOME / "DEVELOPERS.md"
WRITE = "python tests/test_readme.py --write"
FROM, TO = f"<!-- commands: written by `{WRITE}` -->\n", "<!-- end of commands -->\n"
FROM_MODULES, TO_MODULES = f"<!-- modules: written by `{WRITE}` -->\n", "<!-- end of modules -->\n"

COMMON = """## Commands

Every command takes `--help`. Results go to standard output, words about them to standard error, so a result can be sent to a file or another program. `--json` gives the result as data.

| exit code | means |
|---|---|
| 0 | done, nothing found |
| 1 | something was found, refused or not there; the words say what to do |
| 2 | the words of the command do not fit together |
| 3 | a fault of specctl itself; nothing half-done was kept |
| 130 | interrupted |

| setting in the environment | means |
|---|---|
| `SPECCTL_BOOK` | the book's folder, where `--book` is not given (not for `card`) |
| `SPECCTL_NOW` | the time to work at, such as `2026-11-25T08:30:00Z`, for rehearsals and tests |
| `NO_COLOR` | no colour; nothing is ever told by colour alone |

For completion of commands and options by the Tab key, run once: `specctl --install-completion`.
"""


@cache
def commands() -> dict[str, Any]:
    """The commands by name, in the order of --help."""
    return dict(get_command(app).commands)  # type: ignore[attr-defined]


def page(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def reference() -> str:
    """Every command with its arguments and options, from the commands themselves."""
    parts = [COMMON]
    for name, command in commands().items():
        arguments = [p for p in command.params if p.param_type_name == "argument"]
        words = " ".join(_argument(p) for p in arguments)
        parts.append(f"### specctl {name} {words}".rstrip() + f"\n\n{' '.join(command.help.split())}\n")
        rows = [f"- `{p.metavar or p.name}` {p.help}" for p in arguments]
        rows += [f"- {_option(p)}" for p in command.params if p.param_type_name == "option" and "--help" not in p.opts]
        parts.append("\n".join(rows) + "\n")
    return "\n".join(parts)


def _argument(p: Any) -> str:
    name = p.metavar or p.name
    return name if p.required else f"[{name}]"


def _option(p: Any) -> str:
    words = p.opts[0] if p.is_flag else f"{p.opts[0]} {p.metavar or 'WORDS'}"
    notes = (["needed"] if p.required else []) + (["may be given more than once"] if p.multiple else [])
    if isinstance(p.default, str) and p.default:
        notes.append(f"if left out: {p.default}")
    return f"`{words}` {p.help}" + (f" ({'; '.join(notes)})" if notes else "")


def fenced(text: str) -> list[tuple[str, str]]:
    """(language, text) of every fenced block."""
    return re.findall(r"^```(\w*)\n(.*?)^```$", text, flags=re.M | re.S)


def typed(text: str) -> list[list[str]]:
    """The words of every `specctl ...` line in the shell blocks, without what a pipe or a list adds."""
    found = []
    for language, block in fenced(text):
        if language != "sh":
            continue
        for line in block.replace("\\\n", " ").splitlines():
            for part in re.split(r"&&|\|(?!.*')", re.sub(r"\$\(.*?\)\)?", "2026-12-01", line)):
                words = shlex.split(part, comments=True)
                while words and re.fullmatch(r"[A-Z_]+=.*", words[0]):
                    words = words[1:]
                if words and words[0].rsplit("/", 1)[-1] == "specctl":
                    found.append(words[1:])
    return found


def mentioned(text: str) -> list[list[str]]:
    """The words of every `specctl ...` in running text."""
    prose = re.sub(r"^```.*?^```$", "", text.split(FROM)[0] + text.split(TO)[-1], flags=re.M | re.S)
    return [shlex.split(m)[1:] for m in re.findall(r"`(specctl [^`]+)`", prose)]


def fault(words: list[str], *, whole: bool) -> str:
    """What is wrong with the words behind `specctl`, or nothing. `whole`: all that is needed must be there."""
    if words[0] in ("--help", "--install-completion", "--show-completion"):
        return ""
    if words[0] not in commands():
        return f"there is no command {words[0]}"
    command = commands()[words[0]]
    if not whole:
        options = {o for p in command.params for o in p.opts}
        wrong = [w for w in words[1:] if w.startswith("--") and w not in options]
        return f"{words[0]} has no {', '.join(wrong)}" if wrong else ""
    try:
        command.make_context(words[0], list(words[1:]))
    except Exception as error:  # noqa: BLE001 - whichever the parser raises
        return str(error) or type(error).__name__
    return ""


def test_the_page_opens_with_the_job_in_one_paragraph() -> None:
    title, first, *_ = page(README).split("\n\n")
    assert re.fullmatch(r"# specctl", title)
    assert re.match(r"[A-Z]", first) and "\n" not in first, "a paragraph in one line, no list, picture or heading"
    assert len(first.split()) < 180
    for who_what in ("head of drinks", "counter", "allergen", "report", "sign", "scoop", "approved"):
        assert who_what in first


def test_the_two_commands_come_first_and_need_nothing_else() -> None:
    (_, run), (_, test) = fenced(page(README))[:2]
    assert run.startswith("python3 -m venv") and "pip install" in run and run.rstrip().endswith("specctl demo")
    assert test.startswith("python3 -m venv") and "'.[test]'" in test and " -m pytest" in test
    assert run.count("\n") == test.count("\n") == 1
    assert 'specctl = "specctl.cli.main:run"' in page(HOME / "pyproject.toml")
    machine = page(HOME / ".ci" / "run")
    assert all(part in machine for part in test.strip().split(" && ")), "the machine runs the same"


def test_the_command_reference_is_what_the_commands_say() -> None:
    text = page(README)
    assert text.count(FROM) == text.count(TO) == 1
    written = text.split(FROM)[1].split(TO)[0]
    assert written.strip() == reference().strip(), f"run: {WRITE}"


def test_the_reference_leaves_out_no_command_and_no_option() -> None:
    """Held against --help itself, not against the writer above."""
    text = page(README)
    for name, command in commands().items():
        section = re.search(rf"^### specctl {re.escape(name)}(?: [^\n]*)?\n(.*?)(?=^##|^<!--|\Z)", text, flags=re.M | re.S)
        assert section, name
        shown = command.get_help(command.make_context(name, [], resilient_parsing=True))
        options = set(re.findall(r"^\s+(?:-h, )?(--[a-z-]+)", shown, flags=re.M)) - {"--help"}
        assert options == set(re.findall(r"^- `(--[a-z-]+)", section[1], flags=re.M)), name


def test_every_line_to_type_parses() -> None:
    lines = typed(page(README))
    assert len(lines) >= 30, "the page has lost its steps, or they are no longer found"
    assert not [(" ".join(words), why) for words in lines if (why := fault(words, whole=True))]
    steps = "init demo check normalise show propose proposals report sign object collect release publish pull card in-force trace"
    assert set(steps.split()) <= {words[0] for words in lines}


def test_every_command_named_in_the_text_exists() -> None:
    named = mentioned(page(README))
    assert named
    assert not [(" ".join(words), why) for words in named if (why := fault(words, whole=False))]


def by_hand() -> str:
    """The lines to paste of the section, as one script."""
    section = re.search(r"^## The job by hand\n(.*?)^## ", page(README), flags=re.M | re.S)
    assert section
    return "".join(block for language, block in fenced(section[1]) if language == "sh")


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str, str, str]:
    """The section pasted into a shell, line by line: the demo's folder, both streams, and the lines that failed."""
    root = tmp_path_factory.mktemp("by-hand")
    (root / "home").mkdir()
    env = {
        "HOME": str(root / "home"),
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(HOME),
        "GIT_CONFIG_NOSYSTEM": "1",
        "SPECCTL_NOW": "2026-11-25T09:00:00Z",
        "LC_ALL": "C.UTF-8",
    }
    failed = root / "failed"
    failed.touch()
    script = f"specctl demo\ntrap 'echo \"$BASH_COMMAND\" >> {shlex.quote(str(failed))}' ERR\n{by_hand()}"
    told = subprocess.run(["bash", "-c", script], cwd=root, env=env, capture_output=True, text=True, timeout=300)
    return root / "tidewick-demo", told.stdout, told.stderr, failed.read_text()


def test_the_job_by_hand_goes_as_the_page_says(played: tuple[Path, str, str, str]) -> None:
    """Only those lines fail of which the page says that they are refused."""
    made, out, err, failed = played
    assert failed.splitlines() == [
        "specctl check",
        "specctl sign 4",
        "specctl release 4",
        "specctl pull packs-tampered --site saltmarket --state sites/saltmarket",
    ], err
    assert "objection by dell-okafor" in err
    assert err.count('Good "git" signature for isla-varn') == 2
    assert 'Good "signoff@specctl" signature for aoife-tarn' in out
    assert re.search(r"release\s+4|Release 4", out), "in force on the day after the start"
    spec = (made / "book" / "drinks" / "pear-sage-fizz.yaml").read_text()
    assert "amount: 104.7 g, written: 100 ml at 1.047 g/ml" in spec
    assert "100 ml line" in (made / "sites" / "saltmarket" / "pages" / "changed.html").read_text()
    own = (made / "for-northsands.html").read_text()
    assert "GBP" in own and not re.search("EUR|USD|Marram|Gull Rock", own), "another franchise's price or name"


def test_developers_are_told_of_every_key_that_is_kept(played: tuple[Path, str, str, str]) -> None:
    """Entries, release records and bundles of the demo, against the formats on the page."""
    formats = page(PAGE).split("## Formats settled")[1].split("## Multi-clone flow")[0]
    told = set(re.findall(r'"([a-z_]+)"', formats))
    files = [f for part in ("book/entries", "book/releases", "packs/targets") for f in (played[0] / part).rglob("*.json")]
    assert len(files) > 50
    kept: set[str] = set()
    for file in files:
        _keys(json.loads(file.read_bytes()), kept)
    assert not sorted(kept - told), "say in DEVELOPERS.md what these are"


def _keys(value: Any, found: set[str]) -> None:
    """Keys at any depth, but for maps from an id, a digest or a scope to something."""
    if isinstance(value, dict):
        for key, inner in value.items():
            found.add(key)
            if key in ("groups", "starts", "effects", "rules"):
                continue
            named = isinstance(inner, dict) and key in ("entries", "drawings")
            for each in inner.values() if named else [inner]:
                # A drawing stands under its size.
                for one in each.values() if named and key == "drawings" else [each]:
                    _keys(one, found)
    elif isinstance(value, list):
        for each in value:
            _keys(each, found)


@pytest.mark.parametrize("words", (["unsign", "4"], ["sign"], ["sign", "4", "--by", "me"], ["publish", "packs"]))
def test_a_line_that_does_not_parse_is_found(words: list[str]) -> None:
    assert fault(words, whole=True)


def test_the_pages_hold_no_comment_behind_a_value_and_no_badge() -> None:
    text = page(README)
    assert "![" not in text and "shields" not in text
    for language, block in fenced(text):
        if language == "yaml":
            assert not re.search(r"\S\s+#", block), block


def test_examples_of_files_are_in_the_demo_book() -> None:
    """Every line of an example stands in some file of the book, but for mappings shortened to one line."""
    lines = {line.strip() for file in (HOME / "specs").rglob("*.yaml") for line in page(file).splitlines()}
    blocks = [block for language, block in fenced(page(README)) if language == "yaml"]
    assert len(blocks) >= 9
    strange = [
        line
        for block in blocks
        for line in block.splitlines()
        if line.strip() not in lines and not re.search(r": [\[{].*[\]}]$", line)
    ]
    assert len(strange) <= 1, strange  # a step's words are cut short


def modules() -> dict[str, Path]:
    """Path below the package to file; a package's own `__init__.py` is left out."""
    package = HOME / "specctl"
    return {f.relative_to(package).as_posix(): f for f in sorted(package.rglob("*.py")) if f.name != "__init__.py"}


def index() -> str:
    """Every module with the first paragraph line of its own text, the ground floor first, then by layer."""
    rows = [(name.count("/"), name, ast.get_docstring(ast.parse(page(file))) or "") for name, file in modules().items()]
    return "".join(f"- `{name}` {text.split(chr(10) * 2)[0].replace(chr(10), ' ')}\n" for _, name, text in sorted(rows))


def test_the_list_of_modules_is_what_the_modules_say() -> None:
    text = page(PAGE)
    assert text.count(FROM_MODULES) == text.count(TO_MODULES) == 1
    written = text.split(FROM_MODULES)[1].split(TO_MODULES)[0]
    assert written.splitlines() == index().splitlines(), f"run: {WRITE}"


def test_every_module_named_for_developers_is_there() -> None:
    named = set(re.findall(r"`((?:[a-z_]+/)+[a-z_]+\.py|[a-z_]+\.py)`", page(PAGE)))
    assert len(named) > 50
    there = modules().keys() | {f.relative_to(HOME).as_posix() for f in (HOME / "tests").rglob("*.py")}
    assert not sorted(named - there)


def test_the_table_of_libraries_is_the_one_the_imports_are_held_against() -> None:
    from test_layers import HOME_OF

    table = re.search(r"\| library \| modules \|\n\|[-|]+\n((?:\|.*\n)+)", page(PAGE))
    assert table
    rows = [row.strip("|\n").split("|") for row in table[1].splitlines()]
    assert {name.strip(): tuple(re.findall(r"`([^`]+)`", homes)) for name, homes in rows} == HOME_OF


def rewritten(text: str, begin: str, end: str, inside: str) -> str:
    before, rest = text.split(begin)
    return before + begin + inside.strip() + "\n" + end + rest.split(end)[1]


if __name__ == "__main__" and "--write" in sys.argv:
    README.write_text(rewritten(page(README), FROM, TO, reference()), encoding="utf-8")
    PAGE.write_text(rewritten(page(PAGE), FROM_MODULES, TO_MODULES, index()), encoding="utf-8")
