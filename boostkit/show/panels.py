"""Panels for the common questions about a converter: its waveforms, its slopes, its gain, its energy, under sliders."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..circuit import Converter
from ..circuit.converter import LETTERS
from ..circuit.switched import steady_state, steady_states
from . import figures
from .live import Panel, Slider
from .style import Figure

WORDS = {  # letter: what its slider is called
    "v_in": "source voltage",
    "duty": "duty D",
    "f_sw": "switching frequency",
    "peak_current": "current limit",
    "inductance": "inductance",
    "r_inductor": "winding resistance",
    "r_switch": "switch resistance",
    "v_rectifier": "rectifier forward voltage",
    "r_rectifier": "rectifier resistance",
    "capacitance": "output capacitance",
    "r_capacitor": "capacitor series resistance",
    "r_load": "load resistance",
    "i_out": "load current",
    "r_source": "source resistance",
    "c_input": "input capacitance",
    "r_input_capacitor": "input capacitor series resistance",
}
CURRENT_LIMIT = (0.2, 5.0)  # A; a setting of the drive and no letter of any formula, so its range stands here


def sliders_for(converter: Converter, *letters: str) -> list[Slider]:
    """A slider for each of these letters that this converter has, over the usual range of that quantity, widened where
    the converter's own value lies outside."""
    from ..algebra import known
    from ..derivations import letters as _letters  # noqa: F401  entering the letters in the list of known ones

    own, found = converter.letters(), []
    for name in (letter for letter in letters if letter in own):
        start, unit = own[name], LETTERS[name][2]
        usual = CURRENT_LIMIT if name == "peak_current" else known(name).usual
        low, high = min(usual[0], start), max(usual[1], start)
        found.append(Slider(name, WORDS[name], unit, low, high, start, logarithmic=low > 0 and high > 20 * low))
    return found


OPERATING = ("v_in", "duty", "peak_current", "inductance", "r_load", "i_out")


FOUR_ROWS = ("v_inductor", "i_inductor", ("i_switch", "i_rectifier"), "v_out")  # each row costs 8 ms at every move


def waveforms(converter: Converter, quantities=FOUR_ROWS) -> Panel:
    """Waveforms in steady state under sliders; `quantities` as in `figures.waveforms`."""

    def draw(state, onto):
        return figures.waveforms(state, quantities, onto=onto)

    return _steady(converter, draw, OPERATING)


def two_slopes(converter: Converter) -> Panel:
    """Inductor voltage with its areas, inductor current with its slopes, under sliders."""
    return _steady(converter, figures.two_slopes, OPERATING)


def _steady(converter: Converter, draw: Callable[..., Figure], letters: Sequence[str]) -> Panel:
    return Panel(lambda **v: steady_state(converter.change(**v)), draw, sliders_for(converter, *letters))


def gain(converter: Converter) -> Panel:
    """Gain against duty with this converter's losses, beside 1/(1 - D), and the point where it runs."""
    from ..derivations import switching

    duty = np.linspace(0.0, 0.98, 99)
    lossless = switching.ideal_gain().formula(duty=duty)

    def compute(**values):
        now = converter.change(**values)
        real = steady_states(now, duty=duty).output_voltage.mean / now.source.voltage
        here = steady_state(now).output_voltage.mean / now.source.voltage
        return {"1/(1 − D)": lossless, "with these losses": real}, {"now": (now.switch.duty, here)}

    def draw(numbers, onto):
        return figures.gain(duty, *numbers, peaks=("with these losses",), onto=onto)

    letters = ("duty", "r_inductor", "r_switch", "v_rectifier", "r_load", "i_out")
    return Panel(compute, draw, sliders_for(converter, *letters))


def energy(converter: Converter) -> Panel:
    """Energy per cycle through the coil's field and straight through, beside the converter as it was at first."""
    first = steady_state(converter)

    def compute(**values):
        state = steady_state(converter.change(**values))
        both = {"example": first, f"now, {state.mode} conduction": state}
        shares = {case: one.energy_by_way for case, one in both.items()}
        return shares, {case.split(",")[0]: one.energy_in_coil() for case, one in both.items()}

    def draw(numbers, onto):
        return figures.energy_cycle(*numbers, onto=onto)

    letters = ("v_in", "duty", "peak_current", "inductance", "f_sw", "r_load", "i_out")
    return Panel(compute, draw, sliders_for(converter, *letters))
