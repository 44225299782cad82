"""The closed loop on the exact circuit: power stage and regulator together, every event where it belongs.

    follow(converter, controller, periods)   from rest, from the steady state or from where a course ended
    steady(converter, controller)            the periodic solution of the closed loop, stable or not

What happens at a clock is decided by the output just before the switch closes: whether a pulse is skipped, and what a
sampled regulator reads. Times count from the start of the first period.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np

from ..units import guard, quoted
from .controller import Controller, Sampled
from .converter import Converter
from .course import Course, Steady, look
from .loop_leap import go_on
from .loop_modes import Loop
from .loop_periodic import derivative, loop_periodic
from .loop_walk import ROUNDING, Run
from .switched import summary
from .transients import whole

__all__ = ["follow", "steady"]

BATCH = 512  # periods after which the extremes are looked for where the pieces are not kept


def follow(
    converter: Converter, controller: Controller | Sampled, periods: int, *, begin="rest",
    changes: tuple[tuple[float, Converter], ...] = (), keep: bool = True, progress: Callable[[int, int], None] | None = None,
) -> Course:  # fmt: skip
    """The regulated converter over whole periods of its clock.

    The converter's own duty or peak current does not count: the controller drives the switch. `begin`: "rest" (no current,
    every capacitor empty, the network at zero), "steady", or the `last` of a course, time and all. `changes`: at each time
    (s) the circuit becomes that converter (a step of load or source; the same parts and clock). With `keep=False` only the
    last period's pieces are held. `progress(done, periods)` is called about a hundred times.
    """
    periods = whole(periods)
    run = _begin(converter, controller, begin)
    run.changes = _changes(controller, changes, run)
    kept, seen, duty, unseen, every, reported = [], {}, [], 0, max(1, periods // 100), 0
    while len(duty) < periods:
        parts, closed = go_on(run, periods - len(duty))
        kept += parts
        duty += closed
        if not keep and (len(duty) - unseen >= BATCH or len(duty) == periods):
            look(seen, kept)
            kept, unseen = list(run.pieces), len(duty)
        while progress and reported + every <= len(duty):
            reported += every
            progress(reported, periods)
    t_sw, last = run.loop.t_sw, run.done
    starts, duty = t_sw * np.arange(last - periods, last), np.array(duty) / t_sw
    return Course(converter, controller, periods, periods * t_sw, starts, duty, tuple(kept), run.copy(), seen)


def steady(converter: Converter, controller: Controller | Sampled) -> Steady:
    """The periodic solution of the closed loop, past its soft start; found by Newton's method whether it is stable or not. The steps
    of a `Sampled` regulator are left out. Raises ValueError, with the reason, where there is none (a limit holds the loop, the
    output is out of reach, pulses are skipped)."""
    run = loop_periodic(_loop(converter, controller))
    run.done, begin = 0, run.copy()
    pieces, length = tuple(run.pieces), run.loop.t_sw
    moments = [piece.mode.flow.moments(piece.state, piece.duration) for piece in pieces]
    resting = any(piece.mode.kind.switch == "open" and piece.mode.kind.rectifier == "off" for piece in pieces)
    nx = run.loop.nx
    return Steady(
        converter, controller,
        state=tuple(pieces[0].state[:nx].tolist()),
        network=tuple(begin.vector()[nx:].tolist()),
        duty=sum(piece.duration for piece in pieces if piece.mode.kind.switch == "closed") / length,
        mode="discontinuous" if resting else "continuous",
        multipliers=tuple(np.linalg.eigvals(derivative(run, begin)).tolist()),
        output_voltage=summary(pieces, moments, "v_out", length),
        inductor_current=summary(pieces, moments, "i_inductor", length),
        pieces=pieces,
        last=begin,
    )  # fmt: skip


@lru_cache(maxsize=32)
def _loop(converter: Converter, controller: Controller | Sampled) -> Loop:
    """The last few loops, whose modes need not be built anew for each course."""
    return Loop(converter, controller)


def _begin(converter, controller, begin) -> Run:
    """A run at its start."""
    loop = _loop(converter, controller)
    if isinstance(begin, Run):
        run = begin.copy()
        run.swap(loop)
        return run
    if begin == "rest":
        return Run(loop, (0.0,) * loop.nx)
    if begin == "steady":
        run = loop_periodic(loop)
        run.done = 0
        run.swap(loop)
        return run
    raise ValueError(f'begin = {quoted(begin)} must be "rest", "steady" or the `last` of a course')


def _changes(controller, changes, run: Run) -> list:
    """(time, loop) in order of time; each must lie ahead of where the run is."""
    now = run.done * run.loop.t_sw
    for at, _ in changes:
        guard("changes: time", at, now * (1 - ROUNDING), unit="s", why="the course goes on from there")
    return [(at, _loop(converter, controller)) for at, converter in sorted(changes, key=lambda change: change[0])]
