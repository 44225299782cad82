"""One learner's numbers: the scenario with them put in, the letters of the tasks, and the exact circuit at that point."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from ..algebra import is_known
from ..algebra.quantity import Quantity, known
from ..circuit import Converter, SteadyState, switched
from ..circuit.converter import LETTERS
from ..design import Spec
from ..parts.point import Point
from ..units import quoted, show
from .lab import Lab
from .quantities import asked

PATH = ("r_inductor", "r_switch", "r_rectifier", "v_rectifier", "r_capacitor")


@dataclass(frozen=True, eq=False)
class Variant:
    """What one learner works with.

    `key`: the roster's key. `seed`: of the class. `draw`: which of the learner's draws it is, counted from 0. `numbers`: what was drawn,
    key of the lab's [vary] to value in base units. `scenario`: the data of the learner's scenario file. `spec`: the same, read.
    `letters`: every number that a formula may take, by letter. `state`: the exact circuit at the point the tasks are about.
    """

    lab: Lab
    key: str
    seed: int
    draw: int
    numbers: dict[str, float]
    scenario: dict
    spec: Spec
    letters: dict[str, float]
    state: SteadyState

    @property
    def highest(self) -> float:
        """The highest voltage in the circuit, V."""
        return max(self.state.output_voltage.max, self.state.switch_voltage.max)

    def scenario_text(self) -> str:
        """The scenario file (TOML), with the key and nothing else about the learner."""
        return f"# Numbers of {self.key}. The scenario is invented.\n" + _toml(self.scenario)

    def told(self) -> list[str]:
        """The numbers that a learner needs, one a line, as in `V_in = 6.1 V (source voltage)`."""
        return [f"{letter.plain} = {show(value, letter.unit)} ({letter.meaning})" for letter, value in self.needed()]

    def needed(self) -> list[tuple[Quantity, float]]:
        """The letters that a learner needs and their values in base units: those of the circuit, and what else a task's formula takes."""
        formulas = [quantity.formula for task in self.lab.tasks if (quantity := asked(task.quantity)).derivation]
        needed = {"v_out", *LETTERS, *(each.name for formula in formulas for each in formula.inputs)}
        return [(known(name), value) for name, value in self.letters.items() if name in needed and is_known(name)]


def path_of(key: str) -> tuple[str, ...]:
    """A key of the scenario as the names on the way to it."""
    return tuple(key.split("."))


def put(data: dict, key: str, value: float) -> dict:
    """A copy of nested data with one key set, tables made where they are missing."""
    first, *rest = path_of(key) if isinstance(key, str) else key
    inner = data.get(first)
    return {**data, first: put(inner if isinstance(inner, dict) else {}, tuple(rest), value) if rest else value}


def numbers_at(lab: Lab, numbers: Mapping[str, float], key: str = "", seed: int = 0, draw: int = 0) -> Variant:
    """A lab with these numbers put in. Raises ValueError where they make no scenario, or no circuit that reaches its output."""
    scenario = lab.scenario
    loose = {}
    for name, value in (*lab.given, *numbers.items()):
        if "." in name:
            scenario = put(scenario, name, value)
        else:
            loose[name] = value
    spec = Spec.from_dict(scenario, f"{lab.scenario_name} with the lab's numbers")
    letters = _letters(lab, spec) | loose
    state = settled(_converter(lab, spec, letters), letters["v_out"])
    return Variant(lab, key, seed, draw, dict(numbers), scenario, spec, letters, state)


def settled(converter: Converter, v_out: float) -> SteadyState:
    """The exact steady state at the duty that brings this output (V)."""
    letters = converter.letters()
    losses = {name: letters[name] for name in PATH if name in letters}
    near = float(Point.by_formula(letters["v_in"], v_out, v_out / letters["r_load"], letters["f_sw"], letters["inductance"],
                                  diode=converter.rectifier.kind == "diode", **losses).duty)  # fmt: skip
    duty = switched.duty_for(converter, v_out, near if 0 <= near < 1 else None)
    return switched.steady_state(converter.change(duty=duty))


def _letters(lab: Lab, spec: Spec) -> dict[str, float]:
    """The letters that the scenario sets, at the lab's point."""
    found = {
        "v_in": getattr(spec.v_in, lab.source), "v_out": spec.v_out, "i_out": getattr(spec.i_out, lab.load), "f_sw": spec.frequency,
        "inductance": spec.inductance, "capacitance": spec.capacitance, "r_capacitor": spec.series_resistance,
        "f_crossover": spec.crossover, "i_step": spec.step.high - spec.step.low if spec.step else None,
    }  # fmt: skip
    return {name: value for name, value in found.items() if value is not None}


def _converter(lab: Lab, spec: Spec, letters: dict[str, float]) -> Converter:
    """The circuit at that point, with a resistor as load and the duty still to be found."""
    for name, key in (("inductance", "choices.inductance"), ("capacitance", "choices.capacitance")):
        if name not in letters:
            raise ValueError(f"{lab.where}: needs {quoted(key)} under [given] or [vary]: which part is on the bench?")
    parts = {name: value for name, value in letters.items() if name in LETTERS and name != "i_out"}
    kind = {"rectifier": "switch"} if spec.rectifier == "switch" else {}
    return Converter.of(**parts, **kind, duty=0.0, r_load=letters["v_out"] / letters["i_out"])


def _toml(data: dict) -> str:
    """Nested data as TOML: plain values first, then a table for each inner dictionary, deeper ones inline."""
    plain = [f"{name} = {_inline(value)}" for name, value in data.items() if not isinstance(value, dict)]
    tables = [f"\n[{name}]\n" + "\n".join(f"{key} = {_inline(value)}" for key, value in inner.items())
              for name, inner in data.items() if isinstance(inner, dict)]  # fmt: skip
    return "\n".join([*plain, *tables]) + "\n"


def _inline(value) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{name} = {_inline(inner)}" for name, inner in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else repr(value)
