"""The overshoot of the switch node, and the resistor and capacitor across the switch (an RC snubber) that tame it.

    bare = ringing(l_stray=12e-9, c_node=220e-12, i_peak=2.4, v_out=18.0)
    snub = size(l_stray=12e-9, c_node=220e-12, v_out=18.0, i_peak=2.4, f_sw=150e3, voltage_limit=27.0)

The formulas (`derivations/damping`) tell what to expect; sizes are found and judged on the exact circuit of node and snubber:
a steady coil current, a steady output voltage behind the stray inductance, an ideal rectifier, a switch that opens at once.
A real switch opens more slowly, so a real peak is lower.

Safety: the node carries the output voltage and its overshoot; above 60 V it can kill. The snubber's resistor gets hot and its
capacitor stays charged. Measure the ringing with a probe rated for it and a short ground lead; local codes and licensed
practice come first.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from functools import cache, cached_property
from math import inf, pi, sqrt

import numpy as np

from ..circuit.flow import Flow
from ..derivations import damping
from ..derivations import ringing as coil_ringing
from ..units import guard, show
from .capacitor_choice import preferred_between

V_NODE, V_SNUBBER = (1.0, 0.0, 0.0, 0.0), (0.0, 1.0, 0.0, 0.0)
LARGEST_RATIO = 30.0  # of the snubber's capacitance to the node's; beyond it, slow the edge or shorten the loop


@dataclass(frozen=True)
class Ringing:
    """What a node does without a snubber: highest voltage (V), frequency (Hz) and characteristic impedance (Ω)."""

    event: str
    peak: float
    frequency: float
    impedance: float


def ringing(l_stray, c_node, i_peak, v_out, event="opening") -> Ringing:
    """The ringing of stray inductance and capacitance without damping, by formula.

    Args: l_stray H, the loop of switch, rectifier and output capacitor; c_node F, the capacitance that rings; v_out V.
    event "opening": the switch opens i_peak (A), and the peak is across the switch. event "recovery": i_peak is the reverse
    current at which the rectifier stops, c_node the rectifier's capacitance, and the peak is across the rectifier.
    Errors: ValueError.
    """
    _guard(l_stray, c_node, i_peak, v_out)
    if event == "opening":
        peak = v_out + damping.node_overshoot().formula(i_start=i_peak, l_stray=l_stray, c_stray=c_node)
    elif event == "recovery":  # the output drives the loop as a source drives a coil into its stray capacitance
        peak = coil_ringing.kick_into_capacitance().formula(v_in=v_out, i_start=i_peak, inductance=l_stray, c_stray=c_node)
    else:
        raise ValueError(f"event = {event!r} must be 'opening' (of the switch) or 'recovery' (of the rectifier)")
    frequency = coil_ringing.ringing_frequency().formula(inductance=l_stray, c_stray=c_node)
    return Ringing(event, float(peak), float(frequency), float(damping.node_impedance().formula(l_stray=l_stray, c_stray=c_node)))


@dataclass(frozen=True)
class Node:
    """The switch node with its snubber, SI units. States of the circuit: node voltage, snubber capacitor's voltage, current of
    the rectifier's loop."""

    l_stray: float
    c_node: float
    i_peak: float
    v_out: float
    resistance: float
    capacitance: float

    def flow(self, conducting: bool) -> Flow:
        """The circuit while the rectifier conducts, or while it does not and its current stays where it is."""
        c, g = self.c_node, 1 / self.resistance
        on = 1.0 if conducting else 0.0
        a = [[-g / c, g / c, -on / c], [g / self.capacitance, -g / self.capacitance, 0.0], [on / self.l_stray, 0.0, 0.0]]
        b = [self.i_peak / c, 0.0, -on * self.v_out / self.l_stray]
        return Flow(a, b, (self.v_out, self.v_out, self.i_peak))

    @cached_property
    def damping(self) -> float:
        """Of the slowest-fading oscillation: 0 rings for ever, 1 does not ring; from the eigenvalues of the circuit."""
        speeds = np.linalg.eigvals(self.flow(True).a)
        swings = speeds[np.abs(speeds.imag) > 1e-9 * np.abs(speeds)]
        return float(np.min(-swings.real / np.abs(swings), initial=1.0))


@dataclass(frozen=True)
class Course:
    """What the node did from the opening of the switch until it was quiet.

    peak V and peak_at s; heat J: what the resistor took. `parts`: (flow, start s, state, duration s, whether the rectifier
    conducts), the rise and what follows.
    """

    node: Node
    parts: tuple[tuple, ...]
    peak: float
    peak_at: float
    heat: float

    def waveforms(self, n: int = 400) -> dict[str, np.ndarray]:
        """`time`, `v_node`, `v_snubber`, `i_loop`, arrays of one length, about n; SI units."""
        end = self.parts[-1][1] + self.parts[-1][3]
        pieces = []
        for flow, start, state, duration, _ in self.parts:
            times = np.linspace(0, duration, max(2, round(n * duration / end)))
            pieces.append(np.vstack([start + times, flow.path(state, times)]))
        return dict(zip(("time", "v_node", "v_snubber", "i_loop"), np.hstack(pieces), strict=True))


