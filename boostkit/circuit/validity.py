"""A formula against the exact circuit, over a range of converters: error found, error promised, and where `holds` ends.

`EXACT` says for each formula what on the exact steady state it claims to give. Its readers, like `measured`, take one
SteadyState as well as many SteadyStates at once.

Formulas and bounds are for a current that flows one way. A diode sees to that. A second switch does not: below the border
its current turns where a diode's would run dry, so there no formula holds (`unfit` says so in words), and none at all with
a dead time, which is in no bound. Nor does any hold where the current saturates the inductor.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..algebra import Formula, is_known
from ..algebra.calculation import letters_below
from ..derivations.switching import conduction_border, ideal_gain
from .converter import Converter
from .many import SteadyStates
from .results import SteadyState
from .saturation import field_energy
from .switched import steady_state, steady_states

Numbers = float | np.ndarray
State = SteadyState | SteadyStates
TURNS = "the current of a second switch turns here, where a diode's would run dry"
DEAD_TIME = "the dead time of a second switch is in no formula and in no bound"
SATURATES = "the inductor saturates here, and formulas are for one inductance"


@dataclass(frozen=True)
class Comparison:
    """One letter varied: arrays of shape (n,). `error` is (formula - exact)/exact; `bound` is the promised size of it
    (nan where none is promised); `holds` tells where the formula claims to be valid; a formula without a real value is nan
    and does not hold. `refused` are indices at which the circuit has no steady state (nan there). `why`: for each value
    the reason in words where no formula could hold, else empty; or nothing at all."""

    letter: str
    values: np.ndarray
    formula: np.ndarray
    exact: np.ndarray
    bound: np.ndarray
    holds: np.ndarray
    refused: tuple[int, ...] = ()
    why: tuple[str, ...] = ()

    @property
    def error(self) -> np.ndarray:
        """Relative error of the formula, sign kept."""
        return (self.formula - self.exact) / self.exact

    @property
    def kept(self) -> bool:
        """Whether the formula keeps its promise: wherever it holds, it errs by no more than its bound."""
        judged = self.holds & np.isfinite(self.bound) & np.isfinite(self.exact)
        return bool(np.all(np.abs(self.error[judged]) <= self.bound[judged]))


def gain(s: State) -> Numbers:
    """Mean output over source voltage."""
    return s.output_voltage.mean / s.letters["v_in"]


def straight(s: State) -> Numbers:
    """Share of the output energy that the source gave while the rectifier conducted."""
    return s.letters["v_in"] * s.rectifier_current.mean / s.output_power


def swing(s: State) -> Numbers:
    """Energy between the lowest and the highest coil current, J."""
    return field_energy(s.letters["inductance"], s.saturation, s.inductor_current.max, s.inductor_current.min)


EXACT: dict[str, Callable[[State], Numbers]] = {  # name of a derivation: what its formula claims, on the exact steady state
    "ideal_gain": gain,
    "real_gain": gain,
    "winding_gain": gain,
    "efficiency_with_losses": lambda s: s.efficiency,
    "ripple_factor": lambda s: s.switch_current.rms / (s.inductor_current.mean * s.duty**0.5),
    "output_by_times": lambda s: s.output_voltage.mean,
    "charge_balance": lambda s: s.inductor_current.mean,
    "inductor_ripple": lambda s: s.ripple_current,
    "output_ripple": lambda s: s.ripple_voltage,
    "peak_current": lambda s: s.inductor_current.max,
    "switch_voltage": lambda s: s.switch_voltage.max,
    "rectifier_voltage": lambda s: -s.rectifier_voltage.min,
    "switch_mean": lambda s: s.switch_current.mean,
    "switch_rms": lambda s: s.switch_current.rms,
    "rectifier_mean": lambda s: s.rectifier_current.mean,
    "rectifier_rms": lambda s: s.rectifier_current.rms,
    "capacitor_rms": lambda s: s.capacitor_current.rms,
    "energy_swing": swing,
    "energy_swing_by_source": swing,
    "discontinuous_energy": swing,
    "energy_per_cycle": lambda s: s.output_power * s.period,
    "power_by_cycle": lambda s: s.output_power,
    "straight_share": straight,
    "field_share": lambda s: 1 - straight(s),
    "field_share_by_duty": lambda s: 1 - straight(s),
    "field_share_continuous": lambda s: 1 - straight(s),
    "discontinuous_power": lambda s: s.output_power,
    "gain_by_times": gain,
    "dry_peak": lambda s: s.inductor_current.max,
    "dry_load_current": lambda s: s.rectifier_current.mean,
    "rectifier_share": lambda s: s.conduction_end - s.duty,
    "discontinuous_gain": gain,
    "near_linear_gain": gain,
    "duty_for_gain": lambda s: s.duty,
    "cycle_energy": lambda s: s.output_power * s.period,
    "large_ripple": lambda s: s.ripple_voltage,
    "dry_ripple": lambda s: s.ripple_voltage,
    "rising_ripple": lambda s: s.ripple_voltage,
    "turning_ripple": lambda s: s.ripple_voltage,
    "falling_ripple": lambda s: s.ripple_voltage,
    "steady_capacitor_rms": lambda s: s.capacitor_current.rms,
    "dry_capacitor_rms": lambda s: s.capacitor_current.rms,
    "bare_source_ripple": lambda s: s.source_current.ripple,
    "source_ripple": lambda s: s.source_current.ripple,
}


def measured(state: State) -> dict[str, Numbers]:
    """The letters of formulas that an exact steady state has values for, beside those of its converter."""
    v_out, mean_load = state.output_voltage.mean, state.rectifier_current.mean
    letters = {"v_rectifier": 0.0} | state.letters | {  # a second switch has no forward voltage
        "v_out": v_out, "duty": state.duty, "i_out": mean_load, "r_load": v_out / mean_load,
        "duty_rectifier": state.conduction_end - state.duty, "energy_out": state.output_power * state.period,
        "i_inductor_mean": state.inductor_current.mean, "i_inductor_max": state.inductor_current.max,
        "i_inductor_min": state.inductor_current.min, "ripple_current": state.ripple_current,
        "ripple_voltage": state.ripple_voltage, "gain": gain(state),
        "k_load": 2 * state.letters["inductance"] * mean_load / (v_out * state.period),
    }  # fmt: skip
    return {name: value for name, value in letters.items() if is_known(name)}  # its knee and body diodes occur in no formula


def value_of(formula: Formula, letters: dict[str, Numbers]) -> Numbers:
    """The formula at those of the letters that it takes; ValueError for one that is missing."""
    if missing := [q.name for q in formula.inputs if q.name not in letters]:
        raise ValueError(f"{formula.name} takes {' and '.join(missing)}, of which nothing is known here")
    return formula(**{q.name: letters[q.name] for q in formula.inputs})


def compare(
    formula: Formula, exact: Callable[[SteadyState], float] | None, converter: Converter, letter: str, values
) -> Comparison:
    """Vary one letter of a converter and hold the formula against what `exact` reads off the steady state.

    `exact` None: what EXACT names for this formula, which is many times quicker, since all are solved at once. The
    formula sees what its user knows: the converter's own numbers, the duty and the load; not the exact currents, unless
    they are what it takes. Raises ValueError for an unknown letter and for a formula that EXACT does not know.
    """
    values = np.asarray(values, float)
    states = steady_states(converter, **{letter: values})
    if exact is None:
        truth = exact_of(formula)(states)
    else:
        truth = [np.nan if k in states.refused else exact(steady_state(converter.change(**{letter: value})))
                 for k, value in enumerate(values.tolist())]
    return _held(formula, truth, measured(states), letter, values, tuple(states.refused), unfit(states))


def against(formula: Formula, exact: Callable[..., float], letters: dict[str, float], letter: str, values) -> Comparison:
    """The same beside any other exact solution: `exact(**letters)`, called for each value of `letter`, all the other
    letters as given. A ValueError of it refuses that value."""
    values = np.asarray(values, float)
    truth, refused = np.full(values.size, np.nan), []
    for k, value in enumerate(values.tolist()):
        try:
            truth[k] = exact(**letters | {letter: value})
        except ValueError:
            refused.append(k)
    return _held(formula, truth, letters | {letter: values}, letter, values, tuple(refused))


def _held(
    formula: Formula, truth, letters: dict[str, Numbers], letter: str, values: np.ndarray, refused, why: tuple[str, ...] = ()
) -> Comparison:
    """The formula, its promise and where it holds beside the truth, wherever there is one."""
    there = np.setdiff1d(np.arange(values.size), refused).astype(int)
    letters = {name: np.broadcast_to(number, values.shape)[there] for name, number in letters.items() if is_known(name)}
    table = np.full((3, values.size), np.nan)
    with np.errstate(all="ignore"):  # a root of a negative number is no real value
        for row, found in enumerate((value_of(formula, letters), promised(formula, letters), formula.holds(**letters))):
            table[row, there] = found
    table[0, ~np.isfinite(table[0])] = np.nan
    fit = np.isfinite(table[0]) & (np.array(why) == "" if why else True)
    return Comparison(letter, values, table[0], np.asarray(truth, float), table[1], (table[2] == 1) & fit, refused, why)


def unfit(states: State) -> tuple[str, ...]:
    """For each state why no formula can hold there, in words; empty where its own conditions decide."""
    count = np.size(states.period)
    why = np.full(count, "", dtype=object)
    if "dead_time" in states.letters:  # a second switch
        with np.errstate(all="ignore"):  # refused states are nan
            turns = ~np.broadcast_to(ideal_gain().formula.holds(**measured(states)), count)
        why[turns & np.isfinite(states.period)] = TURNS
        why[np.broadcast_to(states.letters["dead_time"], count) > 0] = DEAD_TIME
    if states.saturation:
        swing = np.maximum(states.inductor_current.max, -np.asarray(states.inductor_current.min))
        why[np.broadcast_to(swing > states.saturation[0][0], count)] = SATURATES
    return tuple(why.tolist())


def exact_of(formula: Formula) -> Callable[[State], Numbers]:
    """What a formula claims, as a reader of the exact steady state; ValueError where EXACT does not know it."""
    if formula.name not in EXACT:
        raise ValueError(f"{formula.name} claims nothing that EXACT could read off a steady state; known are {', '.join(EXACT)}")
    return EXACT[formula.name]


def promised(formula: Formula, letters: dict[str, Numbers]) -> Numbers:
    """The promised bound, or nan where none is promised."""
    if formula.bound is None or not formula.bound.expression:
        return np.nan
    return formula.error_bound(**letters)


def imperfections(formula: Formula, converter: Converter) -> tuple[str, ...]:
    """The letters of this converter on which the formula's promise depends: those in its conditions and in its bound."""
    expressions = [condition.margin for condition in formula.valid]
    if formula.bound is not None and formula.bound.expression:
        expressions.append(formula.bound.written.sympy)
    named = {name for expression in expressions for name in letters_below(expression)}
    return tuple(name for name in reaches(converter) if name in named)


