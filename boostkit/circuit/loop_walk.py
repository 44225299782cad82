"""Walking through the closed loop: one period of the clock after another, every event found to rounding error."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..units import show
from .loop_modes import FREE, HIGH, LOW, Loop
from .modes import Piece
from .sampler import Sampler
from .walk import MOMENT, MOST_EVENTS, after, enter

ROUNDING = 1e-9  # of a period: a change this near to the clock comes with it


class Run:
    """A closed loop on its way: where it is, and the pieces of the period that it walks through."""

    def __init__(self, loop: Loop, x: tuple, *, settled: bool = False):
        self.loop, self.done, self.clamp, self.changes, self.mode = loop, 0, FREE, [], None
        self.w = np.concatenate([x, np.zeros(loop.nz + 2), [1.0]])
        if settled or not loop.soft_periods:
            self.w[-3] = loop.controller.v_set
        self.settled, self.rising = settled, False
        self.pieces: list[Piece] = []
        self.known: dict = {}  # by loop: the patterns met, for marching, each with the times of its pieces
        self.ahead = 256  # periods checked together
        self.waits = self.patience = self.failed = 0  # periods to walk before the next march; so many after a failure; where it was
        self.brain = Sampler(loop.controller) if loop.sampled else None

    def copy(self) -> Run:
        """One that goes its own way from here."""
        twin = Run.__new__(Run)
        vars(twin).update(vars(self))  # quicker than copy.copy
        twin.w, twin.pieces, twin.changes = self.w.copy(), list(self.pieces), []
        twin.brain = self.brain and self.brain.copy()
        twin.known = {loop: dict(plans) for loop, plans in self.known.items()}
        return twin

    def swap(self, loop: Loop) -> None:
        """Another circuit or another regulator from here on, with the same states."""
        old = self.loop
        if (old.nx, old.nz, old.sampled) != (loop.nx, loop.nz, loop.sampled):
            raise ValueError(f"a course with {old.nx} states of the circuit and {old.nz} of the network cannot go on with {loop.nx} and "
                             f"{loop.nz}: a change cannot add or take away a part")
        if abs(loop.t_sw - old.t_sw) > 1e-12 * old.t_sw:
            raise ValueError(f"switch.frequency = {show(1 / loop.t_sw, 'Hz')} must stay {show(1 / old.t_sw, 'Hz')} through a change")
        if loop is not old:
            self.loop, self.mode = loop, None
        if self.brain:
            self.brain.c = loop.controller

    def quiet(self) -> None:
        """Without the steps of converter and timer, which would hide the steady state."""
        if self.brain:
            self.brain.c = replace(self.brain.c, adc_step=0.0, duty_step=0.0)

    def vector(self) -> np.ndarray:
        """All that one period hands to the next: states of circuit and network, and of a sampled regulator what it holds."""
        state = self.w[: self.loop.nx + self.loop.nz]
        return np.concatenate([state, self.brain.z, self.brain.waiting]) if self.brain else state.copy()

    def take(self, vector: np.ndarray) -> None:
        """Go to this `vector`."""
        n = self.loop.nx + self.loop.nz
        self.w[:n], self.mode = vector[:n], None
        if self.brain:
            n, last = n + len(self.brain.z), n
            self.brain.z, self.brain.waiting = vector[last:n].tolist(), tuple(vector[n:].tolist())

    @property
    def x(self) -> tuple:
        """The circuit's own states."""
        return tuple(self.w[: self.loop.nx].tolist())

    def period(self) -> float:
        """Walk through one period of the clock. Returns the time for which the switch was closed, s.

        `cause` then tells what opened it ("opens": the comparator, "current limit", "clock", or "skipped"), `opened` at which
        of the pieces, and `moving` at which pieces an edge comes a fixed time after that."""
        c, t_sw = self.loop.controller, self.loop.t_sw
        self.start, self.pieces, self.moving, self.cause = self.done * t_sw, [], [], "skipped"
        while self.changes and self.changes[0][0] - self.start <= ROUNDING * t_sw:
            self.swap(self.changes.pop(0)[1])
        self.begin()
        most = self.brain.next(self.error()) * t_sw if self.brain else c.most_duty * t_sw
        closed = 0.0
        if most >= c.least_on_time and most > 0 if self.brain else self.before().lead @ self.w > 0:
            self.cause = "clock"
            closed = self.phase("closed", 0.0, most, c.least_on_time)
        self.opened = len(self.pieces)
        self._open(closed)
        self.done += 1
        return closed

    def begin(self) -> None:
        """The clock begins anew. After a soft start the set point stands still, and what climbed with it does."""
        self.w[-2], before, self.rising = 0.0, self.rising, self.rises()
        if not self.rising:
            self.w[-3] = self.loop.controller.v_set
        if before and not self.rising and self.clamp:
            self._clamp(self.clamp)

    def rises(self) -> bool:
        """Whether the set point climbs in the period to come."""
        return not self.settled and self.done < self.loop.soft_periods

    def stand(self, marched, done: int) -> None:
        """At the end of a period that was not walked."""
        self.w, self.done, self.mode, self.pieces = marched.end.copy(), done, marched.plan.last, []
        self.clamp, (self.cause, self.opened, self.moving) = marched.plan.clamp, marched.plan.drive
        if self.brain:
            self.brain.z, self.brain.waiting = marched.brain

    def before(self):
        """The mode just before the clock, the switch not yet closed."""
        if self.mode is None:
            rectifier = self.loop.circuit.converter.rectifier
            gate = "channel" if rectifier.kind == "switch" and not rectifier.dead_time else "open"
            power = enter(self.loop.circuit, gate, self.x)
            self.mode = self.loop.mode((power, self.clamp, self.rising, False))
            held = self.loop.beyond(float(self.mode.rows["control"] @ self.w))
            if held != FREE:  # begun beyond the limit, or a new regulator has a narrower one
                self._clamp(held)
                self.mode = self.loop.mode((power, self.clamp, self.rising, False))
        return self.mode

    def _clamp(self, held: int) -> None:
        """The clamp holds from now on; where it holds the network's own states, they go to the limit."""
        self.clamp = held
        self.w += self.loop.onto_limit(self.w, held, self.rising)

    def error(self) -> float:
        """What is missing at the output just before the clock, V."""
        return float(self.before().rows["error"] @ self.w)

    def output(self) -> float:
        """The output voltage just before the clock, V."""
        return float(self.before().rows["v_out"] @ self.w)

    def _open(self, closed: float) -> None:
        """The rest of the period, the switch open."""
        t_sw, rectifier = self.loop.t_sw, self.loop.circuit.converter.rectifier
        if rectifier.kind == "diode" or t_sw - closed <= 2 * rectifier.dead_time:
            self.phase("open", closed, t_sw)
        elif closed == 0 or not rectifier.dead_time:
            self.phase("channel", closed, t_sw)
        else:
            dead = rectifier.dead_time
            self.phase("open", closed, closed + dead)
            self.moving.append(len(self.pieces))
            self.phase("channel", closed + dead, t_sw - dead)
            self.phase("open", t_sw - dead, t_sw)

    def phase(self, gate: str, at: float, until: float, watched: float | None = None) -> float:
        """From one time since the clock to another, or, the comparators being watched from some time on, to where one opens the
        switch; through the changes that fall due. Returns when it ended."""
        while self.changes and at < until and (due := self.changes[0][0] - self.start) < until:
            reached = self._stretch(gate, at, due, watched)
            if reached < due:
                return reached
            self.swap(self.changes.pop(0)[1])
            at = max(at, due)
        return self._stretch(gate, at, until, watched)

    def _stretch(self, gate: str, at: float, until: float, watched: float | None) -> float:
        """The same without a change."""
        duration = until - at
        if duration <= 0:
            return at
        loop, left = self.loop, duration
        power = enter(loop.circuit, gate, self.x)
        for _ in range(MOST_EVENTS):
            self.mode = mode = loop.mode((power, self.clamp, self.rising, watched is not None))
            since = watched - (until - left) if watched else 0.0
            w, span, event = mode.flow.first_event(self.w, left, since, mode.late)
            if span > 0:
                ended_by = None if event is None else mode.guards[event][1]
                self.pieces.append(Piece(mode, self.start + until - left, span, self.w, ended_by))
            self.w = w
            left -= span
            if event is None:
                return until
            name = mode.guards[event][0]
            if name in ("opens", "current limit"):
                self.cause = name
                return until - left
            power = self._after(power, name)
            if left <= MOMENT * duration:
                self.mode = None
                return until
        raise ValueError(f"more than {MOST_EVENTS} events within {show(duration, 's')} at an inductor current of "
                         f"{show(self.w[0], 'A')} and a capacitor voltage of {show(self.w[1], 'V')}: the loop chatters")

    def _after(self, power, event: str):
        """The mode of the circuit that follows an event; the clamp changes on its own."""
        if event == "frees":
            self.clamp = FREE
            return power
        if event in ("low", "high"):
            self._clamp(HIGH if event == "high" else LOW)
            return power
        power, x = after(self.loop.circuit, power, event, self.x)
        self.w[: self.loop.nx] = x
        return power
