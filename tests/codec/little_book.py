"""The demo book's files, and a book of one ingredient and one drink, for the tests of reading and normalising."""

from __future__ import annotations

from functools import cache

from specctl import resources
from specctl.codec.load import Loaded, load


@cache
def demo_files() -> dict[str, bytes]:
    root = resources.demo_book()
    return {p.relative_to(root).as_posix(): p.read_bytes() for p in sorted(root.rglob("*.yaml"))}


@cache
def demo() -> Loaded:
    return load(demo_files())


class Shelf:
    """A shelf in memory that counts what it was asked and could give."""

    def __init__(self) -> None:
        self.kept: dict[tuple[str, str], bytes] = {}
        self.hits = 0

    def get(self, namespace: str, key: str) -> bytes | None:
        found = self.kept.get((namespace, key))
        self.hits += found is not None
        return found

    def put(self, namespace: str, key: str, value: bytes) -> None:
        self.kept[(namespace, key)] = value


BOOK = b"""\
format: 1
id: tidewick
name: Tidewick
day_starts: "04:00"
tolerance: 5 %
allergen_documents_last: 730 d
"""


def ingredient(density: str | None, *, state: str = "liquid", name: str = "Something") -> bytes:
    key = "bulk_density" if state == "powder" else "density"
    lines = [f"name: {name}", f"state: {state}"]
    if density:
        at = "" if state == "powder" else ", at: 20 °C"
        lines.append(f"{key}: {{is: {density}{at}, from: given in this test}}")
    return ("\n".join([*lines, "storage: ambient"]) + "\n").encode()


def prep(amount: str, *, use: str = "something", more: str = "") -> bytes:
    return (
        f"name: Some prep\n# what the bench reads\nlines:\n  # weighed twice\n  it: {{use: {use}, amount: {amount}{more}}}\n"
        "steps:\n  stir:\n    do: Stir.\nyields: 1 kg\nkeep: chilled\nhold: 24 h\n"
    ).encode()


def little(amount: str, density: str | None, *, state: str = "liquid", more: str = "", spoons: str = "") -> dict[str, bytes]:
    """A book whose prep uses so much of an ingredient of that density."""
    spoon_line = f"spoons: {spoons}\n".encode() if spoons else b""
    return {
        "book.yaml": BOOK + spoon_line,
        "ingredients/something.yaml": ingredient(density, state=state),
        "preps/some.yaml": prep(amount, more=more),
    }
