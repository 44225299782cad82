"""The way down: Gauss and Newton's method to the unknowns that suit points and prior knowledge best."""

from __future__ import annotations

from copy import copy

import numpy as np

from .strays import limits, usual
from .unknowns import Model

ROUNDS = 30
DAMPING = (0.0, 1e-4, 1e-3, 1e-2, 0.1, 1.0, 10.0, 1e3)  # as shares of the curvature
ARRIVED = 1e-3  # of the sum of squares that a step still promises: it goes as the square, so this is 3 % of an uncertainty
NEAR = 1.0  # of a standard uncertainty: over a step no longer than this the derivatives change too little to matter
LEAP = 3.0  # by which a positive letter may change in one round


class Search:
    """The method of Gauss and Newton, after Levenberg and Marquardt where a whole step makes things worse.

    Where a letter would have to be less than it can be, the waveforms go on in a straight line, so that an estimate is as often
    too low as too high; but no unknown goes below `least`. `stiff`: times as firm as known. An improvement by a share of less
    than `enough` is the last. Points out of `rest` do not count.
    """

    def __init__(self, model: Model, error: np.ndarray, stiff=1.0, least=-np.inf, spread_of=usual, enough=1e-6, rest=True):
        self.model, self.error, self.least, self.spread_of, self.enough, self.rest = model, error, least, spread_of, enough, rest
        self.start = np.array([unknown.start for unknown in model.unknowns])
        self.prior = stiff / np.array([unknown.standard for unknown in model.unknowns])

    def holding(self, k: int, value: float, firm: float) -> Search:
        """The same search with one unknown held at a value, as firmly as `firm`."""
        other = copy(self)
        other.start, other.prior = self.start.copy(), self.prior.copy()
        other.start[k], other.prior[k] = value, firm
        return other

    def descend(self, p: np.ndarray):
        """Unknowns, derivatives and residuals in errors, and the points used."""
        self.rows = step = spread = None
        for _ in range(ROUNDS):
            held = np.maximum(p, self.model.low)
            state = self.model.state(held)
            if self.rows is None or (np.abs(step) > NEAR * spread).any():
                self.rows = self.model.slopes(state, held) / self.error[:, None]
            residuals = self.residuals(self.model.true(state, held), p)
            self.limit = limits(self.model, residuals, self.spread_of)
            self.used = self.model.away(state, p) & self.rest & (np.abs(residuals) <= self.limit)
            curvature, downhill, size = self.system(self.rows, residuals, p, slice(None))
            step, spread = np.linalg.solve(curvature, downhill) / size, np.sqrt(np.diag(np.linalg.inv(curvature))) / size
            if downhill @ (step * size) <= ARRIVED:
                break
            before = self.cost(residuals, p)
            p, after = self.stepped(p, curvature, downhill, size, before)
            if before - after <= self.enough * before:
                break
        return p, self.rows, residuals, self.used

    def residuals(self, true: np.ndarray, p: np.ndarray) -> np.ndarray:
        """Predicted less seen, in errors."""
        held = np.maximum(p, self.model.low)
        return (self.model.shown(true, held) - self.model.value) / self.error + self.rows @ (p - held)

    def cost(self, residuals: np.ndarray, p: np.ndarray) -> float:
        """Sum of squares, a stray point counted as one at the limit."""
        return float(np.sum(self.rest * np.minimum(np.abs(residuals), self.limit) ** 2) + np.sum(((p - self.start) * self.prior) ** 2))

    def system(self, rows: np.ndarray, residuals: np.ndarray, p: np.ndarray, few: slice):
        """The normal equations for a `few` of the unknowns, scaled to ones on the diagonal: matrix, right side, scale."""
        rows, prior = rows[self.used], self.prior[few]
        curvature = rows.T @ rows + np.diag(prior**2)
        size = np.sqrt(np.diag(curvature))
        return curvature / np.outer(size, size), (-rows.T @ residuals[self.used] - (p - self.start)[few] * prior**2) / size, size

    def stepped(self, p, curvature, downhill, size, before: float) -> tuple[np.ndarray, float]:
        """The unknowns after the whole step, or after one held back just so far that it makes things better, and the cost then."""
        positive = self.model.low > 0
        for damping in DAMPING:
            there = p + _bounded(curvature + damping * np.eye(len(p)), downhill, (self.least - p) * size) / size
            there = np.where(positive, np.clip(there, p / LEAP, p * LEAP), there)
            try:
                true = self.model.true(self.model.state(there), np.maximum(there, self.model.low))
            except ValueError:               # no steady state there
                continue
            there = self.settled(true, there)
            after = self.cost(self.residuals(true, there), there)
            if after <= before:
                return there, after
        return p, before

    def settled(self, true: np.ndarray, p: np.ndarray) -> np.ndarray:
        """The same letters with the errors of the instrument that suit them best: the two multiply, so that a straight step in
        both at once would miss by their product."""
        p, few = p.copy(), slice(self.model.count + 1, None)
        for _ in range(2 if len(p) > self.model.count + 1 else 0):
            slopes = self.model.slopes_by_errors(true, p) / self.error[:, None]
            curvature, downhill, size = self.system(slopes, self.residuals(true, p), p, few)
            p[few] += np.linalg.solve(curvature, downhill) / size
        return p


def _bounded(curvature: np.ndarray, downhill: np.ndarray, least: np.ndarray) -> np.ndarray:
    """The step of normal equations where no part may be below `least`: what would be is held there, and the rest solved again."""
    step, held = np.zeros(len(downhill)), np.zeros(len(downhill), dtype=bool)
    while not held.all():
        free = ~held
        step[free] = np.linalg.solve(curvature[np.ix_(free, free)], downhill[free] - curvature[np.ix_(free, held)] @ step[held])
        below = free & (step < least)
        if not below.any():
            break
        step[below] = least[below]
        held |= below
    return step
