"""Turns what the bench reads into grams, in the author's own file.

For every amount that is not canonical the file gets the grams in its place and
the written form beside it, with the density or the mass of one dose that
turned it. Only those spans are touched; comments stay. From then on the scoop
may change and the spec does not. Grams are rounded half up to 0.01 g.

What turns a volume into a mass: a stated density of the liquid; for a powder,
leaf or ice its bulk density; for a dose of a tool the bench site's scoop check
of that ingredient, where there is one, else the tool's volume and the density.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from specctl.codec import spans, units
from specctl.codec.amount_faults import Fault
from specctl.codec.amounts import (
    GRAMS,
    GRAMS_EACH,
    GRAMS_PER_ML,
    Absent,
    Counted,
    Dosed,
    Measured,
    TopTo,
    WrittenForm,
    format_amount,
    format_written_form,
    parse_amount,
    parse_written_form,
)
from specctl.codec.decode_recipe import sized
from specctl.codec.load import Loaded
from specctl.codec.node import Node
from specctl.domain.amount import centigrams, plain
from specctl.domain.book import Book
from specctl.domain.ingredient import Ingredient
from specctl.domain.recipe import ALL_SIZES, Prep
from specctl.problem import Place, Problem

Where = tuple[str | int, ...]
_FINEST = Decimal("0.000000001")


@dataclass(frozen=True, slots=True)
class LineNode:
    """A line of a spec as it stands in its file: its path, its node, what it uses."""

    path: Where
    node: Node
    use: str


@dataclass(frozen=True, slots=True)
class Normalised:
    """New bytes by path (only files that change), a line a change, and what could not be done."""

    files: dict[str, bytes]
    changes: tuple[tuple[Place, str, str], ...]
    problems: tuple[Problem, ...]


def lines_of(tree: Node, kind: str) -> Iterator[LineNode]:
    """Every line of a prep or drink, options included, wherever an amount may stand."""
    if kind == "prep":
        yield from _lines(tree, (), "")
        return
    for layer, node in _pairs(tree, "layers"):
        yield from _lines(node, ("layers", layer), layer)
    standard = {
        f"{layer}/{line}": str(use.value)
        for layer, node in _pairs(tree, "layers")
        for line, inner in _pairs(node, "lines")
        if (use := inner.get("use"))
    }
    for option, node in _pairs(tree, "options"):
        for choice, inner in _pairs(node, "choices"):
            for path, line in _pairs(inner, "lines"):
                if line.kind == "map":
                    use = line.get("use")
                    where = ("options", option, "choices", choice, "lines", path)
                    yield LineNode(where, line, str(use.value) if use else standard.get(path, ""))


def _lines(node: Node, where: Where, layer: str) -> Iterator[LineNode]:
    for key, line in _pairs(node, "lines"):
        use = line.get("use")
        yield LineNode((*where, "lines", key), line, str(use.value) if use else "")


def _pairs(node: Node, key: str) -> list[tuple[str, Node]]:
    inner = node.get(key)
    return list(inner.pairs()) if inner else []


def normalise(files: dict[str, bytes], loaded: Loaded, bench: str | None = None) -> Normalised:
    """Canonical amounts for every prep and drink of a book that can be read."""
    book = loaded.book
    changed: dict[str, bytes] = {}
    rows: list[tuple[Place, str, str]] = []
    problems: list[Problem] = []
    if book is None:
        return Normalised(changed, (), loaded.problems)
    for path, tree in loaded.nodes.items():
        kind = path.split("/", 1)[0]
        if kind not in ("preps", "drinks"):
            continue
        edits: list[spans.Edit] = []
        for line in lines_of(tree, kind.removesuffix("s")):
            edits += _line_edits(line, path, book, bench, rows, problems)
        if edits:
            text = files[path].decode("utf-8")
            changed[path] = spans.apply(text, edits).encode("utf-8")
    return Normalised(changed, tuple(rows), tuple(problems))


def _line_edits(
    line: LineNode,
    file: str,
    book: Book,
    bench: str | None,
    rows: list[tuple[Place, str, str]],
    problems: list[Problem],
) -> list[spans.Edit]:
    edits: list[spans.Edit] = []
    kept: dict[str, str] = {}
    amounts = line.node.get("amount")
    for size, node in sized(amounts):
        text = str(node.value)
        read = parse_amount(text, tools=book.tools, spoons=book.settings.spoons)
        place = node.place(file)
        if isinstance(read, Fault):
            problems.append(Problem("amount-form", place, read.what, read.todo))
            continue
        if isinstance(read, (TopTo, Absent, Counted)) or (isinstance(read, Measured) and read.unit == "g"):
            canonical = format_amount(read)
            if canonical != text:
                edits.append(spans.set_scalar(_amount_path(line, size), canonical))
                rows.append((place, text, canonical))
            continue
        form = written_form(read, line.use, book, bench)
        if isinstance(form, Problem):
            problems.append(Problem(form.code, place, form.what, form.todo))
            continue
        grams = centigrams(form.grams())
        if grams == 0:
            problems.append(Problem("amount-too-small", place, f"{text} is less than 0.01 g", "Write it in a premix."))
            continue
        edits.append(spans.set_scalar(_amount_path(line, size), f"{plain(grams)} g"))
        kept[size] = format_written_form(form)
        rows.append((place, text, f"{plain(grams)} g, written {kept[size]}"))
    if kept:
        edits.append(_written_edit(line, kept))
    return edits


def _amount_path(line: LineNode, size: str) -> Where:
    return (*line.path, "amount") if size == ALL_SIZES else (*line.path, "amount", size)


def _written_edit(line: LineNode, kept: dict[str, str]) -> spans.Edit:
    before = line.node.get("written")
    value: object = kept[ALL_SIZES] if ALL_SIZES in kept else {**(before.plain() if before and before.kind == "map" else {}), **kept}  # type: ignore[dict-item]
    if before is not None:
        return spans.replace_value((*line.path, "written"), value)
    return spans.insert_after((*line.path, "amount"), "written", value)


def written_form(amount: Measured | Dosed, use: str, book: Book, bench: str | None) -> WrittenForm | Problem:
    """What the author wrote with the factor that turns it into grams; a problem (without a place) if there is none."""
    if isinstance(amount, Measured):
        if units.UNITS[amount.unit].dimension == units.MASS:
            return WrittenForm(amount, units.factor(amount.unit, "g"), GRAMS)
        density = _density(use, book)
        if density is None:
            return _no_density(use, book)
        return WrittenForm(amount, _writable(density), GRAMS_PER_ML)
    check = next(
        (c for c in book.scoop_checks.values() if (c.ingredient, c.tool, c.site) == (use, amount.tool, bench)), None
    )
    if check:
        return WrittenForm(amount, _writable(check.mean), GRAMS_EACH)
    tool = book.tools[amount.tool]
    size = tool.volume or tool.stroke
    if size is None:
        return Problem("amount-tool", Place(""), f"a dose of {amount.tool} has no one size", "Write the millilitres it was filled to.")
    density = _density(use, book)
    if density is None:
        return _no_density(use, book)
    return WrittenForm(amount, _writable(size * density), GRAMS_EACH)


def _writable(factor: Decimal) -> Decimal:
    """A factor to as many decimals as the grammar reads, so that what is written reads back."""
    return factor.quantize(_FINEST, rounding=ROUND_HALF_UP)


def _density(use: str, book: Book) -> Decimal | None:
    item = book.item(use)
    if isinstance(item, Ingredient):
        found = item.scoop_density
        return found.value if found else None
    return item.density.value if isinstance(item, Prep) and item.density else None


def _no_density(use: str, book: Book) -> Problem:
    if book.item(use) is None:
        return Problem("amount-no-item", Place(""), f"{use or 'this line'} is not an ingredient or a prep of this book", "Correct the name first.")
    return Problem(
        "density-missing",
        Place(""),
        f"{use} has no density, so a volume of it is no mass",
        "Weigh a known volume and write its density (bulk_density for a powder), or write grams.",
    )


def written_problems(loaded: Loaded) -> list[Problem]:
    """Written forms that no longer agree with the grams beside them. Grams win."""
    book = loaded.book
    if book is None:
        return []
    found: list[Problem] = []
    for path, tree in loaded.nodes.items():
        kind = path.split("/", 1)[0]
        if kind not in ("preps", "drinks"):
            continue
        for line in lines_of(tree, kind.removesuffix("s")):
            amounts = dict(sized(line.node.get("amount")))
            for size, node in sized(line.node.get("written")):
                found += _disagreement(node, amounts.get(size), path, book)
    return found


def _disagreement(node: Node, beside: Node | None, file: str, book: Book) -> list[Problem]:
    form = parse_written_form(str(node.value), tools=book.tools)
    if isinstance(form, Fault):
        return [Problem("written-form", node.place(file), form.what, form.todo)]
    amount = parse_amount(str(beside.value), tools=book.tools) if beside else None
    if not isinstance(amount, Measured) or amount.unit != "g":
        return [Problem("written-alone", node.place(file), "a written form without grams beside it", "Remove it, or run normalise.")]
    grams = centigrams(form.grams())
    if abs(grams - amount.number) > Decimal("0.005"):
        return [
            Problem(
                "written-disagrees",
                node.place(file),
                f"{node.value} is {plain(grams)} g, but the amount says {plain(amount.number)} g",
                "Grams win: remove the written form, or correct the amount.",
            )
        ]
    return []
