"""Least squares with prior knowledge: Gauss and Newton's method, and how uncertain its result is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .uncertain import Uncertain, correlated, uncertain
from .unknowns import Model

ROUNDS = 30
DAMPING = (0.0, 1e-4, 1e-3, 1e-2, 0.1, 1.0, 10.0, 1e3)  # as shares of the curvature
ARRIVED = 1e-3  # of the sum of squares that a step still promises: it goes as the square, so this is 3 % of an uncertainty
NEAR = 1.0  # of a standard uncertainty: over a step no longer than this the derivatives change too little to matter
CLIP = 4.0  # standard errors beyond which a point is ringing or a spike
LEAP = 3.0  # by which a positive letter may change in one round
MORE = 1.2  # times its noise that may be left over of a channel by chance


@dataclass(frozen=True)
class Solution:
    """The unknowns of a `model`: `estimate`, the same as uncertain numbers in `values`, their `covariance`, and the `information`
    that the data alone hold on each if all others were known. `residual`: rms of what is left over, in standard errors of the
    points; `left`, the same by channel; `clipped`, the share of a channel's points that were left out."""

    model: Model
    estimate: np.ndarray
    values: dict[str, Uncertain]
    covariance: np.ndarray
    information: np.ndarray
    residual: float
    left: dict[str, float]
    clipped: dict[str, float]

    def notes(self, apart: float, pulled: float) -> list[str]:
        """What speaks against the model, in words."""
        said = [f"{name}: what is left over is {left:.2g} times the noise, so capture and circuit do not agree; "
                "the uncertainties are wider for it" for name, left in self.left.items() if left > apart]  # fmt: skip
        said += [f"{name}: {share:.0%} of its points stray far, as ringing does, and are left out"
                 for name, share in self.clipped.items() if share > 0.02]  # fmt: skip
        for unknown, pull in zip(self.model.unknowns, _pulls(self.model, self.estimate), strict=True):
            if abs(pull) > pulled:
                said.append(f"{unknown.name} would have to be off by {abs(pull):.2g} times its standard uncertainty: "
                            "capture and circuit do not belong together, or something known is wrong")  # fmt: skip
        return said


def solve(model: Model, known: dict[str, Uncertain]) -> Solution:
    """The most likely unknowns. A channel of which more is left over than its noise counts as that much less certain."""
    still = np.array([1e3 if unknown.name in ("duty", "shift") else 1.0 for unknown in model.unknowns])
    start = np.array([unknown.start for unknown in model.unknowns])
    far = _Search(model, model.error, still, model.low, _rms, 0.01)            # from afar no point is sure to be a stray
    p, wider, first = far.descend(start)[0], np.ones(len(model.seen)), None
    for _ in range(3):
        near = _Search(model, model.error * wider[model.channel])
        p, rows, residuals, used = near.descend(p)
        first = first or _left(model, residuals, used)
        excess = _excess(model, residuals, used)
        if (excess <= MORE).all():
            break
        wider *= np.where(excess > MORE, excess, 1.0)
        rows = rows / np.where(excess > MORE, excess, 1.0)[model.channel][:, None]
    clipped = {s.name: float(np.mean((np.abs(residuals) > near.limit)[model.channel == k])) for k, s in enumerate(model.seen)}
    covariance, values = _uncertain(model, p, rows[used], known)
    residual = float(np.sqrt(np.mean(np.square(list(first.values())))))
    return Solution(model, p, values, covariance, np.sum(rows[used] ** 2, axis=0), residual, first, clipped)


