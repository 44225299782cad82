"""Many periods of the closed loop at once, where all of them run through the same modes.

They are marched quickly (`loop_march`) and then checked together over arrays, from the modes themselves and as strictly as a walk
checks them: no guard falls early, every event lies where it belongs, the joints close to rounding. What the sizes of the terms
leave in doubt is looked for as a walk looks for it. The first period that does not pass is walked.
"""

from __future__ import annotations

from itertools import groupby, pairwise
from typing import NamedTuple

import numpy as np

from .leap import JOINED
from .loop_march import COMPARATORS, Marched, Plan, Step, march
from .modes import Block, Piece, Span

REMEMBERED = 64  # plans a loop
SHORTEST, LONGEST = 16, 256  # periods checked together
PATIENCE = 32  # periods walked at most after a march that failed
PLACED = 1e-12  # share: how well two ways of finding an event agree
NO_JUMP = frozenset(("clock", "opens", "current limit", "rests", "knee", "joins", "leaves", "wakes", "frees"))


class Walked(NamedTuple):
    """A period that was walked: its pieces, and for how long the switch was closed, s."""

    pieces: list[Piece]
    closed: float


def go_on(run, most: int) -> tuple[list[Piece | Block], list[float]]:
    """At most so many periods on from where the run stands, and at least one: their pieces, those that were marched as blocks, and for
    how long the switch was closed in each, s."""
    done, turns, most = [], [], min(most, run.ahead)
    with np.errstate(all="ignore"):  # a march that leaves its pattern may run out to inf or nan; it is sorted out
        while len(done) < most:
            turns.append((len(done), _note(run)))
            done += _march(run, most - len(done))
            if len(done) < most and not _walk(run, done, turns):
                break
        good, groups = _keeps_to_plans(done, run.loop)
    if good < len(done):
        _back_to(run, done, good, turns)
        _failed(run)
    elif good == run.ahead:
        run.ahead = min(2 * run.ahead, LONGEST)
    return _parts(run, done[:good], groups) if good else go_on(run, most)  # after a failure the run walks first


def _march(run, most: int) -> list[Marched]:
    """As far as patterns that were met carry, a change of the circuit or of the set point's course comes, or `most`."""
    _learn(run)
    run.waits -= 1
    if run.waits >= 0 or run.mode is None or not run.known[run.loop]:
        return []
    free = int((run.changes[0][0] / run.loop.t_sw - run.done) * (1 - 1e-12)) if run.changes else most
    return march(run, min(most, free, run.loop.soft_periods - run.done if run.rises() else most))


def _walk(run, done: list, turns: list) -> bool:
    """One period. False where there is none: it may be that a march has gone wrong before."""
    try:
        closed = run.period()
    except ValueError:
        if not any(isinstance(each, Marched) for each in done):
            raise
        _back_to(run, done, len(done), turns)
        return False
    done.append(Walked(run.pieces, closed))
    return True


def _note(run) -> dict:
    """All that a run is, to come back to."""
    twin = run.copy()
    twin.changes = list(run.changes)
    return vars(twin)


def _back_to(run, done: list, good: int, turns: list) -> None:
    """The run to where only so many of the periods done are behind it."""
    first, before = next(turn for turn in reversed(turns) if turn[0] <= good)
    vars(run).update(before)
    for marched in done[first:good]:
        run.known[run.loop][marched.plan] = marched.times
    if good > first:
        run.stand(done[good - 1], run.done + good - first)


def _failed(run) -> None:
    """A march has failed where the run stands: it walks on, for longer if that comes often."""
    often = run.patience and run.done - run.failed <= 2 * PATIENCE
    run.patience = min(2 * run.patience, PATIENCE) if often else 1
    run.waits, run.failed, run.ahead = run.patience, run.done, SHORTEST


def _learn(run) -> None:
    """The pattern of the period just walked."""
    known, plan = run.known.setdefault(run.loop, {}), _plan(run)
    if plan:
        known[plan] = [piece.duration for piece in run.pieces]


def _plan(run) -> Plan | None:
    """The plan of the pattern that the run has just walked through; None where it is not one for leaping."""
    if run.mode is None or not run.pieces or run.pieces[-1].mode is not run.mode:
        return None
    key = (run.cause, run.opened, *run.moving, *((piece.mode, piece.ended_by) for piece in run.pieces))
    plans = run.loop.plans
    if key not in plans:
        if len(plans) >= REMEMBERED:
            plans.clear()
        steps = _steps(run)
        plans[key] = steps and Plan(steps, (run.cause, run.opened, run.moving), run.loop.t_sw)
    return plans[key]


def _steps(run) -> list[Step] | None:
    """The pattern of the run's last period."""
    loop, t_sw, opened, moving = run.loop, run.loop.t_sw, run.opened, run.moving
    dead = loop.circuit.converter.rectifier.dead_time
    if (dead and opened and not moving) or (run.cause != "skipped" and not opened):
        return None  # so long a pulse that the second switch stays open, or one of no length
    begins = {opened: (dead, 0.0), moving[0]: (t_sw - 2 * dead, -1.0)} if moving else {opened: (t_sw, -1.0)}
    steps, budget = [], (None, 0.0)
    for k, piece in enumerate(run.pieces):
        budget = begins.get(k, budget)
        names = [row for _, row in piece.mode.guards]
        event = None if piece.ended_by is None else names.index(piece.ended_by)
        steps.append(Step(piece.mode, event, k < opened, budget))
        after = event is None and moving and k >= moving[0]
        budget = (dead, 0.0) if after else None
    return steps if _sound(steps, loop) else None


