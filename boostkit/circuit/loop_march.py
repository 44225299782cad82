"""Patterns of the closed loop's period, multiplied out once: period after period by one product and the zero of one polynomial.

Given the instant at which its one edge moves, a period is linear in its starting state. So the comparator's excess, the state at the
end and the guards there are series about a place where that edge may lie, whose terms are products with the starting state. Where
several edges move (the current coming to rest too), each stretch between them has series of its own. A march tries the patterns that
its run has met; whether it chose rightly is for `loop_leap` to check.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from .loop_modes import LoopMode
from .series import REST

TERMS = 14  # of the series about a place; `Series.pace` says how far they reach
CELLS = 8  # places a period, at least
MOST_PLACES = 400  # remembered by a move
MOST_TIMES = 1024  # known times whose product is kept, a move
COMPARATORS = ("opens", "current limit")
PASSED = -1e-12  # a guard below this at the end of a step: another pattern


class Step(NamedTuple):
    """One piece of the pattern: its mode, the number of the guard that ends it (None: the clock), whether the switch is closed in
    it, and, where a phase begins with it, the time of that phase as (a, b): a + b times the closed time; a None: by command."""

    mode: LoopMode
    event: int | None
    closed: bool
    budget: tuple | None

    @property
    def idle(self) -> bool:
        """Whether no current can flow in the coil."""
        return self.mode.kind.switch == "open" and self.mode.kind.rectifier == "off"

    @property
    def name(self) -> str:
        """The name of what ends it."""
        return "clock" if self.event is None else self.mode.guards[self.event][0]


class Marched(NamedTuple):
    """One period along a plan: the state at its start and at its end, the times of its steps, how long the switch might stay closed, the
    mode before it, and what a sampled regulator holds after it."""

    plan: Plan
    w: np.ndarray
    end: np.ndarray
    times: list
    most: float
    before: LoopMode
    brain: tuple | None


class Move:
    """Through one or more steps whose durations hang on one time u as a + b u; the event of the first, if any, then comes at u."""

    def __init__(self, parts: list, period: float, last: bool):
        self.parts, self.last, self.n = parts, last, parts[0][0].mode.flow.n + 1
        self.meets = parts[0][0].event is not None
        pace = sum(step.mode.flow.pace * abs(b) for step, _, b in parts)
        self.cell = min((REST * math.factorial(TERMS)) ** (1 / TERMS) / pace if pace else math.inf, period / CELLS)
        first = parts[0][0].mode
        self.entry = np.array([row for _, row in first.guards[: len(first.guards) - first.late]]).reshape(-1, self.n)
        self.head = TERMS * self.meets, TERMS * self.meets + len(self.entry)
        self._tables: dict[int, np.ndarray] = {}
        self._known: dict[float, np.ndarray] = {}

    def _table(self, cell: int) -> np.ndarray:
        """What makes of a starting state the series, in u counted from this place in cells, of the guard met; the guards that the state
        must not be beyond; and the series of the state at the end, of the other guards at the end of each step, and of what the next
        clock looks at."""
        table = self._tables.get(cell)
        if table is None:
            if len(self._tables) >= MOST_PLACES:
                self._tables.clear()
            table = self._tables[cell] = np.concatenate([series.reshape(-1, self.n) for series in self._series(cell)])
        return table

    def _series(self, cell: int):
        whole, marks, onto = None, [], np.eye(self.n)
        for step, a, b in self.parts:
            part = step.mode.flow.about(a + b * cell * self.cell, b * self.cell, TERMS)
            if whole is None:
                yield np.array(step.mode.guards[step.event][1]) @ part if self.meets else np.empty(0)
                yield self.entry
            whole = part if whole is None else _product(part, whole)
            others = [row for k, (_, row) in enumerate(step.mode.guards) if k != step.event]
            marks.append(np.array(others).reshape(-1, self.n) @ whole)
        if step.name == "rests":
            onto[0] = 0.0
        if self.last:
            onto[-2] = 0.0  # the clock begins anew
        yield np.concatenate([onto @ whole, *marks, (step.mode.lead @ onto @ whole)[:, None]], axis=1)

    def meet(self, w: np.ndarray, guess: float) -> tuple[float, np.ndarray] | None:
        """When the guard falls, looked for from a guess on, and what is at the end; None where it is not found."""
        cell = round(guess / self.cell)
        for _ in range(CELLS):
            y = self._table(cell).dot(w)
            s = _zero(y[:TERMS].tolist())
            if abs(s) <= 1:
                seen = self._seen(y, s)
                return None if seen is None else ((cell + s) * self.cell, seen)
            if not abs(s) < 1e3:
                return None
            cell += round(max(min(s, 8.0), -8.0))
            if cell < -1:
                return None
        return None

    def go(self, w: np.ndarray, u: float) -> tuple[float, np.ndarray]:
        """The same with u given."""
        return u, self._through(u).dot(w)

    def _through(self, u: float) -> np.ndarray:
        """What makes of a starting state all that is at the end, the guards at the start among the others there; times come again."""
        made = self._known.get(u)
        if made is None:
            if len(self._known) >= MOST_TIMES:
                self._known.clear()
            cell = round(u / self.cell)
            table, last = self._table(cell), self.head[1]
            ends = _powers(u / self.cell - cell).dot(table[last:].reshape(TERMS, -1)).reshape(-1, self.n)
            made = self._known[u] = np.concatenate([ends[: self.n], self.entry, ends[self.n :]])
        return made

    def _seen(self, y: np.ndarray, s: float) -> np.ndarray | None:
        """What is at the end; None where a guard has fallen at the start already."""
        first, last = self.head
        if last > first and not min(y[first:last].tolist()) >= PASSED:
            return None
        return _powers(s).dot(y[last:].reshape(TERMS, -1))


def _product(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """The product of two series of matrices, cut off."""
    out = np.zeros_like(a)
    for k in range(len(a)):
        out[k:] += a[k] @ b[: len(b) - k]
    return out


def _powers(s: float) -> np.ndarray:
    powers = np.empty(TERMS)
    powers.fill(s)
    powers[0] = 1.0
    return np.multiply.accumulate(powers, out=powers)


def _zero(p: list) -> float:
    """The zero of a falling polynomial near 0, by Newton's method; the slope of its first terms is near enough. nan: none."""
    p0, p1, p2, p3, p4 = p[:5]
    if not p1 < 0:
        return math.nan
    s = -p0 / p1
    if abs(s) > 2:
        return s
    highest_first, last = p[:4:-1], math.inf
    for k in range(12):
        y = 0.0
        if k > 1:
            for c in highest_first:
                y = y * s + c
        step = (p0 + s * (p1 + s * (p2 + s * (p3 + s * (p4 + s * y))))) / (p1 + s * (2 * p2 + s * (3 * p3 + s * 4 * p4)))
        s -= step
        step = abs(step)
        if (k > 1 and (step <= 1e-14 or step * step <= 1e-14 * last)) or not abs(s) <= 2:
            return s
        last = step
    return math.nan


