"""Many periods at once: Newton's method on all of them together, for a two-state circuit under a clocked duty.

A period's end is the next one's start. As long as each period runs through the same modes, the states at all the starts
solve one system of equations, and its exact derivative makes Newton's method arrive in a few rounds over whole arrays. What
comes out is checked as strictly as a walk checks it: no guard crossed early, every event where it belongs.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .flow import ROUNDING
from .modes import Block, Circuit, Mode, Piece, Span
from .walk import clock_phases

JOINED = 1e-12  # relative gap at most between a period's end and the next one's start
ROUNDS = 10  # of Newton's method
SETTLED = 1e-9  # relative change after which the next round, convergence being quadratic, is right to rounding


def leap(circuit: Circuit, last: list[Piece], x: tuple, start: float, count: int) -> tuple[Block, tuple, int] | None:
    """The next `count` periods on the pattern of the last one, or as many of them as keep to it. None: not even one does,
    or the pattern is not one for leaping. Returns the block, the state at its end and how many periods it holds."""
    plan = _plan(circuit, last)
    if plan is None:
        return None
    with np.errstate(all="ignore"):  # a trial that leaves the plan may run out to inf or nan; it is sorted out
        return _leap_along(plan, circuit, last, x, start, count)


def _leap_along(plan, circuit, last, x, start, count) -> tuple[Block, tuple, int] | None:
    times = [step.usual for step in plan]
    if any(step.ended_by for step in plan):
        drift = np.subtract(x, last[0].state)
        starts, times = _solve(plan, x, np.array(x)[:, None] + drift[:, None] * np.arange(count), times)
    else:  # the clock alone: the map is affine, and one period tells it
        leg = _course(plan, np.array(x)[:, None], times)[-1]
        starts = _affine_chain(x, leg.end[:, 0], leg.carried, count)
    if starts.shape[1] == 0:
        return None
    course = _course(plan, starts, times)
    good = _keeps_to_plan(plan, course)
    if good == 0:
        return None
    return _block(circuit, plan, course, start, good), tuple(course[-1].end[:, good - 1].tolist()), good


def _solve(plan: list[Step], x: tuple, starts: np.ndarray, times: list) -> tuple[np.ndarray, list]:
    """The states at the starts of the periods and the times of the events, as many as have a solution on the plan."""
    for _ in range(ROUNDS):
        course = _course(plan, starts, times)
        improved = _chain(x, starts, course[-1].end, course[-1].carried)
        lost = ~np.isfinite(improved).all(axis=0)
        keep = int(np.argmax(lost)) if lost.any() else lost.size  # what comes before does not depend on what is lost
        change = np.max(np.abs(improved[:, :keep] - starts[:, :keep]) / _size(course)[:, :keep], axis=0)
        starts, times = improved[:, :keep], [leg.time[:keep] if np.ndim(leg.time) else leg.time for leg in course]
        if np.max(change, initial=0) <= SETTLED:
            return starts, times
    keep = int(np.argmax(change > SETTLED))
    return starts[:, :keep], [t[:keep] if np.ndim(t) else t for t in times]


def _size(course: list[Leg]) -> np.ndarray:
    """The largest size of each state up to and in each period, (2, k): later periods may have run away."""
    return np.maximum.accumulate(np.max([np.abs(leg.end) for leg in course], axis=0), axis=1) + 1e-300


class Step(NamedTuple):
    """One piece of the pattern: its mode, the guard that ends it (None: the clock), the time of the phase that starts with
    it (None: it goes on with a phase), and how long it took last time."""

    mode: Mode
    ended_by: tuple | None
    budget: float | None
    usual: float


class Leg(NamedTuple):
    """One piece of many periods at once: states at start and end (2, k), time taken and time that was left in the phase
    (numbers, or (k,) after an event), and the derivative of the period so far, (2, 2) or (2, 2, k)."""

    begin: np.ndarray
    time: np.ndarray | float
    left: np.ndarray | float
    end: np.ndarray
    carried: np.ndarray


def _plan(circuit: Circuit, last: list[Piece]) -> list[Step] | None:
    """The pattern of a period, or None where it cannot be leapt along."""
    if circuit.n != 2 or circuit.converter.switch.drive != "duty":
        return None
    plan, pieces = [], iter(last)
    for _, duration in clock_phases(circuit):
        spent = 0.0
        while duration - spent > 1e-12 * duration:
            piece = next(pieces, None)
            if piece is None:
                return None
            flow = piece.mode.flow
            if flow.spread < 0 and flow.turn * duration > 2.5:  # a second extreme could hide in the phase
                return None
            plan.append(Step(piece.mode, piece.ended_by, None if spent else duration, piece.duration))
            spent += piece.duration
    return plan if next(pieces, None) is None else None


def _course(plan: list[Step], starts: np.ndarray, times: list) -> list[Leg]:
    """Through one period from many starts (2, k); `times` are where to look for each event first."""
    x, j, left, course = starts, np.eye(2), 0.0, []
    for k, step in enumerate(plan):
        flow = step.mode.flow
        left = left if step.budget is None else step.budget
        t = _crossing(flow, step.ended_by, x, times[k]) if step.ended_by else left
        end = flow.path(x, t)
        if step.ended_by and step.ended_by == step.mode.rows["i_inductor"] and step.mode.kind.switch == "open":
            end[0] = 0.0
        j = _product(_carry(flow, t), j)
        if step.ended_by:
            j = _shift(j, step.ended_by, flow.rate(end), plan[k + 1].mode.flow.rate(end))
        course.append(Leg(x, t, left, end, j))
        left, x = left - t, end
    return course


def _crossing(flow, row, x: np.ndarray, guess) -> np.ndarray:
    """When the row reaches zero: Newton's method on arrays; nan where it does not arrive."""
    t = np.zeros(x.shape[1]) + guess
    for _ in range(8):
        at = flow.path(x, t)
        r0, r1 = flow.rate(at)
        with np.errstate(all="ignore"):
            step = (row[0] * at[0] + row[1] * at[1] + row[2]) / (row[0] * r0 + row[1] * r1)
            t = t - step
            arrived = np.abs(step) <= SETTLED * np.abs(t)
        if arrived.all():
            return t
    return np.where(arrived, t, np.nan)


