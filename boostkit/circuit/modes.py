"""The circuit in each of its modes: which elements carry current, as one affine system with its quantities and guards.

A mode says what the switch does (`closed`, `open`, or `body`: its body diode carries current), what the rectifier does
(`off`, `diode`, `channel` of a second switch, `body` diode of a second switch), whether the load is above its knee and, where
the inductor saturates, in which stretch of its curve the current is.
States: inductor current (it has no jumps, where the curve bends only the inductance changes), capacitor voltage, and with an
input capacitor its voltage, and with a source inductance its current. Rows are built with the component first, so the same
lines serve one converter or arrays of them.
"""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import NamedTuple

import numpy as np

from .converter import SILICON, Converter
from .flow import Flow, PlanarFlow
from .saturation import Curve, ends, share_left, stretch_at

QUANTITIES = (
    "i_inductor", "v_capacitor", "v_out", "v_inductor", "v_switch", "v_rectifier", "i_switch", "i_rectifier",
    "i_capacitor", "i_load", "i_source", "v_input", "i_input_capacitor",
)  # fmt: skip


class Kind(NamedTuple):
    """The name of a mode."""

    switch: str
    rectifier: str
    above_knee: bool = True
    stretch: int = 0  # of the inductor's saturation curve


def parameters(letters: dict) -> SimpleNamespace:
    """The letters of a converter, numbers or arrays of shape (N,), with what is absent at its neutral value."""
    neutral = {
        "r_source": 0.0, "l_source": 0.0, "r_inductor": 0.0, "r_switch": 0.0, "v_rectifier": 0.0, "r_rectifier": 0.0,
        "r_capacitor": 0.0, "c_input": None, "r_input_capacitor": 0.0, "r_load": None, "i_out": None, "v_knee": 1.0,
        "v_switch_body": SILICON, "v_rectifier_body": SILICON, "dead_time": 0.0, "saturation": (),
    }  # fmt: skip
    return SimpleNamespace(**neutral | letters)


def rows(p: SimpleNamespace, kind: Kind) -> tuple[dict, list]:
    """Every quantity of the circuit in this mode as a row over (states, 1), and the rows of the states' rates."""
    n = 2 + (p.c_input is not None) + (np.any(p.l_source) and p.c_input is not None)
    shape = np.broadcast_shapes(*(np.shape(v) for v in vars(p).values() if isinstance(v, (float, int, np.ndarray))))
    unit = [np.zeros((n + 1, *shape)) for _ in range(n + 1)]
    for k, row in enumerate(unit):
        row[k] = 1.0
    i_l, v_c, one, zero = unit[0], unit[1], unit[n], np.zeros((n + 1, *shape))

    v_input, i_source, i_ci = _input_side(p, unit)
    conductance, constant = _load_line(p, kind.above_knee)
    held = 1.0 + p.r_capacitor * conductance  # v_out = (v_C + r_C (i_rectifier - constant)) / held
    drop, resistance = _rectifier_line(p, kind.rectifier)
    if kind.rectifier == "off":
        i_rect = zero
    elif kind.switch == "closed":  # both carry current: the switch's drop drives the rectifier
        share = p.r_switch + resistance + p.r_capacitor / held
        i_rect = (p.r_switch * i_l - drop * one - (v_c - p.r_capacitor * constant * one) / held) / share
    else:
        i_rect = i_l
    v_out = (v_c + p.r_capacitor * (i_rect - constant * one)) / held
    idle = kind.switch == "open" and kind.rectifier == "off"
    if kind.switch == "closed":
        i_switch, v_switch = i_l - i_rect, p.r_switch * (i_l - i_rect)
    elif kind.switch == "body":
        i_switch, v_switch = i_l, -p.v_switch_body * one
    elif idle:
        i_switch, v_switch = zero, v_input
    else:
        i_switch, v_switch = zero, v_out + drop * one + resistance * i_rect
    v_inductor = zero if idle else v_input - p.r_inductor * i_l - v_switch
    i_load = constant * one + conductance * v_out
    quantities = dict(zip(QUANTITIES, (
        i_l, v_c, v_out, v_inductor, v_switch, v_switch - v_out, i_switch, i_rect,
        i_rect - i_load, i_load, i_source, v_input, i_ci,
    ), strict=True))  # fmt: skip
    rates = [v_inductor / (p.inductance * share_left(p.saturation, kind.stretch)), quantities["i_capacitor"] / p.capacitance]
    if n >= 3:
        rates.append(i_ci / p.c_input)
    if n == 4:
        rates.append((p.v_in * one - p.r_source * i_source - v_input) / p.l_source)
    return quantities, rates


