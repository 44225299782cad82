"""Where the inductor current bends: at the opening, where it comes to rest, at the closing. Three phases fitted together.

Over one period, counted from the opening, the current falls, rests in discontinuous conduction, and rises. Falling and rising
are nearly straight; each may bow a little. Given the three phases the rest follows by linear least squares, so only the
phases are searched. A level of rest is recognised by being level, whatever the zero of the probe.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

STEPS = (400, 4000)  # into which the period is cut, at first and in the end; the current is averaged in each
COARSE = np.linspace(0.03, 0.97, 48)  # closings that are tried
SHARES = np.array([1.0, 0.97, 0.93, 0.88, 0.8, 0.7, 0.55, 0.4, 0.25, 0.12])  # of the open stretch in which the current falls


@dataclass(frozen=True)
class Knots:
    """Shares of the period after the opening at which the current comes to rest (`end`) and the switch closes (`closing`), the
    opening itself as a shift of the phase, and their standard errors. `better`: by how much the squares of what is left over
    grow, in units of their mean, if the current is not allowed to rest. `lowest`: the level before the closing, and its error."""

    opening: float
    end: float
    closing: float
    errors: tuple[float, float, float]
    better: float
    lowest: float
    lowest_error: float


def fit_knots(phase: np.ndarray, current: np.ndarray, closing: float | None = None) -> Knots:
    """The bends of a current whose phase (0 to 1, sorted) counts from about the opening; `closing` where it is known, and the
    opening then is too. Raises ValueError where there are fewer than 24 samples."""
    from scipy.optimize import least_squares

    fixed = closing is not None

    def phases(p):
        return (0.0, p[0] * closing, closing) if fixed else (p[0], p[1] * p[2], p[2])

    def left_over(p, x, y, weight):
        design = _design(x, *phases(p)) * weight[:, None]
        return y * weight - design @ np.linalg.lstsq(design, y * weight, rcond=None)[0]

    coarse, fine = (_averaged(phase, current, steps) for steps in STEPS)
    tried = [[share] for share in SHARES] if fixed else [[0.0, share, c] for c in COARSE for share in SHARES]
    start = min(tried, key=lambda p: np.sum(left_over(p, *coarse) ** 2))
    bounds = ([0.02], [1.0]) if fixed else ([-0.1, 0.02, 0.01], [0.1, 1.0, 0.99])
    fits = [least_squares(left_over, np.clip(p, *bounds), bounds=bounds, x_scale=[0.01] * len(p), diff_step=1e-4, args=coarse)
            for p in _starts(start, fixed)]  # fmt: skip
    rough = min(fits, key=lambda fit: fit.cost).x
    best = least_squares(left_over, rough, bounds=bounds, x_scale=[0.01] * len(rough), diff_step=1e-4, args=fine)
    return _told(best, lambda p: left_over(p, *fine), phases, fixed, *fine)


def _starts(start: list[float], fixed: bool) -> list[list[float]]:
    """From the best that was tried, and from no rest and a short one beside it."""
    k = 0 if fixed else 1
    return [start[:k] + [share] + start[k + 1 :] for share in {start[k], 0.995, 0.97, 0.93}]


def _averaged(phase: np.ndarray, current: np.ndarray, most: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean phase, mean current and square root of the number of samples in each step that holds any."""
    if len(phase) < 24:
        raise ValueError(f"{len(phase)} samples in the whole periods are too few; at least 24 are needed")
    steps = (phase * min(most, len(phase) // 3)).astype(int)
    count = np.bincount(steps)
    held = count > 0
    x, y = (np.bincount(steps, weights=v)[held] / count[held] for v in (phase, current))
    return x, y, np.sqrt(count[held])


def _design(x: np.ndarray, opening: float, end: float, closing: float) -> np.ndarray:
    """What the current is made of: its peak over the level before the closing, that level, and the bow of either slope."""
    since = (x - opening) % 1
    fall, rise = since < end, since >= closing
    t = np.where(fall, since / end, np.where(rise, (since - closing) / (1 - closing), 0.0))
    peak = np.where(fall, 1 - t, np.where(rise, t, 0.0))
    bow = t * (1 - t)
    return np.column_stack([peak, np.ones_like(x), np.where(fall, bow, 0.0), np.where(rise, bow, 0.0)])


def _told(fit, left_over, phases, fixed: bool, x, y, weight) -> Knots:
    """The fit in words: phases, errors, and what it would cost to do without a rest."""
    variance = np.sum(fit.fun**2) / max(len(fit.fun) - len(fit.x) - 4, 1)
    opening, end, closing = phases(fit.x)
    numeric = np.column_stack([(left_over(fit.x + d) - left_over(fit.x - d)) / 2e-4 for d in 1e-4 * np.eye(len(fit.x))])
    error = np.sqrt(np.diag(np.linalg.pinv(numeric.T @ numeric)) * variance)
    errors = (0.0, error[0] * closing, 0.0) if fixed else (error[0], error[1] * closing, error[2])
    without = fit.x.copy()
    without[0 if fixed else 1] = 1.0
    design = _design(x, opening, end, closing) * weight[:, None]
    level = np.linalg.lstsq(design, y * weight, rcond=None)[0][1]
    level_error = np.sqrt(np.linalg.pinv(design.T @ design)[1, 1] * variance)
    better = (np.sum(left_over(without) ** 2) - np.sum(fit.fun**2)) / variance if variance else 0.0
    return Knots(*map(float, (opening, end, closing)), tuple(map(float, errors)), *map(float, (better, level, level_error)))
