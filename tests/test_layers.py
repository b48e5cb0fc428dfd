"""The map of the house, held by a machine: who may import whom, and what each layer never does.

The table is DEVELOPERS.md's; a module in no layer, an arrow that points
outwards, a cycle, or a third-party library outside its one module fails here.
"""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

HOUSE = Path(__file__).resolve().parent.parent / "specctl"
GROUND = frozenset({"problem", "errors", "canonical", "resources", "publickey"})
MAY_IMPORT: dict[str, frozenset[str]] = {
    "problem": frozenset(),
    "errors": frozenset({"problem", "errors"}),
    "canonical": frozenset({"problem", "errors"}),
    "resources": frozenset({"problem", "errors"}),
    "publickey": frozenset({"problem", "errors"}),
    "domain": GROUND,
    "analysis": GROUND | {"domain"},
    "change": GROUND | {"domain", "analysis"},
    "codec": GROUND | {"domain"},
    "store": GROUND,
    "report": GROUND | {"domain", "analysis", "change"},
    "actions": GROUND | {"domain", "analysis", "change", "codec", "store"},
    "site": GROUND | {"domain", "change", "report"},
    "demo": GROUND | {"domain", "analysis", "change", "codec", "store", "report", "actions", "site"},
    "cli": GROUND
    | {"domain", "analysis", "change", "codec", "store", "report", "actions", "site", "demo"},
}

# A library and the modules that may import it, relative to the package. A trailing slash is a folder.
HOME_OF: dict[str, tuple[str, ...]] = {
    "pint": ("codec/units.py",),
    "ruamel": ("codec/yamltext.py",),
    "jsonschema": ("codec/schema.py",),
    "referencing": ("codec/schema.py",),  # the registry of schemas that jsonschema asks
    "rfc8785": ("canonical.py",),
    "pygit2": ("store/objects.py",),
    "tuf": ("store/distribution.py", "store/publication.py", "site/client.py"),
    "securesystemslib": ("store/distribution.py", "store/keys.py", "site/client.py"),
    "cryptography": ("store/keys.py", "site/sshsig.py"),
    "rich": ("report/terminal.py",),
    "jinja2": ("report/page.py",),
    "markupsafe": ("report/page.py",),  # the escaped text jinja2 gives back
    "openpyxl": ("report/workbook.py",),
    "segno": ("report/qr.py",),
    "typst": ("report/pdf.py",),
    "typer": ("cli/",),
    "click": ("cli/",),
}
PURE = ("domain", "analysis")
CHANGE_AND_IN = ("domain", "analysis", "change")
# The clock, the environment, files, processes, chance: none of them inside the pure layers.
OUTSIDE_WORLD = frozenset(
    {"os", "io", "pathlib", "shutil", "tempfile", "glob", "subprocess", "socket", "urllib", "http",
     "time", "random", "secrets", "sqlite3", "logging", "threading", "multiprocessing", "locale", "platform"}
)  # fmt: skip
CLOCK = frozenset({("date", "today"), ("datetime", "now"), ("datetime", "utcnow"), ("datetime", "today")})


@dataclass(frozen=True)
class Import:
    """One import: the dotted name asked for, and its line."""

    name: str
    line: int
    typing_only: bool


@cache
def modules() -> dict[str, Path]:
    """Dotted name to file, for every module of the package."""
    found = {}
    for path in sorted(HOUSE.rglob("*.py")):
        parts = ("specctl", *path.relative_to(HOUSE).with_suffix("").parts)
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = path
    return found


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@cache
def imports_of(name: str, path: Path) -> tuple[Import, ...]:
    """Every import of a module, in functions too."""
    return tuple(_imports(name, path))


def _imports(name: str, path: Path) -> Iterator[Import]:
    tree = tree_of(path)
    guarded = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and dotted(node.test).endswith("TYPE_CHECKING")
        for inner in ast.walk(node)
    }
    package = name if path.name == "__init__.py" else name.rpartition(".")[0]
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield Import(alias.name, node.lineno, node in guarded)
        elif isinstance(node, ast.ImportFrom):
            head = node.module or ""
            if node.level:
                above = package.split(".")[: len(package.split(".")) - node.level + 1]
                head = ".".join([*above, *([node.module] if node.module else [])])
            for alias in node.names:
                whole = f"{head}.{alias.name}"
                yield Import(whole if whole in modules() else head, node.lineno, node in guarded)


def layer_of(name: str) -> str:
    """The layer of one of our modules; the bare package is the ground."""
    parts = name.split(".")
    name = parts[1] if len(parts) > 1 else ""
    # `python -m specctl` is the command line by another door.
    return "cli" if name == "__main__" else name


def dotted(node: ast.AST) -> str:
    """`a.b.c` of a chain of names; the last parts alone where it begins with something else."""
    parts = []
    while isinstance(node, ast.Attribute):
        parts.append(node.attr)
        node = node.value
    if isinstance(node, ast.Name):
        parts.append(node.id)
    return ".".join(reversed(parts))


def is_ours(name: str) -> bool:
    return name == "specctl" or name.startswith("specctl.")


def where(path: Path, line: int) -> str:
    return f"{path.relative_to(HOUSE.parent)}:{line}"


