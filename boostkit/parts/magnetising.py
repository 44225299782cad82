"""From core, turns and gap to flux linkage against current: how the inductance falls as the core saturates."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from boostkit.derivations import magnetics
from boostkit.parts.core_materials import MU_0, Material, field_of
from boostkit.parts.cores import Core

KNEE = 0.7  # share of its inductance that is left at an inductor's saturation current: common practice, no source
SHARES = np.array([0.99, 0.96, 0.9, 0.8, 0.7, 0.6, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05, 0.02])  # at which the piecewise linear curve bends
MOST_TURNS = 500
DENSE = np.concatenate([np.linspace(0, 0.9, 91), 1 - np.geomspace(0.1, 1e-4, 110)[1:]])  # polarisation over saturation


@lru_cache(maxsize=256)
def material_curve(material: Material, temperature: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Field strength (A/m), flux density (T) and slope dB/dH (H/m) of a material, finely spaced, at `temperature` in °C."""
    polarisation = DENSE * material.saturation_at(temperature)
    field = field_of(polarisation, material, temperature)
    flux = polarisation + MU_0 * field
    return field, flux, np.gradient(flux, field)


@dataclass(frozen=True)
class Magnetised:
    """A wound core. gap in m (0: none), fringing: by what the field that bulges out widens it, temperature in °C."""

    core: Core
    material: Material
    turns: int
    gap: float
    fringing: float
    temperature: float

    @cached_property
    def dense(self) -> tuple[np.ndarray, np.ndarray]:
        """Currents (A) and flux linkages (Wb), finely spaced, from nothing to deep saturation."""
        field, flux, _ = material_curve(self.material, self.temperature)
        current = (field * self.core.length + flux * self.gap / (MU_0 * self.fringing)) / self.turns
        return current, self.turns * self.core.area * flux

    @cached_property
    def slopes(self) -> tuple[np.ndarray, np.ndarray]:
        """Currents (A) in the middle of the dense pieces, and the inductance (H) there."""
        current, linkage = self.dense
        return (current[1:] + current[:-1]) / 2, np.diff(linkage) / np.diff(current)

    @property
    def smallest_current_inductance(self) -> float:
        """H at vanishing current."""
        return float(self.slopes[1][0])

    def inductance_at(self, current):
        """Inductance for small changes, dλ/di in H, around `current` in A, of either sign; arrays broadcast."""
        return np.interp(np.abs(current), *self.slopes)

    def flux_linkage_at(self, current):
        """Flux linkage in Wb at `current` in A, of either sign; arrays broadcast."""
        slope = self.slopes[1]
        size = np.abs(current)
        return np.sign(current) * (np.interp(size, *self.dense) + np.maximum(size - self.dense[0][-1], 0) * slope[-1])

    def current_at(self, inductance):
        """Current in A beyond which less than this inductance (H) is left; arrays broadcast."""
        current, slope = self.slopes
        falling = np.minimum.accumulate(slope)[::-1]
        return np.interp(inductance, falling, current[::-1])

    @cached_property
    def curve(self) -> tuple[np.ndarray, np.ndarray]:
        """Currents (A) and flux linkages (Wb) of a piecewise linear likeness with a dozen bends, starting at 0, 0."""
        current, _ = self.dense
        bends = np.concatenate([[0.0], self.current_at(SHARES * self.smallest_current_inductance), [2 * current[-1]]])
        return bends, self.flux_linkage_at(bends)


def straight_gap(core: Core, material: Material, turns, inductance):
    """Gap in m were the field to cross it straight; arrays broadcast over turns."""
    return magnetics.gap_length().formula(
        turns=turns, area_core=core.area, inductance=inductance, length_core=core.length, permeability=material.permeability
    )


def fringed_gap(core: Core, material: Material, turns: int, inductance: float) -> tuple[float, float]:
    """Gap in m and fringing factor, together, that give this inductance (H): the bulging field acts as a wider gap area, and the gap
    must be longer by as much, which makes the field bulge more."""
    straight = float(straight_gap(core, material, turns, inductance))
    gap = straight
    for _ in range(60):
        factor = float(magnetics.fringing().formula(gap=gap, area_core=core.area, window_height=core.breadth))
        before, gap = gap, factor * straight
        if abs(gap - before) <= 1e-12 * gap:
            break
    return gap, factor
