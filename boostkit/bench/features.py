"""What a capture says: switching frequency, duty, conduction mode, means, rms values, ripple, ringing, each with its uncertainty.

The errors of one channel's gain, probe and offset are the same in all that is read from it, so a ratio of two such readings
is free of them. Names: `f_sw`, `duty`, `conduction_end`, `f_ring`; and of each channel `v_out.mean`, `v_out.rms`, `v_out.ripple`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..units import show
from .capture import Capture
from .conduction import conduction
from .course import POINTS, Course, smooth_course
from .edges import find_edges
from .grid import Edges
from .instrument import Instrument
from .ringing import ringing
from .steadiness import cut_off, drift, unbroken
from .uncertain import Share, Uncertain, budget, factor, resolution, show_with, uncertain, within

SPIKES = 0.002  # of the samples, beyond which spikes and ringing are asked what they do to a mean
SURE = 3.0  # standard uncertainties


@dataclass(frozen=True)
class Reading:
    """One thing read: an uncertain `value` in `unit` (`value.n` and `value.s`, standard uncertainty), and `how` it was read."""

    name: str
    value: Uncertain
    unit: str
    how: str

    @property
    def budget(self) -> tuple[Share, ...]:
        """Where its uncertainty comes from, the largest part first."""
        return budget(self.value)

    def __str__(self) -> str:
        return f"{self.name} = {show_with(self.value, self.unit)}"


@dataclass(frozen=True)
class Measured:
    """All that was read from a capture: `mode` (`continuous`, `discontinuous` or `cannot tell`), `readings` by name, the `edges`
    they rest on, and `notes` on what could not be read and why."""

    where: str
    mode: str
    readings: dict[str, Reading]
    edges: Edges
    notes: tuple[str, ...]

    def __getitem__(self, name: str) -> Reading:
        if name not in self.readings:
            raise ValueError(f"{self.where}: {name} was not measured; there are {', '.join(self.readings)}")
        return self.readings[name]

    def __contains__(self, name: str) -> bool:
        return name in self.readings


class _Input:
    """One channel's errors, the same objects for all that is read from it."""

    def __init__(self, capture: Capture, instrument: Instrument, name: str):
        c = self.channel = instrument.channel(name)
        self.name, self.unit = name, capture.units[name]
        self.step = step_of(instrument, name, capture.channel(name))
        self.gain, self.probe = factor(c.gain_error, f"gain of {name}"), factor(c.probe_error, f"probe of {name}")
        self.offset = within(c.offset_error, f"offset of {name}")
        self.code = resolution(self.step, f"resolution of {name}")

    def level(self, value: float, noise: float) -> Uncertain:
        """A level, read from the average of many samples."""
        off = self.channel.offset
        return (off + uncertain(value - off, noise, "noise") * self.gain + self.offset + self.code) * self.probe

    def rms(self, rms: float, mean: float, noise: float) -> Uncertain:
        """An rms value: gain acts on the distance from the offset, an error of offset on the mean alone."""
        if rms == 0:
            return uncertain(0.0, noise, "noise") + self.code
        by_gain, by_level = (rms**2 - mean * self.channel.offset) / rms, mean / rms
        return (uncertain(rms, noise, "noise") + by_gain * (self.gain - 1) + by_level * (self.offset + self.code)) * self.probe

    def difference(self, value: float, noise: float) -> Uncertain:
        """A difference of two levels: an error of offset is the same in both."""
        two = resolution(self.step, f"resolution of {self.name}") - resolution(self.step, f"resolution of {self.name}")
        return (uncertain(value, noise, "noise") * self.gain + two) * self.probe


