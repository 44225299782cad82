"""What a fit does not know: letters of the circuit, the drive, and the errors of the instrument, each with what is known of it.

The prediction is the exact waveform as the instrument shows it. Its derivatives are differences of exact waveforms.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..circuit import Converter, SteadyState, switched
from .instrument import Instrument
from .points import SMOOTH, Points
from .prediction import at_times

NUDGE = 1e-6  # of an unknown's scale, for a derivative
LABEL = "label"  # the source of a letter that is fitted: it is given an uncertainty as wide as all that it could be
MOVES = 0.03  # of a period: by which the predicted end of conduction may move


@dataclass(frozen=True)
class Unknown:
    """One unknown: `start`, its value before the fit; `standard`, the uncertainty of that; `scale`, a size that would change the
    waveforms thoroughly; `low`, what it cannot physically be below; `source`, in the words of a budget."""

    name: str
    start: float
    standard: float
    scale: float
    low: float = -np.inf
    source: str = ""


class Model:
    """The prediction of points as a function of the unknowns: first `letters` of the circuit, then the shift, then errors."""

    def __init__(self, converter: Converter, letters: tuple[Unknown, ...], shift: Unknown, seen: list[Points], instrument: Instrument):
        self.converter, self.seen = converter, seen
        errors = [error for points in seen for error in _errors(points, instrument)]
        self.unknowns = (*letters, shift, *errors)
        self.count = len(letters)
        self.place = {unknown.name: k for k, unknown in enumerate(self.unknowns)}
        self.middles = {points.name: instrument.channel(points.name).offset for points in seen}
        self.low = np.array([unknown.low for unknown in self.unknowns])
        self.value = np.concatenate([points.value for points in seen])
        self.error = np.concatenate([points.error for points in seen])
        self.channel = np.concatenate([np.full(len(points.value), k) for k, points in enumerate(seen)])

    def state(self, p: np.ndarray) -> SteadyState:
        """The exact steady state with these letters, each at least what it can physically be."""
        held = np.maximum(p, self.low)
        return switched.steady_state(self.converter.change(**{u.name: float(held[k]) for k, u in enumerate(self.unknowns[: self.count])}))

    def true(self, state: SteadyState, p: np.ndarray) -> np.ndarray:
        """What is at the probes, all points one after the other."""
        shift = p[self.count]
        return np.concatenate([at_times(state, (s.name,), (s.phase + shift) * state.period)[s.name] for s in self.seen])

    def shown(self, true: np.ndarray, p: np.ndarray) -> np.ndarray:
        """What the instrument shows of it."""
        parts = np.split(true, np.cumsum([len(s.value) for s in self.seen])[:-1])
        return np.concatenate([self._shown(part, s.name, p) for part, s in zip(parts, self.seen, strict=True)])

    def _shown(self, true: np.ndarray, name: str, p: np.ndarray) -> np.ndarray:
        places = [self.place.get(f"{what} of {name}") for what in ("gain", "probe", "offset")]
        gain, probe, off = (0.0 if k is None else p[k] for k in places)
        return (true / (1 + probe) - self.middles[name] - off) / (1 + gain) + self.middles[name]

    def slopes(self, state: SteadyState, p: np.ndarray) -> np.ndarray:
        """The derivative of what is shown by each unknown, shape (points, unknowns)."""
        held = np.maximum(p, self.low)
        true = self.true(state, held)
        shown = self.shown(true, held)
        columns = []
        for k, unknown in enumerate(self.unknowns[: self.count + 1]):
            moved = held.copy()
            moved[k] += NUDGE * unknown.scale
            there = self.state(moved) if k < self.count else state
            columns.append((self.shown(self.true(there, moved), moved) - shown) / (moved[k] - held[k]))
        return np.column_stack([*columns, self.slopes_by_errors(true, held)])

    def slopes_by_errors(self, true: np.ndarray, p: np.ndarray) -> np.ndarray:
        """The derivative of what is shown by each error of the instrument."""
        shown, columns = self.shown(true, p), []
        for k in range(self.count + 1, len(self.unknowns)):
            moved = p.copy()
            moved[k] += NUDGE * self.unknowns[k].scale
            columns.append((self.shown(true, moved) - shown) / (moved[k] - p[k]))
        return np.column_stack(columns) if columns else np.empty((len(true), 0))

    def away(self, state: SteadyState, p: np.ndarray) -> np.ndarray:
        """Which points do not lie where the prediction jumps, or would if the unknowns moved a little."""
        phase = (np.concatenate([s.phase for s in self.seen]) + p[self.count]) % 1
        apart = np.abs((phase[:, None] - np.array([0.0, state.duty, state.conduction_end]) + 0.5) % 1 - 0.5)
        jumps = np.array([s.name not in SMOOTH for s in self.seen])[self.channel]
        early = (phase < state.conduction_end - MOVES) | (state.mode == "continuous")
        return (apart > 1e-4).all(axis=1) & (early | ~jumps)


def _errors(points: Points, instrument: Instrument):
    """The errors of one channel: limits over the square root of three (JCGM 100, 4.3.7)."""
    c, name = instrument.channel(points.name), points.name
    size = float(np.abs(points.value).max())
    for what, limit in (("gain", c.gain_error), ("probe", c.probe_error)):
        if limit:
            yield Unknown(f"{what} of {name}", 0.0, limit / np.sqrt(3), 1.0, source=f"{what} of {name}")
    off = np.hypot(c.offset_error / np.sqrt(3), points.coarse)
    if c.coupling == "AC":                   # the mean is lost: any offset
        off = 100 * size
    if off > 1e-9 * size:
        yield Unknown(f"offset of {name}", 0.0, float(off), size, source=f"offset of {name}")
