"""Numbers that a sentence of the lab sheet may name between braces, as in `{r_load}`: a letter of the lab, or a name of RATINGS.

What a part must stand goes up a coarse ladder, so that a part is easy to find and no rating tells an answer.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping

from ..algebra import is_known
from ..algebra.quantity import known
from ..circuit import SteadyState
from ..units import preferred, show

Letters = Mapping[str, float]
NAMED = re.compile(r"\{(\w*)\}")
BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=(?:[pnµmkM]?(?:V|A|Ω|W|Hz|H|F|s)|cm|mm|%)(?!\w))")
CURRENTS = (0.2, 0.3, 0.5, 0.7, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0)  # A
VOLTAGES = (16.0, 25.0, 35.0, 50.0, 63.0, 100.0, 160.0)  # V: of capacitors
BLOCKED = (30.0, 40.0, 60.0, 80.0, 100.0, 150.0, 200.0)  # V: of switches and rectifiers
POWERS = (0.5, 1.0, 2.0, 5.0, 10.0, 25.0, 50.0, 100.0)  # W: of resistors
ABOVE_OUTPUT = 1.2  # clamp over output: a clamp of 5 % less still lies above the stop
STOPS_AT = 1.1  # an over-voltage stop, over the output: beyond what a step of the load may do, below the clamp
# Margins of a part over what it sees on the exact circuit: common practice, no source.
FOR_CURRENT, FOR_CAPACITOR, FOR_BLOCKING, FOR_HEAT = 1.3, 1.2, 2.0, 2.0
SMALL = 0.1  # of the full load: a step that the circuit answers without bending


def up(value: float, ladder: tuple[float, ...]) -> float:
    """The next step of a ladder. Raises ValueError above its top."""
    for step in ladder:
        if value <= step * (1 + 1e-9):
            return step
    raise ValueError(f"{value:.3g} is beyond {ladder[-1]:g}, the highest rating that a lab sheet names")


def clamp_voltage(letters: Letters) -> float:
    """The Zener diode across the output (V): a preferred value that leaves the output alone."""
    return preferred(ABOVE_OUTPUT * letters["v_out"], "E24", "up")


def _heat(volts: float, amps: float) -> float:
    return up(FOR_HEAT * volts * amps, POWERS)


def _base(letters: Letters) -> float:
    """The load current before the step (A)."""
    return letters["i_out"] - letters["i_step"]


RATINGS: dict[str, tuple[str, Callable[[Letters, SteadyState], float]]] = {  # name: unit, and the value
    "r_load": ("Ω", lambda n, s: n["v_out"] / n["i_out"]),
    "load_watts": ("W", lambda n, s: _heat(n["v_out"], n["i_out"])),
    "r_base": ("Ω", lambda n, s: n["v_out"] / _base(n)),
    "base_watts": ("W", lambda n, s: _heat(n["v_out"], _base(n))),
    "r_step": ("Ω", lambda n, s: n["v_out"] / n["i_step"]),
    "step_watts": ("W", lambda n, s: _heat(n["v_out"], n["i_step"])),
    "r_small": ("Ω", lambda n, s: preferred(n["v_out"] / (SMALL * n["i_out"]), "E12")),
    "small_watts": ("W", lambda n, s: _heat(n["v_out"], SMALL * n["i_out"])),
    "clamp": ("V", lambda n, s: clamp_voltage(n)),
    "stop": ("V", lambda n, s: STOPS_AT * n["v_out"]),
    "capacitor_volts": ("V", lambda n, s: up(FOR_CAPACITOR * clamp_voltage(n), VOLTAGES)),
    "capacitor_amps": ("A", lambda n, s: up(FOR_CURRENT * s.capacitor_current.rms, CURRENTS)),
    "blocked_volts": ("V", lambda n, s: up(FOR_BLOCKING * clamp_voltage(n), BLOCKED)),
    "saturation": ("A", lambda n, s: up(FOR_CURRENT * s.inductor_current.max, CURRENTS)),
    "current_limit": ("A", lambda n, s: up(FOR_CURRENT * s.source_current.mean, CURRENTS)),
}


def names_in_braces(text: str) -> list[str]:
    """What a sentence asks for between braces, in order."""
    return NAMED.findall(text)


def can_be_filled(name: str) -> bool:
    """Whether a name may stand between braces."""
    return name in RATINGS or is_known(name)


def filled(text: str, letters: Letters, state: SteadyState) -> str:
    """A sentence with each number put in, three digits and its unit, and no line break between any number and its unit.

    Raises ValueError naming what nothing tells.
    """
    return BEFORE_UNIT.sub("\u00a0", NAMED.sub(lambda match: _number(match[1], letters, state), text))


def _number(name: str, letters: Letters, state: SteadyState) -> str:
    if name in letters and is_known(name):
        return show(letters[name], known(name).unit)
    if name not in RATINGS:
        raise ValueError(f"{{{name}}} on the lab sheet: nothing in the lab tells it")
    unit, rule = RATINGS[name]
    try:
        return show(rule(letters, state), unit)
    except ValueError as trouble:
        raise ValueError(f"{{{name}}} on the lab sheet: {trouble}") from None
    except KeyError as missing:
        raise ValueError(f"{{{name}}} on the lab sheet needs {missing.args[0]}, and nothing in the lab tells it") from None
