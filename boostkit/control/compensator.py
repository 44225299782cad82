"""What the regulator does to the error: an integrator, with up to two zeros that lift the phase and poles that quieten the rest.

    pi = Compensator("one zero", f_integrator=40.0, zeros=(600.0,), poles=(75e3,))
    pi(5e3), pi.linear()
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..circuit.linear import Linear
from ..units import guard, quoted, show

KINDS = ("integrator", "one zero", "two zeros")


@dataclass(frozen=True)
class Compensator:
    """From the error at the output (V) to the control voltage (V): (2 pi f_integrator / s) prod (1 + s/w_z) / prod (1 + s/w_p).

    kind: "integrator", "one zero" or "two zeros"; f_integrator Hz, at which the integrator alone would have a gain of one; zeros and
    poles Hz, as many zeros as the kind says, and no more poles than zeros. Call it with frequencies in Hz. Errors: ValueError.
    """

    kind: str
    f_integrator: float
    zeros: tuple[float, ...] = ()
    poles: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"kind = {quoted(self.kind)} must be one of {', '.join(KINDS)}")
        guard("f_integrator", self.f_integrator, 0, unit="Hz", open_low=True)
        for name in ("zeros", "poles"):
            if not isinstance(getattr(self, name), (tuple, list)):
                raise ValueError(f"{name} = {quoted(getattr(self, name))} must be a tuple of frequencies in Hz, as in (600.0,)")
        if len(self.zeros) != KINDS.index(self.kind):
            raise ValueError(f"zeros = {quoted(self.zeros)} must be {KINDS.index(self.kind)} in number, for the kind {self.kind}")
        if len(self.poles) > max(len(self.zeros), 1):
            raise ValueError(f"poles = {quoted(self.poles)} must be at most {max(len(self.zeros), 1)} in number, for {self.kind}")
        if len(self.zeros) - len(self.poles) > 1:
            raise ValueError(f"poles = {quoted(self.poles)} must be at least one for two zeros: no amplifier's gain grows for ever")
        for name, corners in (("zero", self.zeros), ("pole", self.poles)):
            for corner in corners:
                guard(name, corner, 0, unit="Hz", open_low=True)

    def __call__(self, f) -> np.ndarray:
        s = 1j * np.asarray(f, float)
        answer = self.f_integrator / s
        for zero in self.zeros:
            answer = answer * (1 + s / zero)
        for pole in self.poles:
            answer = answer / (1 + s / pole)
        return answer

    def linear(self) -> Linear:
        """The same as a system with states, one for the integrator and one for each pole."""
        return Linear.corner_form(2 * np.pi * self.f_integrator, self.zeros, self.poles, integrators=1)

    def scaled(self, factor: float) -> Compensator:
        """The same corners, with the gain multiplied by a factor."""
        return Compensator(self.kind, self.f_integrator * factor, self.zeros, self.poles)

    def __str__(self) -> str:
        corners = [f"{name} at {' and '.join(show(c, 'Hz') for c in at)}"
                   for name, at in (("zero", self.zeros), ("pole", self.poles)) if at]  # fmt: skip
        return ", ".join([f"{self.kind}: integrator of unit gain at {show(self.f_integrator, 'Hz')}", *corners])

