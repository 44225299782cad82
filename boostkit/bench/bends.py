"""The switching instants told from the inductor current alone: it bends where the switch opens and where it closes.

When it opens shows in the slope, from rising to falling. All periods are then laid over one another, and the bends are fitted.
"""

from __future__ import annotations

import numpy as np

from .capture import Capture
from .grid import Edges, regular
from .knots import fit_knots

STEEP = 0.6  # of the steepest slope: surely rising, surely falling


def bends(capture: Capture, name: str = "i_inductor") -> Edges:
    """The switching instants from a current. Raises ValueError where it does not show them."""
    current = capture.channel(name)
    start, period, count, scatter = regular(capture, name, _peaks(capture, current, _reach(current)))
    for _ in range(2):                       # a peak was told from a blurred slope; the second time from where it is
        phase = ((capture.time - start) / period) % 1
        order = np.argsort(phase, kind="stable")
        knots = fit_knots(phase[order], current[order])
        start += knots.opening * period
    duty = 1 - knots.closing
    width = max(capture.interval, 2 * np.sqrt(3) * max(knots.errors[0], knots.errors[2]) * period)  # a limit of that standard error
    opens = start + period * count
    first = start - duty * period
    first += np.ceil((capture.time[0] - first) / period - 1e-9) * period
    whole = int(np.floor((capture.time[-1] - first) / period + 1e-9))
    closes = opens - duty * period
    return Edges(name, float(first), period, float(duty), closes[closes >= capture.time[0]], opens, scatter, float(width), whole)


def _reach(values: np.ndarray) -> int:
    """Samples over which a slope stands out of the noise ten times, at most a sixteenth of a period."""
    steps = np.diff(values)
    noise = 1.4826 * np.median(np.abs(steps - np.median(steps))) / np.sqrt(2)
    spectrum = np.abs(np.fft.rfft(values - values.mean()))
    per_period = len(values) / max(int(np.argmax(spectrum[1:])) + 1, 1)
    wanted = (7 * noise / max(np.ptp(values), 1e-300) * per_period) ** (2 / 3)
    return int(np.clip(wanted, 1, max(per_period / 16, 1)))


def _peaks(capture: Capture, current: np.ndarray, reach: int) -> np.ndarray:
    """When the slope goes from the steepest rise to a fall, by the crossing of its smoothed course with zero."""
    rise = (current[2 * reach :] - current[: -2 * reach]) / (capture.time[2 * reach :] - capture.time[: -2 * reach])
    rise = np.convolve(rise, np.ones(reach) / reach, "valid")
    time = capture.time[: len(rise)] + 1.5 * reach * capture.interval      # the middle of what each slope was told from
    low, high = np.percentile(rise, [1, 99])
    state = np.where(rise > STEEP * high, 1, np.where(rise < STEEP * low, -1, 0))
    known = np.flatnonzero(state)
    turns = known[np.flatnonzero((state[known[:-1]] == 1) & (state[known[1:]] == -1))]
    below = np.flatnonzero(rise < 0)
    return time[below[np.searchsorted(below, turns)]] if len(turns) else np.array([])