def reaches(converter: Converter) -> dict[str, tuple[float, float, bool]]:
    """How far to push each letter of a converter so that formulas part from the truth: (low, high, whether to count in
    decades), its own value within. Coil, load and clock go from a tenth to thirty times of what makes the current touch
    zero, or the other way round; resistances to three tenths of R D'^2; the output ripple from 0.2 % to a half."""
    s = measured(steady_state(converter))
    duty, load, f_sw = min(max(s["duty"], 0.05), 0.92), s["r_load"], 1 / steady_state(converter).period
    at_border = conduction_border().formula(duty=duty) * load / (2 * s["inductance"] * f_sw)  # 1 on the border, K_crit/K
    small, sag = 0.3 * load * (1 - duty) ** 2, duty / (load * f_sw)
    found = {
        "inductance": (0.1 * at_border * s["inductance"], 30 * at_border * s["inductance"], True),
        "r_load": (load / at_border / 30, 10 * load / at_border, True),
        "i_out": (0.1 * at_border * s["i_out"], 30 * at_border * s["i_out"], True),
        "f_sw": (0.1 * at_border * f_sw, 30 * at_border * f_sw, True),
        "duty": (0.05, 0.92, False),
        "r_inductor": (0.0, small, False),
        "r_switch": (0.0, small, False),
        "v_rectifier": (0.0, s["v_in"] / 3, False),
        "r_rectifier": (0.0, small, False),
        "capacitance": (2 * sag, 500 * sag, True),
        "r_capacitor": (0.0, 4 * duty * (1 - duty) / (s["capacitance"] * f_sw), False),
        "r_source": (0.0, small, False),
    }
    if "c_input" in s:
        found["c_input"] = (s["c_input"] / 30, 30 * s["c_input"], True)
        found["r_input_capacitor"] = (0.0, 0.5 / (s["c_input"] * f_sw), False)  # four times what its charge part is like
    own = converter.letters()
    return {name: _around(own[name], *found[name]) for name in found if name in own}


def _around(own: float, low: float, high: float, decades: bool) -> tuple[float, float, bool]:
    """A reach widened, where need be, so that the converter's own value lies well within."""
    return (min(low, own / 2), max(high, 2 * own), True) if decades else (min(low, own), max(high, own), False)


def through(low: float, high: float, decades: bool = False, here: float | None = None, count: int = 41) -> np.ndarray:
    """Values from low to high, evenly spread, or over the decades; `here` is put among them, so that it is exact."""
    values = (np.geomspace if decades else np.linspace)(low, high, count)
    return values if here is None else np.union1d(values, [here])
