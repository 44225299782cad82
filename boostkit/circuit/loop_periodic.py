"""The state that one period of the closed loop brings back: a first guess from the circuit alone, then Newton's method.

The derivative of a period is exact. Where an edge moves with a disturbance (a comparator's crossing, the current coming to rest,
the dead time after the switch), the state behind it shifts by the difference of the rates times the move.
"""

from __future__ import annotations

import numpy as np

from ..units import show
from .loop_modes import FREE, HIGH, Loop, LoopKind
from .loop_walk import Run
from .periodic import ARRIVED, least_duty, periodic
from .switched import duty_for

PATIENCE = 2048  # periods to follow where Newton's method does not arrive from the first guess
DUTIES = (*np.linspace(0.0, 0.9, 46).tolist(), 0.92, 0.94, 0.96, 0.98)  # tried for a network whose gain at rest is finite
NO_LEAK = 1e9  # a gain at rest beyond this counts as an integrator's


def loop_periodic(loop: Loop) -> Run:
    """A run that has just walked through one period of its steady state. Raises ValueError, with the reason, where there is none."""
    run = _guess(loop)
    for k in range(PATIENCE + 1):
        if k & (k - 1) == 0:
            found = _newton(run)
            if found:
                return found
        run.period()
    raise ValueError(_reason(run))


def _guess(loop: Loop) -> Run:
    """The circuit at the duty that the regulator will find, the network carried along with its output."""
    duty = _duty(loop)
    _, pieces, _ = periodic(loop.circuit.converter.change(duty=duty))
    run = Run(loop, pieces[0].state, settled=True)
    if loop.sampled:
        run.brain.settle(duty)
        return run
    whole = closed = np.eye(loop.n + 1)
    for piece in pieces:
        flow = loop.mode(LoopKind(piece.mode, FREE, False, False)).flow
        whole = flow.carry(piece.duration) @ whole
        if piece.mode.kind.switch == "closed":
            closed, last = whole, piece
    if loop.nz and duty > 0:
        _settle_network(loop, run, whole, closed, loop.mode(LoopKind(last.mode, FREE, False, False)).rows)
    return run


def _settle_network(loop: Loop, run: Run, whole, closed, rows) -> None:
    """The states of the network that a period brings back and, where it integrates, that open the switch in time."""
    z = slice(loop.nx, loop.nx + loop.nz)
    returns = whole[z, z] - np.eye(loop.nz)
    run.w[z] = np.linalg.lstsq(returns, -(whole[z] @ run.w))[0]
    if np.isinf(_gain_at_rest(loop)):
        free = np.zeros(loop.n + 1)
        free[z] = np.linalg.svd(returns)[2][-1]
        excess = rows["control"] - loop.threshold(rows)
        run.w -= free * (excess @ closed @ run.w) / (excess @ closed @ free)


def _gain_at_rest(loop: Loop) -> float:
    """What the network makes of a lasting error; inf where it integrates."""
    network = loop.network
    if not network.n:
        return network.d
    with np.errstate(all="ignore"):
        try:
            gain = float(network.d - network.c @ np.linalg.solve(network.a, network.b))
        except np.linalg.LinAlgError:
            return np.inf
    return gain if abs(gain) < NO_LEAK else np.inf


def _duty(loop: Loop) -> float:
    """The duty at which the circuit alone agrees with what the regulator makes of its mean output."""
    c, converter = loop.controller, loop.circuit.converter
    if converter.switch.duty is None:
        converter = converter.change(duty=0.5)
    gain = np.inf if loop.sampled else _gain_at_rest(loop)
    if np.isinf(gain):
        try:
            return duty_for(converter, c.v_set)
        except ValueError as trouble:
            raise ValueError(str(trouble).replace("v_out", "v_set", 1)) from None
    circuit = None

    def excess(duty: float) -> float:
        nonlocal circuit
        circuit, pieces, t_sw = periodic(converter.change(duty=duty), circuit)
        mean = sum(p.mode.rows["v_out"] @ p.mode.flow.moments(p.state, p.duration)[:, -1] for p in pieces) / t_sw
        peak = max((p.end_state[0] for p in pieces if p.mode.kind.switch == "closed"), default=pieces[0].state[0])
        reached = c.ramp * duty if c.drive == "voltage" else c.sense * (peak + c.slope * duty * t_sw)
        return reached - min(max(c.bias + gain * (c.v_set - mean), c.low), c.high)

    found, below, _ = least_duty(excess, DUTIES)
    return min(below, c.most_duty) if found is None else found


