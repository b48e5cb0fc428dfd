"""The cup in cross-section, to scale, as one SVG: no script, no style sheet, no request.

Promises: labels never overlap, however thin their layers; colours are the
items' own and every layer has a hatching of its own besides, so it reads in
black and white; a text alternative stands inside. Only presentation attributes
are used, so a page that forbids inline style shows it unchanged. Same view,
same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from specctl.report.clean import columns
from specctl.report.cup_view import CupLayer, CupView, below, headed
from specctl.report.cup_words import SCALD
from specctl.report.tongue import _

WIDTH = 340
_CUP_WIDE, _CUP_HIGH = 128.0, 210.0
_LEFT, _TOP = 14.0, 18.0
_LABEL_AT = 172.0
_LABEL_WIDE = WIDTH - _LABEL_AT - 4
_LINE, _GAP = 14.0, 6.0
_BELOW_WIDE = WIDTH - 16.0
_SPACE = 3.6
_INK = "#222222"

# Seven ways to hatch, told apart without colour: (size, path of the strokes).
_HATCHES = (
    (8, "M0 8L8 0"),
    (7, "M0 3.5H7"),
    (8, "M0 0L8 8"),
    (7, "M3.5 0V7"),
    (9, "M0 4.5H9M4.5 0V9"),
    (8, "M0 8L8 0M0 0L8 8"),
    (10, "M0 7L5 3L10 7"),
)
_FOAM = (9, "M2 4a2 2 0 1 0 4 0a2 2 0 1 0 -4 0")
_EDGES = {"stays": "", "marginal": "6 3", "mixes": "2 3", "unknown": "1 4"}


@dataclass(frozen=True, slots=True)
class _Label:
    """Lines of text beside the cup and the height they point at, px from the top."""

    lines: tuple[str, ...]
    points_at: float
    bold: bool = True


def cup_svg(
    view: CupView, *, figures: bool = True, heading: str = "", scale: float | None = None, brief: bool = False
) -> str:
    """One cup. `figures` False: names only, as on a card. `heading` stands above it;
    `scale` in px a mm, so that two cups may share one; `brief` as in `below`."""
    per_mm = scale if scale is not None else scale_of(view)
    prefix = f"cup-{view.id}" + (f"-{_slug(heading)}" if heading else "") + ("" if figures else "-plain")
    head = _fitted(f"{heading}: {view.title}" if heading else view.title, _BELOW_WIDE)
    top = _TOP + len(head) * _LINE + _lid_room(view) * per_mm
    draw = _Drawing(view, per_mm, top, prefix)
    labels = _placed_labels(_labels(view, draw, figures), top - 4, draw.y(0) + 10)
    bottom = max([draw.y(0) + 10, *(y + len(label.lines) * _LINE for label, y in labels)])
    words = _below(view, figures, brief)
    height = bottom + 8 + len(words) * _LINE + 6
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{height:.0f}" viewBox="0 0 {WIDTH} {height:.0f}" '
        f'role="img" aria-labelledby="{prefix}-title {prefix}-desc" font-family="sans-serif" font-size="12" fill="{_INK}">',
        f'<title id="{prefix}-title">{_text(view.title)}</title>',
        f'<desc id="{prefix}-desc">{_text(view.alternative if figures else _plain_alternative(view))}</desc>',
        f'<rect width="{WIDTH}" height="{height:.0f}" fill="#ffffff"/>',
    ]
    parts += _lines(head, 8, _TOP, bold=True)
    parts += draw.everything()
    for label, y in labels:
        parts.append(draw.leader(label.points_at, y - 4))
        parts += _lines(label.lines, _LABEL_AT, y, bold=label.bold)
    parts += _lines(words, 8, bottom + 14)
    return "\n".join([*parts, "</svg>"])


def pair_svg(before: CupView | None, after: CupView | None) -> str:
    """Before and after at one scale: two pictures one after the other, which stand side by
    side where there is room and below one another where there is not."""
    views = [(each, words) for each, words in headed(before, after) if each is not None]
    scale = min((scale_of(each) for each, _head in views), default=None)
    return "\n".join(cup_svg(each, heading=words, scale=scale, brief=True) for each, words in views)


def scale_of(view: CupView) -> float:
    """Px a mm at which a cup fills its room."""
    widest = max(wide for _up, wide in view.walls)
    return min(_CUP_HIGH / (view.height + _lid_room(view)), _CUP_WIDE / widest)


@dataclass(frozen=True, slots=True)
class _Drawing:
    view: CupView
    per_mm: float
    top: float
    prefix: str

    def y(self, mm: float) -> float:
        return self.top + (self.view.height - mm) * self.per_mm

    def half(self, mm: float) -> float:
        """Half the inside width at a height, px."""
        walls = self.view.walls
        for (low, narrow), (high, wide) in zip(walls, walls[1:]):
            if mm <= high:
                return (narrow + (wide - narrow) * max(mm - low, 0.0) / (high - low)) / 2 * self.per_mm
        return walls[-1][1] / 2 * self.per_mm

    @property
    def middle(self) -> float:
        return _LEFT + _CUP_WIDE / 2

    def outline(self, low: float, high: float) -> str:
        """Points of the inside between two heights, clockwise from the lower left."""
        heights = [low, *(up for up, _wide_at in self.view.walls if low < up < high), high]
        left = [(self.middle - self.half(mm), self.y(mm)) for mm in heights]
        right = [(self.middle + self.half(mm), self.y(mm)) for mm in reversed(heights)]
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in [*left, *right])

    def everything(self) -> list[str]:
        parts = ["<defs>", f'<clipPath id="{self.prefix}-inside"><polygon points="{self.outline(0, self.view.height)}"/></clipPath>']
        for at, layer in enumerate(self.view.layers):
            size, path = _FOAM if layer.kind == "foam" else _HATCHES[at % len(_HATCHES)]
            parts.append(
                f'<pattern id="{self.prefix}-h{at}" width="{size}" height="{size}" patternUnits="userSpaceOnUse">'
                f'<path d="{path}" fill="none" stroke="{_stroke(layer.colour)}" stroke-opacity="0.55" stroke-width="1"/></pattern>'
            )
        parts.append("</defs>")
        for at, layer in enumerate(self.view.layers):
            points = self.outline(layer.bottom, layer.top)
            parts.append(f'<polygon points="{points}" fill="{layer.colour}"/>')
            parts.append(f'<polygon points="{points}" fill="url(#{self.prefix}-h{at})"/>')
            if layer.edge:
                dashes = f' stroke-dasharray="{_EDGES[layer.edge]}"' if _EDGES.get(layer.edge) else ""
                parts.append(self._across(layer.bottom, f'stroke="{_INK}" stroke-width="1.2"{dashes}'))
        parts += self._ice()
        fill = self.view.fill_height
        parts.append(self._across(fill, 'stroke="#b00020" stroke-width="1.2" stroke-dasharray="5 3"', out=6))
        parts.append(self._walls())
        if self.view.room == "overflows":
            rim, half = self.y(self.view.height), self.half(self.view.height)
            for side in (-1, 1):
                x = self.middle + side * (half + 3)
                parts.append(
                    f'<path d="M{x - side * 9:.1f} {rim - 5:.1f}Q{x:.1f} {rim - 6:.1f} {x:.1f} {rim + 26:.1f}" fill="none" '
                    f'stroke="#b00020" stroke-width="3"/>'
                )
        return parts

    def leader(self, points_at: float, y: float) -> str:
        mm = self.view.height - (points_at - self.top) / self.per_mm
        x = self.middle + self.half(min(max(mm, 0.0), self.view.height))
        return f'<path d="M{x:.1f} {points_at:.1f}L{_LABEL_AT - 12:.1f} {y:.1f}H{_LABEL_AT - 4:.1f}" fill="none" stroke="#666666" stroke-width="0.8"/>'

    def _across(self, mm: float, how: str, out: float = 0.0) -> str:
        half = self.half(mm) + out
        return f'<path d="M{self.middle - half:.1f} {self.y(mm):.1f}H{self.middle + half:.1f}" {how}/>'

    def _walls(self) -> str:
        heights = [up for up, _wide_at in self.view.walls]
        left = [(self.middle - self.half(mm), self.y(mm)) for mm in reversed(heights)]
        right = [(self.middle + self.half(mm), self.y(mm)) for mm in heights]
        wall = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in [*left, *right])
        path = f'<path d="{wall}" fill="none" stroke="{_INK}" stroke-width="2.2" stroke-linejoin="round"/>'
        lid = self.view.lid
        if lid is None:
            return path
        half, rim = self.half(self.view.height) + 3, self.y(self.view.height)
        up = max(lid * self.per_mm, 3.0)
        return path + (
            f'<path d="M{self.middle - half:.1f} {rim:.1f}C{self.middle - half:.1f} {rim - up * 1.33:.1f} '
            f'{self.middle + half:.1f} {rim - up * 1.33:.1f} {self.middle + half:.1f} {rim:.1f}Z" '
            f'fill="none" stroke="#777777" stroke-width="1.5"/>'
        )

    def _ice(self) -> list[str]:
        ice = self.view.ice
        if ice is None or ice.top <= ice.bottom:
            return []
        side = max(9.0, min(16.0, (ice.top - ice.bottom) * self.per_mm))
        row = max(1, int(2 * self.half(ice.bottom) // (side + 5)))
        parts = [f'<g clip-path="url(#{self.prefix}-inside)" fill="#ffffff" fill-opacity="0.55" stroke="#335566" stroke-width="1.2">']
        for at in range(ice.pieces):
            line, column = divmod(at, row)
            count = min(row, ice.pieces - line * row)
            x = self.middle + (column - (count - 1) / 2) * (side + 5) - side / 2
            y = self.y(ice.top) + line * (side + 3) + (2 if column % 2 else 0)
            if y + side > self.y(ice.bottom) + side / 2 and line:
                break
            parts.append(f'<rect x="{x:.1f}" y="{y:.1f}" width="{side:.1f}" height="{side:.1f}" rx="2.5"/>')
        return [*parts, "</g>"]


def _labels(view: CupView, draw: _Drawing, figures: bool) -> list[_Label]:
    """What stands beside the cup, from the top down: the fill line, then the layers."""
    found = [_Label((_("fill line"),), draw.y(view.fill_height), bold=False)]
    for layer in reversed(view.layers):
        lines = [*_fitted(layer.name, _LABEL_WIDE), *(_figures(layer) if figures else ())]
        found.append(_Label(tuple(lines), draw.y((layer.bottom + layer.top) / 2)))
    if view.ice is not None:
        words = _("ice that is left") if figures else _("ice")
        found.append(_Label((words,), draw.y(view.ice.top) + 6, bold=False))
    return sorted(found, key=lambda label: label.points_at)


def _figures(layer: CupLayer) -> list[str]:
    return _fitted(layer.figures, _LABEL_WIDE)


def _placed_labels(labels: Sequence[_Label], top: float, base: float) -> list[tuple[_Label, float]]:
    """Each label's first baseline: as near as may be to what it points at, none over another."""
    heights = [len(label.lines) * _LINE + _GAP for label in labels]
    wanted = [label.points_at - height / 2 + _LINE for label, height in zip(labels, heights)]
    placed: list[float] = []
    for at, want in enumerate(wanted):
        free = top + _LINE if not placed else placed[-1] + heights[at - 1]
        placed.append(max(want, free))
    # what was pushed below the cup moves back up into whatever room is free above
    low = max(base, top + sum(heights) + _LINE)
    for at in reversed(range(len(placed))):
        placed[at] = min(placed[at], low - heights[at] + _LINE)
        low = placed[at] - _LINE
    return list(zip(labels, placed))


