"""What is told of one cup: its layers, its ice, its room, and which neighbours mix.

Values only. Every figure is an estimate; a temperature here is never evidence
for cooling, holding or safe serving: a probe is.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from specctl.analysis.pour import Meeting

Kind = Literal["liquid", "foam", "slush", "pieces"]
Room = Literal["fits", "over-line", "overflows", "unknown"]


@dataclass(frozen=True, slots=True)
class LayerState:
    """One layer in the cup. Volumes in ml, heights in mm above the base, °C, g/ml;
    None: not known. `joined` names the layers meant to mix into it; `uses` are
    (id, grams), the most first; `water` are the
    grams of melt water and steam in it; `sugars` are grams, `sugars_known` if all of them."""

    key: str
    joined: tuple[str, ...]
    kind: Kind
    uses: tuple[tuple[str, float], ...]
    grams: float
    ml: float | None
    celsius: float | None
    density: float | None
    band: float | None
    bottom: float | None
    top: float | None
    water: float
    sugars: float
    sugars_known: bool
    why: tuple[str, ...]
    missing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class IceState:
    """Grams put in, melted, left in the cup and left behind in a strainer; ml it
    displaces; whether it floats; the layers it stands in; its
    temperature as scooped in °C; the share of ice in a heap."""

    put: float
    melted: float
    left: float
    strained: float
    displaces: float
    floats: bool
    among: tuple[str, ...]
    celsius: float
    packing: float


@dataclass(frozen=True, slots=True)
class Topped:
    """A line that tops up to a height, where melt water or steam already stands in the cup:
    its path, the `stated` grams of a sum without that water, and the grams that `reach` the height."""

    path: str
    stated: float
    reach: float


@dataclass(frozen=True, slots=True)
class CupState:
    """One size of one build. `poured_ml` is the level just poured, `rest_ml` come to
    rest, `naive_ml` the liquids and foams alone; `known_ml` the higher of what is
    known; `free_mm` from the surface up to the fill line (negative: over it); `topped`
    where a filling rule takes other grams than a sum without melt water gives."""

    layers: tuple[LayerState, ...]
    meetings: tuple[Meeting, ...]
    ice: IceState | None
    poured_ml: float | None
    rest_ml: float | None
    naive_ml: float | None
    known_ml: float
    level_mm: float | None
    free_mm: float | None
    room: Room
    thin: tuple[str, ...]
    better_order: tuple[str, ...] | None
    missing: tuple[str, ...]
    mass_in: float
    mass_out: float
    topped: Topped | None = None

    def layer(self, key: str) -> LayerState | None:
        return next((each for each in self.layers if key == each.key or key in each.joined), None)

    @property
    def dilution(self) -> float:
        """Melt water and steam as a share of what can be drunk, by mass."""
        water = sum(each.water for each in self.layers)
        grams = sum(each.grams for each in self.layers)
        return water / grams if grams else 0.0

    @property
    def doubt_ml(self) -> float:
        """How far the level may be off by the bands of its layers' densities, all to one side, ml."""
        return sum(
            each.ml * each.band / each.density
            for each in self.layers
            if each.ml is not None and each.band is not None and each.density
        )

    @property
    def drinkable_ml(self) -> float | None:
        """Ml consumed as served, for every figure by 100 ml: pearls and other pieces, melt water and
        steam counted, for their grams are in the figures too; ice left over not. None: not known."""
        if self.missing or any(each.ml is None for each in self.layers):
            return None
        return sum(each.ml or 0.0 for each in self.layers)

    @property
    def melt_g(self) -> float:
        """Grams of melt water and condensed steam among what can be drunk."""
        return sum(each.water for each in self.layers)

    @property
    def hottest(self) -> float | None:
        return max((each.celsius for each in self.layers if each.celsius is not None), default=None)
