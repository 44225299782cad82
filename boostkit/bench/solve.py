"""Least squares with prior knowledge: Gauss and Newton's method, and how uncertain its result is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import show
from .descent import Search
from .rough import roughness
from .strays import quiet
from .uncertain import Uncertain, correlated, uncertain
from .unknowns import LABEL, Model

PASSES, FIRST = 6, 3  # at most, in which what rings and what is left over settle, and of these for what rings alone
PULLED = 3.0  # standard uncertainties by which an error of the instrument or a meter may be off
MORE = 1.2  # times its noise that may be left over of a channel by chance


@dataclass(frozen=True)
class Solution:
    """The unknowns of a `model`: `estimate`, the same as uncertain numbers in `values`, their `covariance`, and the `information`
    that the data would hold on each if all others were known and nothing but noise were left over. `residual`: rms of what is left
    over, in standard errors of the points; `left`, the same by channel; `clipped`, the share of a channel's points left out."""

    model: Model
    estimate: np.ndarray
    values: dict[str, Uncertain]
    covariance: np.ndarray
    information: np.ndarray
    residual: float
    left: dict[str, float]
    clipped: dict[str, float]

    def notes(self, apart: float) -> list[str]:
        """What speaks against the model, in words."""
        said = [f"{name}: what is left over is {left:.2g} times the noise, so capture and circuit do not agree; "
                "the uncertainties are wider for it" for name, left in self.left.items() if left > apart]  # fmt: skip
        said += [f"{name}: {show(share, '%', 2)} of its points stray far, as ringing does, and are left out"
                 for name, share in self.clipped.items() if share > 0.02]  # fmt: skip
        for k in _limited(self.model):
            pull = _pulls(self.model, self.estimate)[k]
            if abs(pull) > PULLED:
                said.append(f"{self.model.unknowns[k].name} would have to be off by {abs(pull):.2g} times its standard uncertainty: "
                            "capture and circuit do not belong together, or something known is wrong")  # fmt: skip
        if (wrong := _wrong(self.model, self.estimate)) > 1:
            said.append(f"all uncertainties are {wrong:.2g} times wider for that")
        return said


def solve(model: Model, known: dict[str, Uncertain]) -> Solution:
    """The most likely unknowns. A channel of which more is left over than its noise counts as that much less certain."""
    still = np.array([1e3 if unknown.name in ("duty", "shift") else 1.0 for unknown in model.unknowns])
    start = np.array([unknown.start for unknown in model.unknowns])
    far = Search(model, model.error, still, model.low, _rms, 0.01)            # from afar no point is sure to be a stray
    p = far.descend(start)[0]
    wider, first = np.ones(len(model.seen)), {}
    rest = np.ones(len(model.value), dtype=bool)
    for number in range(PASSES):
        near = Search(model, model.error * wider[model.channel], rest=rest)
        p, rows, residuals, used = near.descend(p)
        first = _left(model, residuals, used) if (wider == 1).all() else first
        before, rest = rest, quiet(model, residuals, used, p)
        excess = _excess(model, residuals, used)
        if (before != rest).any() and number < FIRST:
            continue
        if (excess <= MORE).all():
            break
        wider *= np.where(excess > MORE, excess, 1.0)
        rows = rows / np.where(excess > MORE, excess, 1.0)[model.channel][:, None]
    covariance, values = _uncertain(model, p, rows[used], near, known)
    information = np.sum((rows * wider[model.channel][:, None])[used] ** 2, axis=0)
    residual = float(np.sqrt(np.mean(np.square(list(first.values())))))
    astray = (np.abs(residuals) > near.limit) | ~before
    clipped = {s.name: float(np.mean(astray[model.channel == k])) for k, s in enumerate(model.seen)}
    return Solution(model, p, values, covariance, information, residual, first, clipped)


def _rms(residuals: np.ndarray) -> float:
    return float(np.sqrt(np.mean(residuals**2)))


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


def _uncertain(model: Model, p: np.ndarray, rows: np.ndarray, near: Search, known: dict[str, Uncertain]):
    """Covariance, and the unknowns as uncertain numbers, each made of the noise's part and a part of each prior error."""
    prior = np.array([1 / unknown.standard for unknown in model.unknowns])
    inverse = rows.T @ rows + np.diag(prior**2)
    size = np.sqrt(np.diag(inverse))
    covariance = np.linalg.inv(inverse / np.outer(size, size)) / np.outer(size, size)
    rough = roughness(near, p, covariance)
    wrong = _wrong(model, p)
    by_noise = wrong * rows @ covariance
    noise = correlated(np.zeros(len(p)), by_noise.T @ by_noise, ["noise"] * len(p))
    lopsided = [uncertain(0.0, wrong * float(part), "lopsided") if part else 0.0 for part in rough]
    found = [v + n + r for v, n, r in zip(p.tolist(), noise, lopsided, strict=True)]
    for k, unknown in enumerate(model.unknowns):
        meter = known.get(unknown.name)
        error = uncertain(0.0, 1.0, unknown.source) if meter is None else (meter - unknown.start) / unknown.standard
        found = [value + wrong * float(covariance[j, k] * prior[k]) * error for j, value in enumerate(found)]
    values = {unknown.name: value for unknown, value in zip(model.unknowns, found, strict=True)}
    return wrong**2 * (covariance + np.diag(rough**2)), values


def _wrong(model: Model, p: np.ndarray) -> float:
    """How many times too small all uncertainties are: as many as the most that an error known by its limits would have to be off.
    Something taken for exact is wrong then, and nobody knows which letters it pulls at (Birge's ratio, by the worst one)."""
    worst = float(np.abs(_pulls(model, p)[_limited(model)]).max(initial=0.0))
    return worst if worst > PULLED else 1.0


def _limited(model: Model) -> list[int]:
    """Which unknowns are known apart from the points: all but the letters that are fitted."""
    return [k for k, unknown in enumerate(model.unknowns) if unknown.source != LABEL]
