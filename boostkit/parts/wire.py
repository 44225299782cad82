"""Round copper wire by gauge number, alone or as a bundle of strands.

Diameters follow the rule behind the gauge numbers (ASTM B258), copper is that of IEC 60028.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from boostkit import units
from boostkit.derivations import copper

RATED = 20.0  # °C at which wire tables state resistance
GAUGES = range(6, 45)
STRAND_GAUGES = range(14, 45)
# Two strands lie side by side in a circle twice their size; from three on, round strands fill some three quarters of the
# circle around a twisted bundle: common practice, no source.
BUNDLE_FILL = 0.75


@dataclass(frozen=True)
class Wire:
    """A round copper wire of one or more strands, each insulated.

    gauge: its number (ASTM B258). strands: how many, twisted. diameter, insulated: of one strand, bare and with its enamel,
    m. outer: across the whole bundle, m. area: copper of all strands, m².
    """

    gauge: int
    strands: int
    diameter: float
    insulated: float

    @property
    def area(self) -> float:
        return self.strands * math.pi / 4 * self.diameter**2

    @property
    def outer(self) -> float:
        return float(bundle_diameter(self.insulated, self.strands))

    @property
    def name(self) -> str:
        return f"AWG {self.gauge}" if self.strands == 1 else f"{self.strands} × AWG {self.gauge}"

    def resistance(self, length: float = 1.0, temperature: float = RATED) -> float:
        """Ω of `length` metres for direct current, at `temperature` in °C. Source: IEC 60028.

        >>> round(gauge(18).resistance(1000.0), 2)
        20.95
        """
        return float(resistivity(temperature)) * length / self.area


def resistivity(temperature):
    """Resistivity of annealed copper in Ω·m at `temperature` in °C; arrays broadcast. Source: IEC 60028."""
    return copper.resistivity_at().formula(temperature=temperature)


def bare_diameter(number):
    """Bare diameter in m of a gauge number (need not be whole; arrays broadcast): 0.127 mm at 36, 11.68 mm at -3, in equal
    ratios between. Source: ASTM B258."""
    return copper.wire_diameter().formula(gauge=number)


def insulated_diameter(diameter):
    """Largest diameter in m over a double coat of enamel on a wire of bare `diameter` in m; arrays broadcast.

    A curve through the grade 2 table of IEC 60317-0-1 as remembered: 0.094 mm on a wire of 1 mm, going as diameter to
    the power 0.58; within 2 % of it from 0.1 mm to 1 mm.
    """
    millimetres = np.asarray(diameter, float) * 1e3
    return (millimetres + 0.094 * millimetres**0.58) * 1e-3


def bundle_diameter(insulated, strands):
    """Diameter in m around `strands` twisted strands of the `insulated` diameter in m; arrays broadcast."""
    count = np.asarray(strands, float)
    return insulated * np.where(count == 1, 1.0, np.where(count == 2, 2.0, np.sqrt(count / BUNDLE_FILL)))


@cache
def gauge(number: int, strands: int = 1) -> Wire:
    """The wire with this gauge number, 6 to 44, of 1 to 2000 strands. Errors: ValueError.

    >>> round(gauge(24).diameter * 1e3, 4)
    0.5106
    """
    for name, value, low, high in (("gauge", number, GAUGES[0], GAUGES[-1]), ("strands", strands, 1, 2000)):
        if units.guard(name, value, low, high) != int(value):
            raise ValueError(f"{name} = {value} must be a whole number")
    bare = float(bare_diameter(number))
    return Wire(int(number), int(strands), bare, float(insulated_diameter(bare)))


def near(diameter: float, strands: int = 1) -> Wire:
    """The wire whose bare diameter lies nearest, by ratio, to `diameter` in m, within gauge 6 to 44.

    >>> near(0.5e-3).gauge
    24
    """
    units.guard("diameter", diameter, 0, unit="m", open_low=True)
    return gauge(min(GAUGES, key=lambda number: abs(math.log(float(bare_diameter(number)) / diameter))), strands)
