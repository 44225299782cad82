"""The arithmetic of a digital regulator between two clocks: what it holds, and what it makes of a sample."""

from __future__ import annotations

import copy
from operator import mul

import numpy as np


class Sampler:
    """What a digital regulator holds between clocks: its states and the duties that wait to take effect."""

    def __init__(self, controller):
        self.c = controller
        self.z = list(controller.start) or [0.0] * len(controller.b)
        self.waiting = (0.0,) * int(controller.delay)

    def copy(self) -> Sampler:
        """One that goes its own way from here."""
        return copy.copy(self)

    def next(self, error: float) -> float:
        """One sample of the error in, the duty of this period out."""
        c, z = self.c, self.z
        e = _rounded(error, c.adc_step) if c.adc_step else error
        asked = sum(map(mul, c.c, z)) + c.d * e
        duty = 0.0 if asked < 0 else c.most_duty if asked > c.most_duty else asked
        if c.d and duty != asked:
            e += (duty - asked) / c.d
        self.z = [sum(map(mul, row, z)) + b * e for row, b in zip(c.a, c.b)]  # noqa: B905  (as many, checked at the start; this is quicker)
        if not c.d:
            self._hold()
        held = min(_rounded(duty, c.duty_step), c.most_duty) if c.duty_step else duty
        now, *waiting = *self.waiting, held
        self.waiting = tuple(waiting)
        return now

    def _hold(self) -> None:
        """Without a direct path: the states as if the error had been the one that asks for no more than the limit."""
        c, moves, asked = self.c, _dot(self.c.c, self.c.b), _dot(self.c.c, self.z)
        excess = asked - min(max(asked, 0.0), c.most_duty)
        if moves and excess:
            self.z = [z - b * excess / moves for z, b in zip(self.z, c.b, strict=True)]

    def settle(self, duty: float) -> None:
        """To states that keep asking for this duty while there is no error."""
        n = len(self.z)
        kept = np.vstack([self._a - np.eye(n), self.c.c]) if n else np.zeros((1, 0))
        self.z = np.linalg.lstsq(kept, np.append(np.zeros(n), duty))[0].tolist()
        self.waiting = (duty,) * len(self.waiting)

    def derivative(self, j: np.ndarray, loop, begin) -> np.ndarray:
        """That of a whole period by states of the circuit, own states and waiting duties, steps and limits left out; `j` is that of
        the circuit's states at the end by those at the start and by the time of opening."""
        nx, n, queue = loop.nx, len(self.z), len(self.waiting)
        size = nx + n + queue
        error, own, asked = np.zeros(size), np.zeros((n, size)), np.zeros(size)
        error[:nx] = begin.before().rows["error"][:nx]
        own[:, nx : nx + n] = np.eye(n)
        asked = np.asarray(self.c.c) @ own + self.c.d * error
        duties = np.vstack([np.eye(size)[nx + n :], asked])
        ends = np.hstack([j[:nx, :nx], np.zeros((nx, n + queue))]) + np.outer(j[:nx, -1] * loop.t_sw, duties[0])
        return np.vstack([ends, self._a @ own + np.outer(self.c.b, error), duties[1:]])

    @property
    def _a(self) -> np.ndarray:
        return np.reshape(self.c.a, (len(self.z), len(self.z)))


def _dot(a, b) -> float:
    return sum(map(mul, a, b))


def _rounded(value: float, step: float) -> float:
    return round(value / step) * step if step else value
