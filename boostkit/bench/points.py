"""A channel averaged on a grid over one period, so that millions of samples become a few hundred points for a fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .capture import Capture
from .features import step_of
from .grid import Edges
from .instrument import Instrument

GRID = 400  # stretches of a period; within one a waveform is as good as straight
GUARD = 1.5  # transition times on either side of an edge that are left out
BEND = 0.03  # of a period on either side of a bend that is left out of other channels at most
SMOOTH = ("i_inductor", "v_out", "i_source", "v_input")  # do not jump when the rectifier stops; others are left out from there on
CLIP = 4.0  # standard deviations beyond which a difference is a spike, not noise


@dataclass(frozen=True)
class Points:
    """One channel over one period: `phase` (0 where the switch closes, in periods), mean `value` and its standard `error`, each
    (n,). `noise`: standard deviation of a single sample; `coarse`: the part of a step that averaging does not remove."""

    name: str
    phase: np.ndarray
    value: np.ndarray
    error: np.ndarray
    noise: float
    coarse: float


def points(capture: Capture, edges: Edges, name: str, stop, instrument: Instrument) -> Points:
    """One channel on the grid, without the samples at the corners and at the ends of the instrument's range.

    Args: `stop`, the phase at which the rectifier stops as an uncertain number, None where it does not. Raises ValueError where
    fewer than twelve points are left.
    """
    phase, value = edges.folded(capture, name)
    step = step_of(instrument, name, value)
    noise = _noise(value)
    guard = GUARD * edges.width / edges.period
    if edges.channel.startswith("i_"):       # a bend is no transition: there the width says how well it is known
        guard = GUARD * capture.interval / edges.period if name == edges.channel else min(guard, BEND)
    keep = _away(phase, 0.0, guard) & _away(phase, edges.duty, guard)
    if stop is not None:
        room = guard + 3 * stop.s
        keep &= _away(phase, stop.n, room) if name in SMOOTH else phase < stop.n - room
    place = np.minimum((phase[keep] * GRID).astype(int), GRID - 1)
    count = np.bincount(place, minlength=GRID)
    there = count > 0
    count = count[there]
    mean = np.array([np.bincount(place, weights=what[keep], minlength=GRID)[there] / count for what in (phase, value)])
    whole = _whole(mean[1], value, instrument.channel(name), step, noise)
    if whole.sum() < 12:
        raise ValueError(f"{capture.where}: {name} has {whole.sum()} usable points in a period; at least 12 are needed: record faster")
    coarse = _coarse(step, noise)
    noise = max(noise, 1e-6 * float(np.abs(value).max()), 1e-300)
    return Points(name, *mean[:, whole], np.sqrt(noise**2 / count + coarse**2)[whole], noise, coarse)


def _away(phase: np.ndarray, corner: float, guard: float) -> np.ndarray:
    """Which samples are at least so far from a corner, around the period."""
    return np.abs((phase - corner + 0.5) % 1 - 0.5) >= guard


def _whole(mean: np.ndarray, value: np.ndarray, channel, step: float, noise: float) -> np.ndarray:
    """Which points lie so well within the range that none of their samples was cut off. Judged by the mean: to leave out single
    high samples would make it too low. Where some samples lie beyond the range, nothing was cut off."""
    if channel.range is None or np.abs(value - channel.offset).max() > channel.range / 2 + 2 * step:
        return np.ones(len(mean), dtype=bool)
    return np.abs(mean - channel.offset) < channel.range / 2 - 1.5 * step - 3 * noise


def _noise(value: np.ndarray) -> float:
    """Standard deviation of a sample, from each against its two neighbours in phase: a straight course cancels."""
    left_over = value[1:-1] - (value[:-2] + value[2:]) / 2
    for _ in range(3):
        spread = float(np.sqrt(np.mean(left_over**2)))
        left_over = left_over[np.abs(left_over) <= CLIP * spread]
    return float(np.sqrt(np.mean(left_over**2) / 1.5))


def _coarse(step: float, noise: float) -> float:
    """What a step leaves of its step/sqrt(12) in an average: all of it without noise, nothing where noise spans the steps
    (Widrow & Kollár, Quantization Noise, ch. 19 on dither, from memory)."""
    if not step:
        return 0.0
    other = max(noise**2 - step**2 / 12, 0.0)
    return float(step / np.sqrt(12) * np.exp(-2 * np.pi**2 * other / step**2))
