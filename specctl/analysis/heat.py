"""Where a warm or cold base and ice come to rest: an enthalpy balance.

Promises: mass and energy in equal mass and energy out, in every branch: some
ice left (all at 0 °C), all of it melted (above 0 °C), not enough heat to warm
cold ice (some water freezes), and ice that had too little time. Not counted:
heat to or from the cup, the hand and the air, heat of stirring, water that
clings to wet ice, and the lower freezing point of sweet or salty drinks (a
drink of 10 % sugar freezes at about -0.6 °C). So it is an estimate, and never
evidence for cooling, holding or safe serving: a probe is.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import exp
from typing import Literal

FUSION = 333.4
"""J/g at 0 °C (IAPWS, as reference libraries compute it)."""

WATER_HEAT = 4.19
"""J/(g K): IAPWS-95 enthalpies of water between 0 and 5..95 °C divided by the
span lie between 4.186 and 4.203, so one figure holds to 0.4 %."""

HEAT_DOUBT = 0.03
"""Relative doubt of a melted mass from the heats used here: whole milk comes out
at 3.90 J/(g K) where 3.85 is measured (Geankoplis, App. A.4)."""

_SHAKEN, _STIRRED = 4.5, 20.0
"""Time constants in s. Shaking: 12-15 s of hard shaking comes near balance
(bar-science writing), here 95 % at 13.5 s. Stirring: common practice, no source."""

Branch = Literal["no-ice", "ice-left", "all-melted", "freezes", "short"]


@dataclass(frozen=True, slots=True)
class Body:
    """Something liquid: grams, specific heat in J/(g K), temperature in °C."""

    grams: float
    heat: float
    celsius: float


@dataclass(frozen=True, slots=True)
class Balance:
    """The end: `celsius` of the liquid, grams `melted` (negative: frozen), grams of
    ice `left` at 0 °C, and which of the branches it was."""

    celsius: float
    melted: float
    left: float
    branch: Branch


def ice_warming(celsius: float) -> float:
    """J/g to warm ice from a temperature at or below 0 °C to 0 °C.

    The specific heat of ice after Choi & Okos (1986, ASHRAE), integrated.
    """
    return -(2.0623 * celsius + 6.0769e-3 * celsius * celsius / 2)


def balance(bodies: Iterable[Body], ice: float, ice_celsius: float = 0.0, reached: float = 1.0) -> Balance:
    """What so many grams of ice and these bodies come to.

    `reached` is the share of the melting at balance that the time allowed.
    Ice above 0 °C is taken as ice at 0 °C; whoever states it is told elsewhere.
    """
    capacity = warmth = mass = 0.0
    for body in bodies:
        capacity += body.grams * body.heat
        warmth += body.grams * body.heat * body.celsius
        mass += body.grams
    if ice <= 0:
        return Balance(warmth / capacity if capacity else 0.0, 0.0, 0.0, "no-ice")
    warmth -= ice * ice_warming(min(ice_celsius, 0.0))
    melts = warmth / FUSION
    if melts < 0:
        frozen = min(-melts, mass)
        return Balance(0.0, -frozen, ice + frozen, "freezes")
    whole = melts >= ice
    melted = min(melts, ice)
    if reached < 1:
        melted *= max(reached, 0.0)
        return Balance(
            (warmth - melted * FUSION) / (capacity + melted * WATER_HEAT) if capacity else 0.0,
            melted, ice - melted, "short",
        )
    if not whole:
        return Balance(0.0, melted, ice - melted, "ice-left")
    return Balance((warmth - ice * FUSION) / (capacity + ice * WATER_HEAT), ice, 0.0, "all-melted")


def enthalpy(bodies: Iterable[Body], ice: float, ice_celsius: float = 0.0) -> float:
    """J, counted from liquid at 0 °C: what stays the same through a balance."""
    held = sum(body.grams * body.heat * body.celsius for body in bodies)
    return held - ice * (FUSION + ice_warming(min(ice_celsius, 0.0)))


def reached(by: str | None, seconds: float | None) -> float:
    """The share of the melting at balance that shaking or stirring so long reaches.

    Unsaid times: a shake of 13.5 s, a stir of 30 s. Blending, and ice that stays
    in the cup, are taken to balance: the most that can melt.
    """
    if by == "shake":
        return 1 - exp(-(13.5 if seconds is None else seconds) / _SHAKEN)
    if by == "stir":
        return 1 - exp(-(30.0 if seconds is None else seconds) / _STIRRED)
    return 1.0