def _newton(start: Run) -> Run | None:
    """Newton's method on all states together; None where it does not arrive at a period that the regulator itself ends."""
    run, last, diode = start.copy(), np.inf, start.loop.circuit.p.rectifier == "diode"
    run.quiet()
    for _ in range(30):
        begin = run.copy()
        try:
            run.period()
            s, end = begin.vector(), run.vector()
            step = np.linalg.lstsq(np.eye(len(s)) - derivative(run, begin), end - s)[0]
        except (ValueError, np.linalg.LinAlgError):
            return None
        if not np.all(np.isfinite(step)):
            return None
        if diode and s[0] + step[0] < 0:
            step[0] = -s[0]
        size = np.max(np.abs(step) / (_sizes(run, begin) + 1e-300))
        if size <= ARRIVED or (size < 1e-9 and size >= last / 2):
            return run if _regulates(run) else None
        last = size
        run = begin
        run.take(s + step)
    return None


def _regulates(run: Run) -> bool:
    """Whether it is the regulator that ends the pulse, and no limit."""
    if run.brain:
        return run.cause == "clock"
    return run.cause == "opens" and not all(piece.mode.kind.clamp for piece in run.pieces)


def _sizes(run: Run, begin: Run) -> np.ndarray:
    """The largest size of each state on the way."""
    loop = run.loop
    sizes = np.max(np.abs([piece.state for piece in run.pieces]), axis=0)[: loop.nx + loop.nz]
    return np.concatenate([sizes, np.maximum(np.abs(run.vector()), np.abs(begin.vector()))[loop.nx + loop.nz :]])


def derivative(run: Run, begin: Run) -> np.ndarray:
    """What the period that `run` has just walked through, from `begin`, makes of a small disturbance of its `vector`."""
    loop = run.loop
    n, m = loop.n, loop.nx + loop.nz
    j = np.eye(n, n + 1)  # of all the loop's states, by those at the start and by the time at which a command opens the switch
    opening = np.eye(n + 1)[n] if run.brain and run.cause == "clock" else np.zeros(n + 1)
    for k, piece in enumerate(run.pieces):
        flow = piece.mode.flow
        j = flow.propagator(piece.duration) @ j
        if k + 1 == len(run.pieces):
            break
        before, after = flow.rate(flow.advance(piece.state, piece.duration)), run.pieces[k + 1].mode.flow.rate(run.pieces[k + 1].state)
        moves = opening if k + 1 in (run.opened, *run.moving) else None
        if piece.ended_by is not None:
            normal = np.array(piece.ended_by[:-1])
            moves = -(normal @ j) / (normal @ before)
            if k + 1 == run.opened and run.cause in ("opens", "current limit"):
                opening = moves
        if moves is not None:
            j = j + np.outer(before - after, moves)
    return run.brain.derivative(j, loop, begin) if run.brain else j[:m, :m]


def _reason(run: Run) -> str:
    """Why no period repeats: what the loop did last."""
    c, t_sw = run.loop.controller, run.loop.t_sw
    shares, causes, clamps = [], set(), set()
    for _ in range(64):
        shares.append(run.period() / t_sw)
        causes.add(run.cause)
        clamps |= {piece.mode.kind.clamp for piece in run.pieces}
    where = f"after {PATIENCE} periods the output is at {show(run.output(), 'V', 4)}"
    if "current limit" in causes:
        return f"i_limit = {show(c.i_limit, 'A')} holds the current, so the loop does not reach v_set = {show(c.v_set, 'V')}; {where}"
    if max(shares) >= c.most_duty * (1 - 1e-9):
        return f"most_duty = {c.most_duty:.3g} holds the duty, so the loop does not reach v_set = {show(c.v_set, 'V')}; {where}"
    if clamps == {HIGH}:
        return f"high = {show(c.high, 'V')} holds the control voltage, so the loop does not reach v_set = {show(c.v_set, 'V')}; {where}"
    if "skipped" in causes:
        return f"pulses are skipped, so no single period repeats; {where}"
    return f"no period of the loop repeats: its duty wanders from {min(shares):.3g} to {max(shares):.3g}; {where}"
