"""The ram with the waves left in: its drive pipe followed along the characteristics, valves and vessel at the lower end.

The lumped ram lets all the water in the drive pipe speed up and slow down as one. In truth the news of a valve travels at
the wave speed, and the flow goes up and down in stairs, one for each return time. Where a return time is short against
a stroke the two agree. The valves act on the grid of time, so an instant is late by up to one step, l/(a cells).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import show
from .pipe import ATMOSPHERE, VAPOUR
from .ram import Ram
from .surge import MOST, MOST_STEPS, Line, enough, whole

PATIENCE = 40  # strokes' worth of time after which a ram that does not beat is given up


@dataclass(frozen=True)
class WaveStrokes:
    """A few strokes of a ram with its waves.

    `times` (k,) in s; at the lower end `flow` in the pipe, `waste_flow` and `check_flow` (m³/s) and `valve_pressure` (Pa),
    `vessel_pressure` (Pa) at the foot of the delivery line, `waste_open` (bool), each (k,); `pressure` (k, n) in Pa and
    `velocity` (k, n) in m/s along the pipe at `places` (n,) in m from the supply. `starts`: the times at which the waste
    valve opened, the last one being the end of the last stroke. The figures are means over all strokes but the first.
    """

    ram: Ram
    times: np.ndarray
    flow: np.ndarray
    waste_flow: np.ndarray
    check_flow: np.ndarray
    valve_pressure: np.ndarray
    vessel_pressure: np.ndarray
    waste_open: np.ndarray
    places: np.ndarray
    pressure: np.ndarray
    velocity: np.ndarray
    starts: tuple[float, ...]

    @property
    def period(self) -> float:
        """How long a stroke took, s."""
        return (self.starts[-1] - self.starts[1]) / (len(self.starts) - 2)

    @property
    def delivered(self) -> float:
        """Mean flow through the check valve, m³/s."""
        return float(self.check_flow[self._counted()].mean())

    @property
    def wasted(self) -> float:
        """Mean flow through the waste valve, m³/s."""
        return float(self.waste_flow[self._counted()].mean())

    @property
    def peak_flow(self) -> float:
        """Largest flow at the lower end, m³/s."""
        return float(self.flow[self._counted()].max())

    @property
    def peak_pressure(self) -> float:
        """Highest pressure at the valves, Pa."""
        return float(self.valve_pressure[self._counted()].max())

    @property
    def separates(self) -> float | None:
        """The time at which the pressure in the pipe first falls below that at which water boils, s, or None; from then on
        the figures are not to be trusted."""
        low = np.nonzero(self.pressure.min(axis=1) < VAPOUR)[0]
        return float(self.times[low[0]]) if low.size else None

    def _counted(self) -> np.ndarray:
        return (self.times >= self.starts[1]) & (self.times < self.starts[-1])


class _LowerEnd:
    """Valves and vessel, one step after another. The vessel's state is the volume of water that it holds over that at the
    lift; its pressure goes with it in a straight line, or after the gas law."""

    def __init__(self, ram: Ram, area: float, gas_law: bool):
        self.ram, self.area, self.gas_law = ram, area, gas_law
        self.lift = ram.pipe.pressure(ram.delivery.lift)
        self.compliance = float(ram.vessel.compliance())
        self.load = ram.delivery_resistance
        self.split = 1 + ram.vessel.neck_resistance / self.load
        self.stored, self.open = 0.0, True

    def fill(self, gas: float) -> None:
        """Store what makes this gauge pressure (Pa) of the gas."""
        vessel = self.ram.vessel
        gone = vessel.gas_volume - float(vessel.volume_at(gas + ATMOSPHERE))
        self.stored = gone if self.gas_law else self.compliance * (gas - self.lift)

    def gas(self) -> float:
        """Gauge pressure of the gas, Pa."""
        if self.gas_law:
            return float(self.ram.vessel.pressure_at(self.ram.vessel.gas_volume - self.stored)) - ATMOSPHERE
        return self.lift + self.stored / self.compliance

    def meet(self, c: float, r: float) -> tuple[float, float, float, float]:
        """Pressure at the valves, waste flow, check flow and pressure at the delivery line, where p + r v = c."""
        r, waste, check = r / self.area, self.ram.waste_valve, self.ram.check_valve
        gas, neck = self.gas(), self.ram.vessel.neck_resistance
        if self.open:  # what is left of the fall behind pipe and valve never opens the check valve: the lift is higher
            flow = c / (r + waste.resistance)
            return waste.resistance * flow, flow, 0.0, gas / self.split
        push = c - gas / self.split - check.opening_pressure
        flow = max(push / (r + check.resistance + neck / self.split), 0.0)
        return c - r * flow, 0.0, flow, (gas + neck * flow) / self.split

    def store(self, check_flow: float, foot: float, step: float) -> None:
        """Let the vessel take what the delivery line leaves of the flow."""
        self.stored += step * (check_flow - foot / self.load)
        gas_volume = self.ram.vessel.gas_volume
        if self.gas_law and self.stored >= gas_volume:
            raise ValueError(f"vessel.gas_volume = {show(gas_volume * 1e3, 'L')} must hold more than flows in within one step of "
                             f"{show(step, 's')}: take a larger vessel or more cells")


def ram_by_waves(ram: Ram, strokes: int = 5, cells: int = 16, *, square_law: bool = False, gas_law: bool = False) -> WaveStrokes:
    """Follow a ram by its travelling waves from the moment its waste valve opens, water at rest, vessel at the pressure that
    the lumped ram has there.

    `strokes` to follow (2 to 1000) and `cells` along the pipe, whole numbers. As it stands friction and vessel are linear, as
    in the twin, so that only the waves differ; `square_law` takes the pipe's friction by the square of the velocity, `gas_law`
    the vessel after p V^n. Drives: by its own flow, or by a clock and share. Raises ValueError for the mixed drive, and
    where the ram does not beat (its Joukowsky rise does not reach the vessel, say) or takes too many steps.
    """
    waste = ram.waste_valve
    if waste.shuts_at and waste.frequency:
        raise ValueError("waste_valve.shuts_at must stand without a frequency here: one drive")
    count, cells, pipe = whole("strokes", strokes, 2, 1000), whole("cells", cells, 2, MOST_STEPS), ram.pipe
    steady = ram.steady()
    line = Line(pipe, cells, 0.0 if square_law else ram.pipe_resistance * pipe.area, square_law)
    end = _LowerEnd(ram, pipe.area, gas_law)
    enough(count * steady.period / line.step, cells, line.step, f"strokes = {count}")
    end.fill(float(steady.waveforms(2).vessel_pressure[0]))
    most = int(min(count * PATIENCE * steady.period / line.step, MOST / cells, MOST_STEPS))
    rows, ends, starts = _follow(ram, line, end, count, most, cells)
    _refuse_silence(ram, count, len(starts) - 1, any(row[2] for row in ends), len(rows) * line.step)
    p, v = (np.array(part) for part in zip(*rows, strict=True))
    pressure, wasted, checked, foot, opened = (np.array(part) for part in zip(*ends, strict=True))
    return WaveStrokes(
        ram, np.arange(len(rows)) * line.step, wasted + checked, wasted, checked, pressure, foot, opened.astype(bool),
        np.linspace(0, pipe.length, cells + 1), p, v, tuple(k * line.step for k in starts),
    )  # fmt: skip


def _refuse_silence(ram: Ram, count: int, beaten: int, delivers: bool, time: float) -> None:
    """Say so where nothing goes up, or where the ram stops beating."""
    lift, rise = ram.delivery.lift, ram.pipe.impedance * ram.stroke_flow / ram.pipe.pressure(1)
    if not delivers:
        raise ValueError(f"delivery.lift = {show(lift, 'm')} must be where the slammed valve's pressure rise can reach the vessel, and "
                         f"in {show(time, 's')} no water went up: the rise is worth {show(rise, 'm')}")
    if beaten < count:
        raise ValueError(f"strokes = {count} must come within {show(time, 's')}, and the ram has stopped after {beaten}: its waste valve "
                         "no longer opens or shuts")


def _follow(ram: Ram, line: Line, end: _LowerEnd, count: int, most: int, cells: int) -> tuple[list, list, list]:
    """Step by step until `count` strokes are over: rows (pressure, velocity along the pipe), what the lower end did, and
    the steps at which the waste valve opened."""
    supply, area = ram.supply_pressure, ram.pipe.area
    p, v = np.full(cells + 1, supply), np.zeros(cells + 1)
    c, r, rows, ends, starts = supply, line.z + line.half, [], [], [0]
    for k in range(most):
        if k:
            was, p, v = (p, v), np.empty(cells + 1), np.empty(cells + 1)
            c, r = line.advance(*was, p, v, supply)
        if k and _due(ram, end, c, r, k * line.step, len(starts)):
            end.open = not end.open
            if end.open:
                starts.append(k)
        pressure, wasted, checked, foot = end.meet(c, r)
        p[-1], v[-1] = pressure, (wasted + checked) / area
        rows.append((p, v))
        ends.append((pressure, wasted, checked, foot, end.open))
        if len(starts) > count:
            break
        end.store(checked, foot, line.step)
    return rows, ends, starts


def _due(ram: Ram, end: _LowerEnd, c: float, r: float, now: float, begun: int) -> bool:
    """Whether the waste valve acts at this step: by the clock, or by the flow that would run if it did not."""
    waste = ram.waste_valve
    if waste.frequency:
        within = now * waste.frequency - (begun - 1)
        return within >= waste.share if end.open else within >= 1 - 1e-12
    _, wasted, checked, _ = end.meet(c, r)
    return wasted >= waste.shuts_at if end.open else checked == 0
