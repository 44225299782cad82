"""Loss against frequency at a given coil: what falls, what rises, and the frequency of least loss.

Core, turns and gap stay, and so does the inductance. A lower frequency makes more ripple, which heats winding and core; a higher
one makes more edges. With the size left free instead, see `sweep`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..derivations import frequency
from ..parts import kinds, losses, warming
from ..parts.kinds import Parts
from ..parts.losses import Losses
from ..parts.point import Point
from ..units import guard

FREQUENCIES = tuple(float(f) for f in np.geomspace(10e3, 2e6, 60))  # Hz
ZOOMS, ZOOM_POINTS = 3, 41  # each zoom narrows the place of the minimum twentyfold
GROUPS = ("steady", "ripple", "core", "edges")


@dataclass(frozen=True)
class GivenCoil:
    """Losses in W over f_sw (Hz), warm. `terms` by GROUPS, `total` their sum: `ripple` is what the ripple heats in winding, switch,
    rectifier and capacitor, `edges` goes by the cycle, `steady` is the rest: conduction without ripple, and control.

    Where `saturates` the peak current is beyond what the coil is stated for, and the figures are too low; nan where no temperature
    settles or the output is out of reach. least_at Hz and least W: the lowest point, by search. inside: whether it lies between
    the ends, where something falls and something rises, and not at one of them. by_formula Hz: the closed form with the falling
    losses at `least_at` taken as one power of frequency. weighed W: what the falling losses weigh there, each times its power,
    against `edges` W.
    """

    f_sw: np.ndarray
    terms: dict[str, np.ndarray]
    total: np.ndarray
    efficiency: np.ndarray
    ripple_current: np.ndarray
    discontinuous: np.ndarray
    saturates: np.ndarray
    least_at: float
    least: float
    inside: bool
    by_formula: float
    weighed: float
    edges: float


def at_given_coil(parts: Parts, v_in: float, v_out: float, i_out: float, frequencies=FREQUENCIES,
                  ambient: float = kinds.REFERENCE) -> GivenCoil:  # fmt: skip
    """Losses of given parts against switching frequency (V, A, Hz, °C), temperatures solved at each.

    Errors: ValueError where the output is out of reach, or no temperature settles, at every frequency.
    """
    f_sw = np.sort(np.asarray(frequencies, float))
    guard("frequency", float(f_sw[0]), 1e3, 1e8, unit="Hz")

    def total(f):
        return warming.settle_many(parts, v_in, v_out, i_out, f, ambient).losses.total

    found = warming.settle_many(parts, v_in, v_out, i_out, f_sw, ambient)
    if not np.isfinite(found.losses.total).any():
        raise ValueError(f"at no frequency do these parts bring v_out = {v_out:g} V from v_in = {v_in:g} V at {i_out:g} A and stay cool")
    least_at = _lowest(total, f_sw, found.losses.total)
    there = warming.settle_many(parts, v_in, v_out, i_out, np.array([least_at]), ambient)
    by_formula, weighed = _formulas(parts, there)
    return GivenCoil(
        f_sw, terms(found.point, found.losses, found.temperatures, parts), found.losses.total, found.efficiency,
        found.point.ripple_current, found.point.discontinuous,
        found.point.i_inductor_max > parts.inductor.saturation_current, least_at, float(there.losses.total[0]),
        bool(f_sw[0] * 1.001 < least_at < f_sw[-1] / 1.001), by_formula, weighed, float(there.losses.by_the_cycle[0]),
    )  # fmt: skip


def terms(point: Point, lost: Losses, temperatures: dict[str, np.ndarray], parts: Parts) -> dict[str, np.ndarray]:
    """Losses (W) in GROUPS, at points with their temperatures (°C by part)."""
    excess, core, edges, total = lost.items["inductor winding, ripple"], lost.items["inductor core"], lost.by_the_cycle, lost.total
    ripple = _straight_heat(point, temperatures, parts) + excess
    return dict(zip(GROUPS, (total - ripple - core - edges, ripple, core, edges), strict=True))


def _straight_heat(point: Point, temperatures: dict[str, np.ndarray], parts: Parts) -> np.ndarray:
    """The ripple's heat in the resistances for direct current. Whatever conducts carries the same slope, for its share of time."""
    known = {name: np.where(np.isnan(t), kinds.REFERENCE, t) for name, t in temperatures.items()}  # where nothing settles the ripple is nan
    path = losses.resistances(parts, known)
    in_turn = point.duty * path["r_switch"] + point.duty_rectifier * (path["r_rectifier"] + path["r_capacitor"])
    return (path["r_inductor"] + in_turn) * point.i_inductor_ripple_rms**2


def _lowest(call, f_sw: np.ndarray, total: np.ndarray) -> float:
    """The place of the lowest point: the grid's, then narrowed between its neighbours."""
    for _ in range(ZOOMS):
        k = int(np.nanargmin(total))
        f_sw = np.geomspace(f_sw[max(k - 1, 0)], f_sw[min(k + 1, len(f_sw) - 1)], ZOOM_POINTS)
        total = call(f_sw)
    return float(f_sw[int(np.nanargmin(total))])


def _formulas(parts: Parts, there: warming.OperatingMany) -> tuple[float, float]:
    """The closed form and the balance, from the losses at one frequency. What the winding's resistance grows with frequency takes back
    what the ripple falls, so that part of its heat stays and counts for nothing here."""
    f_sw, heat = float(there.point.f_sw[0]), float(_straight_heat(there.point, there.temperatures, parts)[0])
    core, edges = float(there.losses.items["inductor core"][0]), float(there.losses.by_the_cycle[0])
    weighed = float(frequency.least_loss_balance().formula(
        p_ripple=heat, p_core=core, core_alpha=parts.inductor.core_alpha, core_beta=parts.inductor.core_beta))  # fmt: skip
    falling = heat + core
    if falling <= 0 or edges <= 0:
        return float("nan"), weighed
    closed = frequency.least_loss_frequency().formula(
        f_reference=f_sw, falling=weighed / falling, p_falling_reference=falling, energy_period=edges / f_sw)  # fmt: skip
    return float(closed), weighed
