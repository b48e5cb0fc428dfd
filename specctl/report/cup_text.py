"""The cup as plain characters, for a terminal or any printer; 80 columns by default.

Promises: each layer has a filling of its own and as many rows as its words
need, so no label meets another; heights are roughly to scale and stated in mm.
"""

from __future__ import annotations

from specctl.analysis.cup_state import CupState
from specctl.domain.book import Book
from specctl.domain.equipment import Vessel
from specctl.domain.recipe import Drink
from specctl.report.clean import columns
from specctl.report.cup_view import CupLayer, CupView, below, headed, make_view
from specctl.report.plain import heading, wrap
from specctl.report.tongue import _

WIDTH = 80
NARROWEST_DRAWN = 50
_BETWEEN = 4
_ROWS = 16
_CUP = 24
_FILLS = ":/=.%+#"


def pair_text(before: CupView | None, after: CupView | None, width: int = WIDTH) -> list[str]:
    """Lines of a cup before and after: side by side where there is room for both, else one below the other."""
    named = [(view, words) for view, words in headed(before, after) if view is not None]
    wide = (width - _BETWEEN) // 2
    if len(named) < 2 or wide < NARROWEST_DRAWN:
        return [line for view, words in named for line in [*cup_text(view, width, f"{words}: {view.title}", brief=True).splitlines(), ""]][:-1]
    left, right = (cup_text(view, wide, f"{words}: {view.title}", brief=True).splitlines() for view, words in named)
    rows = max(len(left), len(right))
    left += [""] * (rows - len(left))
    right += [""] * (rows - len(right))
    return [(first + " " * (wide + _BETWEEN - columns(first)) + second).rstrip() for first, second in zip(left, right)]


def cup_text(view: CupView, width: int = WIDTH, title: str = "", *, brief: bool = False) -> str:
    """One cup, its layers labelled, then whether it fits and which layers stay.

    `brief`: without the notes and cautions, where the page around it tells them.
    """
    words = max(width - _CUP - 6, 16)
    lines = heading(title or f"{view.title}: {view.vessel}", width)
    rows: list[tuple[str, str]] = []
    if view.lid is not None:
        rows.append(("_", _("lid")))
    level = max((layer.top for layer in view.layers), default=0.0)
    marks = [(view.height, _("rim"), " "), (view.fill_height, _("fill line"), "-")]
    for mm, name, fill in marks:
        if mm > level - 0.5 or fill == " ":
            rows.append((fill, f"{name}, {mm:.0f} mm"))
    free = min(view.fill_height, view.height) - level
    rows += [(" ", "")] * max(0, round(free / view.height * _ROWS) - 1)
    if level > view.fill_height + 0.5:
        rows.append(("!", _("over the fill line") if view.room != "overflows" else _("over the rim")))
    for at in reversed(range(len(view.layers))):
        layer = view.layers[at]
        rows += _layer(layer, view, words, "*" if layer.kind == "foam" else _FILLS[at % len(_FILLS)])
    lines += _drawn(rows, view)
    for each in below(view, brief):
        lines += wrap(each, width, "  ", "    ")
    return "\n".join(lines)


def cups_text(
    book: Book,
    drink: Drink,
    size: str,
    vessel: Vessel,
    states: tuple[CupState, CupState | None],
    width: int = WIDTH,
) -> str:
    """One size as the spec says; where something else was asked, that instead, and what it changes."""
    spec, asked = states
    first = make_view(book, drink, size, vessel, spec)
    other = make_view(book, drink, size, vessel, asked, _("what if")) if asked is not None else None
    if first is None:
        return ""
    if asked is None or other is None:
        return "\n" + cup_text(first, width)
    lines = ["", cup_text(other, width)]
    for words in changes(first, other, spec, asked):
        lines += wrap(words, width, "  ", "    ")
    return "\n".join(lines)


def changes(first: CupView, other: CupView, spec: CupState, asked: CupState) -> list[str]:
    """What asking changed, in words; nothing of it is written anywhere."""
    as_spec = _("As the spec says: {words}")
    words = [as_spec.format(words=first.room_words)]
    if spec.dilution >= 0.005 or asked.dilution >= 0.005:
        told = _("Melt water and steam: {before} of the drink as the spec says, {after} so.")
        words.append(told.format(before=f"{spec.dilution * 100:.0f} %", after=f"{asked.dilution * 100:.0f} %"))
    for was in first.verdicts:
        if was not in other.verdicts:
            words.append(as_spec.format(words=was))
    return [*words, _("Nothing was written.")]


def _layer(layer: CupLayer, view: CupView, words: int, fill: str) -> list[tuple[str, str]]:
    label = [*wrap(layer.name, words), *wrap(layer.figures, words)]
    high = max(len(label), round((layer.top - layer.bottom) / view.height * _ROWS))
    label += [""] * (high - len(label))
    mark = fill
    if view.ice is not None and view.ice.bottom < layer.top and view.ice.top > layer.bottom + 0.5 and layer.kind != "foam":
        mark = fill + "i"
    return [(mark, text) for text in label]


def _drawn(rows: list[tuple[str, str]], view: CupView) -> list[str]:
    """The rows inside walls that lean as the cup's do."""
    base, rim = view.walls[0][1], view.walls[-1][1]
    widest = max(base, rim)
    lines = []
    count = max(len(rows) - 1, 1)
    for at, (fill, label) in enumerate(rows):
        share = (rim + (base - rim) * at / count) / widest
        inside = max(6, round(share * _CUP / 2) * 2)
        pad = (_CUP - inside) // 2
        if fill.endswith("i"):
            pattern = (fill[0] * 2 + "[]" + fill[0] * 2) * (inside // 6 + 1)
            body = pattern[:inside]
        elif fill == "-":
            body = ("- " * inside)[:inside]
        else:
            body = fill * inside
        lines.append((" " * pad + f" |{body}|" + " " * pad + f"  {label}").rstrip())
    inside = max(6, round(base / widest * _CUP / 2) * 2)
    lines.append(" " * ((_CUP - inside) // 2) + " +" + "-" * inside + "+")
    return lines
