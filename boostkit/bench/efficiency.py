"""Efficiency from four meters: what goes in, what comes out, and how well the difference of the two is known.

Losses are a small difference of two large powers. Meters of half a per cent, quite good enough for the powers, may know nothing
of the losses.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..units import show
from .meters import Readings
from .uncertain import Share, Uncertain, budget, expanded, show_with, uncertain

MOST = 0.5  # of the losses: an expanded uncertainty beyond this leaves little to be said about them; our rule
NAMES = ("v_in", "i_in", "v_out", "i_out")


@dataclass(frozen=True)
class Efficient:
    """`input_power`, `output_power` and `losses` in W, `efficiency` as a share: uncertain numbers that share their meters' errors.
    `notes`: what a reader has to know, empty where all is well."""

    input_power: Uncertain
    output_power: Uncertain
    losses: Uncertain
    efficiency: Uncertain
    notes: tuple[str, ...] = ()

    @property
    def budget(self) -> tuple[Share, ...]:
        """Where the uncertainty of the efficiency comes from, the largest part first."""
        return budget(self.efficiency)

    @property
    def lines(self) -> tuple[str, ...]:
        """The results in words, standard uncertainty in brackets, and the notes."""
        powers = (("input power", self.input_power), ("output power", self.output_power), ("losses", self.losses))
        named = [f"{name} = {show_with(value, 'W')}" for name, value in powers]
        return (*named, f"efficiency = {show_with(self.efficiency, '%')}", *self.notes)


def efficiency(readings: Readings | Mapping[str, Uncertain]) -> Efficient:
    """Input power, output power, losses and efficiency out of readings of `v_in`, `i_in`, `v_out` and `i_out` (V, A, each above zero).

    The readings are mean values. Their product is the mean power where voltage or current is steady; where both swing in step,
    peak to peak by the shares a and b of their means, the product misses a share of at most a b/4. So read the input on the source's side
    of a capacitor.
    Raises ValueError naming the reading that is missing, zero or negative.
    """
    v_in, i_in, v_out, i_out = (_positive(readings, name) for name in NAMES)
    into, out = v_in * i_in, v_out * i_out
    return Efficient(into, out, into - out, out / into, _notes(into - out, out / into))


def _positive(readings: Readings | Mapping[str, Uncertain], name: str) -> Uncertain:
    where = f"{readings.where}: " if isinstance(readings, Readings) else ""
    values = readings.values if isinstance(readings, Readings) else readings
    if name not in values:
        raise ValueError(f"{where}{name} is missing: an efficiency needs {', '.join(NAMES)}")
    value = values[name] + uncertain(0.0, 0.0, "exact")
    if not value.n > 0:
        hint = "the leads of that meter are swapped" if value.n < 0 else "there is no power to compare"
        raise ValueError(f"{where}{name} = {show(value.n, 'V' if name.startswith('v') else 'A')} must be above zero: {hint}")
    return value


def _notes(losses: Uncertain, share: Uncertain) -> tuple[str, ...]:
    """Whether the result is possible, and whether the losses are known at all."""
    wide = expanded(losses)
    if losses.n < -wide:
        return (f"efficiency = {show_with(share, '%')} lies above 100 % by more than its uncertainty, which no converter "
                "reaches: look for the meters of input and output swapped, a wrong range or shunt, or a meter that does not read means",)
    if losses.n <= wide:
        return (f"the losses cannot be told from zero: their expanded uncertainty is {show(wide, 'W', 2)}",)
    if wide > MOST * losses.n:
        return (f"the losses of {show(losses.n, 'W', 2)} are hardly known: their expanded uncertainty of {show(wide, 'W', 2)} is more than "
                "half of them",)  # fmt: skip
    return ()
