"""One regulator at every corner of source voltage, load and tolerance."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import pi

import numpy as np

from .margins import Margins, followed, margins

CLOSEST = 0.004  # of log frequency between two points of a grid that serves many plants


@dataclass(frozen=True)
class Spread:
    """The least margins of a regulator whose parts stray. phase_margin: degrees, at phase_at; gain_margin: a factor, inf where no limit
    was seen, at gain_at; both places are pairs (corner, key of the regulator). stable: whether it is at every one of them."""

    phase_margin: float
    phase_at: tuple
    gain_margin: float
    gain_at: tuple
    stable: bool


def at_corners(plants: Mapping, regulator: Callable, low: float, high: float) -> dict:
    """The margins of a regulator with each plant.

    Args: plants, corner to a function from Hz to the complex response from control voltage to output; regulator, a compensator or any
    such function from output error to control voltage; or a mapping of such functions (`Network.corners()`), in which case the keys of
    the result are pairs (corner, key). low, high Hz: as in `margins`. Result: corner to Margins.
    """
    if isinstance(regulator, Mapping):
        return {(corner, key): of_loop(each, plant, low, high) for corner, plant in plants.items() for key, each in regulator.items()}
    return {corner: of_loop(regulator, plant, low, high) for corner, plant in plants.items()}


def of_loop(regulator: Callable, plant: Callable, low: float, high: float) -> Margins:
    """The margins of a regulator and a plant in a loop."""
    return margins(lambda f: regulator(f) * plant(f), low, high)


def worst(found: Mapping):
    """The corner with the least phase margin, an unstable one before any other, and its Margins."""
    return min(found.items(), key=lambda item: (item[1].stable, item[1].phase_margin))


def grid(plants: Mapping, low: float, high: float) -> np.ndarray:
    """One set of frequencies (Hz) that follows every plant, resonances included."""
    every = np.unique(np.concatenate([followed(plant, low, high)[0] for plant in plants.values()]))
    apart = np.append(True, np.diff(np.floor(np.log(every) / CLOSEST)) > 0)
    return every[apart]


def reserves(gain: np.ndarray, phase: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of many loops (rows of log gain and of phase, rad), wherever a gain passes one: the row, and 180° plus the phase, in degrees."""
    row, at = np.nonzero((gain[:, :-1] > 0) != (gain[:, 1:] > 0))
    share = gain[row, at] / (gain[row, at] - gain[row, at + 1])
    return row, 180 + np.degrees(phase[row, at] + share * (phase[row, at + 1] - phase[row, at]))


def passes(gain: np.ndarray, phase: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Of many loops, wherever a phase passes an odd multiple of 180°: the row, and the log gain there."""
    sheet = np.floor((phase + pi) / (2 * pi))
    row, at = np.nonzero(sheet[:, 1:] != sheet[:, :-1])
    level = 2 * pi * np.maximum(sheet[row, at], sheet[row, at + 1]) - pi
    share = (level - phase[row, at]) / (phase[row, at + 1] - phase[row, at])
    return row, gain[row, at] + share * (gain[row, at + 1] - gain[row, at])


def from_above(phase: np.ndarray) -> np.ndarray:
    """Rows of unwrapped phase (rad) that start at most at 90°, so that two integrators are -180°."""
    return phase - 2 * pi * (phase[:, :1] > pi / 2)


def spread(plants: Mapping, regulators: Mapping, low: float, high: float) -> Spread:
    """The least margins of every regulator with every plant. All are looked at together on one grid; the least are then found to rounding.

    Args: plants, corner to plant; regulators, key to regulator, as from `Network.corners()`; low, high Hz: as in `margins`.
    Errors: ValueError where no gain passes one, and as in `margins`.
    """
    pairs = [(corner, key) for corner in plants for key in regulators]
    gain, phase = _together(plants, regulators, grid(plants, low, high))
    row, reserve = reserves(gain, phase)
    if not row.size:
        raise ValueError("no loop gain passes one: there is nothing to reckon margins at")
    least = pairs[row[np.argmin(reserve)]]
    row, there = passes(gain, phase)
    row, closeness = row[there <= 0], -there[there <= 0]
    worst_phase = of_loop(regulators[least[1]], plants[least[0]], low, high)
    tightest = pairs[row[np.argmin(closeness)]] if row.size and worst_phase.stable else least
    worst_gain = of_loop(regulators[tightest[1]], plants[tightest[0]], low, high)
    return Spread(worst_phase.phase_margin, least, worst_gain.gain_margin, tightest, worst_phase.stable and worst_gain.stable)


def _together(plants: Mapping, regulators: Mapping, f: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Log gain and phase of every pair, a row each."""
    sides = [np.array([np.asarray(each(f), complex) for each in side.values()]) for side in (plants, regulators)]
    gains, phases = ([part(side) for side in sides] for part in (lambda t: np.log(np.abs(t)), lambda t: np.unwrap(np.angle(t))))
    gain, phase = ((one[:, None] + other[None]).reshape(-1, len(f)) for one, other in (gains, phases))
    return gain, from_above(phase)
