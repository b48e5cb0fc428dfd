"""Brings the catalogues of words up to date with the sentences in the code.

`python tests/report/words_catalogue.py --write` puts every new sentence into
each `.po`, empty and to be translated, drops those no longer said, and makes
each `.mo` again.
"""

from __future__ import annotations

import ast
import io
import sys
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_dir
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from make_impact import NOW, rich

from specctl.change.policy import CLASS_WORDS
from specctl.report.catalogue import ENGLISH, MONTHS
from specctl.report.typed_control import typed_tables
from specctl.report.view import view_of

REPORT = Path(__file__).resolve().parents[2] / "specctl" / "report"
SITE = REPORT.parent / "site"
LOCALE = REPORT / "locale"


def said() -> Catalog:
    """Every sentence the code hands to `_`, `_n`, `later` and `count`, and those `say` hands on by their keys."""
    found = Catalog(project="specctl", charset="utf-8")
    for path in (*sorted(REPORT.rglob("*.py")), *sorted(SITE.rglob("*.py"))):
        for message in sorted(_in_code(path), key=str):
            found.add(message, locations=[(path.relative_to(REPORT if REPORT in path.parents else REPORT.parent).as_posix(), None)])
    for file, _line, message, comments, context in extract_from_dir(
        str(REPORT), [("**.html", "jinja2")], keywords={"_": None, "_n": (1, 2)}
    ):
        found.add(message, locations=[(file.replace("\\", "/"), None)], auto_comments=comments, context=context)
    for text in CLASS_WORDS.values():
        found.add(text, locations=[("view_signing.py", None)])
    for text in sorted(_heads()):
        found.add(text, locations=[("workbook.py", None)])
    for text in (*ENGLISH.values(), *MONTHS):
        if any(map(str.isalpha, text)):
            found.add(text, locations=[("catalogue.py", None)])
    return found


def _in_code(path: Path) -> set[str | tuple[str, str]]:
    """What stands in the calls of one module; in f-strings too, which babel does not look into before Python 3.12."""
    found: set[str | tuple[str, str]] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if not (isinstance(node, ast.Call) and isinstance(node.func, ast.Name)):
            continue
        texts = [arg.value for arg in node.args if isinstance(arg, ast.Constant) and isinstance(arg.value, str)]
        match node.func.id, texts:
            case ("_" | "later"), [text]:
                found.add(text)
            case ("_n" | "later_n"), [one, many]:
                found.add((one, many))
            case "count", [one, *more]:
                found.add(("{count} " + one, "{count} " + (more[0] if more else one + "s")))
    return found


def _heads() -> set[str]:
    """The heads of a workbook's columns, from all its leaves: each is there whether or not it holds a row."""
    impact = rich()
    fields = [field for table in typed_tables(impact, view_of(impact, now=NOW)) for field in table.fields]
    return {text for field in fields for text in (field.name, field.unit) if text not in ("", "g")}


def languages() -> list[str]:
    return sorted(place.name for place in LOCALE.iterdir() if place.is_dir())


def po_of(language: str) -> Path:
    return LOCALE / language / "LC_MESSAGES" / "specctl.po"


def read(language: str) -> Catalog:
    with po_of(language).open("rb") as file:
        return read_po(file, locale=language)


def mo_bytes(catalog: Catalog) -> bytes:
    out = io.BytesIO()
    write_mo(out, catalog)
    return out.getvalue()


def write(language: str) -> None:
    catalog = read(language)
    catalog.update(said(), no_fuzzy_matching=True, update_creation_date=False)
    catalog.obsolete.clear()
    out = io.BytesIO()
    write_po(out, catalog, width=0, sort_output=True, ignore_obsolete=True)
    po_of(language).write_bytes(out.getvalue())
    po_of(language).with_suffix(".mo").write_bytes(mo_bytes(read(language)))


if __name__ == "__main__":
    if sys.argv[1:] != ["--write"]:
        sys.exit("python tests/report/words_catalogue.py --write")
    for each in languages():
        write(each)