def _carry(flow, t) -> np.ndarray:
    """exp(A t), shape (2, 2) or for many t (2, 2, k)."""
    if not flow.coupled:
        zero = np.zeros(np.shape(t))
        return np.array([[np.exp(flow.a00 * t) + zero, zero], [zero, np.exp(flow.a11 * t) + zero]])
    c, s = flow.exponentials(t)
    return np.array([[c + flow.half * s, flow.a01 * s], [flow.a10 * s, c - flow.half * s]])


def _product(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Matrix product of 2 by 2 matrices whose entries may be arrays."""
    return np.array([
        [a[0, 0] * b[0, 0] + a[0, 1] * b[1, 0], a[0, 0] * b[0, 1] + a[0, 1] * b[1, 1]],
        [a[1, 0] * b[0, 0] + a[1, 1] * b[1, 0], a[1, 0] * b[0, 1] + a[1, 1] * b[1, 1]],
    ])  # fmt: skip


def _shift(j, row, before, after) -> np.ndarray:
    """The derivative across an event, whose instant moves with the disturbance."""
    with np.errstate(all="ignore"):
        moved = (row[0] * j[0] + row[1] * j[1]) / (row[0] * before[0] + row[1] * before[1])
    return np.array([
        [j[0, 0] + (after[0] - before[0]) * moved[0], j[0, 1] + (after[0] - before[0]) * moved[1]],
        [j[1, 0] + (after[1] - before[1]) * moved[0], j[1, 1] + (after[1] - before[1]) * moved[1]],
    ])  # fmt: skip


def _affine_chain(x: tuple, end: np.ndarray, j: np.ndarray, count: int) -> np.ndarray:
    """The starts of periods that all share one affine map: x goes to `end`, a deviation from x to j times itself."""
    (i0, v0), (i1, v1), (j00, j01), (j10, j11) = x, end.tolist(), *j.tolist()
    gap_i, gap_v = i1 - j00 * i0 - j01 * v0, v1 - j10 * i0 - j11 * v0
    (i, v), chained = x, []
    for _ in range(count):
        chained.append((i, v))
        i, v = gap_i + j00 * i + j01 * v, gap_v + j10 * i + j11 * v
    return np.array(chained).T


def _chain(x: tuple, starts, ends, j) -> np.ndarray:
    """The improved starts: each period's linearised end is the next one's start."""
    (i, v), chained = x, []
    columns = zip(*starts.tolist(), *ends.tolist(), *j.reshape(4, -1).tolist(), strict=True)
    for i0, v0, i1, v1, j00, j01, j10, j11 in columns:
        chained.append((i, v))
        di, dv = i - i0, v - v0
        i, v = i1 + j00 * di + j01 * dv, v1 + j10 * di + j11 * dv
    return np.array(chained).T


def _keeps_to_plan(plan: list[Step], course: list[Leg]) -> int:
    """How many periods from the first on keep to the plan."""
    good = np.ones(course[0].begin.shape[1], bool)
    gap = np.abs(course[-1].end[:, :-1] - course[0].begin[:, 1:])
    good[1:] = np.all(gap <= JOINED * _size(course)[:, 1:], axis=0)
    for step, leg in zip(plan, course, strict=True):
        if step.ended_by:
            good &= (leg.time > 0) & (leg.time <= leg.left)
        for _, row in step.mode.guards:
            size = abs(row[2]) + sum(abs(row[k]) * np.maximum(abs(leg.begin[k]), abs(leg.end[k])) for k in (0, 1))
            for at in (leg.begin, leg.end):
                good &= row[0] * at[0] + row[1] * at[1] + row[2] >= -ROUNDING * size
            turns, _, inside = step.mode.flow.inner_extremes(row, leg.begin, leg.end, leg.time)
            good[turns] &= inside >= -ROUNDING * size[turns]
    return len(good) if good.all() else int(np.argmin(good))


def _block(circuit: Circuit, plan: list[Step], course: list[Leg], start: float, good: int) -> Block:
    begin, spans = start + np.arange(good) / circuit.converter.switch.frequency, []
    for step, leg in zip(plan, course, strict=True):
        t = np.broadcast_to(leg.time, leg.begin.shape[1])[:good]
        spans.append(Span(step.mode, begin, t, leg.begin[:, :good], leg.end[:, :good], step.ended_by))
        begin = begin + t
    return Block(tuple(spans))
