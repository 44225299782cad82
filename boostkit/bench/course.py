"""The course of a channel over one period, averaged over all periods of a capture, without its noise.

All whole periods are laid over one another. Between two switching instants a waveform is smooth, so a polynomial of low
degree is fitted there by least squares. What is left over is the noise. A reading at the edge of a stretch comes from all
samples of that stretch: the largest of many noisy samples would always be too large.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre

from .capture import Capture
from .grid import Edges

DEGREE, FAR = 5, 2  # of a polynomial at most; of one that is followed far beyond its samples, past ringing
POINTS = 201  # at which a stretch is read
CLIP = 4.0  # standard deviations beyond which a sample is ringing or a spike, not noise
BLOCKS, LOUD = 24, 1.5  # into which a stretch is cut to find ringing; a block that scatters this much more than most rings
GUARD = 1.5  # transition times on either side of an edge that are left out


@dataclass(frozen=True)
class Course:
    """The smooth course over one period: `phase` (0 where the switch closes), `value`, standard error `error` and `slope` (per
    period) of each, and the standard deviation `noise` of single samples about it; `clipped`, the share of samples that were
    ringing or spikes."""

    phase: np.ndarray
    value: np.ndarray
    error: np.ndarray
    slope: np.ndarray
    noise: float
    clipped: float


def smooth_course(capture: Capture, edges: Edges, name: str, stop: tuple[float, float] | None = None) -> Course:
    """The course of one channel; `stop`, phase and uncertainty of a further corner, the end of conduction.

    Raises ValueError where a stretch between two corners holds fewer than four samples in all periods together.
    """
    phase, value = edges.folded(capture, name)
    guard = GUARD * edges.width / edges.period
    corners = [(0.0, guard), (edges.duty, guard), (1.0, guard)]
    if stop and edges.duty + 4 * guard < stop[0] < 1 - 4 * guard:      # too near to another corner it is part of that
        corners.insert(2, (stop[0], guard + 2 * stop[1]))
    parts = []
    for (left, before), (right, after) in pairwise(corners):
        most = 0.2 * (right - left)
        inside = slice(*np.searchsorted(phase, [left + min(before, most), right - min(after, most)]))
        if inside.stop - inside.start < 4:
            raise ValueError(f"{capture.where}: {name} has {inside.stop - inside.start} samples between {left:.3f} and {right:.3f} of the "
                             "period; at least 4 are needed: record faster, or longer")
        read = left + min(max(before - guard, 0), most), right - min(max(after - guard, 0), most)     # not beyond a doubtful corner
        quiet = _quiet(value[inside])
        highest = DEGREE if np.ptp(phase[inside][quiet]) > 0.8 * (right - left) - 2 * guard else FAR
        parts.append(_stretch(phase[inside][quiet], value[inside][quiet], *read, highest))
    noises, there, used = (np.array([part[k] for part in parts]) for k in (4, 5, 6))
    return Course(
        *(np.concatenate([part[k] for part in parts]) for k in range(4)),
        noise=float(np.sqrt(np.average(noises**2, weights=there))),
        clipped=float(1 - used.sum() / there.sum()),
    )


def _quiet(value: np.ndarray) -> slice:
    """The part of a stretch without the ringing that an edge leaves behind, at least the middle third: blocks at either end
    that scatter more than others are left out."""
    size = len(value) // BLOCKS
    if size < 6:
        return slice(None)
    blocks = value[: size * BLOCKS].reshape(BLOCKS, size)
    ramp = np.linspace(-1, 1, size)
    level = blocks - blocks.mean(axis=1, keepdims=True)
    scatter = (level - np.outer(level @ ramp / (ramp @ ramp), ramp)).std(axis=1)
    loud = scatter > max(LOUD * np.median(scatter), 0.002 * np.ptp(value))
    calm = np.flatnonzero(~loud)
    first, last = min(calm[0], BLOCKS // 3), max(calm[-1] + 1, BLOCKS - BLOCKS // 3)
    return slice(first * size, len(value) if last == BLOCKS else last * size)


def _stretch(phase, value, left: float, right: float, highest: int):
    """Phases, values, their standard errors and slopes, the noise, how many samples there were, and how many were used."""
    def rows(at, degree):
        return legendre.legvander(2 * (at - left) / (right - left) - 1, degree)

    highest = min(highest, max(len(phase) // 12, 1))
    design = rows(phase, highest)
    used = _unclipped(design, value)
    degree = min(range(highest + 1), key=lambda d: _cost(design[used, : d + 1], value[used]))
    design = design[used, : degree + 1]
    fitted, *_ = np.linalg.lstsq(design, value[used], rcond=None)
    noise = float(np.sqrt(np.sum((value[used] - design @ fitted) ** 2) / max(used.sum() - degree - 1, 1)))
    at = np.linspace(left, right, POINTS)
    there = rows(at, degree)
    inverse = np.linalg.pinv(design.T @ design)
    error = noise * np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", there, inverse, there), 0))
    slope = np.gradient(there @ fitted, at)
    return at, there @ fitted, error, slope, noise, len(phase), int(used.sum())


def _unclipped(design, value) -> np.ndarray:
    """Which samples are neither ringing nor spikes."""
    used = np.ones(len(value), dtype=bool)
    for _ in range(4):
        fitted, *_ = np.linalg.lstsq(design[used], value[used], rcond=None)
        left_over = np.abs(value - design @ fitted)
        spread = 1.4826 * np.median(left_over[used])
        now = left_over <= CLIP * spread if spread > 0 else used
        if (now == used).all() or now.sum() < 4 * design.shape[1]:
            break
        used = now
    return used


def _cost(design, value) -> float:
    """Bayesian information criterion: a term more must pay for itself, or the largest of the noise would pass for ripple."""
    fitted, *_ = np.linalg.lstsq(design, value, rcond=None)
    squares = float(np.mean((value - design @ fitted) ** 2)) + 1e-30 * float(np.mean(value**2)) + 1e-300
    return len(value) * np.log(squares) + design.shape[1] * np.log(len(value))
