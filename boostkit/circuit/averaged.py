"""The averaged model: what the switched circuit does to slow, small changes, as linear systems with all of its losses.

In continuous conduction the modes of the steady state are averaged by the share of the period that each lasts. In discontinuous
conduction the current starts every period from nothing: one slow pole of the output, and a fast pole and a right-half-plane zero from
the time by which the rectifier's charge comes after the opening (Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed.,
sec. 7.3 and 15.3, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..units import guard
from . import switched
from .converter import Converter
from .linear import Linear
from .modes import Circuit, Kind, Piece
from .ports import Port, Ports
from .results import SteadyState
from .variation import Variation, opening

REAL = 1e-6  # share of its size below which a root's imaginary part is rounding


@dataclass(frozen=True, eq=False)
class Averaged:
    """A converter for slow, small changes about its operating point.

    `state`: mean inductor current, capacitor voltage, and with an input capacitor its voltage (V), with a source inductance its
    current (A). `duty`: at the operating point. The system x' = a x + b u, y = c x + d u has the inputs control, source voltage, a
    current drawn from the output, and the outputs v_out, inductor current; its paths are the properties, each a `Linear`.
    The control is the duty, or after `current_mode` the control voltage (in continuous conduction the duty is then one state more).
    `opened`: the current at which the switch opens, as a row over states and inputs; `slope`: how fast it climbs there, A/s.
    Trust it well below half the switching frequency: `perturbed.response` is the exact answer beside it.
    """

    converter: Converter
    mode: str
    duty: float
    state: tuple[float, ...]
    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    d: np.ndarray
    opened: np.ndarray
    slope: float

    def path(self, output: int, given: int) -> Linear:
        """From input number `given` to output number `output`."""
        return Linear(self.a, self.b[:, given], self.c[output], self.d[output, given])

    @cached_property
    def control_to_output(self) -> Linear:
        """V of output a unit of control."""
        return self.path(0, 0)

    @cached_property
    def source_to_output(self) -> Linear:
        """V of output a V of source."""
        return self.path(0, 1)

    @cached_property
    def output_impedance(self) -> Linear:
        """Ω: by how much the output sags a A that is drawn from it."""
        return self.path(0, 2).scaled(-1.0)

    @cached_property
    def control_to_current(self) -> Linear:
        """A of mean inductor current a unit of control."""
        return self.path(1, 0)

    @cached_property
    def source_to_current(self) -> Linear:
        """A of mean inductor current a V of source."""
        return self.path(1, 1)

    @property
    def rhp_zero(self) -> float | None:
        """The slowest zero in the right half plane from control to output, Hz; None where there is none."""
        rising = [z.real for z in self.control_to_output.zeros if z.real > 0 and abs(z.imag) <= REAL * abs(z)]
        return min(rising) / (2 * math.pi) if rising else None

    @property
    def esr_zero(self) -> float | None:
        """The zero of the output capacitor with its series resistance, Hz; None without one."""
        p = self.converter.capacitor
        return 1 / (2 * math.pi * p.series_resistance * p.capacitance) if p.series_resistance else None

    @property
    def _ringing(self) -> complex | None:
        """The pole pair of coil and output capacitor: of those that ring, the nearest to D'/sqrt(L C)."""
        c, pairs = self.converter, [p for p in self.control_to_output.poles if p.imag > REAL * abs(p)]
        expected = math.log((1 - self.duty) / math.sqrt(c.inductor.inductance * c.capacitor.capacitance))
        return min(pairs, key=lambda p: abs(math.log(abs(p)) - expected), default=None)

    @property
    def resonance(self) -> float | None:
        """Frequency of the resonance of coil and output capacitor, Hz; None where it does not ring."""
        return abs(self._ringing) / (2 * math.pi) if self._ringing is not None else None

    @property
    def quality(self) -> float | None:
        """Q of that resonance; None where it does not ring, infinite without any loss."""
        p = self._ringing
        return None if p is None else abs(p) / (-2 * p.real) if p.real else math.inf


