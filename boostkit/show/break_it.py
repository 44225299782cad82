"""Break it: push one imperfection and see a formula and the exact solution part, beside the error that was promised.

    figure(derivation, converter, letter)    one imperfection, on paper
    panel(derivation, converter)             pick an imperfection, push it, move duty and load
    of(compare, sliders, along, of)          the same for any other exact solution
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence

import numpy as np

from ..algebra import Derivation
from ..circuit import Converter, validity
from ..circuit.converter import LETTERS
from ..circuit.validity import Comparison
from . import figures
from .live import Choice, Panel, Slider
from .panels import WORDS
from .style import Figure

PUSHED = WORDS | {  # letter: what it is called in the list to pick from
    "inductance": "inductance: coil ripple",
    "capacitance": "output capacitance: output ripple",
    "r_capacitor": "capacitor series resistance (ESR)",
}

INPUT_CAPACITOR = ("c_input", "r_input_capacitor")
LIVE, SINGLY = 29, 11  # points of a curve under a slider; fewer where the circuit cannot be solved for all at once


def figure(derivation: Derivation, converter: Converter, letter: str, values=None, *, onto: Figure | None = None) -> Figure:
    """The formula and the exact circuit along one letter, and its error beside the promise; the converter's own value is
    marked. `values`: where to look, SI units; by default as far as `circuit.validity.reaches` says."""
    _check_suits(derivation, converter)
    low, high, decades = reach_of(converter, letter)
    here = converter.letters()[letter]
    if values is None:
        values = validity.through(low, high, decades, here)
    values = np.asarray(values, float)
    found = validity.compare(derivation.formula, None, converter, letter, values)
    return _draw(found, _words(letter), of_what(derivation), decades, here if here in values else None, onto)


def panel(derivation: Derivation, converter: Converter, letters: Sequence[str] | None = None) -> Panel:
    """The same under sliders: the reader picks which of the `letters` to push, and how far. By default all on which the
    formula's promise depends. Duty and load have sliders throughout."""
    _check_suits(derivation, converter)
    letters = letters or validity.imperfections(derivation.formula, converter)
    if not letters:
        raise ValueError(f"{derivation.name} promises the same for every converter: name the letters to push")
    reach = {name: reach_of(converter, name) for name in letters}
    always = [name for name in ("duty", "r_load", "i_out") if name in converter.letters()]
    pushed = Choice("pushed", "push", {name: PUSHED[name] for name in letters})
    sliders = [_slider(converter, name, ("pushed", name)) for name in letters if name not in always]
    sliders = [pushed, *sliders, *(_slider(converter, name, None) for name in always)]
    points = LIVE if converter.input_capacitor is None and converter.switch.drive == "duty" else SINGLY

    def compute(pushed, **values):
        now, here = converter.change(**values), values[pushed]
        along = validity.through(*reach[pushed], here, points)
        return validity.compare(derivation.formula, None, now, pushed, along), here

    def draw(numbers, onto):
        found, here = numbers
        return _draw(found, _words(found.letter), of_what(derivation), reach[found.letter][2], here, onto)

    return Panel(compute, draw, sliders)


def of(
    compare: Callable[..., Comparison], sliders: Sequence[Slider], along: tuple[str, str], of: tuple[str, str], *,
    logarithmic: bool = False,
) -> Panel:
    """A panel for any formula and any exact solution. `compare(**values)` takes the numbers of the sliders and returns a
    Comparison (`circuit.validity.against` makes one); the slider named like its `letter` is marked in the picture, so its
    value must be among the values of the Comparison. `along`, `of`: what stands on the axes, as (text, unit)."""

    def compute(**values):
        found = compare(**values)
        if not np.any(found.values == values[found.letter]):
            raise ValueError(f"the comparison leaves out {found.letter} = {values[found.letter]}, which is to be marked")
        return found, values[found.letter]

    return Panel(compute, lambda numbers, onto: _draw(numbers[0], along, of, logarithmic, numbers[1], onto), sliders)


def reach_of(converter: Converter, letter: str) -> tuple[float, float, bool]:
    """How far to push a letter; ValueError for one that this converter has not."""
    reaches = validity.reaches(converter)
    if letter not in reaches:
        raise ValueError(f"{letter} is nothing to push in this converter; it has {', '.join(reaches)}")
    return reaches[letter]


def _check_suits(derivation: Derivation, converter: Converter) -> None:
    """ValueError for a formula that takes the number of a part that this converter has not."""
    takes, own = [q.name for q in derivation.formula.inputs], converter.letters()
    if missing := [name for name in takes if name in INPUT_CAPACITOR and name not in own]:
        raise ValueError(f"{derivation.name} takes {' and '.join(missing)}: this converter has no input capacitor")


def of_what(derivation: Derivation) -> tuple[str, str]:
    """What stands on the axis of a formula's values: the meaning of its letter, or the first words of its own; and the unit."""
    result = derivation.formula.result
    return (result.meaning if derivation.equation.lhs.is_Symbol else re.split(",| in ", result.meaning)[0]), result.unit


def _words(letter: str) -> tuple[str, str]:
    return WORDS[letter], LETTERS[letter][2]


def _slider(converter: Converter, letter: str, when: tuple[str, str] | None) -> Slider:
    low, high, decades = reach_of(converter, letter)
    return Slider(letter, *_words(letter), low, high, converter.letters()[letter], logarithmic=decades, when=when)


def _draw(found: Comparison, along, of, logarithmic: bool, here: float | None, onto: Figure | None) -> Figure:
    why = found.why[int(np.argmin(np.abs(found.values - here)))] if found.why and here is not None else ""
    return figures.compare(found.values, found.formula, found.exact, found.bound, found.holds, along=along, of=of,
                           logarithmic=logarithmic, here=here, why=why, onto=onto)  # fmt: skip