class _Search:
    """The method of Gauss and Newton, after Levenberg and Marquardt where a whole step makes things worse.

    Where a letter would have to be less than it can be, the waveforms go on in a straight line, so that an estimate is as often
    too low as too high; but no unknown goes below `least`. `stiff`: times as firm as known. An improvement by a share of less
    than `enough` is the last.
    """

    def __init__(self, model: Model, error: np.ndarray, stiff=1.0, least=-np.inf, spread_of=None, enough=1e-6):
        self.model, self.error, self.least, self.spread_of, self.enough = model, error, least, spread_of or _usual, enough
        self.start = np.array([unknown.start for unknown in model.unknowns])
        self.prior = stiff / np.array([unknown.standard for unknown in model.unknowns])

    def descend(self, p: np.ndarray):
        """Unknowns, derivatives and residuals in errors, and the points used."""
        self.rows = step = spread = None
        for _ in range(ROUNDS):
            held = np.maximum(p, self.model.low)
            state = self.model.state(held)
            if self.rows is None or (np.abs(step) > NEAR * spread).any():
                self.rows = self.model.slopes(state, held) / self.error[:, None]
            residuals = self.residuals(self.model.true(state, held), p)
            self.limit = _limits(self.model, residuals, self.spread_of)
            self.used = self.model.away(state, p) & (np.abs(residuals) <= self.limit)
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
        return float(np.sum(np.minimum(np.abs(residuals), self.limit) ** 2) + np.sum(((p - self.start) * self.prior) ** 2))

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


def _limits(model: Model, residuals: np.ndarray, spread_of) -> np.ndarray:
    """What a point may stray, no more than far beyond the others of its channel: the rest is ringing and spikes."""
    limit = np.empty_like(residuals)
    for k in range(len(model.seen)):
        there = model.channel == k
        limit[there] = CLIP * max(1.0, spread_of(residuals[there]))
    return limit


def _rms(residuals: np.ndarray) -> float:
    return float(np.sqrt(np.mean(residuals**2)))


def _usual(residuals: np.ndarray) -> float:
    """The spread of most, whatever a few do."""
    return 1.4826 * float(np.median(np.abs(residuals)))


def _left(model: Model, residuals: np.ndarray, used: np.ndarray) -> dict[str, float]:
    """Rms of what is left over by channel."""
    return {s.name: float(np.sqrt(np.mean(residuals[used & (model.channel == k)] ** 2))) for k, s in enumerate(model.seen)}


def _excess(model: Model, residuals: np.ndarray, used: np.ndarray) -> np.ndarray:
    """By how much a channel is less certain than its noise says: the rms of what is left over, and more where that comes in long
    swings, of which there are fewer than points."""
    found = []
    for k in range(len(model.seen)):
        left = residuals[used & (model.channel == k)]
        swings = np.sum(np.diff(np.sign(left)) != 0) + 1
        found.append(np.sqrt(np.mean(left**2)) * np.sqrt(max(len(left) / 2 / swings, 1.0)))
    return np.array(found)


def _pulls(model: Model, p: np.ndarray) -> np.ndarray:
    """By how many standard uncertainties each unknown had to leave what was known of it."""
    return np.array([(p[k] - u.start) / u.standard for k, u in enumerate(model.unknowns)])


def _uncertain(model: Model, p: np.ndarray, rows: np.ndarray, known: dict[str, Uncertain]):
    """Covariance, and the unknowns as uncertain numbers, each made of the noise's part and a part of each prior error."""
    prior = np.array([1 / unknown.standard for unknown in model.unknowns])
    inverse = rows.T @ rows + np.diag(prior**2)
    size = np.sqrt(np.diag(inverse))
    covariance = np.linalg.inv(inverse / np.outer(size, size)) / np.outer(size, size)
    by_noise = rows @ covariance
    noise = correlated(np.zeros(len(p)), by_noise.T @ by_noise, ["noise"] * len(p))
    values = dict(zip((u.name for u in model.unknowns), (v + n for v, n in zip(p.tolist(), noise, strict=True)), strict=True))
    for k, unknown in enumerate(model.unknowns):
        if prior[k]:
            meter = known.get(unknown.name)
            error = uncertain(0.0, 1.0, unknown.source) if meter is None else (meter - unknown.start) / unknown.standard
            values = {name: value + float(covariance[j, k] * prior[k]) * error for j, (name, value) in enumerate(values.items())}
    return covariance, values
