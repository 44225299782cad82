"""Walking through the modes: which mode the circuit is in, what ends it, what follows; one period after another.

The drive says when the switch closes and opens; everything else (the rectifier stopping, waking again, carrying current
beside the switch, the load crossing its knee, the inductor saturating) follows from the waveform and is found to rounding
error.
"""

from __future__ import annotations

import numpy as np

from ..units import show
from .modes import Circuit, Mode, Piece
from .saturation import ends

MOMENT = 1e-13  # share of a phase that rounding cannot tell from its end
MOST_EVENTS = 400  # in one phase of the drive; a circuit that does more is chattering
DOUBLINGS = 16  # of the time in which a drive without a clock waits for its current


def enter(circuit: Circuit, gate: str, x: tuple) -> Mode:
    """The mode that the circuit is in at the start of a phase. Gates: `closed`, `open` (nothing driven), `channel` (the
    second switch driven)."""
    element = _element(circuit)
    if gate == "channel":
        return circuit.settle("open", "channel", x)
    if gate == "closed":
        mode = circuit.settle("closed", "off", x)
        return circuit.settle("closed", element, x) if _falling(mode, "joins", x) else mode
    if x[0] < 0:
        return circuit.settle("body", "off", x)
    if x[0] > 0:
        return circuit.settle("open", element, x)
    mode = circuit.settle("open", "off", x)
    return circuit.settle("open", element, x) if _falling(mode, "wakes", x) else mode


def _element(circuit: Circuit) -> str:
    return "diode" if circuit.p.rectifier == "diode" else "body"


def _falling(mode: Mode, name: str, x: tuple) -> bool:
    """Whether that guard is below zero, or at zero on its way down."""
    for guard, row in mode.guards:
        if guard == name:
            y = mode.flow.value(row, x)
            return y < 0 or (y == 0 and mode.flow.slope(row, x) < 0)
    return False


def after(circuit: Circuit, mode: Mode, event: str, x: tuple) -> tuple[Mode, tuple]:
    """The mode and state that follow an event."""
    if event == "knee":
        return circuit.mode(mode.kind._replace(above_knee=not mode.kind.above_knee)), x
    if event in ("climbs", "sinks"):  # the current passes a point of the saturation curve
        low, high = ends(circuit.p.saturation, mode.kind.stretch)
        stretch, knee = (mode.kind.stretch + 1, high) if event == "climbs" else (mode.kind.stretch - 1, low)
        return circuit.mode(mode.kind._replace(stretch=stretch)), (knee, *x[1:])
    if event == "rests":
        x = (0.0, *x[1:])
        return enter(circuit, "open", x), x
    switch = "open" if event == "wakes" else "closed"
    return circuit.settle(switch, "off" if event == "leaves" else _element(circuit), x), x


def phase(circuit, gate, x, start, duration, out, stop=None) -> tuple[tuple, float, bool]:
    """Follow one phase of the drive for `duration` or until the guard `stop` (name, row) is crossed; pieces go to `out`.
    Returns the state, the time spent and whether the guard stopped it."""
    mode, left = enter(circuit, gate, x), duration
    for _ in range(MOST_EVENTS):
        x_end, span, event = mode.flow.advance(x, left), left, None
        for guard in (*mode.guards, stop) if stop else mode.guards:
            t = mode.flow.first_fall(guard[1], x, span, x_end)
            if t is not None:
                x_end, span, event = mode.flow.advance(x, t), t, guard
        if span > 0:
            out.append(Piece(mode, start + duration - left, span, x, event and event[1]))
        left -= span
        if event is None:
            return x_end, duration, False
        if stop and event[0] == stop[0]:
            return ((0.0, *x_end[1:]) if event[0] == "rests" else x_end), duration - left, True
        mode, x = after(circuit, mode, event[0], x_end)
        if left <= MOMENT * duration:
            return x, duration, False
    raise ValueError(f"more than {MOST_EVENTS} switching events within {show(duration, 's')} at an inductor current of "
                     f"{show(x[0], 'A')} and a capacitor voltage of {show(x[1], 'V')}: the circuit chatters")


