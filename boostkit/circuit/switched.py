"""The exact judge: periodic solutions, switch-on and steps of the switched circuit, without any approximation.

    steady_state(converter)                the periodic solution and its summary
    steady_states(converter, duty=array)   many at once
    from_rest(converter, periods)          from empty capacitors and no current
    after_step(before, after, periods)     from the steady state of one converter on with another
    duty_for(converter, v_out)             the duty that gives an output
"""

from __future__ import annotations

from functools import cache

import numpy as np

from ..units import guard, show
from . import many
from .converter import Converter
from .many import SteadyStates
from .modes import Circuit
from .periodic import periodic
from .results import SUMMARIES, SteadyState, Summary
from .transients import after_step, from_rest
from .walk import disturbance

__all__ = ["after_step", "duty_for", "from_rest", "steady_state", "steady_states"]

NEARBY = 0.02  # of a duty, or of what is left of the period: how far to look on either side of a guess


def steady_state(converter: Converter) -> SteadyState:
    """The exact periodic solution of a converter, in either conduction mode and for any of its drives.

    Raises ValueError, with the values, where there is none (no load to take the energy, a constant-current load beyond
    what the losses let through, a switch that never opens again) or none is found.
    """
    circuit, pieces, length = periodic(converter)
    moments = [piece.mode.flow.moments(piece.state, piece.duration) for piece in pieces]
    closed = sum(piece.duration for piece in pieces if piece.mode.kind.switch == "closed")
    resting = [piece for piece in pieces if piece.mode.kind.switch == "open" and piece.mode.kind.rectifier == "off"]
    clocked = converter.switch.drive != "two thresholds"
    first = min((piece.start for piece in resting), default=length)
    return SteadyState(
        converter=converter,
        mode="discontinuous" if resting else "continuous",
        period=length,
        duty=closed / length,
        conduction_end=first / length,
        **{name: summary(pieces, moments, quantity, length) for name, quantity in SUMMARIES.items()},
        **_powers(circuit, pieces, moments, length),
        multipliers=tuple(np.linalg.eigvals(disturbance(circuit, list(pieces), clocked)).tolist()),
        pieces=pieces,
    )


def steady_states(converter: Converter, **letters) -> SteadyStates:
    """Many at once: `converter` with some letters replaced by arrays, `steady_states(c, duty=np.linspace(0.1, 0.9, 81))`.

    Arrays broadcast to one shape (N,). An entry without a steady state is nan and `refused` says why.
    """
    return many.steady_states(converter, steady_state, **letters)


def summary(pieces, moments, quantity: str, length: float) -> Summary:
    """Mean, rms and extremes of one quantity, each where it lies."""
    mean = square = 0.0
    values = []
    for piece, m in zip(pieces, moments, strict=True):
        row, flow = piece.mode.rows[quantity], piece.mode.flow
        r = np.array(row)
        mean += r @ m[:, -1]
        square += r @ m @ r
        times = flow.extremes(row, piece.state, piece.duration)
        values += [flow.value(row, flow.advance(piece.state, t)) for t in (0.0, *times, piece.duration)]
    return Summary(float(mean / length), min(values), max(values), float(np.sqrt(max(square, 0.0) / length)))


def _powers(circuit: Circuit, pieces, moments, length: float) -> dict:
    """Input power at the electromotive force, output power and the losses by part, W: integrals of products of rows."""
    p = circuit.p

    def mean(first: str, second: str) -> float:
        return float(sum(
            np.array(piece.mode.rows[first]) @ m @ np.array(piece.mode.rows[second])
            for piece, m in zip(pieces, moments, strict=True)
        ) / length)  # fmt: skip

    charge = sum(np.array(piece.mode.rows["i_source"]) @ m[:, -1] for piece, m in zip(pieces, moments, strict=True))
    losses = {
        "inductor": p.r_inductor * mean("i_inductor", "i_inductor"),
        "switch": mean("v_switch", "i_switch"),
        "rectifier": mean("v_rectifier", "i_rectifier"),
        "capacitor": p.r_capacitor * mean("i_capacitor", "i_capacitor"),
    }
    if p.r_source:
        losses["source"] = p.r_source * mean("i_source", "i_source")
    if p.c_input is not None:
        losses["input_capacitor"] = p.r_input_capacitor * mean("i_input_capacitor", "i_input_capacitor")
    return {"input_power": float(p.v_in * charge / length), "output_power": mean("v_out", "i_load"), "losses": losses}


def duty_for(converter: Converter, v_out: float, near: float | None = None) -> float:
    """The duty, on the branch below the gain's peak, at which the mean output of this (lossy) converter is `v_out` (V).

    Judged by the output that it returns: at the peak the duty itself is ill-conditioned. `near`: a duty close by (left out: the
    converter's own); where it is close the search is quicker, and ends at the same. Raises ValueError naming the lowest and the highest
    output within reach.
    """
    from scipy.optimize import brentq

    guard("v_out", v_out, 0, unit="V", open_low=True)

    circuit = None

    @cache  # the search comes back to the ends of its bracket
    def output(duty: float) -> float:
        nonlocal circuit
        try:
            circuit, pieces, length = periodic(converter.change(duty=duty), circuit)
        except ValueError as trouble:
            if "collapse" not in str(trouble):
                raise
            return 0.0  # beyond what a constant-current load lets through
        return sum(
            np.array(piece.mode.rows["v_out"]) @ piece.mode.flow.moments(piece.state, piece.duration)[:, -1] for piece in pieces
        ) / length

    near = converter.switch.duty if near is None else near
    if near is not None:
        low, high = (1 - NEARBY) * near, near + NEARBY * (1 - near)
        if output(low) < v_out <= output(high):  # the gain has one peak: where it passes v_out upwards is the branch below it
            return float(brentq(lambda duty: output(duty) - v_out, low, high, xtol=1e-15, rtol=1e-14))
    duties = np.concatenate([np.linspace(0.0, 0.9, 19), 1 - np.geomspace(0.08, 1e-5, 24)]).tolist()
    outputs = []
    for duty in duties:
        outputs.append(output(duty))
        if outputs[-1] >= v_out > outputs[0] or outputs[-1] < 0.5 * max(outputs):
            break
    k = int(np.argmax(outputs))
    top_duty, top = duties[k], outputs[k]
    if not outputs[0] <= v_out <= top:
        top_duty, top = _peak(output, duties[max(k - 1, 0)], duties[min(k + 1, len(outputs) - 1)])
    if abs(v_out - outputs[0]) <= 1e-12 * v_out:
        return 0.0
    if not outputs[0] <= v_out <= top:
        raise ValueError(f"v_out = {show(v_out, 'V', 4)} is out of reach: with these parts the mean output goes from "
                         f"{show(outputs[0], 'V', 4)} (duty 0) to {show(top, 'V', 4)} (duty {top_duty:.4g})")
    return float(brentq(lambda duty: output(duty) - v_out, 0.0, top_duty, xtol=1e-15, rtol=1e-14))


def _peak(output, low: float, high: float) -> tuple[float, float]:
    """The largest output between two duties, and its duty."""
    from scipy.optimize import minimize_scalar

    found = minimize_scalar(lambda duty: -output(duty), bounds=(low, high), method="bounded", options={"xatol": 1e-10})
    return float(found.x), -float(found.fun)
