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

import numpy as np

from ..units import guard, quoted, show
from .pipe import VAPOUR, Closing, Pipe

MOST = 40_000_000  # values along pipe and time; beyond it the arrays outgrow a small machine
MOST_STEPS = 400_000  # steps of time: some seconds of work
FINEST, AT_ONCE = 40, 1e-9  # how often a fall is halved to find it, and the share that may be lost in the last piece
SHUT = 1e-12  # an opening that is rounding


def whole(name: str, value, low: int, high: int) -> int:
    """The value if it is a whole number in the range."""
    number = guard(name, value)
    if number != int(number) or not low <= number <= high:
        raise ValueError(f"{name} = {quoted(value)} must be a whole number from {low} to {high}")
    return int(number)


def enough(steps: float, cells: int, step: float, what: str) -> None:
    """Refuse what takes too long or too much memory; `what` (name and value) asks for so many steps."""
    if steps > MOST_STEPS:
        raise ValueError(f"{what} with cells = {cells} must take at most {MOST_STEPS} steps of {show(step, 's')}, the time in which "
                         f"a wave crosses one cell: here {steps:.3g}. Take fewer cells or less time")
    if steps * cells > MOST:
        raise ValueError(f"cells = {cells} with {steps:.3g} steps must make at most {MOST} values: take fewer cells or less time")


class Line:
    """The pipe cut into `cells`; `step` is the time in which a wave crosses one, s. `linear` (Pa·s/m) is friction in
    proportion to velocity along the whole pipe; with `square_law` the pipe's own comes on top."""

    def __init__(self, pipe: Pipe, cells: int, linear: float = 0.0, square_law: bool = True):
        cells = whole("cells", cells, 2, MOST_STEPS)
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
    cells = whole("cells", cells, 2, MOST_STEPS)
    line, start = Line(pipe, cells), _start(pipe, pressure, velocity, closing)
    duration = _duration(pipe, closing, duration)
    steps = float(np.ceil(duration / line.step * (1 - 1e-12)))
    enough(steps, cells, line.step, f"duration = {show(duration, 's')}")
    steps = int(steps)
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

    Where the velocity is given, the pressure is the mean over the step that begins at each time. Where the opening is
    given, the flow is found by the trapezoidal rule, whose error falls with the square of the step, and by the implicit
    rule where the flow follows the opening within a step; once shut the column rests. Where that is before the end two
    samples share the instant of shutting. `samples`, 10 to 1e6. Raises ValueError where a rigid column would need an infinite pressure:
    for a sudden closure, a curve that jumps by velocity, and one that jumps to zero by opening.
    """
    start = _start(pipe, pressure, velocity, closing)
    guard("time", closing.time, 0, unit="s", open_low=True, why="a rigid column cannot be stopped at once")
    samples = whole("samples", samples, 10, 1_000_000)
    times = np.linspace(0, closing.time, samples + 1)
    left = closing.left(times)
    if left[0] < 1 - 1e-9:
        raise ValueError(f"curve = {left[0]:.4g} at time 0 must be 1: {_AT_ONCE_WHY}")
    if closing.by == "opening":
        return _behind_orifice(pipe, pressure, velocity, closing, start, times)
    _refuse_jump(closing, times, left)
    v = velocity * left
    force = -pipe.density * pipe.length * np.diff(v) / np.diff(times)
    lost = [pipe.friction_drop(x) for x in ((v[1:] + v[:-1]) / 2).tolist()]
    return Column(pipe, closing, times[:-1], pressure - np.array(lost) + force, v[:-1], start)


_AT_ONCE_WHY = "a rigid column cannot be stopped at once, nor a part of its flow"


def _refuse_jump(closing: Closing, times: np.ndarray, left: np.ndarray) -> None:
    """Look where the curve falls or rises fastest between two times, ever finer."""
    k = int(np.argmax(np.abs(np.diff(left))))
    early, late = _narrowed(closing, times[k], times[k + 1], lambda a, middle, b: abs(middle - a) >= abs(b - middle))
    _refuse_fall(closing, early, late)


def _narrowed(closing: Closing, early: float, late: float, sooner) -> tuple[float, float]:
    """A stretch of time halved again and again; `sooner` of what is left at its start, middle and end keeps the first half."""
    for _ in range(FINEST):
        middle = (early + late) / 2
        if sooner(*closing.left(np.array([early, middle, late])).tolist()):
            late = middle
        else:
            early = middle
    return float(early), float(late)


def _refuse_fall(closing: Closing, early: float, late: float) -> None:
    before, after = closing.left(np.array([early, late])).tolist()
    if abs(before - after) > AT_ONCE:
        raise ValueError(f"curve = {before:.4g} to {after:.4g} at {show(late, 's')} must not jump: {_AT_ONCE_WHY}")


def _behind_orifice(pipe, pressure, velocity, closing, start, times) -> Column:
    """Up to the instant at which the valve is first shut; then at rest."""
    until, left = closing.time, closing.left(times)
    if np.any(left <= SHUT):
        k = int(np.argmax(left <= SHUT))
        early, until = _narrowed(closing, times[k - 1], times[k], lambda a, middle, b: middle <= SHUT)
        _refuse_fall(closing, early, until)
        until = float(times[-1]) if times[-1] - until < 1e-9 * closing.time else until
    times = np.linspace(0, until, len(times))
    left = closing.left(times)
    root = np.array(_column_behind_orifice(pipe, pressure, velocity, start, left.tolist(), float(times[1])))
    at_valve, v = start * root**2, velocity * left * root
    if until < closing.time:
        if np.any(closing.left(np.linspace(until, closing.time, len(times))) > SHUT):
            raise ValueError(f"curve = 0 at {show(until, 's')} must stay there: a valve that opens again is not followed")
        times = np.append(times, [until, closing.time])
        at_valve, v = np.append(at_valve, [pressure, pressure]), np.append(v, [0.0, 0.0])
    return Column(pipe, closing, times, at_valve, v, start)


def _column_behind_orifice(pipe, pressure, velocity, start, left, h) -> list[float]:
    """y = sqrt(p/start) at each time, where v = velocity left y: a quadratic for each step. Trapezoidal; implicit where that
    rule would swing about the answer, because the flow follows the opening in less than half a step. At the instant of
    shutting only the rate at which the opening vanishes counts."""
    if velocity == 0:
        return [1.0] * len(left)
    momentum, lost = pipe.density * pipe.length * velocity / h, pressure - start
    y, found = 1.0, [1.0]
    for before, after in pairwise(left if left[-1] > SHUT else left[:-1]):
        share = 0.5 if momentum * after > start * y else 1.0  # of the step at whose end the forces count
        a, b = (start + lost * after**2) * share, momentum * after
        c = momentum * before * y + pressure - (1 - share) * (start + lost * before**2) * y * y
        y = 2 * c / (b + (b * b + 4 * a * c) ** 0.5)
        found.append(y)
    if left[-1] <= SHUT:
        b = momentum * max(2 * left[-2] - left[-3] / 2, 0.0)  # the rate of closing, backwards from three openings
        found.append((b + (b * b + 4 * start * pressure) ** 0.5) / (2 * start))
    return found