class Plan:
    """The pattern of a period, ready for marching along it. `drive`: the `cause`, `opened` and `moving` of a `Run`."""

    def __init__(self, steps: list[Step], drive: tuple, period: float):
        self.steps, self.drive, self.pulsed = steps, drive, drive[0] != "skipped"
        first, last = steps[0].mode.kind, steps[-1].mode.kind
        self.begins, self.clamp = (first.clamp, first.rising, self.pulsed), last.clamp
        self.last = steps[-1].mode
        self.from_rest = steps[0].idle
        self.fused = sum(step.closed for step in steps) <= 1 and all(step.closed for step in steps if step.event is not None)
        self.shares = [(0.0, 1.0) if step.closed else step.budget for step in steps]
        if self.fused:
            self.moves = [Move([(step, *share) for step, share in zip(steps, self.shares, strict=True)], period, True)]
        else:
            self.moves = [Move([(step, 0.0, 1.0)], period, step is steps[-1]) for step in steps]

    def period(self, w: np.ndarray, usual: list, least: float, most: float) -> tuple[np.ndarray, float, list] | None:
        """One period from a state: that at its end, what the next clock looks at, and the times of the steps; None where it leaves the
        pattern."""
        if self.from_rest and w[0] != 0:
            return None
        return self._at_once(w, usual[0], least, most) if self.fused else self._by_steps(w, usual, least, most)

    def _at_once(self, w: np.ndarray, guess: float, least: float, most: float):
        """The same where only the end of the closed time moves."""
        move = self.moves[0]
        found = move.meet(w, guess) if move.meets else move.go(w, most if self.pulsed else 0.0)
        if found is None or (move.meets and not least < found[0] <= most):
            return None
        closed, seen = found
        *marks, read = seen[move.n :].tolist()
        if marks and not min(marks) >= PASSED:
            return None
        return seen[: move.n], read, [a + b * closed for a, b in self.shares]

    def _by_steps(self, w: np.ndarray, usual: list, least: float, most: float):
        """The same step by step."""
        closed, left, times = 0.0, 0.0, []
        for step, move, guess in zip(self.steps, self.moves, usual, strict=True):
            if step.budget is not None:
                left = most if step.budget[0] is None else step.budget[0] + step.budget[1] * closed
            found = move.meet(w, guess) if move.meets else move.go(w, left)
            if found is None or not (least - closed if step.name in COMPARATORS else 0.0) < found[0] <= left:
                return None
            t, seen = found
            *marks, read = seen[move.n :].tolist()
            if marks and not min(marks) >= PASSED:
                return None
            w, left, closed = seen[: move.n], left - t, closed + t if step.closed else closed
            times.append(t)
        return w, read, times


def march(run, count: int) -> list[Marched]:
    """Up to `count` periods on along the patterns that the run has met, and the run to their end; for the time being unchecked."""
    c, t_sw, brain, known = run.loop.controller, run.loop.t_sw, run.brain, run.known[run.loop]
    run.begin()
    w, least, most, plan, mode, rising = run.w.copy(), c.least_on_time, c.most_duty * t_sw, next(iter(known)), run.mode, run.rising
    made, clamp, read, held = [], run.clamp, float(mode.lead.dot(w)), brain and (brain.z, brain.waiting)
    while len(made) < count:
        if brain:
            most = brain.next(read) * t_sw
        begins = (clamp, rising, most >= least and most > 0 if brain else read > 0)
        found = plan.period(w, known[plan], least, most) if plan.begins == begins else None
        if found is None:
            for plan in known:
                if plan.begins == begins and (found := plan.period(w, known[plan], least, most)):
                    break
            else:
                break
        end, read, times = found
        held = brain and (brain.z, brain.waiting)
        made.append(Marched(plan, w, end, times, most, mode, held))
        known[plan], w, mode, clamp = times, end, plan.last, plan.clamp
    if brain:
        brain.z, brain.waiting = held
    if made:
        run.stand(made[-1], run.done + len(made))
    return made
