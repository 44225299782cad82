"""Letters known so roughly that their likelihood is lopsided: how much further above its best value each may lie.

An inductance that is known within a third makes ripple as its reciprocal: half of it doubles the ripple, twice of it takes only
half away, and with noise the data bear much larger values than small ones. The curvature at the best value does not know that.
So such a letter is moved up, all others settled anew, until the sum of squares has grown by nine, as for three standard uncertainties
of a normal error; where that is further than three of those, the uncertainty becomes so much wider.
"""

from __future__ import annotations

import numpy as np

from .descent import Search

BENT = 0.15  # of a value: an error beyond that is no longer the same on both sides
SURE = 3.0  # standard uncertainties away, where the sum of squares has grown by the square of that
DOUBLED = 6  # times at most that a letter is moved twice as far: the data set it no bound then
FIRM = 1e6  # as firmly as this a letter is held where it was moved to, in its scales


def roughness(near: Search, p: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """What must be added, by squares, to the standard error of each of the unknowns `p`. The way that they go together is bent, so
    nothing of this cancels in a combination of theirs."""
    found = np.zeros(len(p))
    for k in np.flatnonzero(near.model.low > 0):
        spread = float(np.sqrt(covariance[k, k]))
        if spread > BENT * p[k]:
            away = _farther(near, p, int(k), spread)
            if away is not None:
                found = np.hypot(found, away)
    return found


def _farther(near: Search, p: np.ndarray, k: int, spread: float) -> np.ndarray | None:
    """A standard error of all unknowns along the way up of letter k, without what its `spread` holds already."""
    free, _, residuals, _ = near.descend(p)
    least = near.cost(residuals, free)
    for far in SURE * 2.0 ** np.arange(DOUBLED):
        there = near.holding(k, p[k] + far * spread, FIRM / near.model.unknowns[k].scale)
        moved = free.copy()
        moved[k] = p[k] + far * spread
        try:
            moved, _, residuals, _ = there.descend(moved)
        except ValueError:                   # no steady state so far away
            break
        grown, away = there.cost(residuals, moved) - least, moved - free
        if grown >= SURE**2:
            break
    else:
        grown = 1.0
    if far == SURE:
        return None
    away = away / np.sqrt(max(grown, 1.0))
    return away * np.sqrt(max(1 - (spread / away[k]) ** 2, 0.0))