def measure(capture: Capture, instrument: Instrument | None = None) -> Measured:
    """Everything that can be read from a capture; what cannot be is said in `notes`.

    Args: `instrument`, that of the capture's mapping where none is given. Without range and bits, the resolution is the
    smallest step found in the data; without limits of error, gain and probe count as exact, and a note says so.
    Raises ValueError where no channel shows the switching instants.
    """
    instrument = instrument or capture.instrument
    edges = find_edges(capture)
    mode, stop, how = conduction(capture, edges)
    readings, notes = timing(edges, capture.interval, instrument), [*capture.notes]
    notes += [f"conduction mode: {how}"] if mode == "cannot tell" or "not be seen" in how else []
    if stop is not None:
        readings["conduction_end"] = Reading("conduction_end", stop, "", how)
    for name in capture.channels:
        if name == "v_gate":
            continue
        source = _Input(capture, instrument, name)
        if not instrument.channel(name).gain_error + instrument.channel(name).probe_error:
            notes.append(f"{name}: no limit of error given for gain and probe, so both count as exact")
        _of_channel(capture, edges, source, stop, readings, notes)
    if "v_switch" in capture.channels:
        _ring(capture, edges, instrument, readings, notes)
    return Measured(capture.where, mode, readings, edges, tuple(notes))


def timing(edges: Edges, interval: float, instrument: Instrument) -> dict[str, Reading]:
    """Switching frequency and duty: from the grid of the edges, their scatter, the sampling and the time base."""
    k = np.arange(len(edges.closes))
    spread = float(np.sqrt(np.sum((k - k.mean()) ** 2)))
    base = factor(instrument.time_error, "time base")
    period = (uncertain(edges.period, edges.scatter / spread, "scatter of edges")
              + uncertain(0.0, interval / np.sqrt(12) / spread, "sampling of edges"))  # fmt: skip
    duty = (uncertain(edges.duty, edges.scatter * np.sqrt(2 / len(k)) / edges.period, "scatter of edges")
            + within(edges.width / 2 / edges.period, "width of the opening edge")
            + within(edges.width / 2 / edges.period, "width of the closing edge"))  # fmt: skip
    how = f"{edges.periods} periods of {edges.channel}"
    return {"f_sw": Reading("f_sw", 1 / (period * base), "Hz", how), "duty": Reading("duty", duty, "", how)}


def _of_channel(capture: Capture, edges: Edges, source: _Input, stop, readings: dict, notes: list) -> None:
    """Mean, rms and ripple of one channel."""
    name = source.name
    try:
        course = smooth_course(capture, edges, name, None if stop is None else (stop.n, stop.s))
    except ValueError as trouble:
        notes.append(str(trouble))
        return
    def note(what, value, how):
        readings[f"{name}.{what}"] = Reading(f"{name}.{what}", value, source.unit, how)

    if name in capture.overflowed:
        notes.append(f"{name}: mean, rms and ripple are unknown, because samples beyond the range are missing")
        return
    if (level := cut_off(capture.channel(name), name, source.step)) is not None:
        notes.append(f"{name}: mean, rms and ripple are unknown, because samples look cut off at {show(level, source.unit)}")
        return
    if source.channel.coupling == "AC":
        notes.append(f"{name}: mean and rms are unknown, because the input blocks direct voltage")
    else:
        _levels(capture, edges, source, course, note, notes)
    note("ripple", _ripple(source, course, edges),
         "highest less lowest of the smooth course; noise and spikes at the edges do not count")  # fmt: skip
    if np.ptp(course.value) < 4 * source.step:
        notes.append(f"{name}: its ripple is only {np.ptp(course.value) / source.step:.1f} steps of the converter")
    if wandering := drift(capture, edges, name, course):
        notes.append(wandering)
    _touches(capture, source, notes)


def _levels(capture: Capture, edges: Edges, source: _Input, course: Course, note, notes: list) -> None:
    """Mean and rms of one channel, and what speaks against them."""
    name, runs = source.name, unbroken(capture, edges)
    if not len(runs):
        notes.append(f"{name}: mean and rms are unknown, because every period has a hole in it")
        return
    mean, rms, noise = _means(capture, edges, runs, name, course)
    count = int(np.diff(runs).sum())
    level = source.level(mean, noise)
    value = level + _sampled(course, 1, capture.interval / edges.period, count)
    how = f"over {count} whole periods"
    note("mean", value, how)
    note("rms", source.rms(rms, mean, noise) + _sampled(course, 2, capture.interval / edges.period, count) / max(2 * rms, 1e-300),
         f"{how}, noise taken off")  # fmt: skip
    smooth = float(np.trapezoid(course.value, course.phase) / np.ptp(course.phase))
    if course.clipped > SPIKES and abs(mean - smooth) > SURE * value.s:
        notes.append(f"{name}: spikes move its mean and rms: without them the mean would be {show(smooth, source.unit)}")
    if name == "i_inductor" and mean < -SURE * value.s:
        notes.append("i_inductor: its mean is below zero; if its probe is the wrong way round, give its column a scale of -1")


