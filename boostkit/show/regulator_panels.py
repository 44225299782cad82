"""A regulator and its loop: the loop over frequency with what comes of it in time, and the loop's path round the critical point.

    seen(converter), seen(converter, sense, slope)   a converter as its regulator sees it
    answer(regulator, stage, times)                  how far the output falls once one ampere more is drawn
    loop_page, loop(stages, regulator)               the loop gain, how late it is, and that fall; with its margins
    path_page, path(stages, regulator)               the loop gain as a path in the plane, round the critical point
    until(fall, most)                                such a fall as long as it fits
    step_course(course)                              an exact course of the closed loop, clock by clock
    staircase(after, start, clocks)                  peak-current control from clock to clock
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf, pi

import numpy as np
from matplotlib.axes import Axes

from ..circuit import Converter, averaged
from ..circuit.course import Course
from ..circuit.flow import Flow
from ..circuit.linear import Linear
from ..control.compensator import Compensator
from ..control.margins import Margins, followed, margins
from ..units import show
from .labels import place
from .live import Choice, Panel, Slider
from .style import INK, PENS, QUIET, Figure, count_in, few_ticks, fit, frame, name_axis, ring, styled

HIGHEST = 0.49  # of the switching frequency: from a half on there is no answer
LOWEST = 1e-4  # of it: where the pictures begin; margins are counted from a thousandth of that
POINTS, MOMENTS = 161, 161
AFTER_CLOCK = 0.01  # of a period: at the clock itself the output jumps, by its capacitor's series resistance
LEAST = 1e-3  # sizes of a loop gain below this are not drawn
WORDS = {"fontsize": 8.5}
ASIDE = {"fontsize": 8, "color": QUIET, "ha": "right"}
REACH = (-3.0, 1.5)  # of the plane's real axis that is drawn
FALLEN = 3.0  # a fall is drawn until it is this many times the largest with the sliders at their start


@dataclass(frozen=True)
class Seen:
    """A converter as its regulator sees it: `plant` from control voltage to output, `impedance` (Ω) by which the output falls
    for each ampere drawn, `f_sw` (Hz)."""

    plant: Linear
    impedance: Linear
    f_sw: float


def seen(converter: Converter, sense: float | None = None, slope: float = 0.0) -> Seen:
    """By the averaged model, at the converter's own duty and load, for small changes: the duty is the control (a ramp of 1 V), or with
    `sense` (Ω) the control commands the peak of the coil current, with a ramp of `slope` (A/s)."""
    model = averaged.model(converter)
    if sense is not None:
        model = averaged.current_mode(model, converter, sense, slope)
    return Seen(model.control_to_output, model.output_impedance, converter.switch.frequency)


def judged(regulator: Compensator, stage: Seen) -> Margins:
    """The margins of a regulator with such a stage."""
    return margins(lambda f: regulator(f) * stage.plant(f), 1e-3 * LOWEST * stage.f_sw, HIGHEST * stage.f_sw)


def answer(regulator: Compensator, stage: Seen, times) -> np.ndarray:
    """How far the output falls (V for each A), at these times (s) after the load has taken more, by the averaged model."""
    loop = regulator.linear().then(stage.plant)
    closed = stage.impedance.then(Linear.constant(1.0).closed(loop))
    flow = Flow(closed.a, closed.b, np.ones(closed.n))
    return closed.c @ flow.path((0.0,) * closed.n, np.asarray(times, float)) + closed.d


def until(fall: np.ndarray, most: float) -> np.ndarray:
    """A fall as long as it stays within `most` on either side, then nan: that of a loop that is not stable grows for ever."""
    return np.where(np.logical_and.accumulate(np.abs(np.nan_to_num(fall, nan=inf)) <= most), fall, np.nan)


# --- the loop over frequency, and in time ---


@styled
def loop_page(
    f, gains: Mapping[str, np.ndarray], time, falls: Mapping[str, np.ndarray], found: Margins | None = None, *, says: str = "",
    onto: Figure | None = None,
) -> Figure:
    """Above, along frequency (Hz): the size of the loop gain, and by how many degrees it comes late. Below, along time (s): the fall of
    the output for each ampere more of load. `gains`, `falls`: for each label one course. `found`: margins of the first, each beside the
    row in which it is read, and rings at the crossover."""
    figure, (size, lag, fall) = frame([1.1, 0.95, 1.05], gap=0.58, right=1.45, shared=False, onto=onto)
    for ax in (size, lag):
        count_in(ax, "x", True)
        fit(ax, f[0], f[-1], which="x", pad=0.0)
    size.tick_params(labelbottom=False)
    sizes = {label: np.where(np.abs(gain) > LEAST, np.abs(gain), np.nan) for label, gain in gains.items()}
    lags = {label: _late(gain) for label, gain in gains.items()}
    count_in(size, "y", True)
    _drawn(size, f, sizes, (found.crossover, 1.0) if found else None, level=1.0)
    _drawn(lag, f, lags, (found.crossover, _reading(found, f, lags)) if found else None, level=180.0, words=False)
    fit(fall, time[0], time[-1], which="x", pad=0.0)
    _drawn(fall, time, falls, None, level=0.0)
    name_axis(size.yaxis, "size of the loop gain")
    name_axis(lag.yaxis, "comes late by", "°")
    name_axis(lag.xaxis, "frequency", "Hz")
    name_axis(fall.yaxis, "fall of the output for each A more", "V")
    name_axis(fall.xaxis, "time since the load took more", "s")
    size.text(0.995, 1.0, "one", transform=size.get_yaxis_transform(), va="bottom", **ASIDE)
    lag.text(0.995, 180.0 - 0.04 * np.ptp(lag.get_ylim()), "half a turn", transform=lag.get_yaxis_transform(), va="top", **ASIDE)
    groups = told(found) if found else ()
    for ax, lines in zip((size, lag, fall), groups, strict=False):
        _beside(ax, lines)
    figure.says = says or ", ".join(f"{words} {value}".strip() for lines in groups for words, value in lines)
    return figure


def _late(gain) -> np.ndarray:
    """By how many degrees; an integrator's quarter of a turn is 90."""
    phase = np.unwrap(np.angle(gain))
    return -np.degrees(phase - 2 * pi * (phase[0] > pi / 2))


