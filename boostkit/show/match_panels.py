"""A prediction against what was measured: the waveforms over one another, and what is left over.

    over(overlay, names)              measured and predicted over one period, and the residual under each
    match_of(fitted, capture, ...)    what a fit compares, put together once: points, errors, corrected for the instrument
    matched(match, converter)         picture: points, exact waveform of a converter, residual in times its error
    matching(match, start, letters)   panel: the same while letters of the converter are moved
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..bench.capture import Capture
from ..bench.compare import Overlay
from ..bench.conduction import conduction
from ..bench.fit import APART, Fitted
from ..bench.instrument import Instrument, unit_of
from ..bench.points import points
from ..bench.prediction import at_times
from ..circuit import Converter
from ..circuit.converter import LETTERS
from ..circuit.switched import steady_state
from ..units import show
from .curves import WORDS
from .labels import place
from .live import Panel, Slider
from .panels import WORDS as CALLED
from .style import BLUE, INK, QUIET, RUST, TINT, Figure, fit, frame, name_axis, styled

CALLS = {"v_out": "output voltage", "i_inductor": "inductor current", "v_switch": "voltage across the switch"}
STRETCHES = 240  # of a period, over which samples are averaged for the picture
GAP = 0.02  # of the period: a line is not drawn across a stretch that was left out
HEIGHTS, LEVEL = (1.15, 0.6), (1.1, 0.8)  # inches: waveform, and its residual; where that has a level of its own

# --- measured over predicted ---


@styled
def over(overlay: Overlay, names: Sequence[str] = ("i_inductor", "v_out"), *, says: str = "") -> Figure:
    """Measured (dots) and predicted (line) over one period, all periods averaged, and under each measured less predicted."""
    figure, axes = frame([*LEVEL] * len(names), gap=0.42)
    said = []
    for name, upper, lower in zip(names, axes[::2], axes[1::2], strict=True):
        given = overlay.phase, overlay.measured[name], overlay.predicted[name]
        phase, measured, predicted = (_averaged(overlay, values) for values in given)
        _waveform(upper, name, phase, measured, predicted)
        _left_over(lower, phase, residual := measured - predicted, unit_of(name), even=False)
        said.append(_said(name, residual, overlay.rms(name)))
    name_axis(axes[-1].xaxis, "share of the period since the switch closed")
    figure.says = says or "; ".join(said)
    return figure


def _said(name: str, residual: np.ndarray, rms: float) -> str:
    """The residual in words, for who cannot see it."""
    low, high, whole = (show(value, unit_of(name)) for value in (residual.min(), residual.max(), rms))
    return f"{CALLS.get(name, name)}: the residual lies between {low} and {high}, with an rms value of {whole}"


def _averaged(overlay: Overlay, values: np.ndarray) -> np.ndarray:
    """Means over short stretches of the period, away from the switching instants."""
    where = (overlay.phase * STRETCHES).astype(int)[overlay.clear]
    count = np.bincount(where, minlength=STRETCHES)
    return np.bincount(where, weights=values[overlay.clear], minlength=STRETCHES)[count > 0] / count[count > 0]


def _waveform(ax, name: str, phase, measured, predicted, words: bool = True) -> None:
    ax.set_xlim(0, 1)
    fit(ax, min(measured.min(), predicted.min()), max(measured.max(), predicted.max()), pad=0.2)
    dots = ax.plot(phase, measured, color=RUST, marker=".", markersize=2.5, linestyle="none")[0]
    broken = np.where(np.diff(phase, prepend=phase[0]) > GAP, np.nan, predicted)
    line = ax.plot(phase, broken, color=BLUE, linewidth=1.4)[0]
    name_axis(ax.yaxis, CALLS.get(name, name), unit_of(name))
    if words:
        place(ax, [(dots, "measured"), (line, "predicted")], **WORDS)


def _left_over(ax, phase, residual, unit: str, words: str = "residual", even: bool = True) -> None:
    """`even`: as much room below zero as above."""
    ax.set_xlim(0, 1)
    largest = float(np.abs(residual).max())
    fit(ax, *((-largest, largest) if even else (min(residual.min(), 0.0), max(residual.max(), 0.0))), pad=0.1)
    ax.axhline(0, color=QUIET, linewidth=0.7, zorder=1)
    ax.plot(phase, residual, color=INK, marker=".", markersize=2.5, linestyle="none")
    name_axis(ax.yaxis, words, unit)


# --- until only noise is left ---


@dataclass(frozen=True)
class Seen:
    """One channel over a period: `phase`, `value` freed of the errors of the instrument that a fit found, `error` of each; (n,)."""

    name: str
    phase: np.ndarray
    value: np.ndarray
    error: np.ndarray


@dataclass(frozen=True)
class Match:
    """What is compared: the channels as seen, and the drive as measured, Hz and share."""

    seen: tuple[Seen, ...]
    f_sw: float
    duty: float

    def states(self, converter: Converter):
        """The exact steady state of a converter, driven as measured."""
        return steady_state(converter.change(f_sw=self.f_sw, duty=self.duty))

    def predicted(self, converter: Converter) -> list[np.ndarray]:
        """Its exact waveform at the points of each channel, moved up or down to the mean that was measured: a level is as uncertain as
        the gain of its probe, a shape is known far better."""
        state = self.states(converter)
        exact = [at_times(state, (s.name,), s.phase * state.period)[s.name] for s in self.seen]
        return [values + float(np.mean(s.value - values)) for s, values in zip(self.seen, exact, strict=True)]

    def residual(self, predicted: list[np.ndarray]) -> float:
        """rms of measured less predicted, in times its error: 1 where only noise is left."""
        parts = [(s.value - p) / s.error for s, p in zip(self.seen, predicted, strict=True)]
        return float(np.sqrt(np.mean(np.concatenate(parts) ** 2)))


def match_of(fitted: Fitted, capture: Capture, names: Sequence[str] = ("i_inductor", "v_out"), stretch: float = 0.02,
             every: int = 3) -> Match:  # fmt: skip
    """Points of a capture for `matched`, freed of what the fit found the instrument to be off by.

    `stretch`: share of the period on either side of the switching instants that is left out, for ringing; `every`: of so many
    points one is taken.
    """
    _, stop, _ = conduction(capture, fitted.edges)
    shift, duty = (fitted.nuisance[name].n for name in ("shift", "duty"))
    seen = []
    for name in names:
        p = points(capture, fitted.edges, name, stop, capture.instrument)
        phase = p.phase + shift
        quiet = ((phase > 0.3 * stretch) & (phase < duty - 0.3 * stretch)) | ((phase > duty + 4 * stretch) & (phase < 1 - 0.3 * stretch))
        keep = np.flatnonzero(quiet)[::every]
        seen.append(Seen(name, phase[keep], _true(p.value[keep], name, capture.instrument, fitted.nuisance), p.error[keep]))
    return Match(tuple(seen), fitted.nuisance["f_sw"].n, duty)


def _true(shown: np.ndarray, name: str, instrument: Instrument, errors: dict) -> np.ndarray:
    """What is at the probe, of what is shown, by the errors that a fit found."""
    gain, probe, off = (errors[key].n if (key := f"{what} of {name}") in errors else 0.0 for what in ("gain", "probe", "offset"))
    middle = instrument.channel(name).offset
    return ((shown - middle) * (1 + gain) + middle + off) * (1 + probe)


@styled
def matched(match: Match, converter: Converter, *, onto: Figure | None = None) -> Figure:
    """Measured points and the exact waveform of a converter, level with them; under each the residual in times the error of a point. The
    grey band is that of noise, twice to either side."""
    predicted = match.predicted(converter)
    figure, axes = frame([*HEIGHTS] * len(match.seen), gap=0.42, onto=onto)
    for seen, there, upper, lower in zip(match.seen, predicted, axes[::2], axes[1::2], strict=True):
        _waveform(upper, seen.name, seen.phase, seen.value, there, words=False)
        lower.areas([[(0, -2), (0, 2), (1, 2), (1, -2)]], facecolor=TINT["idle"], edgecolor="none", zorder=0)
        _left_over(lower, seen.phase, (seen.value - there) / seen.error, "", "residual, in times its noise")
    name_axis(axes[-1].xaxis, "share of the period since the switch closed")
    figure.says = told(match, converter, predicted)
    return figure


def told(match: Match, converter: Converter, predicted: list[np.ndarray]) -> str:
    """How much is left over, and what that says."""
    left = match.residual(predicted)
    verdict = "nothing but noise" if left <= APART else "more than noise: something is wrong"
    parts = (np.sqrt(np.mean(((s.value - p) / s.error) ** 2)) for s, p in zip(match.seen, predicted, strict=True))
    each = ", ".join(f"{CALLS.get(s.name, s.name)} {show(part, '', 2)}" for s, part in zip(match.seen, parts, strict=True))
    return f"left over: {show(left, '', 2)} times the noise ({each}); {verdict}"


def matching(match: Match, start: Converter, letters: Sequence[str], found: Converter) -> Panel:
    """The same while letters of the converter are moved. `start`: where they begin; `found`: what a fit found, which lies within reach."""
    there, goal = start.letters(), found.letters()
    sliders = []
    for letter in letters:
        low, high = (end(there[letter], goal[letter]) for end in (min, max))
        sliders.append(Slider(letter, CALLED.get(letter, letter), LETTERS[letter][2], 0.5 * low, 1.5 * high, there[letter], steps=400))
    return Panel(lambda **v: start.change(**v), lambda now, onto: matched(match, now, onto=onto), sliders)