def _below(view: CupView, figures: bool, brief: bool) -> list[str]:
    """What stands under the cup: whether it fits, the verdicts, the cautions."""
    words = below(view, brief) if figures else _hot_words(view)
    return [line for each in words for line in _fitted(each, _BELOW_WIDE)]


def _hot_words(view: CupView) -> list[str]:
    return [each for each in view.cautions if each == _(SCALD)]


def _plain_alternative(view: CupView) -> str:
    layers = "; ".join(each.name for each in view.layers)
    told = _("{title}, in {vessel}, from the bottom up: {layers}.")
    words = [told.format(title=view.title, vessel=view.vessel, layers=layers), *_hot_words(view)]
    return " ".join(words)


def _lines(lines: Sequence[str], x: float, y: float, bold: bool = False) -> list[str]:
    """Text, one element a line, its first line bold where asked."""
    found = []
    for at, line in enumerate(lines):
        weight = ' font-weight="bold"' if bold and at == 0 else ""
        found.append(f'<text x="{x:.0f}" y="{y + at * _LINE:.1f}"{weight}>{_text(line)}</text>')
    return found


def _fitted(words: str, room: float) -> list[str]:
    """`words` in lines of at most so many px; a word wider than that is broken, never cut short."""
    lines, line, used = [], "", 0.0
    for word in words.split():
        wide = _wide(word)
        if line and used + _SPACE + wide > room:
            lines.append(line)
            line, used = "", 0.0
        while wide > room:
            at = len(word) - 1
            while at > 1 and _wide(word[:at]) > room:
                at -= 1
            lines.append(word[:at])
            word = word[at:]
            wide = _wide(word)
        line, used = (f"{line} {word}", used + _SPACE + wide) if line else (word, wide)
    return [*lines, line] if line or not lines else lines


def _wide(word: str) -> float:
    """Px a word takes at most at 12 px bold, by kind of letter; wide on purpose, for fonts differ."""
    return sum(_width(letter) for letter in word)


def _width(letter: str) -> float:
    if not letter.isascii():
        return 13.0 if columns(letter) > 1 else 9.0
    if letter in "mwMW@%":
        return 11.0
    return 4.4 if letter in "iljtfr.,:;|'!()[] -" else 8.8 if letter.isupper() else 7.4


def _lid_room(view: CupView) -> float:
    return view.lid or 0.0


def _text(words: str) -> str:
    return escape(words, {'"': "&quot;"})


def _slug(words: str) -> str:
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in words.lower())


def _stroke(colour: str) -> str:
    """Black on light, white on dark, by relative luminance (WCAG weights)."""
    red, green, blue = (int(colour[at : at + 2], 16) for at in (1, 3, 5))
    return "#000000" if 0.2126 * red + 0.7152 * green + 0.0722 * blue > 110 else "#ffffff"
