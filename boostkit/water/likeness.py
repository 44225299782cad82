"""Where the likeness of ram and converter ends, in numbers: waves, friction by the square, slow valves, a stiffening gas."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..units import guard
from .pipe import ATMOSPHERE, linear_fall
from .ram import Ram
from .surge import surge


@dataclass(frozen=True)
class Filling:
    """How long the flow takes from rest to `flow` (m³/s) with the waste valve open, s: without friction, with friction as a
    resistance, with friction by the square (inf where it never gets there). The waste valve's resistance is left out."""

    flow: float
    without: float
    linear: float
    square: float


@dataclass(frozen=True)
class Swing:
    """The vessel over a stroke: lowest and highest pressure (Pa) as the linear twin has them, and the highest that the gas
    law gives for the same water taken in; its compliance (m³/Pa) at the lowest, at the lift and at the highest."""

    low: float
    high: float
    high_by_gas_law: float
    compliance_low: float
    compliance_lift: float
    compliance_high: float


@dataclass(frozen=True)
class SlowValve:
    """A waste valve that takes `closing_time` (s) to stop the flow evenly: `rise`, the highest pressure rise (Pa) that the
    wave then makes against a closed end, `sudden_rise` that of an instant valve; `reaches`, whether it can open the check
    valve at all; `lost`, the water (m³) that runs out while it closes, and `lost_share` of what a stroke delivers."""

    closing_time: float
    rise: float
    sudden_rise: float
    reaches: bool
    lost: float
    lost_share: float


def wave_share(ram: Ram) -> float:
    """Share of a stroke that a wave needs to the supply and back; the lumped ram takes it for nothing."""
    return ram.pipe.return_time / ram.steady().period


def filling(ram: Ram, flow: float | None = None) -> Filling:
    """Friction by the square against friction as a resistance; `flow` in m³/s, by default the ram's flow of a stroke. The
    time is the sum over all flows up to it of inertance over the pressure that is left, to 1e-12."""
    flow = guard("flow", ram.stroke_flow if flow is None else flow, 0, unit="m³/s", open_low=True)
    pipe, push, r = ram.pipe, ram.supply_pressure, ram.pipe_resistance
    laws = (lambda q: 0.0, lambda q: r * q, lambda q: pipe.friction_drop(q / pipe.area))
    return Filling(flow, *(_time_to(flow, lambda q, drop=drop: push - drop(q), pipe.inertance) for drop in laws))


def _time_to(flow: float, left, inertance: float) -> float:
    """Time in which the flow comes from rest to `flow` under the pressure `left(flow)`."""
    from scipy.integrate import quad

    if left(flow) <= 0:
        return math.inf
    return quad(lambda q: inertance / left(q), 0.0, flow, epsrel=1e-12, epsabs=0.0, limit=200)[0]


def swing(ram: Ram) -> Swing:
    """The vessel's compliance falls as its pressure rises: what that does to the swing of a stroke."""
    w, vessel = ram.steady().waveforms(2000), ram.vessel
    low, high = float(w.vessel_pressure.min()), float(w.vessel_pressure.max())
    taken = float(vessel.compliance()) * (high - low)
    by_gas = float(vessel.pressure_at(vessel.volume_at(low + ATMOSPHERE) - taken)) - ATMOSPHERE
    at = vessel.compliance(np.array([low, high]) + ATMOSPHERE)
    return Swing(low, high, by_gas, float(at[0]), float(vessel.compliance()), float(at[1]))


def slow_valve(ram: Ram, closing_time: float) -> SlowValve:
    """What a waste valve loses that takes `closing_time` (s) to stop the flow of a stroke evenly: the wave is followed."""
    t = guard("closing_time", closing_time, 0, unit="s")
    steady, pipe = ram.steady(), ram.pipe
    flow = steady.flow.max
    high = 2 * pipe.impedance * flow + 2 * pipe.friction_drop(flow / pipe.area)  # a tank so high that no column tears
    sudden_rise, rise = (surge(pipe, high, flow / pipe.area, linear_fall(time)).peak_rise for time in (0.0, t))
    lost = flow * t / 2
    needed = steady.vessel_pressure.mean + ram.check_valve.opening_pressure - ram.waste_valve.resistance * flow
    return SlowValve(t, rise, sudden_rise, rise > needed, lost, lost / (steady.delivered * steady.period))
