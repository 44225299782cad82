"""How warm it gets: losses and temperatures solved together, for each makes the other.

    settle(parts, v_in, v_out, i_out, f_sw, ambient)        one point, on the exact circuit
    settle_many(parts, v_in, v_out, i_out, f_sw, ambient)   arrays of points, by formula
    map(parts, v_in, v_out, i_out, f_sw, ambient)           every source voltage with every load current
    crossing_current(parts, v_in, v_out, f_sw, ambient)     the load at which switching costs as much as conduction

A part settles where it loses as much as its thermal resistance carries off at that temperature. As a resistance grows with
temperature, a part that warms by a kelvin loses more and warms itself further: by `loop_gain` kelvins. Below one this dies
out. At one and above no temperature settles: thermal runaway, recognised by this number and not by waiting.

Parts run hot at rated load: hot enough to burn a finger long before they fail.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from ..circuit import SteadyState
from ..units import guard, show
from . import kinds, losses
from .kinds import Parts
from .losses import Losses
from .point import Number, Point
from .settling import Case, Runaway, heats

__all__ = ["Operating", "OperatingMany", "Runaway", "crossing_current", "map", "settle", "settle_many"]


@dataclass(frozen=True)
class Operating:
    """One point at rest: the exact circuit, losses and temperatures (°C by part), all consistent.

    `state` carries more than the load's current: what edges, recovery and core take is drawn through the coil too. `loop_gain`:
    by how many kelvins a kelvin warms the parts further (0: nothing feeds back; 1: runaway).
    """

    state: SteadyState
    point: Point
    losses: Losses
    temperatures: dict[str, float]
    ambient: float
    loop_gain: float

    def too_hot(self, parts: Parts) -> dict[str, str]:
        """Each part beyond the temperature that it bears, and by how much, in words."""
        limits = {name: heat.limit for name, heat in heats(parts).items()}
        return {name: f"{show(t, '°C')} at an ambient of {show(self.ambient, '°C')}, and it bears {show(limits[name], '°C')}"
                for name, t in self.temperatures.items() if t > limits[name]}  # fmt: skip


@dataclass(frozen=True)
class OperatingMany:
    """Many points at rest, by formula: as Operating, each number an array. nan where `runs_away` (no temperature settles) and where
    `out_of_reach` (the parts cannot bring the output even at ambient temperature)."""

    point: Point
    losses: Losses
    temperatures: dict[str, np.ndarray]
    ambient: np.ndarray
    loop_gain: np.ndarray
    runs_away: np.ndarray
    out_of_reach: np.ndarray

    @property
    def efficiency(self) -> np.ndarray:
        """Output over input power, every modelled loss counted."""
        return self.losses.efficiency

    def within_limits(self, parts: Parts) -> np.ndarray:
        """Where every part settles at a temperature that it bears."""
        return np.all([self.temperatures[name] <= heat.limit for name, heat in heats(parts).items()], axis=0)


def settle_many(parts: Parts, v_in: Number, v_out: Number, i_out: Number, f_sw: Number, ambient: Number = kinds.REFERENCE) -> OperatingMany:
    """Losses and temperatures of many points (V, A, Hz, °C; arrays that broadcast), by the formulas of both conduction modes.

    The numbers of the parts may be arrays too. The exact circuit confirms single points: `settle`.
    """
    case = Case(parts, v_in, v_out, i_out, f_sw, ambient)
    cold, out_of_reach = case.cold()
    warm, gain, _, failed = case.warm(cold)
    lost = failed | out_of_reach
    point, found = case.at([np.where(lost, c, w) for c, w in zip(cold, warm, strict=True)])
    gone = np.where(lost, np.nan, 0.0)
    found = Losses({name: loss + gone for name, loss in found.items.items()}, found.output_power + gone)
    numbers = {f.name: getattr(point, f.name) + gone for f in fields(Point) if f.name != "discontinuous"}
    point = Point(**numbers, discontinuous=np.broadcast_to(point.discontinuous, case.shape))
    return OperatingMany(point, found, case.temperatures(found), case.ambient, gain, failed & ~out_of_reach, out_of_reach)


def map(parts: Parts, v_in, v_out: float, i_out, f_sw: float, ambient: float = kinds.REFERENCE) -> OperatingMany:
    """Every source voltage with every load current: arrays of shape (len(v_in), len(i_out))."""
    return settle_many(parts, np.asarray(v_in, float)[:, None], v_out, np.asarray(i_out, float)[None, :], f_sw, ambient)


def settle(parts: Parts, v_in: float, v_out: float, i_out: float, f_sw: float, ambient: float = kinds.REFERENCE) -> Operating:
    """One point (V, A, Hz, °C) on the exact circuit: duty, losses and temperatures consistent to 1e-8 K.

    Raises Runaway where no temperature settles, ValueError where the output is out of reach even at ambient temperature.
    """
    case = Case(parts, v_in, v_out, i_out, f_sw, guard("ambient", ambient, -273.15, unit="°C"))
    cold, out_of_reach = case.cold()
    if out_of_reach:
        losses.converter(parts, v_in, v_out, i_out, f_sw, case.warmth(case.start()))  # says what is within reach
        raise ValueError(f"v_out = {show(v_out, 'V')} is out of reach: the edges of the switch and the core take too much on the way")
    warm, gain, slopes, failed = case.warm(cold)
    if failed:
        raise case.runaway(warm, gain, slopes)
    state, point, found = case.exact(warm, slopes)
    temperatures = {name: float(t) for name, t in case.temperatures(found).items()}
    return Operating(state, point, found, temperatures, float(ambient), float(gain))


def crossing_current(parts: Parts, v_in: float, v_out: float, f_sw: float, ambient: float = kinds.REFERENCE,
                     between: tuple[float, float] = (1e-3, 10.0)) -> float | None:  # fmt: skip
    """The load current (A) at which conduction comes to cost as much as switching does: below it the edges cost more, above it the
    resistances. None where they do not cross within `between`. `derivations.crossing.critical_current` is the same in algebra,
    ripple and temperature left out."""
    for _ in range(4):  # each round looks closer, by a factor of 60, at where the sign changes
        loads = np.geomspace(*between, 61)
        found = settle_many(parts, v_in, v_out, loads, f_sw, ambient).losses
        more = found.conduction - found.by_the_cycle
        k = np.flatnonzero((more[:-1] <= 0) & (more[1:] > 0))
        if not k.size:
            return None
        between = (float(loads[k[0]]), float(loads[k[0] + 1]))
    return float(np.sqrt(between[0] * between[1]))