def model(converter: Converter) -> Averaged:
    """The averaged model of a converter at its own duty (or peak current) and load.

    All the circuit's losses, a second switch, a constant-current load, input capacitor and source inductance are in it; each change
    of the load current is one beside the load. What rings near the clock (an input filter too small) is not slow, and the model is
    then several per cent out already at a tenth of the clock. Raises ValueError where there is no clock, or no steady state.
    """
    if converter.switch.frequency is None or converter.switch.drive == "two thresholds":
        raise ValueError("switch: without a clock there is no duty to average over; give switch.frequency")
    steady, circuit = switched.steady_state(converter), Circuit(converter)
    if steady.mode == "discontinuous":
        return _discontinuous(steady, circuit)
    return _continuous(steady, Ports(circuit))


def _continuous(steady: SteadyState, ports: Ports) -> Averaged:
    """State-space averaging: every mode by the share of the period that it lasts."""
    pieces, shares = steady.pieces, [piece.duration / steady.period for piece in steady.pieces]
    mean = Port(*(sum(w * part for w, part in zip(shares, parts, strict=True)) for parts in
                  zip(*(ports(piece.mode) for piece in pieces), strict=True)))  # fmt: skip
    x = np.linalg.solve(mean.a, -mean.b)
    before, after = _sides(pieces, ports)
    b = np.column_stack([(before.a - after.a) @ x + before.b - after.b, mean.inputs])
    offset = steady.period * steady.duty * (1 - steady.duty) / 2  # from the line of its mean to the corner of a current
    bend = np.concatenate([(before.a - after.a)[0], [0.0], (before.inputs - after.inputs)[0]])
    opened = np.eye(1, len(x) + 3)[0] + offset * bend - steady.period / 2 * b[0, 0] * np.eye(len(x) + 3)[len(x)]
    d = np.column_stack([(before.c - after.c) @ x + before.e - after.e, mean.through])
    return Averaged(steady.converter, steady.mode, steady.duty, tuple(x.tolist()), mean.a, b, mean.c, d, opened, _climb(steady))


def _sides(pieces: tuple[Piece, ...], ports: Ports) -> tuple[Port, Port]:
    """The modes that a longer duty lengthens and shortens (a dead time between them only moves)."""
    k = opening(pieces)
    if k is None:
        stretch = pieces[0].mode.kind.stretch
        return ports(ports.circuit.mode(Kind("closed", "off", True, stretch))), ports(pieces[0].mode)
    driven = [p for p in pieces[k + 1:] if p.mode.kind.rectifier == "channel"]
    return ports(pieces[k].mode), ports((driven or pieces[k + 1:])[0].mode)


def _climb(steady: SteadyState) -> float:
    """How fast the inductor current climbs where the switch opens, A/s."""
    k = opening(steady.pieces)
    piece = steady.pieces[k or 0]
    return float(piece.mode.flow.rate(piece.end_state)[0])


