"""Switching instants on a regular grid: the noun, and the grid of least squares through instants as found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import show
from .capture import Capture

STRAY = 0.1  # of a period that an instant may stray from the regular grid


@dataclass(frozen=True)
class Edges:
    """Switching instants on a regular grid: the k-th period starts at `start` + k `period`, where the switch closes; it opens
    a share `duty` of the period later. In s: `closes` and `opens`, each instant as found; `scatter` (standard deviation) of
    these about the grid; `width`, the time a transition takes (at least one sample). `periods`: whole ones in the capture;
    `channel`: what they were told from."""

    channel: str
    start: float
    period: float
    duty: float
    closes: np.ndarray
    opens: np.ndarray
    scatter: float
    width: float
    periods: int

    def phase(self, time: np.ndarray) -> np.ndarray:
        """Periods since the first closing, as a number with decimals."""
        return (time - self.start) / self.period

    def folded(self, capture: Capture, name: str) -> tuple[np.ndarray, np.ndarray]:
        """Phase (0 to 1) and value of every sample in the whole periods, sorted by phase."""
        count = self.phase(capture.time)
        inside = (count >= 0) & (count < self.periods)
        phase = count[inside] % 1
        order = np.argsort(phase, kind="stable")
        return phase[order], capture.channel(name)[inside][order]


def regular(capture: Capture, channel: str, instants: np.ndarray) -> tuple[float, float, np.ndarray, float]:
    """Start and period of the grid through instants that recur, the number of each on it, and their scatter.

    Raises ValueError where there are fewer than four, or they are not regular.
    """
    where = f"{capture.where}: {channel}"
    if len(instants) < 4:
        raise ValueError(f"{where} shows {max(len(instants) - 1, 0)} whole periods; at least 3 are needed")
    period = float(np.median(np.diff(instants)))
    # counted from each to the next: over thousands of periods the error of the median adds up to more than one
    count = np.concatenate([[0.0], np.cumsum(np.round(np.diff(instants) / period))])
    period, start = (float(x) for x in np.polyfit(count, instants, 1))
    stray = instants - start - period * count
    if not np.abs(stray).max() <= STRAY * period or (np.diff(count) < 1).any():
        raise ValueError(f"{where}: the switching instants stray from a regular grid by up to {show(float(np.abs(stray).max()), 's')} "
                         f"at a period of {show(period, 's')}: noise, pulses skipped, or no steady state")
    return start, period, count, float(np.sqrt(np.sum(stray**2) / (len(instants) - 2)))
