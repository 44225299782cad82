"""How fast to switch: complete designs from low to high frequency, size against loss, the designs that nothing beats, and one of
them suggested with its reason.

"The higher the frequency the smaller and the less efficient" is common practice, no source; `Sweep.practice` says where it holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from ..units import guard, show
from .complete import Complete, complete
from .spec import Spec
from .stock import Stock

FREQUENCIES = tuple(float(f) for f in np.geomspace(10e3, 2e6, 25))  # Hz
RIPPLES = (0.25, 0.5, 1.0)  # of the mean coil current; from 2 on it would touch zero
RESERVE = 0.8  # of the loss allowed that a suggested design may use: the rest is for spread of the parts; our own choice
ELSEWHERE = 1e-6  # m³ that switch, rectifier, controller and board take at any frequency: invented
NEARLY = 1.05  # times the least size: what still counts as that small
DECADES = np.array([10e3, 100e3, 1e6, 10e6])


@dataclass(frozen=True)
class Practice:
    """How size and efficiency go with frequency: at each frequency (Hz) the smallest design, its volume (m³) and its efficiency
    at usual source voltage and full load. `refused`: frequencies at which nothing will do.

    small_from: from this frequency on, no higher one saves more than a twentieth of the size. best_at: where the smallest designs
    are most efficient. `lines` say in words where size and efficiency fall with frequency, and where not.
    """

    f_sw: np.ndarray
    volume: np.ndarray
    efficiency: np.ndarray
    small_from: float
    best_at: float
    refused: tuple[float, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True)
class Sweep:
    """Complete designs over frequency and share of ripple. `designs` holds the refused ones too, each with its reason.
    `elsewhere`: m³ that the parts take which frequency does not shrink; it counts in the suggestion only."""

    spec: Spec
    designs: tuple[Complete, ...]
    elsewhere: float = ELSEWHERE

    @cached_property
    def volume(self) -> np.ndarray:
        """m³ of each design; nan where refused."""
        return np.array([design.volume for design in self.designs])

    @cached_property
    def loss(self) -> np.ndarray:
        """W of each design at usual source voltage and full load; nan where refused."""
        return np.array([design.loss for design in self.designs])

    @cached_property
    def f_sw(self) -> np.ndarray:
        """Hz of each design."""
        return np.array([design.f_sw for design in self.designs])

    @cached_property
    def unbeaten(self) -> tuple[int, ...]:
        """Positions of the designs that no other beats in size without losing more, smallest first."""
        return unbeaten(self.volume, self.loss)

    @property
    def allowed(self) -> float | None:
        """W that the efficiency demanded allows; None where none is demanded."""
        if self.spec.efficiency is None:
            return None
        return self.spec.v_out * self.spec.i_out.max * (1 / self.spec.efficiency - 1)

    def least_size(self, loss: float) -> Complete | None:
        """The smallest design that loses at most `loss` W at usual source voltage and full load; None where there is none."""
        guard("loss", loss, 0, unit="W")
        return next((self.designs[k] for k in self.unbeaten if self.loss[k] <= loss), None)

    def least_loss(self) -> Complete | None:
        """The design that loses least, whatever its size."""
        return self.designs[self.unbeaten[-1]] if self.unbeaten else None

    @cached_property
    def _suggestion(self) -> tuple[int | None, str]:
        return _suggestion(self)

    @property
    def suggested(self) -> Complete | None:
        """The design of least size times loss among the unbeaten ones that keep some of the loss allowed in reserve; the size
        is the whole converter's, `elsewhere` counted."""
        k = self._suggestion[0]
        return None if k is None else self.designs[k]

    @property
    def reason(self) -> str:
        """Why this one."""
        return self._suggestion[1]

    @cached_property
    def practice(self) -> Practice:
        """Whether size and efficiency fall with frequency as common practice has it."""
        return _practice(self)


def sweep(spec: Spec, frequencies=FREQUENCIES, ripple_fractions=RIPPLES, stock: Stock | None = None, sizes: int = 3,
          elsewhere: float = ELSEWHERE, progress=None) -> Sweep:  # fmt: skip
    """Complete designs for every frequency (Hz, rising) with every share of ripple (over the mean coil current, below 2).

    Args: `stock`, what they may be made of; `sizes`, how many cores to take at each point, the smallest that will do first;
    `elsewhere`, m³ of the parts that frequency does not shrink; `progress(done, total, words)`. Result: Sweep. Errors: ValueError
    for a frequency or ripple out of range, or a table without switch or rectifier for the output voltage.
    """
    for f_sw in frequencies:
        guard("frequency", f_sw, 1e3, 1e8, unit="Hz")
    for ripple in ripple_fractions:
        guard("ripple_fraction", ripple, 0.01, 2, open_high=True, why="at 2 the current touches zero at full load")
    guard("sizes", sizes, 1, why="at least one core a point")
    f_sw, ripple = (grid.ravel() for grid in np.meshgrid(sorted(frequencies), ripple_fractions, indexing="ij"))
    return Sweep(spec, complete(spec, f_sw, ripple, stock, sizes, progress), guard("elsewhere", elsewhere, 0, unit="m³"))


