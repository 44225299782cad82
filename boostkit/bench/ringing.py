"""How fast the switch node rings after the switch has opened: a fading sine fitted by least squares, period by period."""

from __future__ import annotations

import numpy as np

from .capture import Capture
from .grid import Edges

LONGEST = 0.5  # of the open stretch that is looked at
CLEAR = 5.0  # standard errors by which the swing must stand out
FEWEST = 24  # samples that a ringing needs
MOST = 60  # openings that are looked at
SWINGS = 3  # that must be seen before they fade


def ringing(capture: Capture, edges: Edges, name: str = "v_switch") -> tuple[np.ndarray, str]:
    """Frequencies (Hz) of the ringing after each opening, and in words why there are none.

    The stretch after the opening is taken without its slow course; its strongest frequency is where a fading sine starts.
    """
    stretches = _stretches(capture, edges, name)
    if not stretches:
        return np.array([]), "the switch stays open for too few samples"
    guess, why = _strongest(stretches, capture.interval)
    if why:
        return np.array([]), why
    found = [_fading_sine(stretch, capture.interval, guess) for stretch in stretches]
    good = np.array([frequency for frequency, clear in found if clear > CLEAR])
    if len(good) < max(3, 0.5 * len(stretches)):
        return np.array([]), "no ringing stands out of the noise"
    return good, ""


def _stretches(capture: Capture, edges: Edges, name: str) -> list[np.ndarray]:
    """The samples after each opening, evenly spaced, without their straight course."""
    wait, span = 1.5 * edges.width, LONGEST * (1 - edges.duty) * edges.period
    count = int((span - wait) / capture.interval)
    if count < FEWEST:
        return []
    values = capture.channel(name)
    first = np.searchsorted(capture.time, edges.opens[:MOST] + wait)
    whole = [k for k in first if k + count < len(values) and capture.time[k + count] - capture.time[k] < (count + 0.5) * capture.interval]
    ramp = np.linspace(-1, 1, count)
    return [(y := values[k : k + count]) - np.polyval(np.polyfit(ramp, y, 1), ramp) for k in whole]


def _strongest(stretches, interval: float) -> tuple[float, str]:
    """The frequency with most power in all stretches together, Hz, or why none stands out."""
    count = len(stretches[0])
    power = np.mean([np.abs(np.fft.rfft(y * np.hanning(count), 4 * count)) ** 2 for y in stretches], axis=0)
    frequency = np.fft.rfftfreq(4 * count, interval)
    power[frequency < SWINGS / (count * interval)] = 0
    k = int(np.argmax(power))
    if power[k] < CLEAR**2 * np.median(power[power > 0]):
        return 0.0, "no ringing stands out of the noise"
    if frequency[k] > 0.45 / interval:
        return 0.0, f"it rings too fast for samples {interval:.3g} s apart"
    return float(frequency[k]), ""


def _fading_sine(values: np.ndarray, interval: float, guess: float) -> tuple[float, float]:
    """Frequency of the fading sine that fits best, and by how many standard errors its swing stands out."""
    from scipy.optimize import least_squares

    time = np.arange(len(values)) * interval
    scale = guess * 2 * np.pi

    def design(p):
        fade = np.exp(-np.clip(p[1], 0, 3) * scale * time)
        turn = p[0] * scale * time
        return np.column_stack([fade * np.cos(turn), fade * np.sin(turn), np.ones_like(time), time / time[-1]])

    def left_over(p):
        rows = design(p)
        return values - rows @ np.linalg.lstsq(rows, values, rcond=None)[0]

    fit = least_squares(left_over, (1.0, 0.05), bounds=([0.7, 0.0], [1.4, 3.0]))
    rows = design(fit.x)
    sizes, *_ = np.linalg.lstsq(rows, values, rcond=None)
    noise = np.sqrt(np.sum(fit.fun**2) / max(len(values) - 6, 1))
    error = noise * np.sqrt(np.diag(np.linalg.pinv(rows.T @ rows))[:2].max())
    return float(fit.x[0] * guess), float(np.hypot(*sizes[:2]) / error) if error > 0 else 0.0