def _discontinuous(steady: SteadyState, circuit: Circuit) -> Averaged:
    """Two poles. While all is slow, mean current, charge and output follow the derivative of one period, over the mean slow states w
    and the inputs. The charge before the opening answers at once; the charge after it, t2 long, on average t2/2 later: the mean
    current lags behind its slow value by that time, and the rectifier's share of each mean with it.
    """
    n, pieces = circuit.n, steady.pieces
    whole = Variation(circuit, pieces, steady.period, np.zeros(1))
    mean, end = whole.mean[0].real, whole.end[0].real
    over = np.vstack([mean[1:n, 1:], np.eye(3, n + 2, n - 1)])  # mean slow states and inputs, over the start's and the inputs
    back = np.linalg.inv(over)
    slow_current, slow_output = mean[0, 1:] @ back, mean[n, 1:] @ back
    if not circuit.p.r_capacitor:  # the output is the capacitor's voltage itself, not to rounding only
        slow_output = np.eye(1, n + 2)[0]
    slow_rates = (end[1:, 1:] - np.eye(n - 1, n + 2)) @ back / steady.period

    running = [piece for piece in pieces[whole.opens + 1:] if piece.mode.kind.rectifier != "off"]
    lag, port = sum(piece.duration for piece in running) / 2, whole.ports(max(running, key=lambda piece: piece.duration).mode)
    behind = np.append(1.0, -slow_current)  # how far the mean current is ahead of its slow value
    rates = np.vstack([-behind / lag, np.column_stack([np.zeros(n - 1), slow_rates]) + np.outer(port.a[1:, 0], behind)])
    out = np.vstack([np.append(0.0, slow_output) + port.c[0, 0] * behind, np.eye(1, n + 3)[0]])
    x = sum(piece.mode.flow.moments(piece.state, piece.duration)[:-1, -1] for piece in pieces) / steady.period
    return Averaged(steady.converter, steady.mode, steady.duty, tuple(x.tolist()), rates[:, :n], rates[:, n:], out[:, :n], out[:, n:],
                    np.append(0.0, whole.opened[0].real[0, 1:] @ back), _climb(steady))


def current_mode(model: Averaged, converter: Converter, sense: float, slope: float) -> Averaged:
    """The same converter with the inner loop of a peak-current regulator closed: the control is now the voltage y (V).

    The switch opens where sense (Ω) times (current + slope (A/s) times the time since the clock) reaches y. The law of the duty holds
    the current's mean against its peak, with source and output voltage in it (Erickson & Maksimovic, Fundamentals of Power
    Electronics, 3rd ed., sec. 18.3, from memory); in continuous conduction the current is also sampled once a period, which shows
    as a resonance at half the switching frequency with Q = (2/pi)/(1 - 2 D + 2 D slope/falling slope) (same book, sec. 18.6).
    Raises ValueError where `converter` is not the model's, `sense` is not above 0, or `slope` is negative.
    """
    guard("sense", sense, 0, unit="Ω", open_low=True)
    guard("slope", slope, 0, unit="A/s")
    if converter != model.converter:
        raise ValueError("converter is not the one that the averaged model was made of")
    n = len(model.state)
    others = np.arange(n + 3) != n  # the columns beside the duty
    law = np.eye(n + 3)[n] / sense - model.opened * others  # over (x; y, v_in, i_out): what is left for the duty to meet
    share = (model.slope + slope) * converter.t_sw + model.opened[n]  # of what the duty itself changes at the opening
    system = np.vstack([np.hstack([model.a, model.b]), np.hstack([model.c, model.d])])
    if model.mode == "discontinuous":
        closed = system * others + np.outer(system[:, n], law / share)
        return replace(model, a=closed[:n, :n], b=closed[:n, n:], c=closed[n:, :n], d=closed[n:, n:])
    return _sampled(model, system, law, share)


def _sampled(model: Averaged, system: np.ndarray, law: np.ndarray, share: float) -> Averaged:
    """The loop of a sampled current: beside its mean a sample has (s T / pi)^2 of it, so the duty's own rate, one state more, enters."""
    n, weight = len(model.state), (model.converter.t_sw / math.pi) ** 2
    bend = weight * model.a[0] @ system[:n]  # of the current, without the duty's rate
    duty = np.insert(law - bend * (np.arange(n + 3) != n), n, -share - bend[n]) / (weight * model.b[0, 0])
    wide = np.insert(system, n + 1, 0.0, axis=1)  # over (x, duty; y, v_in, i_out)
    a, c, m = np.vstack([wide[:n], duty]), wide[n:], n + 1
    return replace(model, state=(*model.state, model.duty), a=a[:, :m], b=a[:, m:], c=c[:, :m], d=c[:, m:])
