"""A flat output: the ripple and its two parts, what the source sees, and what a probe makes of it, on paper and under sliders.

    parts(state)               capacitor current above; below it the output about its mean, in charge part and ESR part
    output(converter)          panel: the same while capacitor, coil, duty and load are moved
    case_of(state)             which of the three ripple formulas holds, and what it gives
    source_side(state)         coil and source current above, the voltage at the input below
    at_the_source(converter)   panel: the same while source and input capacitor are moved
    through_pole(...)          a periodic waveform behind a bandwidth limit of one pole
    with_loop(...)             the output as it is picked up with some wire between the tips of a probe
    probed(state, bandwidths)  the output as instruments of some bandwidths show it
    probing(converter)         panel: the same while bandwidth and capacitor are moved
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from ..circuit import Converter, validity
from ..circuit.results import SteadyState, Waveforms
from ..circuit.switched import steady_state
from ..derivations import ripple_esr
from ..units import guard, show
from .curves import curves, rows
from .live import Panel, Slider
from .panels import sliders_for
from .style import Figure, styled
from .traces import STATES, spans

ABOUT = ("output about its mean", "V")
CASES = (ripple_esr.rising_ripple, ripple_esr.turning_ripple, ripple_esr.falling_ripple)
SAMPLES = 600  # enough for a curve; extremes come from the steady state itself

# --- the output ---


def case_of(state: SteadyState) -> tuple[str, float]:
    """The one of the three ripple formulas that holds for this steady state: its name, and the ripple that it gives, V.
    ValueError where none does (an output that sags to the source, slopes that are far from straight, or a second switch
    whose current turns)."""
    if (why := validity.unfit(state)[0]):
        raise ValueError(f"no ripple formula holds here: {why}")
    letters = validity.measured(state)
    for case in CASES:
        if case().formula.holds(**letters):
            return case.__name__, float(validity.value_of(case().formula, letters))
    raise ValueError("no ripple formula holds here: its slopes are not straight, or the output sags to the source")


@styled
def parts(state: SteadyState, *, onto: Figure | None = None) -> Figure:
    """Capacitor current above; below it the output about its mean, and the two parts that add up to it: the voltage of the
    capacitance itself (charge part) and that of its series resistance (ESR part). `onto`: a figure that the same call
    returned before."""
    wave = state.waveforms(SAMPLES)
    charge, esr = wave.v_capacitor - state.output_voltage.mean, wave.v_out - wave.v_capacitor
    both = {"output": wave.v_out - state.output_voltage.mean, "charge part": charge, "ESR part": esr}
    return rows(wave.time, [({"": wave.i_capacitor}, ("into the capacitor", "A")), (both, ABOUT)], along=("time", "s"),
                spans=_spans(wave), heights=[1.2, 2.2], says=_say_parts(state, np.ptp(charge), np.ptp(esr)), onto=onto)  # fmt: skip


def _say_parts(state: SteadyState, charge: float, esr: float) -> str:
    current = state.capacitor_current
    return (f"Output ripple {show(state.ripple_voltage, 'V')} peak to peak; charge part {show(charge, 'V')}, ESR part "
            f"{show(esr, 'V')}; capacitor current {show(current.min, 'A')} to {show(current.max, 'A')}, "
            f"{show(current.rms, 'A')} rms; {state.mode} conduction").replace("-", "−")


def _spans(wave: Waveforms) -> list[tuple[float, float, str]]:
    return [(start, end, STATES[state][0]) for start, end, state in spans(wave)]


def output(converter: Converter) -> Panel:
    """The output, its two parts and the capacitor current while capacitor, coil, duty and load are moved."""
    names = ("capacitance", "r_capacitor", "inductance", "duty", "r_load", "i_out")
    return Panel(lambda **v: steady_state(converter.change(**v)), lambda state, onto: parts(state, onto=onto),
                 sliders_for(converter, *names))  # fmt: skip


# --- the input ---


@styled
def source_side(state: SteadyState, *, onto: Figure | None = None) -> Figure:
    """Coil and source current above, the voltage at the input below: what an input capacitor keeps from the source."""
    wave = state.waveforms(SAMPLES)
    says = (f"coil ripple {show(state.ripple_current, 'A')}, source ripple {show(state.source_current.ripple, 'A')}, "
            f"input ripple {show(np.ptp(wave.v_input), 'V')}, each peak to peak; {state.mode} conduction")
    currents = {"coil": wave.i_inductor, "source": wave.i_source}
    return rows(wave.time, [(currents, ("current", "A")), ({"": wave.v_input}, ("input voltage", "V"))], along=("time", "s"),
                spans=_spans(wave), heights=[1.7, 1.4], says=says, onto=onto)  # fmt: skip


def at_the_source(converter: Converter) -> Panel:
    """What the source sees while input capacitor, source resistance, coil, duty and load are moved; the converter must have
    an input capacitor."""
    if converter.input_capacitor is None:
        raise ValueError("c_input is missing: this panel moves an input capacitor, so the converter must have one")
    names = ("c_input", "r_input_capacitor", "r_source", "inductance", "duty", "r_load", "i_out")
    return Panel(lambda **v: steady_state(converter.change(**v)), lambda state, onto: source_side(state, onto=onto),
                 sliders_for(converter, *names))  # fmt: skip


# --- the probe ---


def through_pole(time: np.ndarray, values: np.ndarray, bandwidth: float) -> np.ndarray:
    """A periodic waveform behind a bandwidth limit of one pole, in its own steady state; shape (n,), the unit of `values`.

    `time` (s) and `values`: one whole period, shape (n,), straight between samples, two samples at one time for a jump.
    `bandwidth`: frequency in Hz, above 0, at which a sine comes out at 1/sqrt(2). Exact for such a waveform: between two
    samples the output comes nearer to the input along an exponential.
    """
    lag = 1 / (2 * math.pi * guard("bandwidth", bandwidth, 0, unit="Hz", open_low=True))
    time, values = np.asarray(time, float), np.asarray(values, float)
    lags = np.diff(time) / lag
    kept = np.exp(-lags)
    mean = np.divide(-np.expm1(-lags), lags, out=np.ones_like(lags), where=lags != 0)  # of the exponential over the stretch
    gained = values[1:] - values[:-1] * kept - np.diff(values) * mean
    whole = math.exp(-(time[-1] - time[0]) / lag)
    reached = _follow(kept, gained, 0.0)[-1]
    return _follow(kept, gained, reached / (1 - whole))


def _follow(kept: np.ndarray, gained: np.ndarray, start: float) -> np.ndarray:
    """y[k + 1] = kept[k] y[k] + gained[k]."""
    found = [start]
    for share, more in zip(kept.tolist(), gained.tolist(), strict=True):
        found.append(share * found[-1] + more)
    return np.array(found)


def with_loop(state: SteadyState, loop: float, edge: float) -> tuple[np.ndarray, np.ndarray]:
    """One period of the output as it is picked up with some inductance `loop` (H) between the two tips of a probe, in the
    way of the capacitor's current, where each jump of that current takes the time `edge` (s): time in s and voltage in V.

    A jump makes a pulse of height loop x jump/edge. What the gentle slopes between the jumps make is left out. Raises
    ValueError where an edge is not shorter than each stretch between two jumps.
    """
    guard("edge", edge, 0, unit="s", open_low=True)
    wave = state.waveforms(SAMPLES)
    time, volts = wave.time, wave.v_out
    at = np.flatnonzero(np.diff(wave.closed) | np.diff(wave.conducting))
    starts, jumps = [0, *at + 1], [wave.i_capacitor[0] - wave.i_capacitor[-1], *np.diff(wave.i_capacitor)[at]]
    if edge >= np.min(np.diff([*time[starts], time[-1]])):
        raise ValueError(f"edge = {show(edge, 's')} must be shorter than each stretch of the period between two jumps")
    ends = np.repeat(time[starts] + edge, 2)  # two samples each: a pulse ends upright
    places = np.searchsorted(time, ends)
    pulses = sum(loop * jump / edge * ((np.arange(len(time)) >= start) & (time <= time[start] + edge))
                 for start, jump in zip(starts, jumps, strict=True))
    tops = np.column_stack([loop * np.array(jumps) / edge, np.zeros(len(jumps))]).ravel()
    picked = np.insert(volts + pulses, places, np.interp(ends, time, volts) + tops)
    return np.insert(time, places, ends), picked


@styled
def probed(state: SteadyState, bandwidths: Sequence[float], loop: float = 0.0, edge: float = 20e-9, *,
           onto: Figure | None = None) -> Figure:
    """The output about its mean, and what instruments of at most three bandwidths (Hz, one pole each) show of it, with
    `loop` (H) between the tips of the probe and edges that take `edge` (s), as in `with_loop`."""
    wave, mean = state.waveforms(SAMPLES), state.output_voltage.mean
    time, volts = with_loop(state, loop, edge)
    seen = {f"behind {show(each, 'Hz')}": through_pole(time, volts - mean, each) for each in bandwidths}
    says = f"output ripple {show(state.ripple_voltage, 'V')}; " + ", ".join(
        f"{label} it reads {show(np.ptp(values), 'V')}" for label, values in seen.items())
    pairs = {"output": (wave.time, wave.v_out - mean)} | {label: (time, values) for label, values in seen.items()}
    return curves(wave.time, pairs, along=("time", "s"), of=ABOUT, spans=_spans(wave), height=2.6, says=says, onto=onto)


def probing(converter: Converter, bandwidth: float = 20e6, loop: float = 0.0, edge: float = 20e-9) -> Panel:
    """What an instrument shows of the output while its bandwidth (Hz), the inductance between its tips (H), the time of
    an edge (s) and the capacitor are moved."""
    sliders = [
        Slider("bandwidth", "bandwidth", "Hz", 10e3, 100e6, bandwidth, logarithmic=True),
        Slider("loop", "inductance at the tips", "H", 0.0, 30e-9, loop),
        Slider("edge", "time of an edge", "s", 5e-9, 200e-9, edge, logarithmic=True),
        *sliders_for(converter, "capacitance", "r_capacitor", "r_load", "i_out"),
    ]

    def compute(bandwidth, loop, edge, **values):
        return steady_state(converter.change(**values)), bandwidth, loop, edge

    def draw(numbers, onto):
        state, bandwidth, loop, edge = numbers
        return probed(state, [bandwidth], loop, edge, onto=onto)

    return Panel(compute, draw, sliders)
