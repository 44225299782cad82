"""A formula against the exact circuit, over a range of converters: error found, error promised, and where `holds` ends."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..algebra import Formula, known
from .converter import Converter
from .results import SteadyState
from .switched import steady_state


@dataclass(frozen=True)
class Comparison:
    """One letter varied: arrays of shape (n,). `error` is (formula - exact)/exact; `bound` is the promised size of it
    (nan where none is promised); `holds` tells where the formula claims to be valid. `refused` are indices at which the
    circuit has no steady state (nan there)."""

    letter: str
    values: np.ndarray
    formula: np.ndarray
    exact: np.ndarray
    bound: np.ndarray
    holds: np.ndarray
    refused: tuple[int, ...]

    @property
    def error(self) -> np.ndarray:
        """Relative error of the formula, sign kept."""
        return (self.formula - self.exact) / self.exact

    @property
    def kept(self) -> bool:
        """Whether the formula keeps its promise: wherever it holds, it errs by no more than its bound."""
        judged = self.holds & np.isfinite(self.bound) & np.isfinite(self.exact)
        return bool(np.all(np.abs(self.error[judged]) <= self.bound[judged]))


def measured(state: SteadyState) -> dict[str, float]:
    """The letters of formulas that an exact steady state has values for, beside those of its converter."""
    letters = state.converter.letters()
    v_out, mean_load = state.output_voltage.mean, state.rectifier_current.mean
    letters |= {
        "v_out": v_out, "duty": state.duty, "i_out": mean_load, "r_load": v_out / mean_load,
        "i_inductor_mean": state.inductor_current.mean, "ripple_current": state.ripple_current,
        "ripple_voltage": state.ripple_voltage,
    }  # fmt: skip
    return {name: value for name, value in letters.items() if _is_letter(name)}


def _is_letter(name: str) -> bool:
    """Whether formulas know the name; some keys of a converter (its knee, its body diodes) occur in none."""
    try:
        return known(name).name == name
    except ValueError:
        return False


def value_of(formula: Formula, letters: dict[str, float]) -> float:
    """The formula at those of the letters that it takes."""
    return float(formula(**{q.name: letters[q.name] for q in formula.inputs}))


def compare(formula: Formula, exact: Callable[[SteadyState], float], converter: Converter, letter: str, values) -> Comparison:
    """Vary one letter of a converter and hold the formula against what `exact` reads off the steady state.

    The formula sees what its user knows: the converter's own numbers, the duty and the load; not the exact currents,
    unless they are what it takes. Raises ValueError for an unknown letter.
    """
    values = np.asarray(values, float)
    table = np.full((4, values.size), np.nan)
    refused = []
    for k, value in enumerate(values.tolist()):
        changed = converter.change(**{letter: value})
        try:
            state = steady_state(changed)
        except ValueError:
            refused.append(k)
            continue
        letters = measured(state)
        table[:, k] = value_of(formula, letters), exact(state), _promised(formula, letters), formula.holds(**letters)
    return Comparison(letter, values, table[0], table[1], table[2], table[3] == 1, tuple(refused))


def _promised(formula: Formula, letters: dict[str, float]) -> float:
    """The promised bound, or nan where none is promised."""
    if formula.bound is None or not formula.bound.expression:
        return np.nan
    return float(formula.error_bound(**letters))
