"""A cup built layer by layer: volumes, temperatures, heights, ice, and who mixes.

Promises: every layer's volume at the temperature it comes to with the ice that
touches it; melt water and condensed steam join the layer they appear in; a line
that tops up to a height meets it over such water; the level is the higher of just poured and come to rest. Volumes are taken to add
up (sucrose in water loses up to 0.4 % of them, counted as nothing). Ice touches
its own layer and those poured after it; layers do not warm one another. An
estimate in float: nothing here lands in an entry, and no temperature here is
evidence for cooling, holding or safe serving.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from specctl.analysis.cup_state import CupState, Topped
from specctl.analysis.density_choice import DensityChoice
from specctl.analysis.heat import Body, balance, reached
from specctl.analysis.matter import ROOM, Larder, Matter
from specctl.analysis.resting import Group, Rest
from specctl.analysis.steam import STEAMED_TO, steam_uptake
from specctl.analysis.vessel import Hollow
from specctl.domain.equipment import Vessel
from specctl.domain.recipe import Drink, Handling, Layer

_PASSES = 6
_NEAR_ML = 0.05


@dataclass(frozen=True, slots=True)
class Portion:
    """One line as it goes in: grams (None: not worked out), its own °C where the spec says so,
    and mm below the rim where it tops up to a height."""

    path: str
    layer: str
    use: str
    grams: float | None
    celsius: float | None = None
    below_rim: float | None = None


def build_cup(
    larder: Larder, drink: Drink, vessel: Vessel, portions: Iterable[Portion], warm: float | None = None
) -> CupState | None:
    """One cup of one build; None for a vessel without a capacity.

    `warm`: everything poured, ice and what is handled apart, at this temperature in °C.
    A line that tops up to a height is solved again where handling brought water
    into the cup that its grams do not know of: mass balance, height for height.
    """
    hollow = larder.hollow(vessel)
    if hollow is None:
        return None
    poured = list(portions)
    state, brought = _built(larder, drink, hollow, poured, warm)
    rules = [each for each in poured if each.below_rim is not None and each.grams is not None]
    if len(rules) != 1 or brought <= 0:
        return state
    rule = rules[0]
    stated, goal = rule.grams or 0.0, hollow.held(hollow.full - (rule.below_rim or 0.0))
    grams, last, reach = stated, state, stated
    for _ in range(_PASSES):
        if last.poured_ml is None:
            return state
        over = last.poured_ml - goal
        if abs(over) < _NEAR_ML:
            break
        matter = larder.matter(rule.use)
        found = None if matter is None else larder.density(matter, ROOM if rule.celsius is None else rule.celsius)
        if not isinstance(found, DensityChoice):
            return state
        grams = max(grams - over * found.value, 0.0)
        rest = [replace(each, grams=grams) if each is rule else each for each in poured if each is not rule or grams > 0]
        last, _ = _built(larder, drink, hollow, rest, warm)
        reach = grams
        if grams <= 0:
            break
    return replace(last, topped=Topped(rule.path, stated, reach))


def _built(
    larder: Larder, drink: Drink, hollow: Hollow, portions: Iterable[Portion], warm: float | None
) -> tuple[CupState, float]:
    """The cup, and the grams of water that handling brought into it before anything stood in the cup."""
    by_layer: dict[str, list[Portion]] = {}
    for portion in portions:
        by_layer.setdefault(portion.layer, []).append(portion)
    groups: list[Group] = []
    strained = put = melted = brought = 0.0
    for layer in drink.layers.values():
        lines = by_layer.get(layer.key)
        if not lines:
            continue
        group = _gathered(larder, layer, lines, warm)
        put += group.ice
        if layer.handling is not None:
            left_behind, gone = _handled(larder, layer.handling, group)
            strained += left_behind
            melted += gone
            brought += group.steam + (gone if layer.handling.strained else 0.0)
        if layer.mixes and groups:
            _join(larder, groups[-1], group)
        else:
            groups.append(group)
    return Rest(larder, hollow, put, strained, melted).settle(groups), brought


def _gathered(larder: Larder, layer: Layer, lines: Sequence[Portion], warm: float | None) -> Group:
    group = Group([layer.key], [], [], [], [], [])
    for line in lines:
        matter = larder.matter(line.use)
        if matter is None or line.grams is None:
            group.missing.append(f"{line.path}: its grams are not known")
            continue
        group.uses.append(line.use)
        if matter.kind == "ice":
            group.ice += line.grams
        elif matter.kind == "liquid":
            at = line.celsius if line.celsius is not None else matter.kept if warm is None else warm
            group.liquids.append((matter, line.grams, at))
            if at is None:
                group.why.append(matter.why)
        else:
            group.others.append((matter, line.grams))
    return group


def _handled(larder: Larder, handling: Handling, group: Group) -> tuple[float, float]:
    """Steams, heats, shakes, stirs or blends a layer; grams of ice left behind and melted."""
    to = None if handling.to is None else float(handling.to)
    if handling.by in ("steam", "heat"):
        end = STEAMED_TO if to is None else to
        warmed: list[tuple[Matter, float, float | None]] = []
        for matter, grams, at in group.liquids:
            if handling.by == "steam" and at is not None:
                taken = steam_uptake(grams, matter.heat, at, end)
                if taken is None:
                    group.missing.append(f"steam at 100 °C does not heat anything to {end:g} °C")
                group.steam += taken or 0.0
            warmed.append((matter, grams, end))
        group.liquids = warmed
        if handling.overrun is not None:
            group.air = float(handling.overrun)
        return 0.0, 0.0
    if group.ice <= 0 or any(at is None for _, _, at in group.liquids):
        return 0.0, 0.0
    bodies = [Body(grams, matter.heat, at) for matter, grams, at in group.liquids if at is not None]
    seconds = None if handling.seconds is None else float(handling.seconds)
    rest = balance(bodies, group.ice, larder.ice_celsius, reached(handling.by, seconds))
    group.liquids = [(matter, grams, rest.celsius) for matter, grams, _ in group.liquids]
    group.melt, group.melt_celsius = rest.melted, rest.celsius
    group.ice = 0.0
    if handling.strained:
        return rest.left, rest.melted
    if handling.by == "blend":
        group.slush = rest.left
    else:
        group.ice, group.ice_celsius = rest.left, 0.0
    return 0.0, rest.melted


def _joined_ice(larder: Larder, into: Group, group: Group) -> float:
    """°C of the ice of two layers, by mass."""
    first, second = (larder.ice_celsius if each.ice_celsius is None else each.ice_celsius for each in (into, group))
    return (into.ice * first + group.ice * second) / (into.ice + group.ice)


def _join(larder: Larder, into: Group, group: Group) -> None:
    """A layer meant to mix: its masses and its heat join the one below."""
    into.keys += group.keys
    into.liquids += group.liquids
    into.others += group.others
    into.uses += group.uses
    into.why += group.why
    into.missing += group.missing
    whole = into.melt + group.melt
    if whole > 0:
        into.melt_celsius = (into.melt * into.melt_celsius + group.melt * group.melt_celsius) / whole
    into.melt = whole
    into.steam += group.steam
    if group.ice > 0:
        into.ice_celsius = _joined_ice(larder, into, group)
    into.ice += group.ice
    into.slush += group.slush
    into.air = max(into.air, group.air)


def portions_of(
    drink: Drink, filled: Mapping[str, tuple[str, float | None]], heights: Mapping[str, float] | None = None
) -> list[Portion]:
    """Portions from `layer/line` to (what it uses, grams), with the temperatures the spec states.

    `heights`: mm below the rim by path, for lines that top up to one.
    """
    found = []
    for path, (use, grams) in filled.items():
        line = drink.line(path)
        at = float(line.at) if line is not None and line.at is not None else None
        found.append(Portion(path, path.partition("/")[0], use, grams, at, (heights or {}).get(path)))
    return found
