"""Finds what ships with the tool: schemas and the demo book.

An installed wheel carries them under `_shipped/`; a checkout has them beside
the package. Nothing else in the tool may guess at paths.
"""

from __future__ import annotations

from pathlib import Path

from specctl.errors import NotFound

_HERE = Path(__file__).resolve().parent


def _folder(name: str) -> Path:
    for candidate in (_HERE / "_shipped" / name, _HERE.parent / name):
        if candidate.is_dir():
            return candidate
    raise NotFound(
        f"this installation lacks its {name}/ folder",
        "Install specctl again.",
    )


def schema_folder() -> Path:
    """The folder of JSON Schemas, one per kind of record."""
    return _folder("schema")


def demo_book() -> Path:
    """The folder of the demo book."""
    return _folder("specs")