def _reading(found: Margins, f, lags) -> float:
    return float(np.interp(np.log(found.crossover), np.log(f), next(iter(lags.values()))))


def _drawn(ax: Axes, x, courses: Mapping[str, np.ndarray], mark, *, level: float, words: bool = True) -> None:
    """Curves with a level across and a ring."""
    there = np.concatenate([np.ravel(y) for y in courses.values()])
    there = np.append(there[np.isfinite(there)], level)
    fit(ax, there.min(), there.max(), pad=0.12)
    ax.axhline(level, color=QUIET, linewidth=0.9, zorder=1)
    wanted = [(ax.plot(x, y, **pen.line)[0], label) for pen, (label, y) in zip(PENS, courses.items(), strict=False)]
    if mark:
        ring(ax, *mark)
    if words and len(courses) > 1:
        place(ax, [(line, label) for line, label in wanted if label], **WORDS)


def told(found: Margins) -> tuple[list[tuple[str, str]], ...]:
    """Margins in words and numbers: those read off the size, that read off the lateness, and what they come to."""
    gain = "none seen" if found.gain_margin == inf else f"{show(found.gain_margin)}×, {20 * np.log10(found.gain_margin):.1f} dB"
    least = found.crossovers[int(np.argmin(found.phase_margins))]
    where = "" if least == found.crossover else f" at {show(least, 'Hz')}"
    return ([("crossover", show(found.crossover, "Hz")), ("gain margin", gain.replace("-", "−"))],
            [("phase margin", f"{found.phase_margin:.1f}°{where}".replace("-", "−"))],
            [("nearest to −1", show(found.least_distance)), ("", "stable" if found.stable else "not stable")])  # fmt: skip


def _beside(ax: Axes, lines: list[tuple[str, str]]) -> None:
    """To the right of a row, the words above their numbers."""
    for row, (words, value) in enumerate(lines):
        top = 1.0 - 0.4 * row
        ax.text(1.04, top, words, transform=ax.transAxes, fontsize=8, color=QUIET, va="top")
        ax.text(1.04, top - 0.15, value, transform=ax.transAxes, fontsize=9, va="top")


def _sweep(stage: Seen) -> np.ndarray:
    return np.geomspace(LOWEST * stage.f_sw, HIGHEST * stage.f_sw, POINTS)


def _sliders(regulator: Compensator, stages: Mapping[str, Seen]) -> list:
    """Gain, zeros, and which stage."""
    picks = [Choice("corner", "source and load", {name: name for name in stages})] if len(stages) > 1 else []
    zero = [Slider("zero", "zeros of the regulator, times", "", 0.1, 10.0, 1.0, logarithmic=True)] if regulator.zeros else []
    return [*picks, Slider("gain", "gain of the regulator, times", "", 0.05, 20.0, 1.0, logarithmic=True), *zero]


def _moved(regulator: Compensator, gain: float, zero: float = 1.0) -> Compensator:
    """More gain; and zeros elsewhere, the gain far above them kept."""
    n = len(regulator.zeros)
    return Compensator(regulator.kind, regulator.f_integrator * gain * zero**n, tuple(zero * z for z in regulator.zeros), regulator.poles)


def _picked(stages: Mapping[str, Seen], corner: str | None) -> Seen:
    return stages[corner] if corner else next(iter(stages.values()))


