"""What happens in a pipe when its valve is closed: as a travelling wave, and as a rigid column.

The wave is followed along its characteristics on a grid in which it crosses one cell in one step (Courant number 1):
nothing is interpolated, a jump stays a jump and arrives on time. Without friction the values on the grid are exact, to
rounding. Friction is charged to each reach of a characteristic as |v| at its start times v at its end: a steady flow is
kept exactly, and the error of a smooth course falls with the square of the cell.

What is left out: the water's own speed beside the wave's, friction that lags behind the flow, a wall with inner
friction, and what follows once the column has separated. A valve slammed on a real pipe can burst it.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from numbers import Integral

import numpy as np

from ..units import guard, show
from .pipe import VAPOUR, Closing, Pipe

MOST = 40_000_000  # values along pipe and time; beyond it the arrays outgrow a small machine


class Line:
    """The pipe cut into `cells`; `step` is the time in which a wave crosses one, s. `linear` (Pa·s/m) is friction in
    proportion to velocity along the whole pipe; with `square_law` the pipe's own comes on top."""

    def __init__(self, pipe: Pipe, cells: int, linear: float = 0.0, square_law: bool = True):
        if not isinstance(cells, Integral) or isinstance(cells, bool) or cells < 2:
            raise ValueError(f"cells = {cells} must be a whole number of at least 2")
        self.step = pipe.length / pipe.wave_speed / cells
        self.z = pipe.density * pipe.wave_speed
        self.half = linear / cells / 2
        self.square = pipe.friction_drop(1.0) / cells if square_law else 0.0

    def advance(self, p, v, p_next, v_next, supply: float) -> tuple[float, float]:
        """One step of all nodes but the last, in place. Returns (c, r): at the last node p + r v = c."""
        resist = self.square * np.abs(v) + (self.z + self.half)
        carried = (self.z - self.half) * v
        down, up = p + carried, p - carried
        v_next[1:-1] = (down[:-2] - up[2:]) / (resist[:-2] + resist[2:])
        p_next[1:-1] = down[:-2] - resist[:-2] * v_next[1:-1]
        p_next[0], v_next[0] = supply, (supply - up[1]) / resist[1]
        return float(down[-2]), float(resist[-2])


@dataclass(frozen=True)
class Surge:
    """A closure followed as a wave.

    `times` (k,) in s and `places` (n,) in m from the tank; `pressure` (k, n) in Pa and `velocity` (k, n) in m/s, each the
    value just after its instant. `initial_pressure` at the valve before anything moves. `separates`: the time at which the
    pressure somewhere falls below that at which water boils, or None; from then on the figures are not to be trusted, for
    the water column tears there and this solution does not know it.
    """

    pipe: Pipe
    closing: Closing
    times: np.ndarray
    places: np.ndarray
    pressure: np.ndarray
    velocity: np.ndarray
    initial_pressure: float
    separates: float | None

    @property
    def at_valve(self) -> np.ndarray:
        """Pressure at the valve, Pa, shape (k,)."""
        return self.pressure[:, -1]

    @property
    def velocity_at_valve(self) -> np.ndarray:
        """Velocity at the valve, m/s, shape (k,)."""
        return self.velocity[:, -1]

    @property
    def peak_rise(self) -> float:
        """Highest pressure at the valve over the one before, Pa."""
        return float(self.at_valve.max() - self.initial_pressure)

    @property
    def mean_rise(self) -> float:
        """Rise at the valve averaged over the time of closing, Pa (for a sudden closure the rise at once)."""
        return _mean(self.times, self.at_valve - self.initial_pressure, self.closing.time)


def surge(pipe: Pipe, pressure: float, velocity: float, closing: Closing, duration: float | None = None,
          cells: int = 100) -> Surge:  # fmt: skip
    """Close the valve on water that runs steadily.

    `pressure` (Pa, gauge) in the tank at the upper end, kept; `velocity` (m/s, at least 0) before; `duration` in s, at
    least the time of closing (by default that and two return times); `cells` along the pipe. With a closing by opening
    the valve lets out into the open air as an orifice: pressure at the valve in proportion to (velocity/opening)².
    Raises ValueError where the steady flow before is impossible. Example: `surge(pipe, 2e5, 1.5, sudden()).peak_rise`.
    """
    line, start = Line(pipe, cells), _start(pipe, pressure, velocity, closing)
    duration = _duration(pipe, closing, duration)
    steps = int(np.ceil(duration / line.step * (1 - 1e-12)))
    if steps * cells > MOST:
        raise ValueError(f"cells = {cells} with {steps} steps must make at most {MOST} values: take fewer cells or less time")
    times = np.arange(steps + 1) * line.step
    left = closing.left(times).tolist()
    p, v = np.empty((2, steps + 1, cells + 1))
    p[0], v[0] = np.linspace(pressure, start, cells + 1), velocity
    end = _prescribed if closing.by == "velocity" else _orifice
    p[0, -1], v[0, -1] = end(start + line.z * velocity, line.z, left[0] * velocity, start)
    for k in range(steps):
        c, r = line.advance(p[k], v[k], p[k + 1], v[k + 1], pressure)
        p[k + 1, -1], v[k + 1, -1] = end(c, r, left[k + 1] * velocity, start)
    low = np.nonzero(p.min(axis=1) < VAPOUR)[0]
    separates = float(times[low[0]]) if low.size else None
    return Surge(pipe, closing, times, np.linspace(0, pipe.length, cells + 1), p, v, start, separates)


