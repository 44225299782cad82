"""Every way to wind a number of turns on a core: which wire, how many strands, how many layers, and what it loses.

All ways are reckoned at once, as arrays over (turns, wire); `Ways` holds those that fit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np

from boostkit.derivations import copper, magnetics
from boostkit.parts import wire
from boostkit.parts.cores import Core
from boostkit.parts.kinds import REFERENCE

STRANDS = (1, 3, 7, 19, 40, 100)
SMALLEST, LARGEST = 0.004e-6, 6e-6  # m² of copper: thinner is hard to handle, thicker hard to bend on small cores
HOLE_LEFT = 0.6  # of a ring's hole stays open, as a share of its radius, so that the wire can be threaded
HARMONICS = 8  # of the ripple, in which the winding loss is summed while choosing


@dataclass(frozen=True)
class Ways:
    """Ways to wind, one per element: turns, index into `wires`, layers, fill (copper over window), resistance_dc (Ω, 25 °C)."""

    turns: np.ndarray
    wire: np.ndarray
    layers: np.ndarray
    fill: np.ndarray
    resistance_dc: np.ndarray
    covered: np.ndarray  # share of a layer's breadth that is bare copper squares: the porosity of Dowell's foil

    def __len__(self) -> int:
        return len(self.turns)

    def only(self, chosen) -> Ways:
        """The ways under a mask or index."""
        return Ways(*(np.atleast_1d(part[chosen]) for part in vars(self).values()))


@cache
def wires() -> tuple[wire.Wire, ...]:
    """Every wire that is tried: even gauge numbers, alone and as bundles."""
    tried = (wire.gauge(number, count) for count in STRANDS for number in wire.STRAND_GAUGES if number % 2 == 0)
    return tuple(one for one in tried if SMALLEST <= one.area <= LARGEST)


@cache
def _columns() -> tuple[np.ndarray, ...]:
    return tuple(np.array([getattr(one, name) for one in wires()]) for name in ("area", "outer", "diameter", "strands"))


def ways(core: Core, turns, fill_limit: float) -> Ways:
    """All ways that fit to wind each number of `turns` (array) on the core, copper filling at most `fill_limit` of the window."""
    area, outer, diameter, strands = _columns()
    count = np.asarray(turns, float)[:, None]
    layers, in_layer = _layers(core, count, outer)
    fill = count * area / core.window
    # atleast_1d: the shape of a grid even where there is one number of turns only
    row, column = np.nonzero((fill <= fill_limit) & np.isfinite(layers))
    number, found, wound = count[row, 0], layers[row, column], in_layer[row, column]
    bare = math.sqrt(math.pi) / 2 * diameter[column] * np.sqrt(strands[column])
    resistance = magnetics.winding_resistance().formula(
        resistivity=wire.resistivity(REFERENCE), turns=number, length_turn=core.mean_turn, area_wire=area[column]
    )
    return Ways(number, column, found, fill[row, column], resistance, np.minimum(wound * bare / core.breadth, 1.0))


def least_loss(core: Core, turns: float, fill_limit: float, i_rms: float, temperature: float) -> float:
    """Heat of a winding in W if all of the copper's share of the window were one wire and carried direct current: no winding
    with so many turns loses less. It is `core_size.copper_loss_size` read the other way round."""
    return i_rms**2 * magnetics.winding_resistance().formula(
        resistivity=wire.resistivity(temperature), turns=turns, length_turn=core.mean_turn, area_wire=fill_limit * core.window / turns
    )


def _layers(core: Core, turns, outer):
    """Layers needed (inf where they do not fit) and mean turns in one."""
    if core.gappable:
        most = np.floor(core.breadth / outer)
        with np.errstate(divide="ignore"):
            layers = np.ceil(turns / most)
    else:
        across = 2 * core.build / outer  # layer k of a ring takes pi*(across - 2 k + 1) turns: a quadratic in their number
        room = across**2 - 4 * turns / math.pi
        layers = np.where(room >= 0, np.ceil((across - np.sqrt(np.maximum(room, 0))) / 2), np.inf)
    height = core.build * (1.0 if core.gappable else 1 - HOLE_LEFT)
    layers = np.where(layers * outer <= height, layers, np.inf)
    return layers, turns / layers


def ripple_square(flowing: float) -> float:
    """Square of the ripple's rms for a ripple of one ampere peak to peak, current flowing for this share of the period: 1/12 at 1."""
    return flowing / 3 - (flowing / 2) ** 2


@lru_cache(maxsize=64)
def ripple_shares(rising: float, falling: float, count: int) -> np.ndarray:
    """Share of each harmonic in the square of the ripple's rms value; the current rises and falls for these shares of the period
    and rests at zero for the remainder.

    Source: Fourier series of straight pieces, from the steps in their slope. What lies beyond `count` is given to the last.
    """
    order = np.arange(1, count + 1)[:, None]
    steps = np.array([1 / rising, -1 / rising - 1 / falling, 1 / falling])
    times = np.array([0.0, rising, rising + falling])
    amplitude = np.abs(np.exp(-2j * math.pi * order * times) @ steps) / (2 * math.pi**2 * order[:, 0] ** 2)
    share = amplitude**2 / 2 / ripple_square(rising + falling)
    share[-1] += 1 - share.sum()
    share.flags.writeable = False
    return share


def ac_ratio(found: Ways, f_sw: float, rising: float, falling: float, temperature, harmonics: int = HARMONICS) -> np.ndarray:
    """By what the resistance for the ripple, straight up and down, exceeds that for direct current; one per way.

    Dowell's rule for each harmonic, round strands as foils of equal area, a bundle of n strands as sqrt(n) layers of sqrt(n)
    strands. The field that bulges out of the gap is left out: keep the winding a few gap lengths away from it.
    """
    diameter, strands = (column[found.wire] for column in _columns()[2:])
    order = np.arange(1, harmonics + 1)[:, None]
    depth = copper.skin_depth().formula(resistivity=wire.resistivity(temperature), f_sw=f_sw)
    strand = copper.round_penetration().formula(wire_diameter=diameter, skin_depth=depth, layer_fill=found.covered)
    factor = copper.stranded_factor().formula(penetration=strand * np.sqrt(order), turn_layers=found.layers, strands=strands)
    return ripple_shares(rising, falling, harmonics) @ factor
