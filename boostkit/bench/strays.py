"""Points that a fit leaves out: spikes, and the whole of a ringing after a switching instant until it has faded.

A point that strays far is left out by itself. Ringing is not a matter of single points: those near its crossings of zero do not
stray, and its tail lies below any limit, so that what was left of it would pull at every slope. Where points stray from a switching
instant on, all are left out until the swing, which fades by the same share in the same time, is no more than the noise.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from .unknowns import Model

CLIP = 4.0  # standard errors beyond which a point is ringing or a spike
EARLY = 4  # points after a switching instant within which ringing begins
PAUSE = 3  # points between two that stray that are still the same ringing; of a longer ringing half its length so far
FEWEST = 3  # points that stray, so that it is ringing and not a corner
FADES = 0.7  # times the largest of the first half, what the second half of it is at most: what stays is no ringing but another circuit


def usual(residuals: np.ndarray) -> float:
    """The spread of most, whatever a few do."""
    return 1.4826 * float(np.median(np.abs(residuals)))


def limits(model: Model, residuals: np.ndarray, spread_of) -> np.ndarray:
    """What each point may stray, no more than far beyond the others of its channel."""
    limit = np.empty_like(residuals)
    for k in range(len(model.seen)):
        there = model.channel == k
        limit[there] = CLIP * max(1.0, spread_of(residuals[there]))
    return limit


def quiet(model: Model, residuals: np.ndarray, used: np.ndarray, p: np.ndarray) -> np.ndarray:
    """Which points lie in no ringing, by the residuals of a fit with unknowns `p` that used the points `used`."""
    state, still = model.state(p), np.ones(len(residuals), dtype=bool)
    corners = sorted({0.0, state.duty, min(state.conduction_end, 1.0), 1.0})
    for k, seen in enumerate(model.seen):
        there = np.flatnonzero(model.channel == k)
        spread = max(1.0, usual(residuals[there[used[there]]])) if used[there].any() else 1.0
        for left, right in pairwise(corners):
            stretch = there[(seen.phase > left) & (seen.phase < right)]
            still[stretch[: rings(residuals[stretch] / spread)]] = False
    return still


def rings(residuals: np.ndarray) -> int:
    """How many points from the first on ring, in a stretch between two corners."""
    size = np.abs(residuals)
    stray = np.flatnonzero(size > CLIP)
    if not len(stray) or stray[0] >= EARLY:
        return 0
    gaps = np.diff(stray)
    ends = np.flatnonzero(gaps > np.maximum(PAUSE, stray[:-1] / 2))
    last = ends[0] if len(ends) else len(stray) - 1
    if last + 1 < FEWEST:
        return 0
    run = stray[last] + 1
    first, second = (half.max() for half in np.array_split(size[:run], 2))
    if second > FADES * first:
        return 0
    return int(np.ceil(run * (1 + np.log(CLIP) / np.log(first / CLIP))))
