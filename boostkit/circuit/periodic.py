"""Finding the periodic solution: the state that one period of the drive brings back to where it was."""

from __future__ import annotations

import numpy as np

from ..units import show
from .converter import Converter
from .flow import growth
from .modes import Circuit, Kind, Piece
from .walk import clock_phases, disturbance, period

ARRIVED = 1e-13  # relative step of the state at which Newton's method has arrived
SCAN = (0.0, *(k / 40 for k in range(1, 40)), 0.985, 0.995)  # duties tried for the one that a peak current leads to
WHOLE_STEPS = 6  # of Newton's method before it goes on in smaller ones, where the inductor saturates
PATIENCE = 4000  # periods to follow where Newton's method does not arrive from the textbook's guesses


def periodic(converter: Converter, like: Circuit | None = None) -> tuple[Circuit, tuple[Piece, ...], float]:
    """The pieces of one period of the periodic solution, and its length in s. `like`: see `Circuit`; it saves building its modes anew."""
    if converter.load.current == 0 and converter.rectifier.kind == "diode":
        why = "takes the energy of each cycle, so the output climbs without end and no steady state exists"
        if converter.switch.duty == 0:
            why = "discharges the output, so it stays wherever it is and no one steady state exists"
        raise ValueError(f"load.current = 0 A: nothing {why}")
    if converter.switch.drive == "peak current":
        return _at_peak_current(converter)
    circuit = Circuit(converter, like)
    for guess in _guesses(circuit):
        found = _newton(circuit, guess)
        if found:
            break
    else:
        found = _by_patience(circuit, guess)
    _refuse_collapse(converter, found[0])
    return circuit, *found


def _guesses(circuit: Circuit):
    """Where a periodic solution may start: continuous conduction exactly, then the textbook's discontinuous one."""
    p, converter = circuit.p, circuit.converter
    more = ((p.v_in,) if circuit.n > 2 else ()) + ((0.0,) if circuit.n > 3 else ())
    if converter.switch.drive == "two thresholds":
        power = p.v_in * converter.switch.peak_current / 2
        yield (0.0, (power * p.r_load) ** 0.5 if p.r_load else power / p.i_out, *more)
        return
    continuous = _continuous(circuit)
    if continuous[0] >= 0 or p.rectifier == "switch":
        yield continuous
    k, duty = 2 * p.inductance * converter.switch.frequency, converter.switch.duty
    if p.r_load:
        gain = (1 + (1 + 4 * duty**2 * p.r_load / k) ** 0.5) / 2
    else:
        gain = 1 + duty**2 * p.v_in / (k * p.i_out)
    yield (0.0, max(p.v_in * gain - p.v_rectifier, 0.0), *more)


def _continuous(circuit: Circuit) -> tuple:
    """The start of the period if no event but the clock's ever came: an affine map has its fixed point in closed form."""
    n = circuit.n
    total, scale = np.zeros((n + 1, n + 1)), None
    for gate, duration in clock_phases(circuit):
        flow = circuit.mode({
            "closed": Kind("closed", "off"), "channel": Kind("open", "channel"),
            "open": Kind("open", "diode" if circuit.p.rectifier == "diode" else "body"),
        }[gate]).flow  # fmt: skip
        step, scale = growth(flow.f, duration), flow.scale
        total = step @ total + step + total
    try:
        x = np.linalg.solve(-total[:n, :n], total[:n, n]) * scale[:n]
    except np.linalg.LinAlgError:
        return (-1.0,) * n
    return tuple(x.tolist())