def _prescribed(c: float, r: float, v: float, _: float) -> tuple[float, float]:
    """Pressure and velocity at a valve whose velocity is given."""
    return c - r * v, v


def _orifice(c: float, r: float, v_open: float, start: float) -> tuple[float, float]:
    """The same where v = v_open sqrt(p/start), either way through: the root of a quadratic, without cancellation."""
    if v_open == 0:
        return c, 0.0
    k = v_open**2 / start
    v = 2 * k * c / (k * r + (k * k * r * r + 4 * k * abs(c)) ** 0.5)
    return c - r * v, v


def _start(pipe: Pipe, pressure: float, velocity: float, closing: Closing) -> float:
    """Pressure at the valve in the steady flow before."""
    guard("pressure", pressure, VAPOUR, 1e10, unit="Pa")
    guard("velocity", velocity, 0, pipe.wave_speed / 10, unit="m/s", why="this theory needs water far slower than the wave")
    start = pressure - pipe.friction_drop(velocity)
    if closing.by == "opening" and velocity > 0 and start <= 0:
        raise ValueError(f"velocity = {show(velocity, 'm/s')} must leave pressure at the valve: friction takes "
                         f"{show(pressure - start, 'Pa')} of {show(pressure, 'Pa')}, and nothing drives water through it")
    if start < VAPOUR:
        raise ValueError(f"velocity = {show(velocity, 'm/s')} must leave the water in one piece: friction takes "
                         f"{show(pressure - start, 'Pa')} of {show(pressure, 'Pa')}, and it boils at the valve")
    return start


def _duration(pipe: Pipe, closing: Closing, duration: float | None) -> float:
    if duration is None:
        return closing.time + 2 * pipe.return_time
    return guard("duration", duration, closing.time, unit="s", why="the closure itself has to be seen")


def _mean(times: np.ndarray, rise: np.ndarray, until: float) -> float:
    if until == 0:
        return float(rise[0])
    inside = times < until
    x = np.append(times[inside], until)
    return float(np.trapezoid(np.append(rise[inside], np.interp(until, times, rise)), x) / until)


@dataclass(frozen=True)
class Column:
    """A closure with water that gives nowhere: `times` (k,) in s, `pressure` (k,) at the valve in Pa, `velocity` (k,) in
    m/s, `initial_pressure` at the valve before, in Pa."""

    pipe: Pipe
    closing: Closing
    times: np.ndarray
    pressure: np.ndarray
    velocity: np.ndarray
    initial_pressure: float

    @property
    def peak_rise(self) -> float:
        """Highest pressure at the valve over the one before, Pa."""
        return float(self.pressure.max() - self.initial_pressure)


def rigid_column(pipe: Pipe, pressure: float, velocity: float, closing: Closing, samples: int = 2000) -> Column:
    """The same closure as `surge`, water incompressible and wall rigid: ρ l dv/dt = tank - valve - friction.

    Where the velocity is given, the pressure is the mean over the step that begins at each time; where the opening is
    given, the flow is found by the trapezoidal rule, whose error falls with the square of the step. Raises ValueError for
    a sudden closure, in which a rigid column would need an infinite pressure.
    """
    start = _start(pipe, pressure, velocity, closing)
    guard("time", closing.time, 0, unit="s", open_low=True, why="a rigid column cannot be stopped at once")
    times = np.linspace(0, closing.time, int(guard("samples", samples, 10, 1e6)) + 1)
    left = closing.left(times)
    if closing.by == "velocity":
        v = velocity * left
        force = -pipe.density * pipe.length * np.diff(v) / np.diff(times)
        lost = [pipe.friction_drop(x) for x in ((v[1:] + v[:-1]) / 2).tolist()]
        return Column(pipe, closing, times[:-1], pressure - np.array(lost) + force, v[:-1], start)
    root = np.array(_column_behind_orifice(pipe, pressure, velocity, start, left.tolist(), float(times[1])))
    return Column(pipe, closing, times, start * root**2, velocity * left * root, start)


def _column_behind_orifice(pipe, pressure, velocity, start, left, h) -> list[float]:
    """y = sqrt(p/start) at each time, where v = velocity left y: a quadratic for each step of the trapezoidal rule."""
    momentum, lost = pipe.density * pipe.length * velocity / h, pressure - start
    y, found = 1.0, [1.0]
    for before, after in pairwise(left):
        a, b = (start + lost * after**2) / 2, momentum * after
        c = momentum * before * y + pressure - (start + lost * before**2) * y * y / 2
        y = 2 * c / (b + (b * b + 4 * a * c) ** 0.5)
        found.append(y)
    return found
