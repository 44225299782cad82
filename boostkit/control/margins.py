"""How far a loop is from ringing, and whether it is stable at all.

    found = margins(lambda f: regulator(f) * plant(f), low=1.0, high=75e3)
    found.crossover, found.phase_margin, found.gain_margin

A loop is any function from frequency (Hz) to complex loop gain T, the negative feedback not counted: the closed loop is T/(1 + T). It
is sampled finely enough that neither gain nor phase jumps from point to point, so the phase can be followed through every resonance.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import inf, log, pi

import numpy as np

from ..derivations import second_order
from ..units import guard, show

PER_DECADE = 60
LARGEST_STEP = 0.2  # of log gain or radian from one point to the next
ROUNDS = 20
REAL = 1e-6  # of its size, below which an imaginary part is rounding


@dataclass(frozen=True)
class Margins:
    """The margins of a loop T between two frequencies.

    crossover Hz: the highest frequency at which |T| = 1. phase_margin degrees: 180° plus the phase of T, the least of all crossings
    of one (`crossovers` Hz, with `phase_margins`). gain_margin: by what factor the gain may rise before the loop rings for ever (inf:
    no limit seen); of an unstable loop, the factor below 1 to which it has to fall. It is read at `phase_crossover` Hz (None where it
    is inf), one of `phase_crossovers`, where the phase passes -180°. least_distance: of T from -1, at `least_distance_at` Hz.
    encirclements: how often T goes round -1 anticlockwise, over all frequencies. stable: whether that fits the plant (Nyquist's rule).
    """

    crossover: float
    phase_margin: float
    gain_margin: float
    phase_crossover: float | None
    least_distance: float
    least_distance_at: float
    encirclements: int
    stable: bool
    crossovers: tuple[float, ...]
    phase_margins: tuple[float, ...]
    phase_crossovers: tuple[float, ...]

    @property
    def quality(self) -> float:
        """Of the closed loop, as far as it behaves like one of two poles: above 1 it rings. 0 from 90° up; inf for an unstable loop."""
        if not self.stable or self.phase_margin <= 0:
            return inf
        if self.phase_margin >= 90:
            return 0.0
        return float(second_order.quality_from_margin().formula(phase_margin=np.radians(self.phase_margin)))

    @property
    def overshoot(self) -> float:
        """Share by which such a closed loop overshoots a step of its set point."""
        if self.quality <= 0.5:
            return 0.0
        return 1.0 if self.quality == inf else float(second_order.overshoot().formula(quality_closed=self.quality))


def margins(loop: Callable, low: float, high: float, unstable_poles: int = 0) -> Margins:
    """All margins of a loop between two frequencies.

    Args: loop, from an array of Hz to complex gain; low, high Hz: low below every corner of the loop (the count of turns starts there),
    high where |T| has fallen below one for good (half the switching frequency, at most, for a converter); unstable_poles: how many poles
    the open loop has in the right half plane (0 for every converter at a fixed duty). Errors: ValueError where |T| never is one.
    Source: Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed., sec. 9.4; Nyquist's rule is in any book on control.
    """
    f, t = followed(loop, low, high)
    phase = _unwrapped(t)
    crossovers = _crossings(loop, f, np.log(np.abs(t)), lambda x: log(abs(x)))
    if not crossovers:
        least, most = np.abs(t).min(), np.abs(t).max()
        raise ValueError(f"the loop gain must pass one somewhere between {show(low, 'Hz')} and {show(high, 'Hz')}: "
                         f"it lies between {show(least)} and {show(most)}")  # fmt: skip
    reserves = tuple(180 + float(np.degrees(_phase_at(loop, x, f, phase))) for x in crossovers)
    turns = _turns(f, t)
    stable = turns == unstable_poles
    passing = _phase_crossings(loop, f, t, phase)
    gain_margin, at = _gain_margin(loop, passing, stable)
    distance, nearest = _least_distance(loop, f, t)
    return Margins(crossovers[-1], min(reserves), gain_margin, at, distance, nearest, turns, stable, crossovers, reserves, passing)


def encirclements(loop: Callable, low: float, high: float) -> int:
    """How often T(f), from minus to plus infinite frequency, goes round -1 anticlockwise. Args and errors: as in `margins`.

    A stable closed loop has as many as the open loop has poles in the right half plane: none, for a converter at a fixed duty.
    """
    return _turns(*followed(loop, low, high))


def followed(loop: Callable, low: float, high: float) -> tuple[np.ndarray, np.ndarray]:
    """Frequencies (Hz) and loop gain, close enough together that T and 1 + T move little from point to point, resonances included."""
    guard("low", low, 0, unit="Hz", open_low=True)
    guard("high", high, low, unit="Hz", open_low=True)
    f = np.geomspace(low, high, 2 + int(PER_DECADE * np.log10(high / low)))
    t = _sampled(loop, f)
    for _ in range(ROUNDS):
        coarse = np.flatnonzero(_steps(t) > LARGEST_STEP)
        if not coarse.size:
            break
        between = np.sqrt(f[coarse] * f[coarse + 1])
        f, t = np.insert(f, coarse + 1, between), np.insert(t, coarse + 1, _sampled(loop, between))
    return f, t


def _sampled(loop: Callable, f: np.ndarray) -> np.ndarray:
    t = np.asarray(loop(f), complex)
    if not np.all(np.isfinite(t)) or np.any(t == 0):
        raise ValueError("the loop gain must be finite and other than 0 at every frequency asked for")
    return t


def _steps(t: np.ndarray) -> np.ndarray:
    """How far T moves from point to point, and 1 + T where T is near -1 or large against it."""
    own = np.abs(np.log(t[1:] / t[:-1]))
    distance = 1 + t
    with np.errstate(divide="ignore", invalid="ignore"):
        seen = np.abs(np.angle(distance[1:] / distance[:-1]))
    return np.maximum(own, np.nan_to_num(seen))


def _unwrapped(t: np.ndarray) -> np.ndarray:
    """The phase of T, rad, without jumps; it starts above -270° and at most at 90°, so that two integrators are -180°."""
    phase = np.unwrap(np.angle(t))
    return phase - 2 * pi if phase[0] > pi / 2 + 1e-9 else phase


def _crossings(loop: Callable, f: np.ndarray, value: np.ndarray, reading: Callable) -> tuple[float, ...]:
    """Where a reading of T passes 0 between two points, to rounding."""
    at = np.flatnonzero((value[:-1] > 0) != (value[1:] > 0))
    return tuple(_root(loop, f[i], f[i + 1], reading) for i in at)


def _root(loop: Callable, low: float, high: float, reading: Callable) -> float:
    from scipy.optimize import brentq

    def over(x: float) -> float:
        return reading(complex(loop(np.exp(x))))

    low, high = log(low), log(high)
    for end in (low, high):
        if over(end) == 0:
            return float(np.exp(end))
    return float(np.exp(brentq(over, low, high, xtol=1e-14)))


def _phase_crossings(loop: Callable, f: np.ndarray, t: np.ndarray, phase: np.ndarray) -> tuple[float, ...]:
    """Where the phase passes an odd multiple of 180°. At half the clock a sampled loop is real, so where it is negative that end counts,
    on whichever side rounding has put its phase."""
    at_end = t[-1].real < 0 and abs(t[-1].imag) <= REAL * abs(t[-1])
    sheet = np.floor((phase + pi) / (2 * pi))
    inner = np.flatnonzero(np.diff(sheet[:-1] if at_end else sheet))
    found = tuple(_root(loop, f[i], f[i + 1], lambda t: float(np.angle(-t))) for i in inner)
    return (*found, float(f[-1])) if at_end else found


def _phase_at(loop: Callable, x: float, f: np.ndarray, phase: np.ndarray) -> float:
    """The followed phase at a frequency between the points."""
    near = float(np.interp(log(x), np.log(f), phase))
    own = float(np.angle(loop(x)))
    return own + 2 * pi * round((near - own) / (2 * pi))


def _gain_margin(loop: Callable, passing: tuple[float, ...], stable: bool) -> tuple[float, float | None]:
    """The factor to the edge of stability: upwards for a stable loop, downwards for one that is not, else whichever there is."""
    factors = [(1 / abs(complex(loop(x))), x) for x in passing]
    up = min((pair for pair in factors if pair[0] >= 1), default=(inf, None))
    down = max((pair for pair in factors if pair[0] < 1), default=None)
    return up if stable or down is None else down


def _least_distance(loop: Callable, f: np.ndarray, t: np.ndarray) -> tuple[float, float]:
    from scipy.optimize import minimize_scalar

    i = int(np.argmin(np.abs(1 + t)))
    ends = np.log(f[max(i - 1, 0)]), np.log(f[min(i + 1, len(f) - 1)])
    found = minimize_scalar(lambda x: abs(1 + complex(loop(np.exp(x)))), bounds=ends, method="bounded", options={"xatol": 1e-9})
    best = min((float(found.fun), float(np.exp(found.x))), (float(abs(1 + t[i])), float(f[i])))
    return best


def _turns(f: np.ndarray, t: np.ndarray) -> int:
    """Turns of 1 + T round 0, from minus to plus infinity: twice the upper half, and the join at zero frequency, where each
    integrator swings T clockwise through half a turn."""
    if abs(t[-1]) >= 1:
        raise ValueError(f"the loop gain must have fallen below one at the upper end, {show(f[-1], 'Hz')}: it is {show(abs(t[-1]))}")
    slope = -log(abs(t[1] / t[0])) / log(f[1] / f[0])
    if abs(slope - round(slope)) > 0.25:
        raise ValueError(f"the lower end, {show(f[0], 'Hz')}, must lie below every corner of the loop: its gain bends there already")
    angle = np.unwrap(np.angle(1 + t))
    half = 2 * pi * round(angle[-1] / (2 * pi)) - angle[0]
    join = 2 * angle[0] + 2 * pi * round((-pi * round(slope) - 2 * angle[0]) / (2 * pi))
    return round((2 * half + join) / (2 * pi))
