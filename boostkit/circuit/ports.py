"""The circuit's modes with their inputs: how source voltage and a current drawn from the output enter states and outputs.

Inputs, in this order: `v_in` (V, a rise of the source) and `i_out` (A, drawn from the output beside the load). Outputs: `v_out`
and `i_inductor`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .modes import Circuit, Mode

INPUTS = ("v_in", "i_out")
OUTPUTS = ("v_out", "i_inductor")


class Port(NamedTuple):
    """A mode as x' = a x + b + inputs u and y = c x + e + through u: a (n, n), b (n,), inputs (n, 2), c (2, n), e (2,), through (2, 2)."""

    a: np.ndarray
    b: np.ndarray
    inputs: np.ndarray
    c: np.ndarray
    e: np.ndarray
    through: np.ndarray


class Ports:
    """The modes of one circuit as ports. A row is affine in the source voltage, so a twin at half of it tells its share; a drawn
    current k acts as if the capacitor's voltage were lower by its series resistance times k, and discharges it."""

    def __init__(self, circuit: Circuit):
        self.circuit = circuit
        self._step = circuit.p.v_in / 2
        self._twin = Circuit(circuit.converter.change(v_in=self._step))
        self._made: dict = {}

    def __call__(self, mode: Mode) -> Port:
        """The port of a mode of this circuit."""
        if mode.kind not in self._made:
            n, p = self.circuit.n, self.circuit.p
            other, a = self._twin.mode(mode.kind), mode.flow.a
            source = (mode.flow.b - other.flow.b) / self._step
            drawn = -p.r_capacitor * a[:, 1] - np.eye(n)[1] / p.capacitance
            rows = np.array([mode.rows[name] for name in OUTPUTS])
            through = np.column_stack([np.zeros(len(OUTPUTS)), -p.r_capacitor * rows[:, 1]])  # the source comes in by the coil only
            self._made[mode.kind] = Port(a, mode.flow.b, np.column_stack([source, drawn]), rows[:, :n], rows[:, n], through)
        return self._made[mode.kind]