def loop(stages: Mapping[str, Seen], regulator: Compensator, time: float) -> Panel:
    """Gain and zeros of a regulator under sliders, at one of several stages: its loop, its margins, and the fall of the output over a
    `time` (s), all by the averaged model. Where the loop is not stable the fall grows, and is drawn as far as it fits."""
    times = np.linspace(0.0, time, MOMENTS)
    most = {name: FALLEN * np.max(np.abs(answer(regulator, stage, times))) for name, stage in stages.items()}

    def compute(gain, zero=1.0, corner=None):
        stage, now = _picked(stages, corner), _moved(regulator, gain, zero)
        f, fall = _sweep(stage), answer(now, stage, times)
        return f, now(f) * stage.plant(f), until(fall, most[corner or next(iter(stages))]), judged(now, stage)

    def draw(numbers, onto):
        f, gain, fall, found = numbers
        return loop_page(f, {"": gain}, times, {"": fall}, found, onto=onto)

    return Panel(compute, draw, _sliders(regulator, stages))


# --- the path round the critical point ---


@styled
def path_page(gains: Mapping[str, np.ndarray], crossings: Mapping[str, complex] | None = None, *, says: str = "",
              onto: Figure | None = None) -> Figure:  # fmt: skip
    """Loop gains as paths in the plane, frequency running along each; the circle of size one, and the critical point −1. `crossings`:
    for each label where it comes in through the circle."""
    figure, (ax,) = frame([3.4], left=0.6, right=0.4, onto=onto)
    ax.set_xlim(*REACH)
    tall = (REACH[1] - REACH[0]) * ax.bbox.height / ax.bbox.width / 2
    ax.set_ylim(-1.15 * tall, 0.85 * tall)  # the circle whole
    few_ticks(ax.xaxis)
    round_ = np.exp(2j * pi * np.linspace(0, 1, 121))
    ax.plot(round_.real, round_.imag, color=QUIET, linewidth=0.9, linestyle=(0, (8, 3)), zorder=1)
    ax.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    wanted = []
    for pen, (label, gain) in zip(PENS, gains.items(), strict=False):
        near = np.where(np.abs(gain) < 6, gain, np.nan)
        wanted.append((ax.plot(near.real, near.imag, **pen.line)[0], label))
    for at in (crossings or {}).values():
        ring(ax, at.real, at.imag)
    ax.plot(-1.0, 0.0, "X", color=INK, markersize=9, zorder=6)
    ax.text(-0.9, 0.05, "−1", ha="left", va="bottom", fontsize=9, weight="bold")
    ax.text(0.74, -0.74, "size one", fontsize=8, color=QUIET, va="top")
    place(ax, [(line, label) for line, label in wanted if label], **WORDS)
    name_axis(ax.xaxis, "part of the loop gain in step with what was sent in")
    name_axis(ax.yaxis, "part a quarter of a turn from it")
    figure.says = says
    return figure


def path_of(regulator: Compensator, stage: Seen) -> tuple[np.ndarray, complex]:
    """The path of a loop gain, and where it comes in through the circle of size one for the last time."""
    at = judged(regulator, stage).crossover
    return _followed(regulator, stage), complex(regulator(at) * stage.plant(at))


def _followed(regulator: Compensator, stage: Seen) -> np.ndarray:
    return followed(lambda f: regulator(f) * stage.plant(f), LOWEST * stage.f_sw, HIGHEST * stage.f_sw)[1]


def path(stages: Mapping[str, Seen], regulator: Compensator) -> Panel:
    """Gain and zeros of a regulator under sliders, at one of several stages: the path of the loop gain, and which side of the critical
    point it passes."""

    def compute(gain, zero=1.0, corner=None):
        stage, now = _picked(stages, corner), _moved(regulator, gain, zero)
        return *path_of(now, stage), judged(now, stage)

    def draw(numbers, onto):
        gain, at, found = numbers
        return path_page({"": gain}, {"": at}, says=passing(found), onto=onto)

    return Panel(compute, draw, _sliders(regulator, stages))


def passing(found: Margins) -> str:
    """On which side of the critical point a loop passes, in words."""
    side = "does not go round the critical point" if found.stable else "goes round the critical point: not stable"
    return (f"the path {side}, comes within {show(found.least_distance)} of it at {show(found.least_distance_at, 'Hz')}, and comes in "
            f"through the circle at {show(found.crossover, 'Hz')}: margin there {found.phase_margins[-1]:.1f}°").replace("-", "−")


# --- exact courses, and peak-current control ---


def step_course(course: Course, less: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
    """Time (s) from the first period on, and the output less so much (V), read just after each clock: its changes without its ripple."""
    return course.starts - course.starts[0], course.output(course.starts + AFTER_CLOCK * course.converter.t_sw) - less


def staircase(after, start: float, clocks: int) -> tuple[np.ndarray, np.ndarray]:
    """From clock to clock over the line `after` (a function from the coil current at one clock to that at the next, A): across to the
    line of no change and up or down to `after` again, `clocks` times. Two arrays of shape (2 clocks + 1,)."""
    x, y, at = [start], [start], start
    for _ in range(clocks):
        then = float(after(at))
        x += [at, then]
        y += [then, then]
        at = then
    return np.array(x), np.array(y)
