"""How long a battery lasts: the load's day, what the converter takes on top of it, and what the battery loses by itself."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..units import guard, show
from . import warming
from .kinds import Parts

DAY, MONTH = 86400.0, 30 * 86400.0  # s
CAUTION = ("A lead-acid battery holds enough energy to burn and to weld: a fuse next to its terminal, no tools or rings across them. "
           "It gives off hydrogen while charging: air, and no sparks. The acid burns skin and eyes. Charge as its maker says, and "
           "follow the local rules for batteries and their disposal.")  # fmt: skip


@dataclass(frozen=True)
class Stretch:
    """A share of the time at one load: `i_out` A, what the source gives for it (`i_source` A), `efficiency`, and its share of the
    charge that the converter takes in all."""

    share: float
    i_out: float
    i_source: float
    efficiency: float
    share_of_charge: float


@dataclass(frozen=True)
class Life:
    """`days` that a full battery lasts; `i_source` A, mean; `i_self` A, what it loses by itself; `stretches` in the order given;
    `share_lost`: how much of the energy that the converter takes it turns into heat; `caution` to be printed with it."""

    days: float
    i_source: float
    i_self: float
    stretches: tuple[Stretch, ...]
    share_lost: float
    caution: str = CAUTION


def life(parts: Parts, profile: Sequence[tuple[float, float]], v_in: float, v_out: float, f_sw: float, capacity: float, *,
         ambient: float = 20.0, usable: float = 1.0, self_discharge: float = 0.0) -> Life:  # fmt: skip
    """How long a battery of `capacity` (C: 3600 for each Ah) carries a load with this profile, (share of the time, load current A)
    pairs whose shares make up one.

    v_in V: the battery's mean voltage. usable: the share of the capacity that may be taken out. self_discharge: the share of
    the capacity that is lost in a month of 30 days, as a steady current. Capacity stated for a faster discharge, or cold, gives
    less than it says. Raises ValueError for a profile that makes up no whole, or a load that the parts cannot bring.
    """
    shares, loads = _checked(profile)
    guard("capacity", capacity, 0, unit="C", open_low=True)
    guard("usable", usable, 0, 1, open_low=True)
    guard("self_discharge", self_discharge, 0, 1)
    found = warming.settle_many(parts, v_in, v_out, loads, f_sw, ambient)
    if lost := [show(load, "A") for load, gone in zip(loads, found.runs_away | found.out_of_reach, strict=True) if gone]:
        raise ValueError(f"profile: these parts cannot bring {show(v_out, 'V')} at {' and '.join(lost)}")
    currents = found.losses.input_power / v_in
    mean, own = float(shares @ currents), self_discharge * capacity / MONTH
    guard("i_source", mean + own, 0, unit="A", open_low=True, why="what takes nothing lasts for ever")
    stretches = tuple(Stretch(float(s), float(i), float(c), float(e), float(s * c / mean) if mean else 0.0)
                      for s, i, c, e in zip(shares, loads, currents, found.efficiency, strict=True))  # fmt: skip
    lost_energy = float(shares @ found.losses.total) / (mean * v_in) if mean else 0.0
    return Life(usable * capacity / (mean + own) / DAY, mean, own, stretches, lost_energy)


def _checked(profile: Sequence[tuple[float, float]]) -> tuple[np.ndarray, np.ndarray]:
    """Shares and loads as arrays; refused unless the shares make up one."""
    for share, load in profile:
        guard("profile: share of the time", share, 0, 1)
        guard("profile: load current", load, 0, unit="A")
    shares, loads = (np.array([pair[k] for pair in profile], float) for k in (0, 1))
    if abs(shares.sum() - 1) > 1e-6:
        raise ValueError(f"profile: the shares of the time make up {shares.sum():.6g}, and must make up 1")
    return shares, loads