def period(circuit: Circuit, x: tuple, start: float, out: list) -> tuple[tuple, float]:
    """One period of the drive from where the switch closes: the state at its end and how long it took, s."""
    switch = circuit.converter.switch
    if switch.drive == "duty":
        at = start
        for gate, duration in clock_phases(circuit):
            x, _, _ = phase(circuit, gate, x, at, duration, out)
            at += duration
        return x, 1 / switch.frequency
    limit = ("opens", (-1.0, *(0.0,) * (circuit.n - 1), switch.peak_current))
    if switch.drive == "peak current":
        t_sw = 1 / switch.frequency
        x, spent, _ = phase(circuit, "closed", x, start, t_sw, out, limit)
        if spent < t_sw:
            x, _, _ = phase(circuit, "open", x, start + spent, t_sw - spent, out)
        return x, t_sw
    return _free_period(circuit, x, start, out, limit)


def clock_phases(circuit: Circuit) -> list[tuple[str, float]]:
    """Gate and duration of each phase of a clocked period."""
    switch, rectifier = circuit.converter.switch, circuit.converter.rectifier
    t_sw, dead = 1 / switch.frequency, rectifier.dead_time
    closed = switch.duty * t_sw
    if rectifier.kind == "diode":
        plan = [("closed", closed), ("open", t_sw - closed)]
    elif switch.duty == 0:
        plan = [("channel", t_sw)]
    else:
        plan = [("closed", closed), ("open", dead), ("channel", t_sw - closed - 2 * dead), ("open", dead)]
    return [(gate, duration) for gate, duration in plan if duration > 0]


def _free_period(circuit, x, start, out, limit) -> tuple[tuple, float]:
    """No clock: closed until the set current, open until the current has come to rest."""
    p = circuit.p
    ramp = p.inductance * circuit.converter.switch.peak_current / p.v_in
    x, closed = _until(circuit, "closed", x, start, 2 * ramp, out, limit)
    swing = np.pi * np.sqrt(p.inductance * p.capacitance)
    rests = ("rests", (1.0, *(0.0,) * circuit.n))
    x, opened = _until(circuit, "open", x, start + closed, swing, out, rests)
    return x, closed + opened


def _until(circuit, gate, x, start, stretch, out, stop) -> tuple[tuple, float]:
    """Follow a phase until its guard is crossed, in ever longer stretches; refuse where it never is."""
    spent = 0.0
    for _ in range(DOUBLINGS):
        before = x
        x, took, stopped = phase(circuit, gate, x, start + spent, stretch, out, stop)
        spent += took
        if stopped:
            return x, spent
        if all(abs(a - b) <= 1e-12 * (abs(a) + abs(b)) for a, b in zip(x, before, strict=True)):
            break
        stretch *= 2
    ends = "reaches peak_current, so the switch never opens" if gate == "closed" else "comes to rest, so the switch never closes again"
    raise ValueError(f"without a clock the inductor current settles at {show(x[0], 'A')} and never {ends}; "
                     f"output {show(x[1], 'V')}")


def disturbance(circuit: Circuit, pieces: list[Piece], clocked: bool) -> np.ndarray:
    """What one period makes of a small disturbance of the state, shape (n, n). A piece that a guard ends shifts its end with
    the disturbance; without a clock the period's own end shifts too."""
    j = np.eye(circuit.n)
    for k, piece in enumerate(pieces):
        flow = piece.mode.flow
        j = flow.propagator(piece.duration) @ j
        if piece.ended_by is None:
            continue
        normal, before = np.array(piece.ended_by[:-1]), np.array(flow.rate(piece.end_state))
        if k + 1 < len(pieces):
            follows = pieces[k + 1]
            after = np.array(follows.mode.flow.rate(follows.state))
        else:
            after = before if clocked else np.zeros(circuit.n)
        crossing = normal @ before
        if crossing != 0:
            j = j + np.outer(after - before, normal @ j) / crossing
    return j
