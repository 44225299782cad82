"""What the closed loop hands out: its course over many periods, and its steady state. Frozen; drawing is elsewhere."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from ..units import guard
from .controller import Controller, Sampled
from .converter import Converter
from .modes import Block, Piece
from .results import Extreme, Summary, Waveforms, sample


@dataclass(frozen=True)
class LoopWaveforms(Waveforms):
    """`Waveforms` of a regulated converter, with its control voltage and its set point, V. (A `Sampled` regulator has no control
    voltage: nan.)"""

    control: np.ndarray
    set_point: np.ndarray


def loop_waveforms(pieces: tuple[Piece, ...], n: int) -> LoopWaveforms:
    """About n samples of every quantity, at least two a piece."""
    return sample(pieces, n, ("control", "set_point"), LoopWaveforms)


@dataclass(frozen=True)
class Course:
    """What a regulated converter did over a number of periods.

    `starts` (s) and `duty` (share of the period for which the switch was closed; 0 where the pulse was skipped): arrays, one a
    period. `output_voltage` and `inductor_current`: their extremes over all of it. `last`: where it stands at the end, to go on
    from with `begin=`. `pieces`: all of them, or with `keep=False` those of the last period; `kept` holds them, many alike as a block.
    """

    converter: Converter
    controller: Controller | Sampled
    periods: int
    duration: float
    starts: np.ndarray
    duty: np.ndarray
    kept: tuple[Piece | Block, ...] = field(repr=False)
    last: Any = field(repr=False)
    seen: dict[str, Extreme] = field(repr=False)  # extremes over what was not kept

    @cached_property
    def pieces(self) -> tuple[Piece, ...]:
        """Every piece of what was kept, in order of time."""
        return tuple(piece for part in self.kept for piece in (part.pieces(np.array) if isinstance(part, Block) else (part,)))

    @cached_property
    def output_voltage(self) -> Extreme:
        """Lowest and highest output voltage (V), and when."""
        return self.seen.get("v_out") or extreme(self.kept, "v_out")

    @cached_property
    def inductor_current(self) -> Extreme:
        """Lowest and highest inductor current (A), and when."""
        return self.seen.get("i_inductor") or extreme(self.kept, "i_inductor")

    def waveforms(self, n: int = 1000) -> LoopWaveforms:
        """About n samples of what was kept (never fewer than two a piece)."""
        return loop_waveforms(self.pieces, n)

    def output(self, times) -> np.ndarray:
        """The output voltage (V) at these times (s) of what was kept."""
        times = np.atleast_1d(np.asarray(times, float))
        begins, end = self._begins, self.pieces[-1].start + self.pieces[-1].duration
        slack = 1e-9 * (end - begins[0])
        for t in (times.min(), times.max()):
            guard("times", t, begins[0] - slack, end + slack, unit="s", why="what was kept of the course")
        which, found = np.clip(np.searchsorted(begins, times, "right") - 1, 0, None), np.empty(times.shape)
        for mode, k in _by_mode([self.pieces[i].mode for i in which]):
            states = _columns([self.pieces[which[i]].state for i in k])
            found[k] = np.array(mode.rows["v_out"]) @ mode.flow.along(states, np.maximum(times[k] - begins[which[k]], 0.0))
        return found

    def window(self, t0: float, t1: float) -> Extreme:
        """The extremes of the output voltage between two times (s)."""
        guard("t1", t1, t0, unit="s", open_low=True, why="the end of the window")
        inside = [p for p in self.pieces if p.start + p.duration > t0 and p.start < t1]
        if not inside:
            raise ValueError(f"window({t0}, {t1}) lies outside of what was kept of the course")
        cut = [_cut(p, max(t0, p.start), min(t1, p.start + p.duration)) for p in inside]
        return extreme(cut, "v_out")

    @cached_property
    def _begins(self) -> np.ndarray:
        return np.array([p.start for p in self.pieces])


def _cut(piece: Piece, begin: float, end: float) -> Piece:
    """The part of a piece between two times."""
    state = piece.mode.flow.along(piece.state[:, None], begin - piece.start)[:, 0] if begin > piece.start else piece.state
    return piece._replace(start=begin, duration=end - begin, state=state)


def _columns(states) -> np.ndarray:
    return np.array(states).T


def _by_mode(modes):
    """Each mode with the indices at which it stands."""
    groups: dict[int, list[int]] = {}
    for k, mode in enumerate(modes):
        groups.setdefault(id(mode), []).append(k)
    for k in groups.values():
        yield modes[k[0]], np.array(k)


def _arrays(parts):
    """The mode, begins, durations and states of pieces alone, those of one mode together, and of the spans of blocks."""
    pieces = [part for part in parts if isinstance(part, Piece)]
    for mode, k in _by_mode([p.mode for p in pieces]):
        some = [pieces[i] for i in k]
        yield mode, *np.array([(p.start, p.duration) for p in some]).T, _columns([p.state for p in some])
    for part in parts:
        if isinstance(part, Block):
            for span in part.spans:
                yield span.mode, span.starts, span.durations, span.states


def extreme(parts, quantity: str) -> Extreme:
    """The extremes of one quantity over pieces and blocks, each where it lies."""
    values, times = [], []
    for mode, begins, lasts, states in _arrays(parts):
        which, when, value = mode.flow.turns(mode.rows[quantity], states, lasts)
        values.append(value)
        times.append(begins[which] + when)
    values, times = np.concatenate(values), np.concatenate(times)
    low, high = int(values.argmin()), int(values.argmax())
    return Extreme(float(values[low]), float(times[low]), float(values[high]), float(times[high]))


def look(seen: dict[str, Extreme], parts) -> None:
    """Take these pieces and blocks into the extremes seen so far."""
    for quantity in ("v_out", "i_inductor"):
        new = extreme(parts, quantity)
        old = seen.get(quantity, new)
        low, high = (old if old.min <= new.min else new), (old if old.max >= new.max else new)
        seen[quantity] = Extreme(low.min, low.min_at, high.max, high.max_at)


@dataclass(frozen=True)
class Steady:
    """The periodic solution of the closed loop, stable or not.

    `state`: current (A), capacitor voltage (V), ... where the switch closes; `network`: the states of the network there. `duty`:
    share of the period with the switch closed. `mode`: `continuous` or `discontinuous`. `multipliers`: by how much a small
    disturbance of all these states together is multiplied in one period.
    """

    converter: Converter
    controller: Controller | Sampled
    state: tuple[float, ...]
    network: tuple[float, ...]
    duty: float
    mode: str
    multipliers: tuple[complex, ...]
    output_voltage: Summary
    inductor_current: Summary
    pieces: tuple[Piece, ...]
    last: Any = field(repr=False)

    @property
    def stable(self) -> bool:
        """Whether every small disturbance dies out."""
        return max(abs(m) for m in self.multipliers) < 1

    def waveforms(self, n: int = 1000) -> LoopWaveforms:
        """About n samples of one period, starting where the switch closes."""
        return loop_waveforms(self.pieces, n)