def _input_side(p, unit) -> tuple:
    """Rows of the voltage at the converter's input, the source current and the input capacitor's current."""
    i_l, one = unit[0], unit[-1]
    if p.c_input is None:
        return p.v_in * one - p.r_source * i_l, i_l, np.zeros_like(one)
    v_ci = unit[2]
    if len(unit) == 5:
        i_source = unit[3]
        i_ci = i_source - i_l
        return v_ci + p.r_input_capacitor * i_ci, i_source, i_ci
    i_source = (p.v_in * one - v_ci + p.r_input_capacitor * i_l) / (p.r_source + p.r_input_capacitor)
    i_ci = i_source - i_l
    return v_ci + p.r_input_capacitor * i_ci, i_source, i_ci


def _load_line(p, above_knee: bool) -> tuple:
    """The load as conductance and constant current: i_load = conductance v_out + constant."""
    if p.r_load is not None:
        return 1.0 / p.r_load, 0.0
    return (0.0, p.i_out) if above_knee else (p.i_out / p.v_knee, 0.0)


def _rectifier_line(p, rectifier: str) -> tuple:
    """Forward drop and resistance of the element that conducts."""
    return {
        "off": (0.0, 0.0),
        "diode": (p.v_rectifier, p.r_rectifier),
        "channel": (0.0, p.r_rectifier),
        "body": (p.v_rectifier_body, 0.0),
    }[rectifier]


class Mode:
    """One mode of one converter: its flow, its quantities as tuples (a row each), and its guards."""

    def __init__(self, p: SimpleNamespace, kind: Kind):
        quantities, rates = rows(p, kind)
        self.kind = kind
        self.rows = {name: tuple(row.tolist()) for name, row in quantities.items()}
        n = len(rates)
        matrix = np.array(rates)
        inductance = p.inductance * share_left(p.saturation, kind.stretch)
        scale = [1 / math.sqrt(x) for x in (inductance, p.capacitance, p.c_input or 1.0, p.l_source or 1.0)[:n]]
        self.flow = (PlanarFlow if n == 2 else Flow)(matrix[:, :n], matrix[:, n], scale)
        self.guards = self._guards(p)

    def _guards(self, p) -> tuple:
        """(name, row): the mode lasts while every row is at or above zero; `name` says what happens then."""
        switch, rectifier, above, _ = self.kind
        row, found = self.rows, []
        drop = p.v_rectifier if p.rectifier == "diode" else p.v_rectifier_body

        def backed(voltage):  # output and forward drop hold the rectifier off against this voltage
            held = [out - v for out, v in zip(row["v_out"], row[voltage], strict=True)]
            return (*held[:-1], held[-1] + drop)

        if switch == "closed" and rectifier == "off" and p.r_switch > 0:
            found.append(("joins", backed("v_switch")))
        if switch == "closed" and rectifier != "off":
            found.append(("leaves", row["i_rectifier"]))
        if switch == "open" and rectifier in ("diode", "body"):
            found.append(("rests", row["i_inductor"]))
        if switch == "body":
            found.append(("rests", tuple(-c for c in row["i_inductor"])))
        if switch == "open" and rectifier == "off":
            found.append(("wakes", backed("v_input")))
        if p.r_load is None and p.i_out > 0:
            sign = 1.0 if above else -1.0
            *states, constant = row["v_out"]
            found.append(("knee", (*(sign * c for c in states), sign * (constant - p.v_knee))))
        if p.saturation and (switch != "open" or rectifier != "off"):
            found += self._ends_of_stretch(p.saturation)
        return tuple(found)

    def _ends_of_stretch(self, curve: Curve):
        """The guards at which the current leaves its stretch of the saturation curve."""
        low, high = ends(curve, self.kind.stretch)
        *states, _ = self.rows["i_inductor"]
        if low is not None:
            yield "sinks", (*states, -low)
        if high is not None:
            yield "climbs", (*(-c for c in states), high)