def _newton(circuit: Circuit, x: tuple) -> tuple[tuple[Piece, ...], float] | None:
    """Newton's method on "one period brings the state back", with the exact derivative; None where it does not arrive."""
    clocked = circuit.converter.switch.drive != "two thresholds"
    floor = circuit.p.v_in * np.array(circuit.mode(Kind("closed", "off")).flow.scale[:-1]) * circuit.p.capacitance**0.5
    last, bent = np.inf, bool(circuit.p.saturation)
    for k in range(80 if bent else 30):
        pieces: list[Piece] = []
        end, length = period(circuit, x, 0.0, pieces)
        stiffness = np.eye(circuit.n) - disturbance(circuit, pieces, clocked)
        try:
            step = np.linalg.solve(stiffness, np.subtract(end, x))
        except np.linalg.LinAlgError:  # a current that rests all the time: nothing to improve in it
            step = np.linalg.lstsq(stiffness, np.subtract(end, x))[0]
        if not np.all(np.isfinite(step)):
            return None
        if circuit.p.rectifier == "diode" and (x[0] + step[0] < 0 or end[0] == 0):  # the rectifier bars it, or has brought it to rest
            step[0] = -x[0]
        size = np.max(np.abs(step) / (np.abs(x) + (np.max(np.abs(x)) + floor) * 1e-6))
        if size <= ARRIVED or (size < 1e-9 and size >= last / 2):  # arrived, or as near as rounding lets it
            return tuple(pieces), length
        if bent and k >= WHOLE_STEPS and size > 1e-3:  # the derivative jumps where the curve bends: whole steps may go in circles
            step = step / (2 if k < 40 else 4)
        last = size
        x = tuple((x + step).tolist())
    return None


def _by_patience(circuit: Circuit, x: tuple) -> tuple[tuple[Piece, ...], float]:
    """Follow the circuit towards its steady state and try again from there, ever later."""
    for k in range(1, PATIENCE + 1):
        x, _ = period(circuit, x, 0.0, [])
        if k & (k - 1) == 0 or k % 500 == 0:
            found = _newton(circuit, x)
            if found:
                return found
    raise ValueError(f"no steady state found after {PATIENCE} periods from switch-on; the inductor current is then at "
                     f"{show(x[0], 'A')} and the capacitor at {show(x[1], 'V')} where the switch closes")


def _refuse_collapse(converter: Converter, pieces: tuple[Piece, ...]) -> None:
    """A constant-current load that has dragged the output below its knee is a collapsed converter, not an operating point."""
    if converter.load.current and not all(piece.mode.kind.above_knee for piece in pieces):
        raise ValueError(f"load.current = {show(converter.load.current, 'A')}: no steady state with the load above its knee of "
                         f"{show(converter.load.knee, 'V')}; at this duty the losses let less power through, and the output "
                         "collapses")


def _at_peak_current(converter: Converter) -> tuple[Circuit, tuple[Piece, ...], float]:
    """A clock and a peak current: the least duty whose steady state turns at that current. Whether it is stable, its
    multipliers tell."""
    limit = converter.switch.peak_current
    fixed = converter.change(duty=0.5)

    circuit = None

    def excess(duty: float) -> float:
        nonlocal circuit
        circuit, pieces, _ = periodic(fixed.change(duty=duty), circuit)
        return max((p.end_state[0] for p in pieces if p.mode.kind.switch == "closed"), default=pieces[0].state[0]) - limit

    low, _, tried = least_duty(excess, SCAN)  # 0: never below the limit, the switch stays open
    if low is None:
        raise ValueError(f"switch.peak_current = {show(limit, 'A')}: no duty below {tried:.3g} brings the steady-state current "
                         "that far")
    circuit = Circuit(converter)
    _, pieces, _ = periodic(fixed.change(duty=low))
    found = _newton(circuit, pieces[0].state)
    if not found:
        raise ValueError(f"switch.peak_current = {show(limit, 'A')}: no periodic solution found near duty {low:.4g}")
    return circuit, *found


def least_duty(excess, duties) -> tuple[float | None, float, float]:
    """Where `excess` first comes up to zero, looked for between rising `duties` from 0 on; None where it does not. With it the last
    duty below that and the last one tried: from there on, where `excess` raises ValueError, no steady state exists."""
    from scipy.optimize import brentq

    below = duty = 0.0
    for duty in duties:
        try:
            over = excess(duty)
        except ValueError:
            if duty == 0:
                raise
            break
        if over >= 0:
            return (brentq(excess, below, duty, xtol=1e-12) if duty else 0.0), below, duty
        below = duty
    return None, below, duty
