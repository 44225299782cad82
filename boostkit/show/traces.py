"""Waveforms of one period: every part's voltage and current, and the balance of the two slopes.

Numbers in, Figure out. What is written into a picture is read off the curves or off the summaries that came with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.transforms import ScaledTranslation

from ..circuit.results import SteadyState, Summary, Waveforms
from ..units import show
from .labels import place
from .style import BLUE, INK, PENS, QUIET, RUST, TINT, Figure, above, fit, frame, name_axis, styled


@dataclass(frozen=True)
class Look:
    """What a quantity is called on an axis and at a curve, its unit, and the summary of it in a SteadyState."""

    axis: str
    curve: str
    unit: str
    summary: str = ""


LOOKS = {
    "v_input": Look("input voltage", "input", "V"),
    "v_switch": Look("voltage across the switch", "switch", "V", "switch_voltage"),
    "v_inductor": Look("inductor voltage", "inductor", "V"),
    "v_rectifier": Look("rectifier voltage", "rectifier", "V"),
    "v_capacitor": Look("voltage inside the capacitor", "capacitor", "V"),
    "v_out": Look("output voltage", "output", "V", "output_voltage"),
    "i_source": Look("source current", "source", "A", "source_current"),
    "i_inductor": Look("inductor current", "inductor", "A", "inductor_current"),
    "i_switch": Look("switch current", "switch", "A", "switch_current"),
    "i_rectifier": Look("rectifier current", "rectifier", "A", "rectifier_current"),
    "i_capacitor": Look("capacitor current", "capacitor", "A", "capacitor_current"),
    "i_load": Look("load current", "load", "A"),
}
SAMPLES = 400  # of a period: more than one for every two dots of the picture
EVERY_PART = ("v_switch", "v_inductor", "i_inductor", ("i_switch", "i_rectifier"), "i_capacitor", "v_out")
STATES = {
    "closed": ("switch closed", "closed"),
    "conducting": ("rectifier conducts", "conducts"),
    "idle": ("both off", "off"),
}


def spans(wave: Waveforms) -> list[tuple[float, float, str]]:
    """The stretches between switching instants: (start, end, `closed` or `conducting` or `idle`), equal ones joined."""
    start, end = float(wave.time[0]), float(wave.time[-1])
    bounds = np.unique([start, *(edge for edge in wave.edges if start < edge < end), end])
    found: list[tuple[float, float, str]] = []
    for low, high in pairwise(bounds):
        at = np.searchsorted(wave.time, (low + high) / 2)
        state = "closed" if wave.closed[at] else "conducting" if wave.conducting[at] else "idle"
        if found and found[-1][2] == state:
            low = found.pop()[0]
        found.append((float(low), float(high), state))
    return found


@styled
def waveforms(
    result: SteadyState | Waveforms, quantities=EVERY_PART, *, annotate: bool = True, onto: Figure | None = None
) -> Figure:
    """One period, a row for each entry of `quantities` (names of Waveforms; a tuple of names shares a row).

    States are named along the top and switching instants marked. With a SteadyState its means, peaks, ripple and rms
    values are written at the curves unless `annotate` is False; Waveforms alone carry none. Curves stay in SI units.
    `onto`: a figure that an earlier call with the same rows returned, to be drawn anew.
    """
    rows = [(entry,) if isinstance(entry, str) else tuple(entry) for entry in quantities]
    wave = result if isinstance(result, Waveforms) else result.waveforms(SAMPLES)
    figure, axes = frame([0.95 if len(rows) > 2 else 1.6] * len(rows), top=0.6, onto=onto)
    stretches = spans(wave)
    _clock(axes, wave, stretches)
    for ax, names in zip(axes, rows, strict=True):
        summaries = [None if result is wave or not annotate else _summary(result, name) for name in names]
        _row(ax, wave, stretches, names, summaries)
    figure.says = _say_waveforms(result, wave)
    return figure


def _summary(result: SteadyState, name: str) -> Summary | None:
    return getattr(result, LOOKS[name].summary) if LOOKS[name].summary else None


def _row(ax: Axes, wave: Waveforms, stretches, names: tuple[str, ...], summaries: list[Summary | None]) -> None:
    """One row: its curves, the zero line, and a label at each curve where there is something to tell."""
    curves = [getattr(wave, name) for name in names]
    low, high = min(map(np.min, curves)), max(map(np.max, curves))
    span = high - low
    fit(ax, low, high, pad=0.25 if span > 1e-9 * max(abs(low), abs(high)) else 1.0)
    _stage(ax, stretches)
    if low - 0.25 * span < 0 < high + 0.25 * span:
        ax.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    wanted = []
    for name, curve, summary, pen in zip(names, curves, summaries, PENS, strict=False):
        (line,) = ax.plot(wave.time, curve, **pen.line, label=name, solid_joinstyle="round")
        words = [LOOKS[name].curve] if len(names) > 1 else []
        if name == "i_inductor" and summary:
            wanted += _levels(ax, wave.time, curve, summary, "A")
        elif name == "v_out" and summary:
            words += [f"mean {show(summary.mean, 'V', 4)}, ripple {show(summary.ripple, 'V')} peak to peak"]
        elif summary and LOOKS[name].unit == "A":
            words += [f"rms {show(summary.rms, 'A')}"]
        if words:
            wanted.append((line, ", ".join(words)))
    unit = LOOKS[names[0]].unit
    name_axis(ax.yaxis, LOOKS[names[0]].axis if len(names) == 1 else _joint(names), unit)
    place(ax, wanted, fontsize=8)


def _joint(names: tuple[str, ...]) -> str:
    kind = "voltages" if LOOKS[names[0]].unit == "V" else "currents"
    return " and ".join(LOOKS[name].curve for name in names) + f" {kind}"


def _levels(ax: Axes, time, curve, summary: Summary, unit: str) -> list:
    """Peak, valley and mean marked on a curve; returns what is to be written beside them."""
    marks = []
    for at, value, word in ((np.argmax(curve), summary.max, "peak"), (np.argmin(curve), summary.min, "valley")):
        (dot,) = ax.plot(time[at], value, "o", color=BLUE, markersize=4)
        marks.append((dot, f"{word} {show(_tidy(value, summary), unit)}"))
    (mean,) = ax.plot(time[[0, -1]], [summary.mean] * 2, color=INK, linewidth=0.8, linestyle=(0, (8, 4)))
    return [*marks, (mean, f"mean {show(summary.mean, unit)}")]


def _clock(axes: list[Axes], wave: Waveforms, stretches: list[tuple[float, float, str]]) -> None:
    """The same stretch of time in every row, its numbers below the last, the states named above the first."""
    for ax in axes:
        ax.set_xlim(wave.time[0], wave.time[-1])
    name_axis(axes[-1].xaxis, "time", "s")
    for span in stretches:
        _name_state(axes[0], *span)


def _tidy(value: float, summary: Summary) -> float:
    """Zero for what is only rounding beside the largest value."""
    return 0.0 if abs(value) < 1e-12 * max(abs(summary.max), abs(summary.min)) else value


def _stage(ax: Axes, found: list[tuple[float, float, str]]) -> None:
    """States tinted behind a row, switching instants upright in it. Needs the limits of the axes in place."""
    low, high = ax.get_ylim()
    boxes = [[(a, low), (b, low), (b, high), (a, high)] for a, b, _ in found]
    ax.areas(boxes, facecolors=[TINT[s] for _, _, s in found], zorder=0)
    lines = [[(end, low), (end, high)] for _, end, _ in found[:-1]]
    ax.strokes(lines, colors=QUIET, linewidths=0.7, linestyles=(0, (2, 2)), zorder=0.5)


def _name_state(ax: Axes, start: float, end: float, state: str) -> None:
    """The longest name of a state that fits between its two instants, above the axes."""
    renderer = ax.figure.canvas.get_renderer()
    room = (end - start) / (ax.get_xlim()[1] - ax.get_xlim()[0]) * ax.bbox.width
    text = ax.text((start + end) / 2, 1, "", transform=above(ax, 0.3), ha="center", va="bottom", fontsize=8)
    text.set(color={"closed": BLUE, "conducting": RUST, "idle": INK}[state], weight="bold")
    for words in STATES[state]:
        text.set_text(words)
        if text.get_window_extent(renderer).width + 4 < room:
            return
    text.set_text("")


def _say_waveforms(result, wave: Waveforms) -> str:
    period = show(wave.time[-1] - wave.time[0], "s")
    if result is wave:
        return f"Waveforms over {period}: " + ", ".join(f"{state} to {show(end, 's')}" for _, end, state in spans(wave))
    current, output = result.inductor_current, result.output_voltage
    valley = show(_tidy(current.min, current), "A")
    return (
        f"One period of {period}, {result.mode} conduction: inductor current mean {show(current.mean, 'A')}, "
        f"peak {show(current.max, 'A')}, valley {valley}; "
        f"output {show(output.mean, 'V')} with {show(output.ripple, 'V')} ripple"
    )


@styled
def two_slopes(result: SteadyState | Waveforms, *, onto: Figure | None = None) -> Figure:
    """Inductor voltage with its areas hatched, their volt-seconds written in, and below it the current with its slopes.

    Areas are measured on the curve as drawn, slopes between the ends of each straight piece. `onto` as in `waveforms`.
    """
    wave = result if isinstance(result, Waveforms) else result.waveforms(SAMPLES)
    figure, (upper, lower) = frame([1.75, 1.75], top=0.6, onto=onto)
    stretches = spans(wave)
    _clock([upper, lower], wave, stretches)
    voltage, current = wave.v_inductor, wave.i_inductor
    fit(upper, voltage.min(), voltage.max(), pad=0.15)
    fit(lower, current.min(), current.max(), pad=0.3)
    for ax in (upper, lower):
        _stage(ax, stretches)
    upper.axhline(0, color=QUIET, linewidth=0.8, zorder=1)
    upper.plot(wave.time, voltage, color=INK, label="v_inductor")
    name_axis(upper.yaxis, "inductor voltage", "V")
    name_axis(lower.yaxis, "inductor current", "A")
    lower.plot(wave.time, current, color=INK, linewidth=0.8, label="i_inductor")
    said = [_piece(upper, lower, wave, span) for span in stretches]
    figure.says = "Inductor voltage and current over one period: " + "; ".join(said)
    return figure


def _piece(upper: Axes, lower: Axes, wave: Waveforms, span: tuple[float, float, str]) -> str:
    """Area and slope of one stretch; returns the two in words."""
    start, end, state = span
    inside = within(wave.time, start, end)
    time, voltage, current = wave.time[inside], wave.v_inductor[inside], wave.i_inductor[inside]
    area = float(np.trapezoid(voltage, time))
    slope = float((current[-1] - current[0]) / (end - start))
    pen = {"closed": PENS[0], "conducting": PENS[1], "idle": PENS[2]}[state]
    flux, rate = _signed(area, "V·s"), _signed(slope * 1e-6, "A") + "/µs"
    if state != "idle":
        hatch = "////" if state == "closed" else "\\\\\\\\"
        upper.fill_between(time, voltage, 0, facecolor="none", edgecolor=pen.color, hatch=hatch, linewidth=0)
        _write_area(upper, start, end, float(np.median(voltage)), flux, pen.color)
        (line,) = lower.plot(time, current, **pen.line, linewidth=2.4)
        place(lower, [(line, rate)], fontsize=9)
    return f"{STATES[state][0]} for {show(end - start, 's')}: {flux}, {rate}"


def within(time: np.ndarray, start: float, end: float) -> slice:
    """Samples of a stretch: at an instant two samples share one time, and only the inner one belongs to it."""
    first = np.searchsorted(time, start, side="right") - 1
    last = np.searchsorted(time, end, side="left")
    return slice(int(first), int(last) + 1)


def _signed(value: float, unit: str) -> str:
    return ("+" if value > 0 else "") + show(value, unit).replace("-", "−")


def _write_area(ax: Axes, start: float, end: float, level: float, words: str, color: str) -> None:
    """The volt-seconds in the middle of their area, or, if that is small, beside it or across the zero line."""
    middle = (start + end) / 2
    text = ax.text(middle, level / 2, words, color=color, ha="center", va="center", weight="bold")
    size = text.get_window_extent(ax.figure.canvas.get_renderer())
    corners = ax.transData.transform([(start, 0), (end, level)])
    width, height = np.abs(corners[1] - corners[0])
    if size.height + 6 > height:
        text.set(y=0, va="top" if level > 0 else "bottom")
        text.set_transform(ax.transData + ScaledTranslation(0, -np.sign(level) * 4 / 72, ax.figure.dpi_scale_trans))
    elif size.width + 8 > width:
        early = middle < sum(ax.get_xlim()) / 2
        text.set(x=end if early else start, ha="left" if early else "right")
        text.set_transform(ax.transData + ScaledTranslation((6 if early else -6) / 72, 0, ax.figure.dpi_scale_trans))
    else:
        text.set_bbox({"facecolor": "white", "edgecolor": "none", "pad": 1.5, "alpha": 0.9})
