"""What a lab can ask: the closed list of quantities, each by its formula and as read off the exact circuit.

A name here is what a lab file writes as `quantity` of a task and as `expect` of a measurement.
"""

from __future__ import annotations

from cmath import phase
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from math import pi

from ..algebra import Derivation, Formula
from ..algebra.calculation import Calculation, expand, names_in
from ..algebra.quantity import known
from ..circuit.results import SteadyState
from ..circuit.validity import EXACT
from ..derivations import (
    compensation_parts,
    duty_with_losses,
    energy,
    ideal_duty,
    landmarks,
    light_load,
    load_step,
    real_parts,
    ripple,
    ripple_esr,
    sizing,
    stress,
    switching,
)
from ..units import quoted

Reader = Callable[[SteadyState], float]


@dataclass(frozen=True)
class Asked:
    """A quantity that a task can ask for.

    `meaning` and `unit` (SI base unit, "" for a pure number). `derivation`: where its formula comes from, or None. `read`: the same
    on the exact steady state, or None. `at_border`: about the border of the two modes, wherever the learner's own load lies.
    """

    name: str
    meaning: str
    unit: str
    derivation: Callable[[], Derivation] | None = None
    read: Reader | None = None
    at_border: bool = False

    @property
    def formula(self) -> Formula:
        """Its formula. Raises ValueError where it is only measured."""
        if self.derivation is None:
            raise ValueError(f"{self.name} has no formula; it is read off the circuit")
        return self.derivation().formula

    @property
    def letter(self) -> str:
        """The letter that its value gives to later formulas, "" where none."""
        left = self.derivation().equation.lhs if self.derivation else None
        return left.name if left is not None and left.is_Symbol else ""


_BY_FORMULA: dict[str, tuple[Callable[[], Derivation], Reader | None]] = {  # a reader where EXACT has none
    "duty": (ideal_duty.duty_for_voltage, lambda s: s.duty),
    "duty_off": (duty_with_losses.duty_off_with_losses, lambda s: 1 - s.duty),
    "gain": (switching.ideal_gain, None),
    "gain_with_losses": (real_parts.real_gain, None),
    "mean_current": (switching.charge_balance, None),
    "ripple_current": (switching.inductor_ripple, None),
    "peak_current": (stress.peak_current, None),
    "sag": (switching.capacitor_sag, None),
    "cycle_energy": (energy.energy_per_cycle, None),
    "border_duty": (ideal_duty.duty_for_voltage, None),
    "border_current": (sizing.border_current, None),
    "critical_load_number": (switching.conduction_border, None),
    "dry_duty": (light_load.duty_for_gain, None),
    "dry_peak": (stress.dry_peak, None),
    "dry_share": (light_load.rectifier_share, None),
    "dry_gain": (light_load.discontinuous_gain, None),
    "dry_ripple": (ripple.dry_ripple, None),
    "esr_step": (sizing.esr_ripple, None),
    "esr_corner": (ripple_esr.esr_corner, None),
    "capacitor_rms": (stress.capacitor_rms, None),
    "switch_mean": (stress.switch_mean, None),
    "switch_rms": (stress.switch_rms, None),
    "rectifier_rms": (stress.rectifier_rms, None),
    "efficiency": (real_parts.efficiency_with_losses, None),
    "resonance": (landmarks.resonance, None),
    "quality": (landmarks.quality, None),
    "rhp_zero": (landmarks.rhp_zero, None),
    "divider_top": (compensation_parts.divider_top, None),
    "step_dip": (load_step.step_dip, None),
}


def _ringing(state: SteadyState) -> float:
    """Of the swing that dies out last; 0 where none swings. What is left after a period turns by the swing's share of a turn."""
    swings = [left for left in state.multipliers if left.imag]
    return abs(phase(max(swings, key=abs))) / (2 * pi * state.period) if swings else 0.0


_AT_BORDER = ("border_duty", "border_current", "critical_load_number")
_ONLY_READ: dict[str, tuple[str, str, Reader]] = {
    "output_voltage": ("output voltage, mean", "V", lambda s: s.output_voltage.mean),
    "ripple_voltage": ("output ripple, peak to peak", "V", lambda s: s.ripple_voltage),
    "source_current": ("source current, mean", "A", lambda s: s.source_current.mean),
    "input_power": ("input power", "W", lambda s: s.input_power),
    "output_power": ("output power", "W", lambda s: s.output_power),
    "conduction_end": ("share of the period at which the rectifier stops", "", lambda s: s.conduction_end),
    "inductor_rms": ("coil current, rms", "A", lambda s: s.inductor_current.rms),
    "ringing": ("frequency at which the output rings after a small step, the duty held", "Hz", _ringing),
    "inductor_loss": ("heat in the winding", "W", lambda s: s.losses["inductor"]),
    "switch_loss": ("heat in the closed switch", "W", lambda s: s.losses["switch"]),
    "rectifier_loss": ("heat in the conducting rectifier", "W", lambda s: s.losses["rectifier"]),
}
NAMES = (*_BY_FORMULA, *_ONLY_READ)


def asked(name: str, place: str = "quantity") -> Asked:
    """The quantity of this name. Raises ValueError that begins with `place` and suggests the nearest name."""
    if name in _ONLY_READ:
        meaning, unit, read = _ONLY_READ[name]
        return Asked(name, meaning, unit, None, read)
    if name not in _BY_FORMULA:
        close = get_close_matches(str(name)[:60], NAMES, 1)
        raise ValueError(f"{place} = {quoted(name)} is not a quantity that can be asked" + (f"; did you mean {close[0]}?" if close else
                         f"; known are {', '.join(NAMES)}"))  # fmt: skip
    derivation, read = _BY_FORMULA[name]
    formula = derivation().formula
    exact = None if name in _AT_BORDER else read or EXACT.get(formula.name)
    return Asked(name, formula.meaning, formula.unit, derivation, exact, name in _AT_BORDER)


def taken(formula: Formula, letters: Mapping[str, float]) -> dict[str, float]:
    """The letters that the formula takes, out of those that are known. Raises ValueError naming what is not known.

    A letter with a definition follows from it where its own value is not known: R from the output's voltage and current.
    """
    return {q.name: letters[q.name] if q.name in letters else _followed(q.name, letters, formula.name) for q in formula.inputs}


def _followed(name: str, letters: Mapping[str, float], asker: str) -> float:
    calculation = _definition(name)
    needed = names_in(expand(calculation.expression, letters))
    if missing := sorted(needed - set(letters)):
        raise ValueError(f"{asker} takes {known(name).plain}, and nothing tells {' and '.join(missing)}")
    return float(calculation({each: letters[each] for each in sorted(needed)}))


@cache
def _definition(name: str) -> Calculation:
    return Calculation(name, known(name).symbol)