def course(l_stray, c_node, v_out, i_peak, resistance, capacitance) -> Course:
    """The exact course of the node with a snubber, from the moment the switch opens. Args in SI units; errors: ValueError."""
    _guard(l_stray, c_node, i_peak, v_out)
    guard("resistance", resistance, 0, unit="Ω", open_low=True)
    guard("capacitance", capacitance, 0, unit="F", open_low=True)
    node = Node(*map(float, (l_stray, c_node, i_peak, v_out, resistance, capacitance)))
    parts = _walk(node)
    peak, peak_at = max(_highest(part) for part in parts)
    return Course(node, parts, peak, peak_at, sum(_heat(node, part) for part in parts))


def _walk(node: Node) -> tuple[tuple, tuple]:
    """The node rises until it passes the output; then the rectifier takes over, and its current never comes back to zero: the
    coil current stays, and the snubber only ever takes less of it."""
    all_c = node.c_node + node.capacitance
    longest = 1.001 * all_c * node.v_out / node.i_peak  # by then the charge has lifted the node past the output
    quiet = 6 * pi * sqrt(node.l_stray * all_c) + 6 * node.resistance * node.capacitance
    off, on, start = node.flow(False), node.flow(True), (0.0, 0.0, 0.0)
    rise = off.first_fall((-1.0, 0.0, 0.0, node.v_out), start, longest, off.advance(start, longest))
    v, v_c, _ = off.advance(start, rise)
    return (off, 0.0, start, rise, False), (on, rise, (v, v_c, 0.0), quiet, True)


def _highest(part) -> tuple[float, float]:
    flow, start, state, duration, _ = part
    times = [0.0, *flow.extremes(V_NODE, state, duration), duration]
    return max((flow.value(V_NODE, flow.advance(state, t)), start + t) for t in times)


def _heat(node: Node, part) -> float:
    """What the resistor takes in one part: the integral of the square of the voltage across it, over resistance."""
    flow, _, state, duration, _ = part
    across = np.subtract(V_NODE, V_SNUBBER)
    return float(across @ flow.moments(state, duration) @ across) / node.resistance


@dataclass(frozen=True)
class Snubber:
    """A resistor and a capacitor in series, across the switch.

    resistance Ω (inf: none is needed), capacitance F, as preferred values of IEC 60063. loss W, of capacitor and ringing in
    each period, by formula; resistor_heat W, on the exact circuit. peak_bare, peak V: across the switch without and with it.
    frequency_bare Hz. damping: 0 to 1, see `Node.damping`. met: whether the peak stays within the limit. why: in words.
    """

    resistance: float
    capacitance: float
    loss: float
    resistor_heat: float
    peak_bare: float
    peak: float
    frequency_bare: float
    damping: float
    met: bool
    why: tuple[str, ...]


def size(l_stray, c_node, v_out, i_peak, f_sw, voltage_limit) -> Snubber:
    """The smallest snubber, in preferred values, that keeps the switch below a voltage.

    Args: l_stray H, c_node F, v_out V, i_peak A (what the switch opens), f_sw Hz; voltage_limit V: the switch's rating less the
    margin you keep. Where no such snubber does it, the best one comes back with `met` False. Errors: ValueError.
    """
    bare = ringing(l_stray, c_node, i_peak, v_out)
    guard("f_sw", f_sw, 0, unit="Hz", open_low=True)
    guard("voltage_limit", voltage_limit, v_out, unit="V", open_low=True, why="the switch bears the output voltage in any case")
    if bare.peak <= voltage_limit:
        why = f"the peak of {show(bare.peak, 'V')} without a snubber is within {show(voltage_limit, 'V')}"
        return Snubber(inf, 0.0, 0.0, 0.0, bare.peak, bare.peak, bare.frequency, 0.0, True, (why,))

    sizes = preferred_between(c_node, LARGEST_RATIO * c_node, "E6")

    @cache
    def best(capacitance) -> Course:
        tried = preferred_between(bare.impedance / 3, 3 * bare.impedance, "E12")
        return min((course(l_stray, c_node, v_out, i_peak, r, capacitance) for r in tried), key=lambda c: c.peak)

    first = bisect_left(sizes, True, key=lambda c: best(c).peak <= voltage_limit)  # more capacitance never raises the lowest peak
    return _snubber(best(sizes[min(first, len(sizes) - 1)]), bare, f_sw, voltage_limit)


def _snubber(found: Course, bare: Ringing, f_sw: float, limit: float) -> Snubber:
    node, met = found.node, found.peak <= limit
    loss = float(damping.snubber_loss().formula(c_snubber=node.capacitance, v_out=node.v_out, f_sw=f_sw))
    heat = f_sw * (found.heat + node.capacitance * node.v_out**2 / 2)  # on closing, the capacitor empties through the resistor
    why = (
        f"without it the node rings at {show(bare.frequency, 'Hz')} up to {show(bare.peak, 'V')}",
        f"{show(node.resistance, 'Ω')} and {show(node.capacitance, 'F')} bring the peak to {show(found.peak, 'V')} "
        f"({'within' if met else 'still above'} {show(limit, 'V')}) and cost {show(loss, 'W')}",
        "the smallest capacitor that does it, with the resistor that serves it best" if met else
        "shorten the loop of switch, rectifier and output capacitor, open the switch more slowly, or take one of higher voltage",
    )  # fmt: skip
    return Snubber(node.resistance, node.capacitance, loss, heat, bare.peak, found.peak, bare.frequency, node.damping, met, why)


def _guard(l_stray, c_node, i_peak, v_out) -> None:
    for name, value, unit in (("l_stray", l_stray, "H"), ("c_node", c_node, "F"), ("i_peak", i_peak, "A"), ("v_out", v_out, "V")):
        guard(name, value, 0, unit=unit, open_low=True)
