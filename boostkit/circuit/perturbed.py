"""The exact answer of the switched circuit to a small change: no average, nothing slow assumed.

A disturbance at a frequency f comes out at f (and at every multiple of the clock beside it, which is not asked for here). Seen in a
frame that turns with it, the disturbed converter repeats every period, so that one period decides.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from itertools import pairwise

import numpy as np

from ..units import guard, show
from .converter import Converter
from .modes import Circuit, Piece
from .periodic import periodic
from .ports import INPUTS, OUTPUTS
from .transients import whole
from .variation import Variation
from .walk import clock_phases, disturbance, phase

CAUSES = ("duty", *INPUTS, "peak_current")
NODES = 12  # of the quadrature in `injected`, on each of the stretches into which a piece is cut
TURNS = 60  # cycles of the disturbance that `injected` may take to come back to where it was


def response(converter: Converter, frequencies, of: str = "v_out", to: str = "duty", slope: float = 0.0) -> np.ndarray:
    """The complex response at `frequencies` (Hz, each from 0 to below half the switching frequency), exact but for linearising.

    `of`: "v_out" or "i_inductor". `to`: "duty" (sampled where the switch opens, as a comparator does: the switch opens where t/T
    reaches duty + eps sin(2 pi f t)), "v_in", "i_out" (A drawn from the output beside the load), or "peak_current": the switch opens
    where the inductor current reaches this level less `slope` (A/s) times the time since the clock. A converter whose duty is
    set keeps it under "v_in" and "i_out"; where its peak current is set, the opening follows the current, with that slope.

    From half the switching frequency on there is no such answer: f and its mirror image f_sw - f come out together and beat, and the
    sampled comparator cannot tell them apart.
    """
    f = np.asarray(frequencies, float)
    _check(converter, of, to)
    circuit, pieces, length = periodic(converter)
    if f.size and not (f.min() >= 0 and f.max() < 0.5 / length):
        asked = " to ".join(dict.fromkeys(show(float(end), "Hz") for end in (f.min(), f.max())))  # one number where they are one
        raise ValueError(f"frequencies = {asked} must lie from 0 to below half the switching frequency, {show(0.5 / length, 'Hz')}: "
                         "beyond, a disturbance and its mirror image cannot be told apart")
    follows = to == "peak_current" or (to != "duty" and converter.switch.drive == "peak current")
    one = Variation(circuit, pieces, length, 2j * np.pi * f.ravel(), slope if follows else None)
    n, row = circuit.n, {"v_out": circuit.n, "i_inductor": 0}[of]
    column = n + ({"v_in": 1, "i_out": 2}.get(to, 0))
    start = np.linalg.solve(np.eye(n) - one.end[:, :, :n], one.end[:, :, column, None])[..., 0]  # what one period brings back
    return (np.einsum("fn,fn->f", one.mean[:, row, :n], start) + one.mean[:, row, column]).reshape(f.shape)


def _check(converter: Converter, of: str, to: str) -> None:
    if of not in OUTPUTS or to not in CAUSES:
        raise ValueError(f"of = {of!r} to {to!r}: known are of {', '.join(OUTPUTS)} and to {', '.join(CAUSES)}")
    if converter.switch.frequency is None:
        raise ValueError("switch: without a clock there is no frequency to hold a disturbance against; give switch.frequency")


def course(
    converter: Converter, duty: Callable[[float], float], periods: int, start: tuple[float, ...] | None = None,
) -> Iterator[tuple[list[Piece], tuple[float, ...]]]:
    """The exact course under a duty that changes with time, one period after another: its pieces, and the state at its end.

    `duty`: of the time t in s, from 0 where the first period begins; the switch opens where the clock's ramp t/T reaches it, as a
    comparator does. `start`: the state where the first period begins, as in a piece; without one that of the steady state.
    Raises ValueError for a converter without a clock or with a set peak current, and where the duty leaves 0 to 1.
    """
    if converter.switch.drive != "duty":
        raise ValueError(f"switch.drive = {converter.switch.drive!r}: only a set duty can be moved; give switch.duty")
    circuit, length = Circuit(converter), converter.t_sw
    x = start or periodic(converter)[1][0].state
    for k in range(periods):
        pieces: list[Piece] = []
        at, shift = k * length, (_meets(duty, k * length, length) - converter.switch.duty) * length
        for gate, duration in _phases(circuit, shift):
            x, _, _ = phase(circuit, gate, x, at, duration, pieces)
            at += duration
        yield pieces, x


def _meets(duty: Callable[[float], float], start: float, length: float) -> float:
    """The share of the period at which the ramp meets the duty of that very instant."""
    from scipy.optimize import brentq

    for value in (duty(start), duty(start + length)):
        if not 0 < value < 1:
            raise ValueError(f"duty = {value:.4g} in the period from {show(start, 's')} must stay between 0 and 1")
    return brentq(lambda part: part - duty(start + part * length), 0.0, 1.0, xtol=1e-15, rtol=1e-14)


def injected(converter: Converter, periods_per_cycle: int, size: float = 1e-4, of: str = "v_out", cycles: int = TURNS) -> complex:
    """The same by brute force, to the duty: duty + size sin(2 pi f t) with f = f_sw / periods_per_cycle, run period by period until a
    whole cycle brings the state back, then the Fourier integral of the output over that cycle. A finite `size` bends the answer by about
    its square; with 3 periods a cycle by about `size` itself, because there the disturbance's second harmonic folds back onto f.

    Raises ValueError for periods or cycles that are no whole numbers, for a size that is not above 0 or lets the duty leave 0..1, and
    where the cycle does not close within `cycles`.
    """
    _check(converter, of, "duty")
    guard("periods_per_cycle", periods_per_cycle, 3, why="two periods a cycle are half the switching frequency")
    periods_per_cycle, cycles = whole(periods_per_cycle, "periods_per_cycle"), whole(cycles, "cycles")
    guard("size", size, 0, open_low=True, why="nothing is seen of a disturbance that is none")
    _, pieces, length = periodic(converter)
    duty = sum(p.duration for p in pieces if p.mode.kind.switch == "closed") / length
    if not size < min(duty, 1 - duty):
        raise ValueError(f"size = {size:.4g} must be below {min(duty, 1 - duty):.4g}: the duty would leave 0 to 1")
    circuit, w = Circuit(converter.change(duty=duty)), 2 * math.pi / (periods_per_cycle * length)
    x = pieces[0].state
    for _ in range(cycles):
        run: list[Piece] = []
        end, carry = x, np.eye(circuit.n)
        for period, after in course(circuit.converter, lambda t: duty + size * math.sin(w * t), periods_per_cycle, x):
            run += period
            end, carry = after, disturbance(circuit, period, True) @ carry
        step = np.linalg.lstsq(np.eye(circuit.n) - carry, np.subtract(end, x))[0]
        x = tuple((np.array(x) + step).tolist())
        if np.max(np.abs(step)) <= 1e-12 * np.max(np.abs(x)):
            return _fourier(run, of, w) * 2 / (periods_per_cycle * length) / (-1j * size)
    raise ValueError(f"size = {size:.4g}: the disturbed converter does not come back to itself within {cycles} cycles; take less")


def _phases(circuit: Circuit, shift: float) -> list[tuple[str, float]]:
    """The phases of a clocked period with the switch closed for `shift` longer, the last long one for as much shorter."""
    plan = clock_phases(circuit)
    driven = 1 if circuit.p.rectifier == "diode" or len(plan) == 2 else 2
    return [(gate, duration + shift * ((k == 0) - (k == driven))) for k, (gate, duration) in enumerate(plan)]


def _fourier(pieces: list[Piece], of: str, w: float) -> complex:
    """The integral of the output times exp(-j w t), by Gauss's quadrature on stretches of each piece."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    total = 0j
    for piece in pieces:
        cuts = np.linspace(0, piece.duration, 9)
        for low, high in pairwise(cuts):
            t = (low + high) / 2 + nodes * (high - low) / 2
            row = piece.mode.rows[of]
            value = np.array(row[:-1]) @ piece.mode.flow.path(piece.state, t) + row[-1]
            total += np.sum(weights * value * np.exp(-1j * w * (piece.start + t))) * (high - low) / 2
    return complex(total)