def every_import() -> Iterator[tuple[str, Path, Import]]:
    for name, path in modules().items():
        for found in imports_of(name, path):
            yield name, path, found


def told(wrong: list[str]) -> None:
    assert not wrong, "\n" + "\n".join(wrong)


def test_every_module_has_a_layer() -> None:
    told([str(path) for name, path in modules().items() if layer_of(name) not in {*MAY_IMPORT, ""}])


def test_the_bare_package_imports_nothing_of_ours() -> None:
    told([found.name for found in imports_of("specctl", modules()["specctl"]) if is_ours(found.name)])


def test_arrows_point_inwards() -> None:
    told(
        [
            f"{where(path, found.line)}: {layer_of(name)} may not import {found.name}"
            for name, path, found in every_import()
            if is_ours(found.name)
            and layer_of(name)
            and layer_of(found.name) not in MAY_IMPORT.get(layer_of(name), frozenset()) | {layer_of(name)}
        ]
    )


def test_no_cycles() -> None:
    """Late imports count: an import hidden in a function to break a cycle is a cycle."""
    arrows = {
        name: {f.name for f in imports_of(name, path) if f.name in modules() and f.name != name and not f.typing_only}
        for name, path in modules().items()
    }
    done: set[str] = set()

    def walk(name: str, way: tuple[str, ...]) -> list[str]:
        if name in way:
            return [" > ".join((*way[way.index(name) :], name))]
        if name in done:
            return []
        found = [cycle for other in sorted(arrows[name]) for cycle in walk(other, (*way, name))]
        done.add(name)
        return found

    told([cycle for name in arrows for cycle in walk(name, ())])


def at_home(path: Path, homes: tuple[str, ...]) -> bool:
    inside = path.relative_to(HOUSE).as_posix()
    return any(inside == home or (home.endswith("/") and inside.startswith(home)) for home in homes)


def test_one_library_one_module() -> None:
    wrong = []
    for _, path, found in every_import():
        head = found.name.split(".")[0]
        if is_ours(found.name) or head in sys.stdlib_module_names or head == "__future__":
            continue
        if head not in HOME_OF:
            wrong.append(f"{where(path, found.line)}: {head} has no module of its own in the table")
        elif not at_home(path, HOME_OF[head]):
            wrong.append(f"{where(path, found.line)}: {head} belongs to {', '.join(HOME_OF[head])}")
    told(wrong)


@pytest.mark.parametrize("library", ["pint", "ruamel", "jsonschema", "rfc8785", "pygit2", "tuf", "rich", "jinja2"])
def test_the_table_is_no_wish(library: str) -> None:
    """A library in the table is imported where the table says; otherwise the check above checks nothing."""
    assert any(found.name.split(".")[0] == library for _, path, found in every_import() if at_home(path, HOME_OF[library]))


def test_pure_layers_use_the_standard_library_only() -> None:
    told(
        [
            f"{where(path, found.line)}: {layer_of(name)} imports {found.name}"
            for name, path, found in every_import()
            if layer_of(name) in PURE
            and not is_ours(found.name)
            and found.name.split(".")[0] not in {*sys.stdlib_module_names, "__future__"}
        ]
    )


def test_pure_layers_do_not_touch_the_world() -> None:
    wrong = []
    for name, path in modules().items():
        if layer_of(name) not in CHANGE_AND_IN:
            continue
        for found in imports_of(name, path):
            if found.name.split(".")[0] in OUTSIDE_WORLD:
                wrong.append(f"{where(path, found.line)}: imports {found.name}")
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in ("open", "input", "exec", "eval"):
                wrong.append(f"{where(path, node.lineno)}: calls {node.func.id}")
            if isinstance(node, ast.Attribute) and tuple(dotted(node).split(".")[-2:]) in CLOCK:
                wrong.append(f"{where(path, node.lineno)}: reads the clock")
    told(wrong)


def test_nothing_prints_outside_the_command_line() -> None:
    """Reports give text back; only `cli` writes to a screen."""
    wrong = []
    for name, path in modules().items():
        if layer_of(name) == "cli":
            continue
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "print":
                wrong.append(f"{where(path, node.lineno)}: print")
            if isinstance(node, ast.Attribute) and dotted(node) in ("sys.stdout", "sys.stderr", "sys.argv"):
                wrong.append(f"{where(path, node.lineno)}: {dotted(node)}")
    told(wrong)


def test_the_map_in_the_page_is_this_map() -> None:
    """DEVELOPERS.md is what people read; it must say what is checked."""
    page = (HOUSE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    rows = [
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in page.splitlines()
        if line.startswith("| ") and line.count("|") == 3
    ]
    table = {layer: row[1] for row in rows for layer in row[0].split(", ") if layer in MAY_IMPORT}
    assert set(table) == set(MAY_IMPORT), set(table) ^ set(MAY_IMPORT)
    for layer, words in table.items():
        if words in ("everything", "everything but cli"):
            allowed = set(MAY_IMPORT) - {layer} - ({"cli"} if "but" in words else set())
        elif words == "nothing of ours":
            allowed = set()
        else:
            allowed = {w for word in words.split(", ") for w in (GROUND if word == "ground floor" else {word})}
        assert allowed - {layer} == MAY_IMPORT[layer] - {layer}, layer
