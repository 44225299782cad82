"""What an inductor has to do, how many turns do it, and how warm it gets: the steps of `inductor_build`."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from boostkit import units
from boostkit.derivations import iron, magnetics
from boostkit.parts.core_materials import Material
from boostkit.parts.cores import Core
from boostkit.parts.kinds import COPPER, REFERENCE
from boostkit.parts.magnetising import KNEE, MOST_TURNS, material_curve, straight_gap
from boostkit.parts.windings import ripple_square

FLUX_SHARE = 0.75  # of hot saturation that the peak may reach: Erickson & Maksimovic, 3rd ed., problem 12.1
FILL_LIMIT = 0.5  # copper over window, round wire within a bobbin: common practice, no source
RISE_LIMIT = 40.0  # K: common practice, no source
WIDEST_GAP = 0.25  # of the width of the core, beyond which the bulging field is no longer an amendment: our own choice
TURNS_TRIED, TURNS_SPAN = 8, 2.5
GROWTH = COPPER / (1 + COPPER * (REFERENCE - 20))  # 1/K from 25 °C on


class Refused(ValueError):  # noqa: N818  an answer more than an error
    """A core that will not do, with the reason as its text."""


@dataclass(frozen=True)
class Demand:
    """What the inductor has to do: inductance H at its mean current, i_peak, i_rms, ripple (peak to peak) A, f_sw Hz, duty;
    ambient °C, fill_limit, rise_limit K; duty_rectifier: share of the period in which the current falls, None for all the rest."""

    inductance: float
    i_peak: float
    i_rms: float
    ripple: float
    f_sw: float
    duty: float
    ambient: float = 40.0
    fill_limit: float = FILL_LIMIT
    rise_limit: float = RISE_LIMIT
    duty_rectifier: float | None = None

    def __post_init__(self):
        for name, unit in (("inductance", "H"), ("i_peak", "A"), ("i_rms", "A"), ("f_sw", "Hz"), ("rise_limit", "K")):
            units.guard(name, getattr(self, name), 0, unit=unit, open_low=True)
        units.guard("duty", self.duty, 0, 1, open_low=True, open_high=True)
        units.guard("duty_rectifier", self.falling, 0, (1 - self.duty) * (1 + 1e-9), open_low=True, why="the rest of the period")
        units.guard("ripple", self.ripple, 0, 2 * self.i_peak, unit="A")
        units.guard("i_rms", self.i_rms, math.sqrt(self.ripple_square) * (1 - 1e-9), self.i_peak * (1 + 1e-9), unit="A",
                    why="it lies between the rms of the ripple alone and the peak")  # fmt: skip
        units.guard("fill_limit", self.fill_limit, 0, 1, open_low=True)
        units.guard("ambient", self.ambient, -60, 150, unit="°C")

    @property
    def falling(self) -> float:
        """Share of the period in which the current falls."""
        return 1 - self.duty if self.duty_rectifier is None else self.duty_rectifier

    @property
    def ripple_square(self) -> float:
        """Square of the ripple's rms, A²."""
        return self.ripple**2 * ripple_square(self.duty + self.falling)

    @property
    def mean_square(self) -> float:
        """Square of the mean current, A²."""
        return max(self.i_rms**2 - self.ripple_square, 0.0)

    @property
    def hottest(self) -> float:
        """°C that winding and core may reach."""
        return self.ambient + self.rise_limit


def turns_to_try(demand: Demand, core: Core, material: Material) -> np.ndarray:
    """Numbers of turns, as an array, that give the inductance without saturating the core. Errors: Refused."""
    if material.gap == "distributed":
        return _turns_of_powder(demand, core, material)
    if not core.gappable:
        raise Refused("a ring has no leg into which a gap could be cut: it needs a powder")
    fewest = int(np.ceil(max(_fewest_for_flux(demand, core, material), _fewest_for_inductance(demand, core, material)) - 1e-9))
    if fewest > MOST_TURNS:
        raise Refused(f"it saturates with fewer than {fewest} turns; more than {MOST_TURNS} are not tried")
    tried = np.unique(np.round(np.geomspace(fewest, TURNS_SPAN * fewest, TURNS_TRIED)))
    gaps = straight_gap(core, material, tried, demand.inductance)
    widest = WIDEST_GAP * math.sqrt(core.area)
    if gaps[0] > widest:
        said = f"a gap of {units.show(float(gaps[0]), 'm')}, wider than {units.show(widest, 'm')}"
        raise Refused(f"{fewest} turns keep it out of saturation but ask for {said}: the field would bulge far out")
    return tried[gaps <= widest]


