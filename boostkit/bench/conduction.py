"""When the current through the rectifier stops, and so the conduction mode."""

from __future__ import annotations

import numpy as np

from .capture import Capture
from .grid import Edges
from .knots import Knots, fit_knots
from .uncertain import resolution, uncertain, within

CLEAR = 12.0  # by how much a rest must improve the fit, in units of the variance: a chance of about 1 in 2000
SHORTEST = 0.01  # of the period: a shorter rest may be a corner that the instrument rounds
ROUND = 0.02  # of the ripple, by which a corner that the instrument rounds may be off
SURE = 3.0  # standard uncertainties that the lowest current must be away from zero
ROOM = 0.01  # of the period on either side of a bend that is left out
HELD, LAST = 0.04, 0.005  # shares of the period: after the opening, before the closing
DROPPED = 0.1  # of the voltage across the open switch: the rectifier holds it no longer


def conduction(capture: Capture, edges: Edges):
    """Conduction mode (`continuous`, `discontinuous` or `cannot tell`), the share of the period at which the current stops
    (an uncertain number; None where it does not), and how this was told."""
    if "v_switch" in capture.channels:
        return _by_voltage(capture, edges)
    if "i_inductor" in capture.channels and "i_inductor" not in capture.overflowed:
        return _by_current(capture, edges)
    return "cannot tell", None, "needs the voltage across the switch or the inductor current"


def _by_current(capture: Capture, edges: Edges):
    """Only at zero can the current come to rest. Does it, and for long enough to be no rounded corner?"""
    phase, value = edges.folded(capture, "i_inductor")
    since = (phase - edges.duty) % 1
    order = np.argsort(since, kind="stable")
    knots = fit_knots(since[order], value[order], 1 - edges.duty)
    rests = knots.better > CLEAR and knots.closing - knots.end > max(SHORTEST, 4 * knots.errors[1])
    channel = capture.instrument.channel("i_inductor")
    lowest = (uncertain(knots.lowest, knots.lowest_error, "noise") + within(channel.offset_error, "offset of i_inductor")
              + within(ROUND * float(np.ptp(np.percentile(value, [1, 99]))), "rounded corner")
              + resolution(capture.instrument.step("i_inductor") or 0.0))  # fmt: skip
    if channel.coupling == "DC" and abs(lowest.n) > SURE * lowest.s:
        return "continuous", None, "the lowest current is not zero"
    if rests:
        end, error = _meets_rest(since[order], value[order], knots)
        stop = uncertain(edges.duty + end, error, "noise") + within(edges.width / edges.period, "edges")
        return "discontinuous", stop, "where the falling current comes to rest"
    return "cannot tell", None, "the current does not rest for long, but its lowest value may be zero"


def _meets_rest(since: np.ndarray, current: np.ndarray, knots: Knots) -> tuple[float, float]:
    """Where a parabola through the last half of the fall meets the level of rest, and its standard error."""
    room = min(ROOM, 0.1 * knots.end, 0.2 * (knots.closing - knots.end))
    fall = slice(*np.searchsorted(since, [0.5 * knots.end, knots.end - room]))
    rest = current[slice(*np.searchsorted(since, [knots.end + room, knots.closing - room]))]
    if fall.stop - fall.start < 12 or len(rest) < 12:
        return knots.end, knots.errors[1]
    x = since[fall] - knots.end
    (bow, slope, level), covariance = np.polyfit(x, current[fall], 2, cov=True)
    roots = np.roots([bow, slope, level - rest.mean()])
    late = min((float(r.real) for r in roots if abs(r.imag) < 1e-9), key=abs, default=0.0)
    powers = np.array([late**2, late, 1.0])
    return knots.end + late, float(np.sqrt(powers @ covariance @ powers + rest.var() / len(rest)) / abs(2 * bow * late + slope))


def _by_voltage(capture: Capture, edges: Edges):
    """The voltage across the open switch drops when the rectifier stops: to that of the source, about which it then rings."""
    phase, value = edges.folded(capture, "v_switch")
    room = 2 * edges.width / edges.period

    def level(left, right):
        inside = value[slice(*np.searchsorted(phase, [left, right]))]
        return float(np.median(inside)) if len(inside) else np.nan

    closed = level(room, edges.duty - room)
    held, end = level(edges.duty + room, edges.duty + room + HELD), level(1 - LAST - room, 1 - room)
    if not np.isfinite([closed, held, end]).all():
        return "cannot tell", None, "too few samples while the switch is open"
    if held - end < DROPPED * (held - closed):
        return "continuous", None, f"a rest of less than {LAST + room:.1%} of the period would not be seen in v_switch"
    inside = slice(*np.searchsorted(phase, [edges.duty + room, 1 - room]))
    dropped = np.where(value[inside] < (held + end) / 2, 1, -1)
    k = int(np.argmin(np.cumsum(dropped)))   # as few as possible dropped before, and held after
    stop = uncertain(float(phase[inside][k]), 0.0, "noise") + within(edges.width / edges.period, "edges")
    return "discontinuous", stop, "where the voltage across the switch drops"