def _sound(steps: list[Step], loop) -> bool:
    """Whether every phase ends by the clock or a comparator, and nowhere but there: no change of the circuit on the way."""
    for step, after in pairwise(steps):
        ended = step.name in ("clock", *COMPARATORS)
        if ended != (after.budget is not None):
            return False
    return steps[-1].event is None and all(step.name in NO_JUMP and loop.mode(step.mode.kind) is step.mode for step in steps)


def _keeps_to_plans(done: list, loop) -> tuple[int, dict]:
    """How many periods from the first on keep to their plans, walked ones as a matter of course; and by plan, which periods follow it and
    the states at start and end of each step, (n + 1, k)."""
    good, groups, which = np.ones(len(done), bool), {}, {}
    for k, each in enumerate(done):
        if isinstance(each, Marched):
            which.setdefault(each.plan, []).append(k)
    for plan, k in which.items():
        some = [done[i] for i in k]
        kept, spans = _keeps_to(plan, some, loop.controller.least_on_time)
        for mode in {each.before for each in some} if not loop.sampled else ():  # the mode before says whether there is a pulse
            kept &= ((mode.lead @ spans[0][0] > 0) == plan.pulsed) | np.array([each.before is not mode for each in some])
        good[k], groups[plan] = kept, (np.array(k), spans)
    return (len(good) if good.all() else int(np.argmin(good))), groups


def _keeps_to(plan: Plan, some: list[Marched], least: float) -> tuple[np.ndarray, list]:
    """Which of these periods keep to the plan; and start and end of each step."""
    w, closed, spans = np.array([each.w for each in some]).T.copy(), np.zeros(len(some)), []
    good = np.ones(len(some), bool)
    for step, t in zip(plan.steps, np.array([each.times for each in some]).T, strict=True):
        if step.idle:
            good = good & (w[0] == 0)
        if step.budget is not None:
            left = np.array([each.most for each in some]) if step.budget[0] is None else step.budget[0] + step.budget[1] * closed
        good, end = _holds(step, good, w, t, left, least - closed if step.closed else 0 * t)
        spans.append((w, end))
        left, closed, w = left - t, closed + t if step.closed else closed, _rested(end) if step.name == "rests" else end
    size = np.maximum.accumulate(np.abs([begin for begin, _ in spans]).max(axis=0), axis=1) + 1e-300
    apart = np.abs(w - np.array([each.end for each in some]).T) > JOINED * size
    apart[-2] = False  # the clock has begun anew
    return good & ~apart.any(axis=0), spans


def _rested(end: np.ndarray) -> np.ndarray:
    end = end.copy()
    end[0] = 0.0
    return end


def _holds(step: Step, good, w, t, left, since) -> tuple[np.ndarray, np.ndarray]:
    """Which of the good periods stay so through one step: what ends it is the first to come. And the states at its end."""
    flow, event = step.mode.flow, step.event
    if event is None:
        good = good & (t > 0) & (np.abs(t - left) <= PLACED * (left + t))
    else:
        good = good & (t > (np.maximum(since, 0.0) if event >= flow.count - step.mode.late else 0.0)) & (t <= left)
    sure, stretches = np.ones(len(t), bool), list(flow.stretches(w, np.where(good, t, 0.0)))
    for k, (guards, slack, end) in enumerate(stretches):
        if event is not None and k + 1 == len(stretches):  # it comes down to zero at the end, and nowhere before
            rest, way = flow.backwards(event, end, t / len(stretches))
            sure &= np.abs(rest) <= slack[event] + PLACED * np.abs(way[0])
            guards[event, :-1], guards[event, -1], slack[event] = way, 0.0, 0.0
        sure &= flow.positive(guards, slack)
    for j in np.nonzero(good & ~sure)[0]:
        _, when, first = flow.first_event(w[:, j].copy(), float(left[j]), max(float(since[j]), 0.0), step.mode.late)
        if first != event or not abs(when - t[j]) <= PLACED * left[j]:
            good[j:] = False  # what comes after it will not be needed
            break
    return good, end


def _parts(run, done: list, groups: dict) -> tuple[list[Piece | Block], list[float]]:
    """Walked pieces, and marched periods in a row that follow one plan as a block each; and the time closed in each period."""
    parts, closed, first, begins = [], [], 0, run.done - len(done)
    for plan, row in groupby(done, lambda each: isinstance(each, Marched) and each.plan):
        row = list(row)
        if not plan:
            parts += [piece for each in row for piece in each.pieces]
            closed += [each.closed for each in row]
        else:
            block = _block(plan, *groups[plan], first, row, (begins + np.arange(first, first + len(row))) * run.loop.t_sw)
            parts.append(block)
            closed += sum((s.durations for s in block.spans if s.mode.kind.switch == "closed"), np.zeros(len(row))).tolist()
        first += len(row)
    if plan:
        run.pieces = block.last(np.array)
    return parts, closed


def _block(plan: Plan, which: np.ndarray, spans: list, first: int, row: list[Marched], starts: np.ndarray) -> Block:
    begin, made = int(np.searchsorted(which, first)), []
    some = slice(begin, begin + len(row))
    for step, (w, end), t in zip(plan.steps, spans, np.array([each.times for each in row]).T, strict=True):
        made.append(Span(step.mode, starts, t, w[:, some], end[:, some], None if step.event is None else step.mode.guards[step.event][1]))
        starts = starts + t
    return Block(tuple(made))
