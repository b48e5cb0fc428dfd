"""Brings the layers of one cup to rest with the ice that touches them.

Promises: mass in equals mass out; the ice melts into its own layer and those
poured after it, from the bottom up; what is left displaces liquid, floating or
packed. Volumes are taken to add up (sucrose in water loses up to 0.4 % of
them, counted as nothing).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from specctl.analysis.cup import DEFAULT_ICE_PACKING, ICE_DENSITY
from specctl.analysis.cup_state import CupState, IceState, Kind, LayerState, Room
from specctl.analysis.density_choice import NoDensity
from specctl.analysis.heat import WATER_HEAT, Body, balance
from specctl.analysis.matter import CHILLED, ROOM, Larder, Matter
from specctl.analysis.pour import THIN_MM, heavy_first, meet
from specctl.analysis.vessel import Hollow

_ICE = float(ICE_DENSITY)
_WATER = 0.9998
_AIR_DOUBT = 0.1


@dataclass(slots=True)
class Group:
    """A layer being built, with those that mix into it. `ice_celsius` None: as scooped."""

    keys: list[str]
    liquids: list[tuple[Matter, float, float | None]]
    others: list[tuple[Matter, float]]
    uses: list[str]
    why: list[str]
    missing: list[str]
    steam: float = 0.0
    melt: float = 0.0
    melt_celsius: float = 0.0
    ice: float = 0.0
    ice_celsius: float | None = None
    slush: float = 0.0
    air: float = 0.0


@dataclass(slots=True)
class Rest:
    """Brings the groups of one cup to rest, from the bottom up."""

    larder: Larder
    hollow: Hollow
    put: float
    strained: float
    melted: float
    cup_melt: float = 0.0

    def settle(self, groups: list[Group]) -> CupState:
        missing = tuple(words for group in groups for words in group.missing)
        mass_in = self.put + sum(
            group.steam
            + sum(grams for _, grams, _ in group.liquids)
            + sum(grams for _, grams in group.others)
            for group in groups
        )
        poured = liquid = liquid_grams = 0.0
        pool, pool_celsius = 0.0, self.larder.ice_celsius
        first_ice = len(groups)
        states: list[LayerState] = []
        for at, group in enumerate(groups):
            poured += self._volume_now(group)
            if group.ice > 0 and first_ice == len(groups):
                first_ice = at
            pool, pool_celsius = self._iced(group, pool, pool_celsius)
            state = self._state(group)
            states.append(state)
            if state.kind == "liquid" and state.ml is not None:
                liquid += state.ml
                liquid_grams += state.grams
            missing += tuple(words for words in state.missing if words not in missing)
        among = tuple(at for at in range(first_ice, len(states)) if states[at].kind == "liquid")
        displaced, floats = self._displaced(groups, pool, liquid, liquid_grams)
        at_first, _ = self._displaced(groups, pool + self.cup_melt, liquid, liquid_grams)
        rest = sum(state.ml for state in states if state.ml is not None) + displaced
        poured += at_first
        states = self._stacked(states, among, displaced)
        known = max(rest, poured)
        whole = not missing
        ice = None
        if self.put > 0:
            names = tuple(states[at].key for at in among)
            ice = IceState(self.put, self.melted, pool + sum(g.slush for g in groups), self.strained, displaced, floats, names, self.larder.ice_celsius, self._packing(groups))
        mass_out = sum(state.grams for state in states) + pool + self.strained
        return self._cup(states, ice, (poured, rest, known), missing, (mass_in, mass_out), whole)

    def _iced(self, group: Group, pool: float, pool_celsius: float) -> tuple[float, float]:
        """Melts the ice that touches a layer; what is left, and its temperature."""
        ice = pool + group.ice
        if ice <= 0 or not group.liquids or any(at is None for _, _, at in group.liquids):
            return ice, pool_celsius
        warm = self.larder.ice_celsius if group.ice_celsius is None else group.ice_celsius
        if pool > 0:
            warm = (pool * pool_celsius + group.ice * warm) / ice
        bodies = [Body(grams, matter.heat, at) for matter, grams, at in group.liquids if at is not None]
        if group.melt > 0:
            bodies.append(Body(group.melt, WATER_HEAT, group.melt_celsius))
        if group.steam > 0:
            bodies.append(Body(group.steam, WATER_HEAT, group.liquids[-1][2] or 0.0))
        end = balance(bodies, ice, warm)
        group.liquids = [(matter, grams, end.celsius) for matter, grams, _ in group.liquids]
        group.melt += end.melted
        group.melt_celsius = end.celsius
        self.melted += end.melted
        self.cup_melt += end.melted
        return end.left, 0.0

    def _volume_now(self, group: Group) -> float:
        """Ml as poured, before the ice in the cup has melted any."""
        total = 0.0
        for matter, grams, at in group.liquids:
            found = self.larder.density(matter, ROOM if at is None else at)
            if not isinstance(found, NoDensity):
                total += grams / found.value
        total = total * (1 + group.air) + (group.melt + group.steam) / _WATER + group.slush / _ICE
        for matter, grams in group.others:
            found = self.larder.density(matter, CHILLED)
            if not isinstance(found, NoDensity):
                total += grams / found.value
        return total

    def _packing(self, groups: Sequence[Group]) -> float:
        for group in groups:
            for use in group.uses:
                matter = self.larder.matter(use)
                if matter is not None and matter.kind == "ice":
                    return self.larder.packing(matter)
        return float(DEFAULT_ICE_PACKING)

    def _displaced(self, groups: Sequence[Group], ice: float, liquid: float, grams: float) -> tuple[float, bool]:
        """Ml the ice takes up: floating its weight of liquid, packed its own volume."""
        if ice <= 0:
            return 0.0, False
        own = ice / _ICE
        if liquid <= 0:
            return own, False
        dips = ice * liquid / grams
        packing = self._packing(groups)
        floats = dips <= own and liquid >= dips * (1 / packing - 1)
        return (dips, True) if floats else (own, False)

    def _state(self, group: Group) -> LayerState:
        volume = doubt = mass = sugars = 0.0
        liquid_ml = foam_ml = 0.0
        warmth = capacity = 0.0
        known_heat, all_sugars = True, True
        why, missing = list(group.why), list(group.missing)
        for matter, grams, at in group.liquids:
            if at is None:
                known_heat = False
            else:
                capacity += grams * matter.heat
                warmth += grams * matter.heat * at
        extra = group.melt + group.steam
        if extra and known_heat:
            capacity += extra * WATER_HEAT
            warmth += WATER_HEAT * (group.melt * group.melt_celsius + group.steam * (group.liquids[-1][2] or 0.0 if group.liquids else 0.0))
        celsius = warmth / capacity if capacity and known_heat else None
        for matter, grams, at in group.liquids:
            found = self.larder.density(matter, celsius if celsius is not None else ROOM if at is None else at)
            mass += grams
            if isinstance(found, NoDensity):
                missing.append(found.why)
                continue
            ml = grams / found.value
            liquid_ml += ml
            doubt += ml * found.band
            if found.why not in why:
                why.append(found.why)
            if matter.sugars is None:
                all_sugars = False
            else:
                sugars += grams * matter.sugars
        if group.air:
            doubt += liquid_ml * group.air * _AIR_DOUBT
            liquid_ml *= 1 + group.air
        volume = liquid_ml + extra / _WATER + group.slush / _ICE
        mass += extra + group.slush
        for matter, grams in group.others:
            found = self.larder.density(matter, CHILLED)
            mass += grams
            if isinstance(found, NoDensity):
                missing.append(found.why)
                continue
            ml = grams / found.value
            volume += ml
            doubt += ml * found.band
            if matter.kind == "foam":
                foam_ml += ml
                if found.why not in why:
                    why.append(found.why)
            if matter.sugars is None:
                all_sugars = False
            else:
                sugars += grams * matter.sugars
        kind: Kind = "liquid"
        if group.slush > 0:
            kind = "slush"
        elif foam_ml > liquid_ml:
            kind = "foam"
        elif not group.liquids and not group.melt:
            kind = "pieces"
        if kind == "foam" and celsius is None:
            celsius = next((matter.kept for matter, _ in group.others if matter.kind == "foam"), None)
        whole = not missing
        density = mass / volume if volume > 0 and whole and (celsius is not None or kind == "pieces") else None
        band = doubt / volume if density is not None and volume > 0 else None
        return LayerState(
            group.keys[0], tuple(group.keys[1:]), kind, _most_first(group), mass, volume if whole else None,
            celsius, density, band, None, None, extra, sugars, all_sugars, tuple(why), tuple(missing),
        )

    def _stacked(self, states: list[LayerState], among: Sequence[int], displaced: float) -> list[LayerState]:
        """The same with heights; what the ice displaces raises the layers it stands in."""
        within = sum(states[at].ml or 0.0 for at in among)
        held, under = 0.0, 0.0
        found = []
        for at, state in enumerate(states):
            if state.ml is None:
                found += states[at:]
                break
            held += state.ml
            if displaced and at in among and within:
                held += displaced * state.ml / within
            elif displaced and not within and at == len(states) - 1:
                held += displaced
            top = self.hollow.height(held)
            found.append(_placed(state, under, top))
            under = top
        return found

    def _cup(
        self,
        states: list[LayerState],
        ice: IceState | None,
        levels: tuple[float, float, float],
        missing: tuple[str, ...],
        masses: tuple[float, float],
        whole: bool,
    ) -> CupState:
        poured, rest, known = levels
        hollow = self.hollow
        fluid = [state for state in states if state.kind != "pieces"]
        meetings = []
        for lower, upper in zip(fluid, fluid[1:]):
            gap = band = None
            if lower.density is not None and upper.density is not None:
                gap = lower.density - upper.density
                band = (lower.band or 0.0) + (upper.band or 0.0)
            meetings.append(meet(lower.key, upper.key, gap, band))
        order = None
        if any(each.verdict in ("mixes", "marginal") for each in meetings):
            order = heavy_first([(each.key, each.density) for each in fluid if each.density is not None])
        thin = tuple(
            each.key for each in fluid
            if len(fluid) > 1 and each.top is not None and each.bottom is not None and each.top - each.bottom < THIN_MM
        )
        room: Room = "fits"
        if known > hollow.brimful:
            room = "overflows"
        elif known > hollow.held(hollow.fill_height):
            room = "over-line"
        elif not whole:
            room = "unknown"
        level = hollow.height(known) if whole else None
        naive = sum(each.ml - each.water / _WATER for each in states if each.ml is not None) if whole else None
        return CupState(
            tuple(states), tuple(meetings), ice, poured if whole else None, rest if whole else None, naive, known,
            level, hollow.fill_height - level if level is not None else None, room, thin, order, missing, *masses,
        )


def _most_first(group: Group) -> tuple[tuple[str, float], ...]:
    """What a layer holds and how many grams of each, the most first."""
    masses = [(matter.item.id, grams) for matter, grams, _ in group.liquids]
    masses += [(matter.item.id, grams) for matter, grams in group.others]
    return tuple(sorted(masses, key=lambda pair: (-pair[1], pair[0])))


def _placed(state: LayerState, bottom: float, top: float) -> LayerState:
    return LayerState(
        state.key, state.joined, state.kind, state.uses, state.grams, state.ml, state.celsius, state.density,
        state.band, bottom, top, state.water, state.sugars, state.sugars_known, state.why, state.missing,
    )
