"""The closed loop of a sampled regulator around a circuit of two states: between two clocks there is nothing but the circuit."""

from __future__ import annotations

import numpy as np

from .flow import PlanarFlow
from .series import Series


class Planar(Series):
    """The same for a circuit of two states with nothing but time and a set point beside them: its own closed form is quicker."""

    def __init__(self, circuit: PlanarFlow, *system):
        super().__init__(*system)
        self._circuit, rows = circuit, np.array(system[3], float).reshape(-1, self.n + 1)
        self._guards = [tuple(row) for row in rows[:, [0, 1, -1]].tolist()]
        self._others = self.b[2:]

    def first_event(self, w: np.ndarray, h: float, since: float = 0.0, late: int = 0) -> tuple[np.ndarray, float, int | None]:
        flow, x, span, event = self._circuit, tuple(w[:2].tolist()), h, None
        end = flow.advance(x, h)
        for k, row in enumerate(self._guards):
            if late and since > 0 and k >= self.count - late:
                t = self._late_fall(row, x, since, span, end)
            else:
                t = 0.0 if late and k >= self.count - late and flow.value(row, x) < 0 else flow.first_fall(row, x, span, end)
            if t is not None and (event is None or t < span):
                end, span, event = flow.advance(x, t), t, k
        return np.array([*end, w[2] + self._others[0] * span, w[3] + self._others[1] * span, 1.0]), span, event

    def _late_fall(self, row, x: tuple, since: float, span: float, end: tuple) -> float | None:
        """When a guard that counts from `since` on falls."""
        if since > span:
            return None
        x = self._circuit.advance(x, since)
        if self._circuit.value(row, x) < 0:
            return since
        t = self._circuit.first_fall(row, x, span - since, end)
        return None if t is None else since + t