def unbeaten(volume, loss) -> tuple[int, ...]:
    """Positions of the points that no other equals or beats in one number and beats in the other, by rising volume; nan never counts.

    >>> unbeaten([1.0, 2.0, 3.0, 4.0], [5.0, 3.0, 3.0, 1.0])
    (0, 1, 3)
    """
    volume, loss = np.asarray(volume, float), np.asarray(loss, float)
    kept, least = [], np.inf
    for k in np.lexsort((loss, volume)):
        if loss[k] < least and np.isfinite(volume[k]):
            kept.append(int(k))
            least = loss[k]
    return tuple(kept)


def _suggestion(found: Sweep) -> tuple[int | None, str]:
    """Which design, and the reason in words."""
    if not found.unbeaten:
        return None, "No design will do at any of these frequencies; each one says why."
    enough = [k for k in found.unbeaten if found.allowed is None or found.loss[k] <= RESERVE * found.allowed]
    if not enough:
        k = found.unbeaten[-1]
        return k, (f"No design keeps {show(1 - RESERVE, '%')} of the allowed {show(found.allowed, 'W')} in reserve; this one loses least, "
                   f"{show(found.loss[k], 'W')}.")  # fmt: skip
    k = min(enough, key=lambda k: (found.volume[k] + found.elsewhere) * found.loss[k])
    return k, " ".join(_reasons(found, k, enough))


def _reasons(found: Sweep, k: int, enough: list[int]):
    """Why design k, and what its neighbours would save and cost."""
    design, place = found.designs[k], enough.index(k)
    yield (f"{show(design.f_sw, 'Hz')} with a ripple of {show(design.ripple_fraction, '%')} of the mean: {_size(design.volume)} beside "
           f"{_size(found.elsewhere)} that frequency does not shrink, {show(design.loss, 'W')}. From here on, a share of the whole size "
           "saved costs a larger share of loss, and the other way round.")  # fmt: skip
    if place:
        other = found.designs[enough[place - 1]]
        yield (f"The next smaller that nothing beats, at {show(other.f_sw, 'Hz')}, has {_size(other.volume)} and loses "
               f"{show(other.loss, 'W')}.")  # fmt: skip
    if place + 1 < len(enough):
        other = found.designs[enough[place + 1]]
        yield (f"The next of less loss, at {show(other.f_sw, 'Hz')}, loses {show(other.loss, 'W')} and has {_size(other.volume)}.")


def _size(volume: float) -> str:
    return f"{show(volume * 1e6)} cm³"


def _practice(found: Sweep) -> Practice:
    """The smallest at each frequency, and what they say."""
    rows, refused = [], []
    for f_sw in np.unique(found.f_sw):
        here = [d for d in found.designs if d.f_sw == f_sw and not d.refused]
        if here:
            small = min(here, key=lambda d: d.volume)
            rows.append((f_sw, small.volume, small.efficiency))
        else:
            refused.append(float(f_sw))
    f_sw, volume, efficiency = np.array(rows, float).reshape(-1, 3).T
    if not rows:
        return Practice(f_sw, volume, efficiency, np.nan, np.nan, tuple(refused), (found.reason,))
    small_from, best_at = float(f_sw[volume <= NEARLY * volume.min()][0]), float(f_sw[np.argmax(efficiency)])
    lines = tuple(_said(f_sw, volume, efficiency, small_from, best_at))
    return Practice(f_sw, volume, efficiency, small_from, best_at, tuple(refused), lines)


def _said(f_sw, volume, efficiency, small_from: float, best_at: float):
    """Each decade's change of size and efficiency, then where the rule ends."""
    inside = [f for f in DECADES if f_sw[0] * 0.999 <= f <= f_sw[-1] * 1.001]
    for low, high in pairwise([*inside, f_sw[-1]] if inside and f_sw[-1] > 1.001 * inside[-1] else inside):
        size, good = (np.interp(np.log([low, high]), np.log(f_sw), y) for y in (volume, efficiency))
        yield (f"From {show(low, 'Hz')} to {show(high, 'Hz')} the smallest design goes from {_size(size[0])} to {_size(size[1])}, and "
               f"its efficiency from {show(good[0], '%')} to {show(good[1], '%')}.")  # fmt: skip
    if best_at > f_sw[0]:
        yield (f"Efficiency does not fall all the way: the smallest designs are most efficient at {show(best_at, 'Hz')}, with "
               f"{show(efficiency.max(), '%')} and {_size(volume[np.argmax(efficiency)])}. At {show(f_sw[0], 'Hz')} the smallest has "
               f"{show(efficiency[0], '%')} and {_size(volume[0])}.")  # fmt: skip
    if small_from < f_sw[-1]:
        yield f"Size does not fall all the way: from {show(small_from, 'Hz')} on, a higher frequency saves next to nothing."