def _sampled(course: Course, power: int, share: float, periods: int) -> Uncertain:
    """What a jump between two samples leaves unknown of the mean of a power of the values: somewhere between the two it happened.
    `share`: of a period, between two samples."""
    ends = course.value.reshape(-1, POINTS)[:, [0, -1]] ** power
    jumps = np.abs(np.roll(ends[:, 0], -1) - ends[:, 1])
    return uncertain(0.0, float(np.hypot.reduce(jumps)) * share / np.sqrt(12 * periods), "sampling of edges")


def _ripple(source: _Input, course: Course, edges: Edges) -> Uncertain:
    """Highest less lowest. Where an edge lies moves the corner at which they are read, along the slope there."""
    ends = [int(np.argmax(course.value)), int(np.argmin(course.value))]
    slopes = np.abs(course.slope[ends]) * edges.width / 2 / edges.period
    value = source.difference(float(course.value[ends[0]] - course.value[ends[1]]), float(np.hypot(*course.error[ends])))
    return value + sum(within(float(slope), "edges") for slope in slopes)


def _means(capture: Capture, edges: Edges, runs: np.ndarray, name: str, course: Course) -> tuple[float, float, float]:
    """Mean and rms over runs of whole periods (trapezoids), the noise taken off the square; and the noise of the mean."""
    span, first, second, count = np.sum([_integrals(capture, edges.start + run * edges.period, name) for run in runs], axis=0)
    return float(first / span), float(np.sqrt(max(second / span - course.noise**2, 0.0))), course.noise / np.sqrt(max(count, 1))


def _integrals(capture: Capture, ends: np.ndarray, name: str) -> tuple[float, float, float, int]:
    """A stretch of time, the integrals of a channel and of its square over it, and how many samples lie in it."""
    inside = (capture.time > ends[0]) & (capture.time < ends[1])
    values = capture.channel(name)
    time = np.concatenate([ends[:1], capture.time[inside], ends[1:]])
    value = np.concatenate([[np.interp(ends[0], capture.time, values)], values[inside], [np.interp(ends[1], capture.time, values)]])
    return ends[1] - ends[0], np.trapezoid(value, time), np.trapezoid(value**2, time), inside.sum()


def _ring(capture: Capture, edges: Edges, instrument: Instrument, readings: dict, notes: list) -> None:
    found, why = ringing(capture, edges)
    if why:
        notes.append(f"f_ring: {why}")
        return
    middle = float(np.median(found))
    spread = max(float(np.std(found, ddof=1)), 1e-9 * middle) / np.sqrt(len(found))
    value = uncertain(middle, 1.2533 * spread, "scatter of periods") / factor(instrument.time_error, "time base")  # of a median: sqrt(pi/2)
    readings["f_ring"] = Reading("f_ring", value, "Hz", f"a fading sine after {len(found)} openings")
    if instrument.bandwidth and middle > instrument.bandwidth:
        notes.append(f"f_ring lies beyond the bandwidth of {show(instrument.bandwidth, 'Hz')}: the swing is larger than it looks")


def _touches(capture: Capture, source: _Input, notes: list) -> None:
    """A note where samples lie at the end of the range: what went beyond looks cut off."""
    span, middle, values = source.channel.range, source.channel.offset, capture.channel(source.name)
    if span and (values.max() >= middle + span / 2 - 1.5 * source.step or values.min() <= middle - span / 2 + 0.5 * source.step):
        notes.append(f"{source.name} touches the end of the instrument's range: its extremes may be cut off")


def step_of(instrument: Instrument, name: str, values: np.ndarray) -> float:
    """The step of a channel's readings: as the instrument gives it, else the smallest difference between two different ones."""
    given = instrument.step(name)
    if given:
        return given
    steps = np.diff(np.unique(values))
    steps = steps[steps > 1e-9 * max(np.abs(values).max(), 1e-300)]
    return float(steps.min()) if len(steps) else 0.0
