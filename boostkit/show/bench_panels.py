"""What an instrument does to a value: where an uncertainty comes from, what noise adds to a ripple, what a probe makes of an edge.

    budget(value, unit)                 the parts of an uncertainty as bars, and what they come to together
    instrument(value, unit, ...)        panel: the same while the instrument is made better or worse
    noisy(course, noise, periods, ...)  one ripple, raw and averaged: what highest less lowest makes of each
    noise_of(course, noise, ...)        panel: the same while noise and the number of periods are moved
    seen_edge(rise, probe, times)       what a probe's ground lead and an instrument's bandwidth make of an edge
    probed(step, rise, probe)           picture of it, and `probing` a panel
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import pi, sqrt

import numpy as np

from ..bench.course import Course
from ..bench.uncertain import COVERAGE, expanded, factor, resolution, show_with, uncertain, within
from ..bench.uncertain import budget as shares
from ..derivations import ringing
from ..units import show
from .curves import WORDS, curves
from .live import Panel, Slider
from .style import BLUE, PAPER, QUIET, RUST, Figure, fit, frame, name_axis, styled

# --- the budget of one value ---

ROWS = 6  # parts that get a bar of their own; what is left stands together in one more
REST = "the rest"
PARTS, TOTAL = {"facecolor": BLUE, "edgecolor": BLUE}, {"facecolor": PAPER, "edgecolor": RUST, "linewidth": 1.6}


@styled
def budget(value, unit: str, *, names: tuple[str, ...] = (), says: str = "", onto: Figure | None = None) -> Figure:
    """The standard uncertainty of each part of an uncertain value as a bar; below them what they come to together, as the root of
    the sum of squares, and that times two, the expanded uncertainty.

    `unit` of the value. `names`: which parts get a bar, in this order (0 where one is missing); by default the largest first.
    """
    parts = {share.what: share.standard for share in shares(value)}
    names = names or tuple(parts)[:ROWS]
    amounts = {name: parts.get(name, 0.0) for name in names}
    if set(parts) - set(names):
        amounts[REST] = sqrt(sum(size**2 for name, size in parts.items() if name not in names))
    figure, (ax,) = frame([0.23 * (len(amounts) + 2.4)], left=1.9, onto=onto)
    _bars(ax, amounts, float(value.s), unit)
    figure.says = says or _told(value, unit, amounts)
    return figure


def _bars(ax, amounts: dict[str, float], together: float, unit: str) -> None:
    rows = [*amounts, "together (k = 1)", f"expanded (k = {COVERAGE})"]
    sizes = [*amounts.values(), together, COVERAGE * together]
    places = [*range(len(amounts)), len(amounts) + 0.4, len(amounts) + 1.4]
    fit(ax, 0, max(sizes[-1], 1e-15), which="x", pad=0.2)
    ax.set_xlim(left=0)
    window = (places[-1] + 0.6, -0.6)
    if ax.get_ylim() != window:      # names stay as they are, so a panel writes them once
        ax.set_ylim(*window)
        ax.set_yticks(places, rows)
        ax.tick_params(axis="y", length=0)
    name_axis(ax.xaxis, "standard uncertainty", unit)
    for chosen, looks in ((slice(0, len(amounts)), PARTS), (slice(len(amounts), None), TOTAL)):
        ax.areas([_box(size, row) for size, row in zip(sizes[chosen], places[chosen], strict=True)], **looks)
    for name, size, row in zip(rows, sizes, places, strict=True):
        share = f"   {_share(size**2 / together**2)} of the square" if together and name in amounts else ""
        ax.text(size, row, f"  {show(size, unit, 2)}{share}", ha="left", va="center", fontsize=8)


def _share(share: float) -> str:
    return show(share, "%", 2) if share >= 0.01 else "less than 1 %"


def _box(size: float, row: float) -> list[tuple[float, float]]:
    return [(0, row - 0.33), (0, row + 0.33), (size, row + 0.33), (size, row - 0.33)]


def _told(value, unit: str, amounts: dict[str, float]) -> str:
    listed = ", ".join(f"{name} {show(size, unit, 2)}" for name, size in amounts.items())
    return f"{show_with(value, unit)}, expanded uncertainty {show(expanded(value), unit, 2)}: {listed}"


SOURCES = ("probe", "gain", "offset", "resolution", "noise")


def read_as(value: float, span: float, bits: int, gain: float, probe: float, offset: float, noise: float, samples: int, *,
            difference: bool = False):  # fmt: skip
    """A level read with such an instrument, as an uncertain number; `difference`: of two levels, free of the offset.

    `span`: its range, `offset` and `noise` of one sample (standard deviation) in the unit of the value; `gain` and `probe`: limits,
    as shares; `samples`: over how many is averaged.
    """
    step, many = span / 2**bits, 2 if difference else 1
    errors = sum(resolution(step, "resolution") for _ in range(many)) + (0.0 if difference else within(offset, "offset"))
    return uncertain(value, noise * sqrt(many / samples), "noise") * factor(gain, "gain") * factor(probe, "probe") + errors


def instrument(value: float, unit: str, span: float, bits: int, gain: float, probe: float, offset: float, noise: float, samples: int, *,
               difference: bool = False) -> Panel:  # fmt: skip
    """The budget of a value while bits, limits of error and averaging are moved; arguments as in `read_as`."""
    names = tuple(name for name in SOURCES if not (difference and name == "offset"))
    sliders = [Slider("bits", "bits of the instrument", "", 6, 16, bits, steps=10),
               Slider("gain", "limit of error of the gain", "%", gain / 10, 3 * gain, gain, logarithmic=True),
               Slider("probe", "limit of error of the probe", "%", probe / 10, 3 * probe, probe, logarithmic=True),
               Slider("samples", "samples averaged", "", 1, max(1e5, samples), samples, logarithmic=True)]  # fmt: skip

    def compute(bits, gain, probe, samples):
        return read_as(value, span, round(bits), gain, probe, offset, noise, max(round(samples), 1), difference=difference)

    return Panel(compute, lambda found, onto: budget(found, unit, names=names, onto=onto), sliders)


# --- ripple and noise ---

POINTS, SHOWN = 120, 6  # places in a period; periods whose samples are drawn
SEED = 1417


@dataclass(frozen=True)
class Noisy:
    """Samples of one period over and over. `phase` (n,), `true` (n,) without noise, `samples` (periods, n), `average` (n,)."""

    phase: np.ndarray
    true: np.ndarray
    samples: np.ndarray
    noise: float

    @property
    def average(self) -> np.ndarray:
        return self.samples.mean(axis=0)

    @property
    def extremes(self) -> tuple[float, float, float]:
        """Highest less lowest: of all samples, of the average, and without noise."""
        return tuple(float(np.ptp(part)) for part in (self.samples, self.average, self.true))


def with_noise(course: Course, noise: float, periods: int, draws: np.ndarray | None = None) -> Noisy:
    """The smooth course of a channel with fresh noise of this standard deviation on it; always the same draws."""
    draws = _draws(periods) if draws is None else draws[:periods]
    phase = (np.arange(POINTS) + 0.5) / POINTS
    order = np.argsort(course.phase, kind="stable")
    true = np.interp(phase, course.phase[order], course.value[order])
    return Noisy(phase, true, true + noise * draws, noise)


def _draws(periods: int) -> np.ndarray:
    return np.random.default_rng(SEED).standard_normal((periods, POINTS))


@styled
def noisy(found: Noisy, unit: str, *, onto: Figure | None = None) -> Figure:
    """Samples of some periods as dots, their average as a line. Beside them highest less lowest of all samples, and of the average."""
    raw, averaged, true = found.extremes
    figure, (ax,) = frame([2.4], right=1.75, onto=onto)
    ax.set_xlim(0, 1)
    middle = float(found.true.mean())
    fit(ax, *(end(found.samples) - middle for end in (np.min, np.max)), pad=0.06)
    few = found.samples[:SHOWN]
    ax.plot(np.tile(found.phase, len(few)), few.ravel() - middle, color=QUIET, marker=",", linestyle="none")
    ax.plot(found.phase, found.average - middle, color=BLUE)
    name_axis(ax.xaxis, "share of the period since the switch closed")
    name_axis(ax.yaxis, "away from the mean", unit)
    for x, values, color, words in ((1.03, found.samples, RUST, f"all samples\n{show(raw, unit)}"),
                                        (1.18, found.average, BLUE, f"average\n{show(averaged, unit)}")):  # fmt: skip
        low, high = float(values.min()) - middle, float(values.max()) - middle
        ax.strokes([[(x, low), (x, high)]], color=color, linewidth=2.4, clip_on=False)
        ax.text(x + 0.015, high, words, color=color, ha="left", va="top", **WORDS)
    figure.says = (f"noise {show(found.noise, unit)}, {len(found.samples)} periods: highest less lowest {show(raw, unit)} of all samples, "
                   f"{show(averaged, unit)} of the average, {show(true, unit)} without noise")  # fmt: skip
    return figure


def noise_of(course: Course, noise: float, unit: str, periods: int = 64, most: int = 400) -> Panel:
    """The same while noise, at first that given (one digit of it, so that the slider reaches 0), and the number of periods are moved."""
    draws, noise = _draws(most), float(f"{noise:.1g}")
    sliders = [Slider("noise", "noise (standard deviation)", unit, 0.0, 4 * noise, noise),
               Slider("periods", "periods averaged", "", 1, most, periods, logarithmic=True)]  # fmt: skip
    return Panel(lambda noise, periods: with_noise(course, noise, max(round(periods), 1), draws),
                 lambda found, onto: noisy(found, unit, onto=onto), sliders)


# --- a probe at an edge ---

LEAD = 1e-6  # H for each metre of lead: common practice, no source
ENDS = 0.1, 0.9  # of an edge: its rise is counted between these


@dataclass(frozen=True)
class Probe:
    """`lead`: length of the ground lead, m; `capacitance` at the tip, F; `resistance` that damps, Ω; `bandwidth` of the instrument, Hz."""

    lead: float = 0.15
    capacitance: float = 12e-12
    resistance: float = 60.0
    bandwidth: float = 100e6

    @property
    def rings_at(self) -> float:
        """The frequency at which lead and tip would ring without resistance, Hz."""
        return ringing.ringing_frequency().formula(inductance=LEAD * self.lead, c_stray=self.capacitance)

    @property
    def poles(self) -> np.ndarray:
        """Of lead and tip, two; and of the instrument, one of its own: 1/s."""
        damping = self.resistance / (2 * LEAD * self.lead)
        root = np.emath.sqrt(damping**2 - (2 * pi * self.rings_at) ** 2)
        return np.array([-damping + root, -damping - root, -2 * pi * self.bandwidth], dtype=complex)


def seen_edge(rise: float, probe: Probe, times: np.ndarray) -> np.ndarray:
    """What shows of an edge that climbs from 0 to 1 along a straight line within `rise` (s), at these times (s, 0 where it begins).

    Lead and tip capacitance ring as a coil and a capacitor with a resistance; the instrument is one time constant. Exact: a
    ramp that starts, less one that starts later.
    """
    poles = probe.poles
    others = [np.delete(poles, k) for k in range(3)]
    shares_of = [-np.prod(poles) / (p * np.prod(p - other)) for p, other in zip(poles, others, strict=True)]

    def ramp(t):
        t = np.maximum(t, 0.0)
        return (t + sum(share / p * (np.exp(p * t) - 1) for share, p in zip(shares_of, poles, strict=True))).real

    return (ramp(times) - ramp(times - rise)) / rise


def rise_of(times: np.ndarray, values: np.ndarray) -> float:
    """The time from one tenth to nine tenths of an edge that ends at 1, s."""
    first, last = (float(np.interp(end, *_climb(values, times))) for end in ENDS)
    return last - first


def _climb(values: np.ndarray, times: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The edge up to its first top, as time over value."""
    top = int(np.argmax(values >= ENDS[1])) + 1
    return values[:top], times[:top]