class Piece(NamedTuple):
    """A stretch of time in one mode: starts at `start` (s) in `state`, lasts `duration`. `ended_by`: the guard whose
    crossing ended it; None where the clock did."""

    mode: Mode
    start: float
    duration: float
    state: tuple
    ended_by: tuple | None = None

    @property
    def end_state(self) -> tuple:
        """The state at its end."""
        return self.mode.flow.advance(self.state, self.duration)


class Span(NamedTuple):
    """Pieces that are alike, one in each of k periods: `starts` and `durations` of shape (k,), `states` and `ends` (n, k)."""

    mode: Mode
    starts: np.ndarray
    durations: np.ndarray
    states: np.ndarray
    ends: np.ndarray
    ended_by: tuple | None


class Block(NamedTuple):
    """Consecutive periods that all run through the same modes: a Span for each piece of a period."""

    spans: tuple[Span, ...]

    def pieces(self, state=tuple):
        """The pieces, in order of time; `state` makes a state of its numbers."""
        columns = [
            [Piece(s.mode, start, duration, state(x), s.ended_by) for start, duration, x in zip(
                s.starts.tolist(), s.durations.tolist(), s.states.T.tolist(), strict=True)]
            for s in self.spans
        ]  # fmt: skip
        for row in zip(*columns, strict=True):
            yield from row

    def last(self, state=tuple) -> list[Piece]:
        """The pieces of its last period."""
        return [
            Piece(s.mode, float(s.starts[-1]), float(s.durations[-1]), state(s.states[:, -1].tolist()), s.ended_by)
            for s in self.spans
        ]


def single(pieces: list[Piece]) -> Block:
    """One period as a block."""
    return Block(tuple(
        Span(p.mode, np.array([p.start]), np.array([p.duration]), np.array(p.state)[:, None],
             np.array(p.end_state)[:, None], p.ended_by)
        for p in pieces
    ))  # fmt: skip


class Circuit:
    """A converter's modes, built when first met. `like`: a circuit that differs in its duty alone, whose modes are the same ones."""

    def __init__(self, converter: Converter, like: Circuit | None = None):
        self.converter = converter
        self.p = parameters(converter.letters())
        self.p.rectifier = converter.rectifier.kind
        self.p.saturation = converter.inductor.saturation
        if self.p.c_input is not None and not (self.p.r_source + self.p.r_input_capacitor) and not self.p.l_source:
            raise ValueError("input_capacitor sits on a source without resistance or inductance and changes nothing: "
                             "give source.resistance, or leave it out")
        self._modes: dict[Kind, Mode] = {} if like is None else like._modes

    @property
    def n(self) -> int:
        """How many states."""
        return 2 + (self.p.c_input is not None) + bool(self.p.l_source)

    def mode(self, kind: Kind) -> Mode:
        """The mode of that name."""
        if kind not in self._modes:
            self._modes[kind] = Mode(self.p, kind)
        return self._modes[kind]

    def settle(self, switch: str, rectifier: str, state: tuple) -> Mode:
        """The mode with these elements in the stretch of the saturation curve in which the current is, and on the side of the
        load's knee on which the output is."""
        stretch = stretch_at(self.p.saturation, state[0]) if self.p.saturation else 0
        mode = self.mode(Kind(switch, rectifier, True, stretch))
        if self.p.r_load is None and self.p.i_out > 0:
            above = mode.flow.value(mode.rows["v_out"], state) - self.p.v_knee
            if above < 0 or (above == 0 and mode.flow.slope(mode.rows["v_out"], state) < 0):
                return self.mode(Kind(switch, rectifier, False, stretch))
        return mode
