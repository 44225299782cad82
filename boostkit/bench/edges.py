"""The switching instants in a capture: when the switch closes, when it opens, and the period.

Told from the gate voltage, else from the voltage across the switch, else from the bends of the inductor current. A voltage
has one level while the switch is closed and others while it is open.
"""

from __future__ import annotations

import numpy as np

from ..units import show
from .bends import bends
from .capture import Capture
from .grid import Edges, regular

SOURCES = ("v_gate", "v_switch", "i_inductor")  # what shows the switching best comes first
LOW, HIGH = 0.2, 0.7  # of the way from the lowest to the highest level: below is surely closed, above surely open
CLEAR = 0.05  # of that way above the closed level: no longer closed
HOLE = 4.5  # usual intervals between two samples: an edge in there is not seen
FEWEST = 5  # samples in a period: with fewer, shape and instants are guesses
NEAR = 0.5  # of the swing: a closed switch holds less
NEARBY = 8  # samples that tell a level


def find_edges(capture: Capture, channel: str | None = None) -> Edges:
    """The switching instants of a capture, from `channel` or the best of `SOURCES` that it holds.

    Raises ValueError where no channel shows them, there are fewer than three periods, or they are not regular.
    """
    channel = channel or next((name for name in SOURCES if name in capture.channels), None)
    if channel is None:
        raise ValueError(f"{capture.where}: {', '.join(capture.channels)} do not show when the switch closes; "
                         f"capture one of {', '.join(SOURCES)}")
    edges = bends(capture, channel) if channel.startswith("i_") else _by_voltage(capture, channel)
    if edges.period < FEWEST * capture.interval:
        raise ValueError(f"{capture.where}: {channel} has {edges.period / capture.interval:.1f} samples in a period; at least {FEWEST} are "
                         "needed: record faster")
    return edges


def _by_voltage(capture: Capture, channel: str) -> Edges:
    """From the gate voltage or the voltage across the switch."""
    signal = -capture.channel(channel) if channel == "v_gate" else capture.channel(channel)
    last_low, first_high, low, high = _openings(signal, f"{capture.where}: {channel}")
    trusted = channel == "v_switch" and channel not in capture.overflowed and capture.instrument.channel(channel).coupling == "DC"
    if trusted and abs(low) > NEAR * (high - low):
        raise ValueError(f"{capture.where}: v_switch goes from {show(low, 'V')} to {show(high, 'V')}; with the switch closed it must come "
                         "near to 0 V: is it the voltage across the switch, the right way round?")
    width = float(np.median(capture.time[first_high] - capture.time[last_low]))
    opens = _rises_through(capture.time, signal, (low + high) / 2, last_low)
    closes, skipped = _closings(capture.time, signal, low, high, last_low, int(np.median(first_high - last_low)) + 1)
    seen = np.isfinite(closes + opens[skipped:])
    return _grid(capture, channel, closes[seen], opens[skipped:][seen], max(width, capture.interval))


def _openings(signal: np.ndarray, where: str):
    """Where the signal goes from surely closed to surely open: last sample before, first after; and the two levels."""
    bottom, top = np.percentile(signal, [1, 99])
    state = np.zeros(len(signal), dtype=np.int8)
    state[signal < bottom + LOW * (top - bottom)] = -1
    state[signal > bottom + HIGH * (top - bottom)] = 1
    known = np.flatnonzero(state)
    rises = np.flatnonzero((state[known[:-1]] == -1) & (state[known[1:]] == 1))
    if len(rises) < 4:
        raise ValueError(f"{where} shows {len(rises)} openings of the switch; at least 4 are needed")
    last_low, first_high = known[rises], known[rises + 1]
    return last_low, first_high, float(np.median(_before(signal, last_low))), float(np.median(signal[state == 1]))


def _before(signal: np.ndarray, at: np.ndarray) -> np.ndarray:
    """The samples up to and with each of these."""
    return np.concatenate([signal[max(k - NEARBY, 0) : k + 1] for k in at])


def _closings(time, signal, low: float, high: float, last_low, wide: int) -> tuple[np.ndarray, int]:
    """When the signal came down to the closed level for good, before each opening; and how many openings have none before.

    `wide`: samples that a transition takes. What the signal came down from may have lasted little longer."""
    noise = 1.4826 * np.median(np.abs(_before(signal, last_low) - low))
    clear = low + max(6 * noise, CLEAR * (high - low))
    above = np.flatnonzero(signal > clear)
    at = np.searchsorted(above, last_low) - 1
    skipped = int(np.sum(at < 0))
    rest = above[at[skipped:]]
    if not len(rest):
        return np.array([]), skipped
    level = max((low + float(np.median(signal[np.maximum(rest - wide, 0)]))) / 2, clear)
    over = np.flatnonzero(signal > level)
    last = over[np.maximum(np.searchsorted(over, rest, side="right") - 1, 0)]
    return _crossing(time, signal, last, level), skipped


def _rises_through(time, signal, level: float, last_low) -> np.ndarray:
    """When the signal rises through the level after each of these samples."""
    over = np.flatnonzero(signal > level)
    return _crossing(time, signal, over[np.searchsorted(over, last_low, side="right")] - 1, level)


def _crossing(time, signal, k, level: float) -> np.ndarray:
    """The instant between samples k and k + 1 at which a straight line between them meets the level; nan across a hole."""
    step, apart = signal[k + 1] - signal[k], time[k + 1] - time[k]
    share = np.where(step != 0, (level - signal[k]) / np.where(step != 0, step, 1.0), 0.5)
    return np.where(apart < HOLE * np.median(np.diff(time)), time[k] + np.clip(share, 0, 1) * apart, np.nan)


def _grid(capture: Capture, channel: str, closes, opens, width: float) -> Edges:
    """One grid through closings and openings together."""
    _, _, count, _ = regular(capture, channel, closes)
    regular(capture, channel, opens)
    ones, zeros = np.ones_like(count), np.zeros_like(count)
    design = np.vstack([np.column_stack([ones, zeros, count]), np.column_stack([zeros, ones, count])])
    both = np.concatenate([closes, opens])
    (start, opening, period), *_ = np.linalg.lstsq(design, both, rcond=None)
    scatter = np.sqrt(np.sum((both - design @ np.array([start, opening, period])) ** 2) / (len(both) - 3))
    return Edges(channel, float(start), float(period), float((opening - start) / period), closes, opens, float(scatter), width,
                 int(count[-1]))  # fmt: skip