@styled
def probed(step: float, rise: float, probe: Probe, *, onto: Figure | None = None) -> Figure:
    """An edge of `step` volts within `rise` seconds, and what this probe shows of it."""
    times = np.linspace(-0.2, 1.0, 361) * EDGE_WINDOW * rise
    seen = seen_edge(rise, probe, times)
    lines = {"at the node": step * np.clip(times / rise, 0, 1), "on the screen": step * seen}
    says = (f"ground lead {show(probe.lead, 'm')}, bandwidth {show(probe.bandwidth, 'Hz')}: "
            f"the edge takes {show(rise_of(times, seen), 's')} from 10 % to 90 % instead of {show(0.8 * rise, 's')}, "
            f"and overshoots by {show(step * max(seen.max() - 1, 0.0), 'V')}; "
            f"lead and tip ring at {show(probe.rings_at, 'Hz')}")  # fmt: skip
    return curves(times, lines, along=("time since the edge began", "s"), of=("voltage", "V"), bottom=-0.15 * step, top=1.75 * step,
                  height=2.2, says=says, onto=onto)


EDGE_WINDOW = 14  # times the rise of the edge


def probing(step: float, rise: float, probe: Probe) -> Panel:
    """The same while lead and bandwidth are moved."""
    sliders = [Slider("lead", "length of the ground lead", "m", 0.005, 0.3, probe.lead, logarithmic=True),
               Slider("bandwidth", "bandwidth of the instrument", "Hz", 5e6, 1e9, probe.bandwidth, logarithmic=True)]  # fmt: skip
    return Panel(lambda lead, bandwidth: replace(probe, lead=lead, bandwidth=bandwidth),
                 lambda now, onto: probed(step, rise, now, onto=onto), sliders)