def flux_limit(demand: Demand, material: Material) -> float:
    """Flux density in T that the peak may reach, at the highest temperature."""
    return FLUX_SHARE * float(material.saturation_at(demand.hottest))


def _fewest_for_flux(demand: Demand, core: Core, material: Material) -> float:
    return magnetics.turns_for_flux().formula(
        inductance=demand.inductance, i_inductor_max=demand.i_peak, flux_density_max=flux_limit(demand, material), area_core=core.area_least
    )


def _fewest_for_inductance(demand: Demand, core: Core, material: Material) -> float:
    """Turns at which the core gives the inductance with no gap at all."""
    of_one = magnetics.gapped_inductance().formula(
        turns=1.0, area_core=core.area, gap=0.0, length_core=core.length, permeability=material.permeability
    )
    return math.sqrt(demand.inductance / of_one)


def _turns_of_powder(demand: Demand, core: Core, material: Material) -> np.ndarray:
    """The fewest turns with the wanted inductance at the mean current, if enough of it is left at the peak."""
    turns = np.arange(1.0, MOST_TURNS + 1)
    field, flux, slope = material_curve(material, demand.hottest)
    per_turn = turns / core.length

    def inductance_at(current):
        return turns**2 * core.area / core.length * np.interp(per_turn * current, field, slope)

    enough = np.nonzero(inductance_at(math.sqrt(demand.mean_square)) >= demand.inductance)[0]
    if not len(enough):
        raise Refused(f"no number of turns up to {MOST_TURNS} keeps the inductance at the mean current: the powder saturates")
    at = enough[0]
    if inductance_at(demand.i_peak)[at] < KNEE * demand.inductance:
        raise Refused(f"at the peak current less than {units.show(KNEE, '%')} of the inductance would be left")
    if np.interp(per_turn[at] * demand.i_peak, field, flux) > flux_limit(demand, material):
        raise Refused(f"{turns[at]:.0f} turns drive it beyond {units.show(flux_limit(demand, material), 'T')} at the peak current")
    return turns[at : at + 1]


def core_loss(demand: Demand, core: Core, material: Material, turns):
    """Core loss in W under the triangular flux of the ripple; arrays broadcast over turns."""
    swing = magnetics.flux_swing_by_ripple().formula(
        inductance=demand.inductance, ripple_current=demand.ripple, turns=turns, area_core=core.area
    )
    density = iron.triangle_loss().formula(
        loss_reference=material.k, f_sw=demand.f_sw, f_reference=1.0, core_alpha=material.alpha, flux_swing=swing, flux_reference=1.0,
        core_beta=material.beta, duty=demand.duty, duty_rectifier=demand.falling,
        cosine_integral=iron.steinmetz_integral(material.alpha),
    )  # fmt: skip
    return core.volume * density


def settled(demand: Demand, core: Core, copper_loss, iron_loss):
    """Temperature in °C at which the loss, `copper_loss` (W at 25 °C, growing as copper does) and `iron_loss` (W), equals the heat
    given off; inf where there is none because the copper heats itself faster than it cools. Arrays broadcast."""
    resistance = core.thermal_resistance
    room = 1 - resistance * copper_loss * GROWTH
    with np.errstate(divide="ignore"):
        warm = (demand.ambient + resistance * (iron_loss + copper_loss * (1 - GROWTH * REFERENCE))) / room
    return np.where(room > 0, warm, np.inf)
