"""What speaks against a channel: samples cut off at one level, a mean that drifts, periods with a hole in them."""

from __future__ import annotations

import numpy as np

from ..units import show
from .capture import Capture
from .course import Course
from .grid import Edges

HOLE, USUAL = 0.02, 4.5  # of a period, and intervals: a longer time between two samples hides what happened in it
PILE, FEWEST = 0.01, 8  # share and number of samples at the very extreme that noise does not make
NOISY = 2.0  # steps of noise that spread an even level over so many codes that its highest is rare
ALONE = 5.0  # times the samples one step below: even the round top of a smooth wave has less than three times
FLAT = 4.0  # times the share that a slope has at its end
DRIFT, SURE = 0.1, 5.0  # of the ripple, and standard errors: a drift beyond both is none of the noise's


def unbroken(capture: Capture, edges: Edges) -> np.ndarray:
    """Runs of whole periods without a hole: an array (n, 2), the first of each and the one after its last."""
    wide = np.flatnonzero(np.diff(capture.time) > max(USUAL * capture.interval, HOLE * edges.period))
    ends = np.clip(np.floor(edges.phase(capture.time[[wide, wide + 1]])).astype(int) + [[0], [1]], 0, edges.periods)
    holes = np.zeros(edges.periods + 1, dtype=int)
    np.add.at(holes, ends[0], 1)
    np.add.at(holes, ends[1], -1)
    broken = np.cumsum(holes)[:-1] > 0
    return np.flatnonzero(np.diff(np.concatenate([[True], broken, [True]]))).reshape(-1, 2)


def cut_off(values: np.ndarray, name: str, step: float) -> float | None:
    """The level at which samples were cut off, None where they were not. A noisy signal that was not cut off has few samples at its
    very extreme; and the current of a coil has no level top."""
    noise = _noise(values)
    for sign in (1, -1):
        extreme = (sign * values).max()
        pile, below = ((sign * values >= extreme - 1e-9 * abs(extreme) - room * step).sum() for room in (0.25, 1.25))
        share, slope = pile / len(values), step / max(np.ptp(values), step)
        noisy = noise > NOISY * step and share > PILE
        flat = sign == 1 and name == "i_inductor" and share > max(FLAT * slope, 2 * PILE) and np.ptp(values) > 2 * step
        if pile >= FEWEST and pile > ALONE * (below - pile) and (noisy or flat):
            return float(sign * extreme)
    return None


def _noise(values: np.ndarray) -> float:
    """Standard deviation of single samples, from each against its two neighbours; edges and what is cut off are few enough."""
    return float(np.percentile(np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2), 80)) / (1.2816 * np.sqrt(1.5))


def drift(capture: Capture, edges: Edges, name: str, course: Course) -> str:
    """How far the mean of a period wanders from the first to the last, in words; "" where it does not."""
    whole = np.concatenate([np.arange(*run) for run in unbroken(capture, edges)] or [[]]).astype(int)
    if len(whole) < 4:
        return ""
    number = np.floor(edges.phase(capture.time)).astype(int)
    inside = (number >= 0) & (number < edges.periods)
    sums, counts = (np.bincount(number[inside], weights, edges.periods) for weights in (capture.channel(name)[inside], None))
    mean = sums[whole] / np.maximum(counts[whole], 1)
    slope, start = np.polyfit(whole, mean, 1)
    spread = float(np.std(mean - start - slope * whole, ddof=2)) / float(np.sqrt(np.sum((whole - whole.mean()) ** 2)))
    if abs(slope) < max(SURE * spread, DRIFT * float(np.ptp(course.value)) / edges.periods):
        return ""
    unit = capture.units[name]
    return (f"{name} is in no steady state: its mean wanders by {show(slope * (edges.periods - 1), unit, 2)} over the capture, and its "
            "readings are of no one period")  # fmt: skip
