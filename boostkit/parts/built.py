"""An inductor as wound: all that is known of it, its flux linkage against current, and the part that it makes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from boostkit import units
from boostkit.circuit.saturation import Curve, curve_through
from boostkit.parts import kinds
from boostkit.parts.core_materials import Material
from boostkit.parts.cores import Core
from boostkit.parts.inductor_demand import GROWTH, Demand, flux_limit
from boostkit.parts.magnetising import KNEE, Magnetised
from boostkit.parts.wire import Wire

INSULATION = 130.0  # °C, class 130 of IEC 60085 (from memory)
HOT = 60.0  # °C, touched briefly: common practice, no source
KEEP_AWAY = 3  # gap lengths between gap and winding: common practice, no source


@dataclass(frozen=True)
class Built:
    """An inductor as wound. SI units, °C.

    turns, gap (m, ground in the centre leg; 0 for a powder), fringing, wire, layers, fill (copper over window); flux_peak T at the
    narrowest place, flux_ripple T peak to peak; resistance_dc Ω at `temperature`, resistance_cold Ω at 25 °C; ac_ratio: by what the
    resistance for the ripple exceeds it; winding_loss, core_loss W; temperature °C of winding and core; volume m³ of the box.
    """

    demand: Demand
    core: Core
    material: Material
    turns: int
    gap: float
    fringing: float
    wire: Wire
    layers: int
    fill: float
    flux_peak: float
    flux_ripple: float
    resistance_cold: float
    resistance_dc: float
    ac_ratio: float
    winding_loss: float
    core_loss: float
    temperature: float

    @property
    def inductance(self) -> float:
        """H around the mean current."""
        return self.demand.inductance

    @property
    def strands(self) -> int:
        """Strands of the wire."""
        return self.wire.strands

    @property
    def volume(self) -> float:
        """m³ of the smallest box around core and winding."""
        return self.core.box

    @property
    def loss(self) -> float:
        """Winding and core together, W."""
        return self.winding_loss + self.core_loss

    @property
    def wire_length(self) -> float:
        """m of wire in the winding."""
        return self.turns * self.core.mean_turn

    @cached_property
    def magnetised(self) -> Magnetised:
        """Flux linkage against current, at `temperature`."""
        return Magnetised(self.core, self.material, self.turns, self.gap, self.fringing, self.temperature)

    @property
    def saturation_current(self) -> float:
        """A at which 70 % of `inductance` is left, at `temperature`."""
        return float(self.magnetised.current_at(KNEE * self.inductance))

    @property
    def curve(self) -> tuple[np.ndarray, np.ndarray]:
        """Currents (A) and flux linkages (Wb) of a piecewise linear likeness."""
        return self.magnetised.curve

    @property
    def saturation(self) -> Curve:
        """The same as `circuit.Converter` takes it beside `first_inductance`: pairs of a current (A) and the share of that
        inductance which is left beyond it."""
        return self._knees[1]

    @property
    def first_inductance(self) -> float:
        """H at small current, as a piecewise linear curve has it; the `inductance` of a `circuit.Converter` that saturates."""
        return self._knees[0]

    @cached_property
    def _knees(self) -> tuple[float, Curve]:
        current, linkage = self.curve
        return curve_through(current[1:], linkage[1:])

    def inductance_at(self, current):
        """Inductance for small changes in H around `current` in A; arrays broadcast."""
        return self.magnetised.inductance_at(current)

    @property
    def rms_current(self) -> float:
        """A of direct current that alone would use up the rise in temperature."""
        hot = self.resistance_cold * (1 + GROWTH * (self.demand.hottest - kinds.REFERENCE))
        return math.sqrt(self.demand.rise_limit / (self.core.thermal_resistance * hot))

    def part(self) -> kinds.Inductor:
        """The same as a part with the coefficients of its losses. Its core loss is stated for a sine, as parts are."""
        demand, sine = self.demand, self.core.volume * self.material.k * self.demand.f_sw**self.material.alpha
        return kinds.Inductor(
            f"{self.turns} turns of {self.wire.name} on {self.core.name}, {self.material.name}", demand.inductance, self.resistance_cold,
            self.saturation_current, self.rms_current, ac_ratio=self.ac_ratio, ac_frequency=demand.f_sw,
            core_loss=sine * (self.flux_ripple / 2) ** self.material.beta, core_frequency=demand.f_sw,
            core_ripple=demand.ripple or 1.0, core_alpha=self.material.alpha, core_beta=self.material.beta,
            heat=kinds.Heat(self.core.thermal_resistance, INSULATION), invented=self.material.invented,
        )  # fmt: skip

    @property
    def why(self) -> tuple[str, ...]:
        """How it came about, line by line."""
        return tuple(_reasons(self))


def _reasons(built: Built):
    demand, limit = built.demand, flux_limit(built.demand, built.material)
    said = units.show
    yield f"{built.core.name} of {built.material.name} ({built.material.origin}): wound, it needs a box of {said(built.volume * 1e6)} cm³."
    yield (f"{built.turns} turns keep the flux density at {said(built.flux_peak, 'T')} at the peak of {said(demand.i_peak, 'A')}; "
           f"{said(limit, 'T')} is allowed at {said(demand.hottest, '°C')}.")  # fmt: skip
    if built.gap:
        yield (f"A gap of {said(built.gap, 'm')} in the centre leg gives {said(demand.inductance, 'H')}: the field that bulges out "
               f"of it adds {said(built.fringing - 1, '%')} to what a straight field would. Keep the winding {KEEP_AWAY} gap "
               "lengths away from it.")  # fmt: skip
    yield (f"{built.wire.name} in {built.layers} layers, {said(built.fill, '%')} of the window copper: "
           f"{said(built.resistance_dc, 'Ω')} when warm, {built.ac_ratio:.3g} times that for the ripple.")  # fmt: skip
    yield (f"It loses {said(built.winding_loss, 'W')} in the winding and {said(built.core_loss, 'W')} in the core, and reaches "
           f"{said(built.temperature, '°C')} in air of {said(demand.ambient, '°C')}.")  # fmt: skip
    if built.temperature > HOT:
        yield f"Above {said(HOT, '°C')} it burns the finger that tries it: let it cool first."
    low, high = built.material.flux
    if not low <= built.flux_ripple / 2 <= high:
        yield (f"The flux amplitude of {said(built.flux_ripple / 2, 'T')} lies outside {said(low, 'T')} to {said(high, 'T')}, "
               "where the core loss is known.")  # fmt: skip
