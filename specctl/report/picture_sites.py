"""A map of sites and drinks: what is touched where, and what is out of tolerance there.

Marks differ in shape, not only in shade. It holds so many rows and columns as a
phone can show, worst first, and counts the rest; the table beside it holds all.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from specctl.report.picture_svg import LINE, WIDTH, Drawing, fitted
from specctl.report.site_marks import CHANGED, GONE, NEW, Group, Mark, items_by_weight
from specctl.report.tables import Picture
from specctl.report.tongue import _, _n
from specctl.report.view_names import listed

MOST_ROWS = 24
MOST_ITEMS = 10
_LEFT, _NAMES, _STEP = 6.0, 150.0, 18.0
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


def map_of(groups: tuple[Group, ...], items: Mapping[str, str], franchises: Mapping[str, str]) -> Picture | None:
    """The map of groups of sites, `items` and `franchises` by name; None where nothing is touched."""
    if not groups:
        return None
    every = items_by_weight(groups)
    shown, rows = every[:MOST_ITEMS], groups[:MOST_ROWS]
    draw = Drawing("sites-and-drinks")
    y = _head(draw, shown, 14.0)
    last = None
    for group in rows:
        if group.franchise != last and len({g.franchise for g in groups}) > 1:
            y = draw.lines(_LEFT, y + 4, fitted(franchises.get(group.franchise, group.franchise), WIDTH - 12), bold=True)
        last = group.franchise
        y = _row(draw, group, shown, y)
    y = _key(draw, shown, items, y + 8)
    rest = _left_out(len(every) - len(shown), sum(len(g.sites) for g in groups[MOST_ROWS:]))
    if rest:
        y = draw.lines(_LEFT, y, fitted(_("{rest} in the table, none of them worse.").format(rest=rest), WIDTH - 12))
    caption = _("Where cards change, and where they cannot be followed")
    alternative = _alternative(groups, items, franchises)
    return Picture(caption, alternative, draw.svg(y - 4, caption, alternative))


def _left_out(cards: int, sites: int) -> str:
    """`2 more cards and 3 more sites`."""
    words = []
    if cards > 0:
        words.append(_n("{count} more card", "{count} more cards", cards).format(count=cards))
    if sites > 0:
        words.append(_n("{count} more site", "{count} more sites", sites).format(count=sites))
    return listed(words)


def _x(column: int) -> float:
    return _LEFT + _NAMES + 8 + column * _STEP


def _head(draw: Drawing, shown: Sequence[str], y: float) -> float:
    for column in range(len(shown)):
        draw.words(_x(column), y, _LETTERS[column], anchor="middle", bold=True)
    return y + LINE


def _row(draw: Drawing, group: Group, shown: Sequence[str], y: float) -> float:
    name, left = group.sites[0], len(group.sites) - 1
    words = _n("{names} and {count} more", "{names} and {count} more", left).format(names=name, count=left) if left else name
    lines = fitted(words, _NAMES - 8)
    draw.lines(_LEFT, y + 2, lines)
    marks = {mark.item: mark for mark in group.marks}
    for column, item in enumerate(shown):
        if item in marks:
            _mark(draw, _x(column), y - 2, marks[item])
    y += len(lines) * LINE + 3
    draw.path(f"M{_LEFT:.1f} {y - 12:.1f}H{WIDTH - 4}", wide=0.4)
    return y + 3


def _mark(draw: Drawing, x: float, y: float, mark: Mark) -> None:
    """A square with a cross: out of tolerance; a disc: changes; a ring: new; a dash: gone."""
    if mark.out:
        draw.bar(x - 6, y - 6, 12, 12)
        draw.path(f"M{x - 6:.1f} {y - 6:.1f}l12 12M{x + 6:.1f} {y - 6:.1f}l-12 12", wide=2.0)
    elif mark.how == GONE:
        draw.path(f"M{x - 5:.1f} {y:.1f}h10", wide=2.4)
    else:
        draw.disc(x, y, 4.2, full=mark.how == CHANGED)


def _key(draw: Drawing, shown: Sequence[str], items: Mapping[str, str], y: float) -> float:
    signs = ((Mark("", CHANGED, False), _("card changes")), (Mark("", NEW, False), _("new there")), (Mark("", GONE, False), _("no longer served")))
    for mark, words in (*signs, (Mark("", CHANGED, True), _("out of tolerance, or something is lacking"))):
        _mark(draw, _LEFT + 7, y - 4, mark)
        y = draw.lines(_LEFT + 20, y, [words])
    for column, item in enumerate(shown):
        draw.words(_LEFT, y, _LETTERS[column], bold=True)
        y = draw.lines(_LEFT + 20, y, fitted(items.get(item, item), WIDTH - 32))
    return y


def _alternative(groups: tuple[Group, ...], items: Mapping[str, str], franchises: Mapping[str, str]) -> str:
    """How many sites of each franchise are touched, and where something is out, worst first."""
    touched: dict[str, int] = {}
    out: dict[str, int] = {}
    for group in groups:
        touched[group.franchise] = touched.get(group.franchise, 0) + len(group.sites)
        out[group.franchise] = out.get(group.franchise, 0) + (len(group.sites) if group.outs else 0)
    each = "; ".join(_touched(franchises.get(f, f) or _("sites"), n, out[f]) for f, n in touched.items())
    cards = len(items_by_weight(groups))
    words = _n("{franchises}. {count} card in all.", "{franchises}. {count} cards in all.", cards)
    return words.format(franchises=each, count=cards)


def _touched(name: str, sites: int, out: int) -> str:
    words = _n(
        "{name}: {count} site touched, {out} with something out of tolerance or lacking",
        "{name}: {count} sites touched, {out} with something out of tolerance or lacking",
        sites,
    )
    return words.format(name=name, count=sites, out=out)
