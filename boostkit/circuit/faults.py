"""Switch-on and faults, exactly: what the circuit itself does when something goes wrong, and how long there is to act.

Each function changes what the fault changes, and follows the modes of the circuit event by event. Nothing here regulates.

Safety: these are currents and voltages that burn leads, burst capacitors and kill. A battery or a charged capacitor gives
hundreds of amperes into a short; a coil holds no voltage and makes any. Try nothing of this on the bench without a fuse, a
cover and the output discharged and measured; local codes and licensed practice come first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from ..units import guard, quoted, show
from . import switched
from .converter import Converter
from .modes import Circuit, Piece
from .periodic import periodic
from .results import Extreme, Waveforms, sample
from .walk import period, phase

TIME_CONSTANTS = 6  # of coil and resistance that a fault is followed for, where nobody says how long
SWINGS = 4  # half swings of coil and capacitor, likewise
DIODE = 0.4  # V that the diode takes which carries the coil current on behind an opened series switch; invented
SHORT = 1e-3  # Ω of a short across the output; invented
FIRST = -1e-300  # A: which diode carries the current is told by its sign, even where it has hardly begun
CAUTIONS = {
    "inrush": "Switch-on sends this current through source, leads, coil and rectifier, whatever the controller does. Keep hands off "
              "connectors while plugging in: contacts spark and weld.",
    "short": "The switch cannot open this path: source, coil and rectifier burn until a fuse or a series switch in the source lead "
             "opens. Never short the output to see what happens: a battery can burst, and the output capacitor alone gives an arc.",
    "runaway": "Without feedback the output climbs until something breaks: capacitors vent and burst, and above 60 V direct current can "
               "kill. Cover the converter, stand clear, and measure the output before touching it.",
    "reversed": "A reversed source burns through the body diode of the switch and the coil until a fuse opens, and a reversed "
                "electrolytic capacitor vents. Mark the polarity, and fit the fuse at the battery.",
    "load dump": "A surge on the source passes straight through coil and rectifier to the output. On a vehicle or a boat it can reach "
                 "many times the battery voltage: take the size from the standard that applies to the installation.",
    "load lost": "What is left in the coil goes into the output capacitor, which stays charged: discharge and measure before touching.",
}  # fmt: skip


@dataclass(frozen=True)
class Fault:
    """The exact course of a fault.

    what: its name. converter: the circuit as the fault leaves it. pieces: the course. caution: what it can do to people. before: the
    piece that ended where the fault came, None where it begins at rest.
    `waveforms(n)` samples it; `extreme(quantity)` is of any quantity of Waveforms; `joule_integral(quantity, until)` is the integral
    of its square (A²s), which heats a fuse; `reaches(quantity, value)` is the first instant (s) at which a quantity has come to a value
    or jumped past it, from where it was before the fault; None where it never gets there.
    """

    what: str
    converter: Converter
    pieces: tuple[Piece, ...]
    caution: str
    before: Piece | None = None

    @property
    def duration(self) -> float:
        """How long it was followed, s."""
        return self.pieces[-1].start + self.pieces[-1].duration

    @cached_property
    def output_voltage(self) -> Extreme:
        """Lowest and highest output voltage, V, and when, s."""
        return self.extreme("v_out")

    @cached_property
    def inductor_current(self) -> Extreme:
        """Lowest and highest current of the coil, A, and when, s."""
        return self.extreme("i_inductor")

    def waveforms(self, n: int = 1000) -> Waveforms:
        """About n samples, at least two a piece."""
        return sample(self.pieces, n)

    def extreme(self, quantity: str) -> Extreme:
        """Lowest and highest value of a quantity and when they were reached."""
        found = []
        for piece in self.pieces:
            row, flow = _row(piece, quantity), piece.mode.flow
            times = (0.0, *flow.extremes(row, piece.state, piece.duration), piece.duration)
            found += [(flow.value(row, flow.advance(piece.state, t) if t else piece.state), piece.start + t) for t in times]
        (low, low_at), (high, high_at) = min(found), max(found)
        return Extreme(low, low_at, high, high_at)

    def joule_integral(self, quantity: str = "i_source", until: float = math.inf) -> float:
        """Integral of the square of a current from the start, A²s: what heats a fuse or a bond wire; integrated exactly."""
        total = 0.0
        for piece in self.pieces:
            span = min(piece.duration, until - piece.start)
            if span > 0:
                row = np.array(_row(piece, quantity))
                total += float(row @ piece.mode.flow.moments(piece.state, span) @ row)
        return total

    def reaches(self, quantity: str, value: float) -> float | None:
        """When a quantity first comes to a value or jumps past it, s; None where it does not."""
        begin, first = self.before, self.pieces[0]
        was = first.mode.flow.value(_row(first, quantity), first.state) if begin is None else (
            begin.mode.flow.value(_row(begin, quantity), begin.end_state))  # fmt: skip
        sign = 1.0 if was < guard("value", value) else -1.0
        passed = (_passes(piece, quantity, value, sign) for piece in self.pieces)
        return next((piece.start + t for piece, t in zip(self.pieces, passed, strict=True) if t is not None), None)


def inrush(converter: Converter, duration: float | None = None) -> Fault:
    """Switch-on with every capacitor empty, the switch never closing: what no duty can prevent. `duration` s; by default until the
    swing has died down."""
    circuit = Circuit(converter)
    return _open(circuit, (0.0,) * circuit.n, converter, _settled(circuit) if duration is None else duration, "inrush")


def shorted(converter: Converter, r_short: float = SHORT, *, stopped: bool = True, duration: float | None = None) -> Fault:
    """The output shorted by `r_short` Ω out of the steady state, at the instant at which the switch opens: the coil current is at its
    highest then. `stopped`: the controller opens the switch for good; else it goes on as before. The path through coil and rectifier
    carries current all the same."""
    guard("r_short", r_short, 0, unit="Ω", open_low=True)
    after = converter.change(r_load=r_short)
    circuit, begin = Circuit(after), _at_opening(converter)
    duration = _settled(circuit) if duration is None else duration
    if stopped:
        return _open(circuit, begin, after, duration, "short")
    pieces, _, _ = _driven(circuit, begin.end_state, duration)
    return Fault("short", after, tuple(pieces), CAUTIONS["short"], begin)


def unregulated(
    converter: Converter, periods: int, *, duty: float | None = None, i_limit: float | None = None, loaded: bool = True,
    cut_off: float | None = None,
) -> Fault:  # fmt: skip
    """The feedback path breaks in the steady state: the regulator sees no output and drives as hard as it may.

    `duty`: the largest it can give, or `i_limit` A: it opens the switch at its current limit, each period; a second switch as
    rectifier is then taken as its body diode. `loaded`: whether the load stays. `cut_off` V: a second comparator, with a path of its
    own, keeps the switch open from there on; what the output still rises is the coil's energy. Followed for `periods` (1 or more) of
    the clock."""
    guard("periods", periods, 1)
    if cut_off is not None:
        guard("cut_off", cut_off, 0, unit="V", open_low=True)
    if (duty is None) == (i_limit is None):
        raise ValueError("unregulated needs the largest duty or the current limit i_limit: one of the two")
    after = converter.change(duty=duty) if i_limit is None else undriven(converter).change(peak_current=i_limit)
    after = after if loaded else after.change(i_out=0.0)
    circuit = Circuit(after)
    _, rest, _ = periodic(converter)
    length = periods / converter.switch.frequency
    pieces, x, spent = _driven(circuit, rest[0].state, length, cut_off)
    if spent < length:
        phase(circuit, "open", x, spent, length - spent, pieces)
    return Fault("runaway", after, tuple(pieces), CAUTIONS["runaway"], rest[-1])


def reversed_source(converter: Converter, duration: float | None = None, *, v_charged: float = 0.0) -> Fault:
    """The source connected the wrong way round: coil and body diode of the switch carry the current, which is negative here.

    The controller is off. `v_charged` V: what the output capacitor held before. An input capacitor is left out: it takes the
    reversed voltage at once, and a polarised one vents."""
    after = converter.change(c_input=None, r_input_capacitor=None, l_source=None) if converter.input_capacitor else converter
    circuit = Circuit(after)
    circuit.p.v_in = -after.source.voltage
    if after.source.voltage <= circuit.p.v_switch_body:
        raise ValueError(f"v_in = {show(after.source.voltage, 'V')} does not open the body diode of the switch, "
                         f"{show(circuit.p.v_switch_body, 'V')}: reversed, it drives no current")
    begin = (FIRST, guard("v_charged", v_charged, 0, unit="V"))
    return _open(circuit, begin, after, _time_constants(circuit) if duration is None else duration, "reversed")


def load_dump(converter: Converter, v_surge: float, duration: float | None = None) -> Fault:
    """The source jumps to `v_surge` V out of the steady state and stays there; the controller opens the switch at that instant, with
    the coil current at its highest. The worst of any surge of that height: a real one fades."""
    guard("v_surge", v_surge, converter.source.voltage, unit="V", why="a surge lies above the source voltage")
    after = converter.change(v_in=v_surge)
    circuit = Circuit(after)
    return _open(circuit, _at_opening(converter), after, _settled(circuit) if duration is None else duration, "load dump")


def load_lost(converter: Converter, duration: float | None = None) -> Fault:
    """The load is taken away at the instant at which the switch opens, and the switch stays open: the coil's energy goes into the
    output capacitor."""
    after = converter.change(i_out=0.0)
    circuit = Circuit(after)
    return _open(circuit, _at_opening(converter), after, _settled(circuit) if duration is None else duration, "load lost")


def opened(fault: Fault, at: float, v_diode: float = DIODE) -> Fault:
    """The same fault, ended by a switch in the source lead; a diode from ground to the coil's source end carries the coil current on.

    `at`: when that switch opens, s, within the fault's own course. `v_diode`: forward voltage of the diode, V, 0 or more. The switch of
    the converter stays open from there on. Result: the Fault, as long as before; its source current is that of the diode then. Raises
    ValueError for an instant outside the course, for an input capacitor (it stands behind that switch and drives on) and for a source
    with inductance (nothing takes over the current of the leads here). Source: derived here.
    Example: `opened(shorted(converter), 4e-5)`."""
    guard("at", at, 0, fault.duration, unit="s", open_low=True, open_high=True, why="the fault is followed no farther")
    guard("v_diode", v_diode, 0, unit="V")
    if fault.converter.input_capacitor or fault.converter.source.inductance:
        raise ValueError("opened takes no input_capacitor and no source.inductance: both would carry current on past the opened switch")
    kept = [piece for piece in fault.pieces if piece.start < at]
    last = kept[-1]._replace(duration=at - kept[-1].start, ended_by=None)
    circuit = Circuit(fault.converter.change(r_source=0.0))
    circuit.p.v_in = -v_diode  # what is left in the loop: the diode in place of the source
    after: list[Piece] = [*kept[:-1], last]
    phase(circuit, "open", last.mode.flow.advance(last.state, last.duration), at, fault.duration - at, after)
    return replace(fault, pieces=tuple(after))


def tripped(fault: Fault, trip: float, delay: float = 0.0) -> tuple[float, Fault]:
    """A switch in the source lead that opens `delay` s (0 or more) after the coil current has come to `trip` A.

    Result: when it has opened, s, and the Fault that it ends (see `opened`). Raises ValueError where it does not open within the course
    of the fault, and what `opened` raises. Source: derived here. Example: `tripped(shorted(converter), 6.0, 5e-6)`."""
    seen = fault.reaches("i_inductor", trip)
    if seen is None or seen + guard("delay", delay, 0, unit="s") >= fault.duration:
        raise ValueError(f"trip = {show(trip, 'A')} and delay = {show(delay, 's')}: the switch does not open within the "
                         f"{show(fault.duration, 's')} that are followed")  # fmt: skip
    return seen + delay, opened(fault, seen + delay)


@dataclass(frozen=True)
class Starving:
    """A falling source, the output kept: arrays of the source voltage (V), the duty and the mean source current (A), nan where the
    output cannot be kept; `least`: the lowest of these voltages at which it can."""

    v_in: np.ndarray
    duty: np.ndarray
    i_source: np.ndarray

    @property
    def least(self) -> float | None:
        """The lowest source voltage here at which the output is kept, V; None where there is none."""
        kept = self.v_in[np.isfinite(self.duty)]
        return float(kept.min()) if kept.size else None


def starving(converter: Converter, v_out: float, voltages, most_duty: float = 1.0) -> Starving:
    """What a converter that keeps its output draws from a source of these electromotive forces (V): the less voltage, the more
    current. `most_duty` (0 to 1): beyond it the controller cannot go."""
    guard("v_out", v_out, 0, unit="V", open_low=True)
    guard("most_duty", most_duty, 0, 1)
    volts = np.asarray(voltages, float)
    if volts.ndim != 1:
        raise ValueError(f"voltages = {quoted(voltages)} must be a list of source voltages, V")
    for volt in volts.tolist():
        guard("each of voltages", volt, 0, unit="V", open_low=True)
    duties, currents = np.full((2, volts.size), math.nan)
    for k, v_in in enumerate(volts.tolist()):
        there = converter.change(v_in=v_in)
        try:
            duty = switched.duty_for(there, v_out, duties[k - 1] if k and math.isfinite(duties[k - 1]) else None)
        except ValueError:  # out of reach: the losses, or the source's own resistance, take too much
            continue
        if duty <= most_duty:
            duties[k], currents[k] = duty, switched.steady_state(there.change(duty=duty)).source_current.mean
    return Starving(volts, duties, currents)


def undriven(converter: Converter) -> Converter:
    """A second switch as rectifier replaced by its body diode; a diode stays as it is."""
    if converter.rectifier.kind == "diode":
        return converter
    return converter.change(rectifier=None, dead_time=None, v_rectifier_body=None, r_rectifier=None,
                            v_rectifier=converter.rectifier.body_diode_voltage)  # fmt: skip


def _open(circuit: Circuit, begin: Piece | tuple, after: Converter, duration: float, what: str) -> Fault:
    """The switch stays open from the end of this piece on, or from this state."""
    before = begin if isinstance(begin, Piece) else None
    pieces: list[Piece] = []
    phase(circuit, "open", before.end_state if before else begin, 0.0, guard("duration", duration, 0, unit="s", open_low=True), pieces)
    return Fault(what, after, tuple(pieces), CAUTIONS[what], before)


def _driven(circuit: Circuit, x: tuple, length: float, cut_off: float | None = None) -> tuple[list[Piece], tuple, float]:
    """The drive goes on for `length` s, or until the output comes to `cut_off`: pieces, the state there, and when."""
    pieces: list[Piece] = []
    spent = 0.0
    while spent < length * (1 - 1e-9):
        count = len(pieces)
        x, step = period(circuit, x, spent, pieces)
        spent += step
        for k in range(count, len(pieces)) if cut_off is not None else ():
            piece = pieces[k]
            t = _passes(piece, "v_out", cut_off)
            if t is not None:
                pieces[k:] = [piece._replace(duration=t, ended_by=None)] if t else []
                return pieces, piece.mode.flow.advance(piece.state, t), piece.start + t
    return pieces, x, spent


def _row(piece: Piece, quantity: str) -> tuple:
    """The row of a quantity in the mode of a piece."""
    if quantity not in piece.mode.rows:
        raise ValueError(f"quantity = {quoted(quantity)} must be one of {', '.join(piece.mode.rows)}")
    return piece.mode.rows[quantity]


def _passes(piece: Piece, quantity: str, value: float, sign: float = 1.0) -> float | None:
    """How long after its start a piece first has the quantity past the value, s: above it, or below with a sign of -1. A quantity that
    jumps where the mode changes may be there from the start."""
    *states, constant = _row(piece, quantity)
    gap = (*(-sign * c for c in states), sign * (value - constant))
    if piece.mode.flow.value(gap, piece.state) < 0:
        return 0.0
    return piece.mode.flow.first_fall(gap, piece.state, piece.duration, piece.end_state)


def _at_opening(converter: Converter) -> Piece:
    """The piece of the periodic solution that ends where the switch opens."""
    _, pieces, _ = periodic(converter)
    closed = [piece for piece in pieces if piece.mode.kind.switch == "closed"]
    return closed[-1] if closed else pieces[-1]


def _resistance(circuit: Circuit) -> float:
    return circuit.p.r_source + circuit.p.r_inductor + circuit.p.r_rectifier


def _time_constants(circuit: Circuit) -> float:
    """Long enough for coil and resistance to settle; a loop without resistance never does."""
    resistance = circuit.p.r_source + circuit.p.r_inductor
    if not resistance:
        raise ValueError("duration must be given: without resistance in source and winding the current grows without end")
    return TIME_CONSTANTS * circuit.p.inductance / resistance


def _settled(circuit: Circuit) -> float:
    """Long enough for the swing of coil and output capacitor, and for what resistance makes of it."""
    p = circuit.p
    swing = SWINGS * math.pi * math.sqrt((p.inductance + (p.l_source or 0.0)) * p.capacitance)
    decay = TIME_CONSTANTS * p.inductance / _resistance(circuit) if _resistance(circuit) else 0.0
    return max(swing, decay, TIME_CONSTANTS * _resistance(circuit) * p.capacitance)
