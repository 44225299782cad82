"""What a ram hands out: the courses of pressures and flows, and a ram that has settled. Frozen; drawing is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..circuit import SteadyState, Summary
from ..circuit import Waveforms as CircuitWaveforms

PASCAL, FLOW = 1e3, 1e-3  # a ram's twin counts 1 V for 1 kPa and 1 A for 1 L/s; a second stays a second


@dataclass(frozen=True)
class Waveforms:
    """Sampled courses, each an array of shape (n,), in s, Pa and m³/s. At a valve's instant two samples share one time.

    `flow` in the drive pipe, `waste_flow`, `check_flow` into vessel and delivery line, `delivery_flow`; `valve_pressure`
    below the drive pipe, `vessel_pressure` in the gas, `delivery_pressure` at the foot of the delivery line; `waste_open`,
    `check_open` (bool). `edges`: instants at which a valve acts.
    """

    time: np.ndarray
    flow: np.ndarray
    waste_flow: np.ndarray
    check_flow: np.ndarray
    delivery_flow: np.ndarray
    valve_pressure: np.ndarray
    vessel_pressure: np.ndarray
    delivery_pressure: np.ndarray
    waste_open: np.ndarray
    check_open: np.ndarray
    edges: tuple[float, ...]

    @classmethod
    def of(cls, w: CircuitWaveforms) -> Waveforms:
        """The twin's waveforms in the words of water."""
        return cls(
            w.time, w.i_inductor * FLOW, w.i_switch * FLOW, w.i_rectifier * FLOW, w.i_load * FLOW, w.v_switch * PASCAL,
            w.v_capacitor * PASCAL, w.v_out * PASCAL, w.closed, w.conducting, w.edges,
        )  # fmt: skip


@dataclass(frozen=True)
class Strokes:
    """A ram that has settled.

    `period` of a stroke, s; `flow` (m³/s) in the drive pipe and `vessel_pressure` (Pa, at the foot of the delivery line) as
    Summaries; `supplied`, `delivered`, `wasted`, mean flows in m³/s; `supply_power` and `delivery_power` in W, and `losses`
    by part (`pipe`, `waste_valve`, `check_valve`, `neck`), all exact. `ram` is the Ram, `state` the SteadyState of its twin.
    """

    ram: object
    period: float
    flow: Summary
    vessel_pressure: Summary
    supplied: float
    delivered: float
    wasted: float
    supply_power: float
    delivery_power: float
    losses: dict[str, float]
    state: SteadyState

    @classmethod
    def of(cls, ram, s: SteadyState) -> Strokes:
        """The twin's steady state in the words of water."""
        names = {"inductor": "pipe", "switch": "waste_valve", "rectifier": "check_valve", "capacitor": "neck"}
        return cls(
            ram, float(s.period), _scaled(s.inductor_current, FLOW), _scaled(s.output_voltage, PASCAL),
            s.inductor_current.mean * FLOW, s.rectifier_current.mean * FLOW, s.switch_current.mean * FLOW,
            s.input_power, s.output_power, {names[part]: lost for part, lost in s.losses.items()}, s,
        )  # fmt: skip  (1 V times 1 A is 1 kPa times 1 L/s is 1 W)

    @property
    def strokes_per_minute(self) -> float:
        """How often the waste valve beats."""
        return 60 / self.period

    @property
    def head(self) -> float:
        """Mean pressure in the vessel as a height, m."""
        return self.vessel_pressure.mean / self.ram.pipe.pressure(1)

    @property
    def daubuisson(self) -> float:
        """Efficiency after D'Aubuisson: power delivered over power of all the water supplied."""
        return self.delivery_power / self.supply_power

    @property
    def rankine(self) -> float:
        """Efficiency after Rankine: the delivered water counts only from the supply's level on, and is not counted as spent."""
        free = self.ram.supply_pressure * self.delivered
        return (self.delivery_power - free) / (self.supply_power - free)

    def waveforms(self, n: int = 1000) -> Waveforms:
        """About n samples of one stroke, starting where the waste valve opens."""
        return Waveforms.of(self.state.waveforms(n))


def _scaled(s: Summary, unit: float) -> Summary:
    return Summary(s.mean * unit, s.min * unit, s.max * unit, s.rms * unit)
