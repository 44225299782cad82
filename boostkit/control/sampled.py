"""The compensator as arithmetic: once a period a sample, a sum of products, and a duty.

    digital = sampled(compensator, f_sw=150e3, v_set=18.0, prewarp=2e3)      # a circuit.controller.Sampled
    exact = loop(digital, converter)                                         # of frequency, for `margins`
    rough = lambda f: response(digital, 150e3, duty=0.68)(f) * plant(f)      # plant: averaged, from duty to output

The sum follows the trapezoidal rule (Tustin). With `prewarp` its gain and phase are exact at that frequency. What is read at the clock
is not the mean of the output but the end of its ripple, and that answers the duty in its own way: near the crossover the two agree,
towards a tenth of the switching frequency they part by a fifth. `loop` counts with what is read.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from math import pi, tan

import numpy as np

from ..circuit.controller import Sampled
from ..circuit.converter import Converter
from ..circuit.periodic import periodic
from ..circuit.variation import Variation
from ..derivations import compensation
from ..units import guard
from .compensator import Compensator


def sampled(compensator: Compensator, f_sw: float, v_set: float, *, ramp: float = 1.0, prewarp: float | None = None, delay: int = 1,
            **limits) -> Sampled:  # fmt: skip
    """A digital regulator that does what a compensator does, as far as once a period allows.

    Args: compensator, from output error to control voltage; f_sw Hz; v_set V, the output asked for; ramp V, the control voltage at a
    duty of one (1: the compensator's result is the duty itself); prewarp Hz, below f_sw/2: where to be exact, best the crossover; delay,
    whole periods from sample to effect; limits, of `circuit.controller.Sampled`: adc_step, duty_step, i_limit, most_duty, ...
    Errors: ValueError. Source: trapezoidal rule, any book on sampled control.
    """
    guard("f_sw", f_sw, 0, unit="Hz", open_low=True)
    guard("ramp", ramp, 0, unit="V", open_low=True)
    guard("v_set", v_set, 0, unit="V", open_low=True)
    guard("delay", delay, 0, why="a sample cannot act before it is taken")
    if delay != int(delay):
        raise ValueError(f"delay = {delay} must be a whole number of periods")
    half = 0.5 / f_sw
    if prewarp is not None:
        guard("prewarp", prewarp, 0, f_sw / 2, unit="Hz", open_low=True, open_high=True, why="beyond it a sample sees an alias")
        half = tan(pi * prewarp / f_sw) / (2 * pi * prewarp)
    one = compensator.linear()
    eye = np.eye(one.n)
    back = np.linalg.inv(eye - half * one.a)
    a, b = back @ (eye + half * one.a), 2 * half * back @ one.b  # s = (1/half)(z - 1)/(z + 1)
    c, d = one.c @ back / ramp, (one.d + half * one.c @ back @ one.b) / ramp
    return Sampled(tuple(map(tuple, a.tolist())), tuple(b.tolist()), tuple(c.tolist()), float(d), v_set, delay=delay, **limits)


def response(digital: Sampled, f_sw: float, duty: float) -> Callable:
    """From output error to duty, as a function of frequency (Hz, below f_sw/2), all its delays included: for an averaged plant.

    The sample is taken at the clock and moves the edge that ends the closed time, `delay` periods and the share `duty` of a period
    later. Rounding is left out. Aliases are too: multiply by a plant that is small near f_sw.
    """
    a, b, c = (np.asarray(part, float) for part in (digital.a, digital.b, digital.c))
    late = delay(digital, f_sw, duty)

    def of(f):
        return (_stepwise(a, b, c, f, f_sw) + digital.d) * np.exp(-2j * pi * np.asarray(f, float) * late)

    return of


def plant(converter: Converter) -> Callable:
    """From the duty of a period to the output read at the clocks, exactly, as a function of frequency (Hz, up to f_sw/2).

    The duty counts from the clock that opens the period; the output is read just before the switch closes. Any mode of conduction.
    Errors: ValueError where there is no clock or no steady state.
    """
    circuit, pieces, length = periodic(converter)
    period = Variation(circuit, pieces, length, np.zeros(1)).end[0].real
    n, row = circuit.n, np.asarray(pieces[-1].mode.rows["v_out"][:-1])
    return lambda f: _stepwise(period[:, :n], period[:, n], row, f, 1 / length)


def loop(digital: Sampled, converter: Converter) -> Callable:
    """The loop gain of a sampled regulator and a converter, exactly (rounding left out), as a function of frequency (Hz, up to f_sw/2)."""
    stage, f_sw = plant(converter), 1 / converter.t_sw
    regulator = response(digital, f_sw, 0.0)
    return lambda f: regulator(f) * stage(f)


def _stepwise(a: np.ndarray, b: np.ndarray, c: np.ndarray, f, f_sw: float) -> np.ndarray:
    """The response of x+ = a x + b u, y = c x, once a period."""
    z = np.exp(2j * pi * np.asarray(f, float) / f_sw)
    states = np.linalg.solve(z[..., None, None] * np.eye(len(b)) - a, np.broadcast_to(b, (*z.shape, len(b)))[..., None])[..., 0]
    return states @ c


def delay(digital: Sampled, f_sw: float, duty: float) -> float:
    """Time (s) from the sample to the edge that it moves: the periods of reckoning, and the closed time itself."""
    guard("f_sw", f_sw, 0, unit="Hz", open_low=True)
    guard("duty", duty, 0, 1)
    return (digital.delay + duty) / f_sw


def duty_step(adc_step: float, points: Mapping) -> tuple[float, object]:
    """The coarsest step of the duty that does not make the output wander, and the corner that asks for it.

    Args: adc_step V, counted at the output; points, corner to (source voltage V, duty). One step of the duty has to move the output by
    no more than one step of the reading, else no duty at hand keeps the output inside the step that is wanted. Errors: ValueError.
    """
    guard("adc_step", adc_step, 0, unit="V", open_low=True)
    if not points:
        raise ValueError("points must hold at least one corner")
    steps = {corner: float(compensation.resolution().formula(adc_step=adc_step, duty=duty, v_in=v_in))
             for corner, (v_in, duty) in points.items()}  # fmt: skip
    corner = min(steps, key=steps.get)
    return steps[corner], corner
