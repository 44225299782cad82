"""The lab file: a workbook, a scenario, what varies from learner to learner, the tasks, and what stands on the lab sheet.

    title = "Two slopes"
    workbook = "03_two_slopes.ipynb"
    scenario = "tide_gauge.toml"              # beside this file, or one of the kit's
    mode = "continuous"                       # or "discontinuous": the same for every learner
    point = { source = "usual", load = "max" }   # which of the scenario's values the tasks are about
    copies = "own numbers"                    # or "example", as for a test: the workbook's copy gets the scenario as its file has it, so
                                              # that running the copy does not reckon the sheet's answers; sheet and key stay the same

    [given]                                   # the same for all: keys of a scenario file, or letters
    "choices.capacitance" = "100 µF"
    r_inductor = "40 mΩ"

    [vary]                                    # steps from which each learner's numbers are drawn
    "source.voltage.usual" = { from = 5.6, to = 6.8, step = 0.1 }
    "choices.inductance" = { values = ["33 µH", "47 µH", "68 µH"] }

    [[task]]
    id = "duty"
    ask = "Which duty does the output ask for, without loss?"
    quantity = "duty"                         # a name of `quantities`
    by = "formula"                            # or "circuit": the exact circuit's value
    points = 2
    tolerance = 0.02                          # relative
    follows = []                              # ids of earlier tasks whose answers go into the formula
    trap = "peak"                             # optional, a name of TRAPS: a mistake that is told apart from others
    measured = false                          # whether the answer is read at the bench and may carry an uncertainty

What stands on the lab sheet, all of it optional. `{r_load}` in a sentence becomes the learner's number (`ratings` has the names).

    drawing = '''...'''                       # the circuit with its points named, in fixed-width letters
    cautions = ["Wear eye protection ..."]
    check = ["With the source off, ..."]      # steps before power is applied, in order

    [[kit]]
    part = "Load"
    value = "{r_load}, {load_watts}"
    substitute = "Two in series."             # what may stand in for it, and what that changes

    [[measure]]
    what = "Output voltage, mean"
    how = "Voltmeter from Q to S."
    expect = "output_voltage"                 # optional: a quantity of the exact circuit, or a letter; not printed where a task asks it
    tolerance = "2 %"
    caution = "Keep your fingers off."        # optional: stands where the hand would be
"""

from __future__ import annotations

from dataclasses import dataclass

from .quantities import asked

TRAPS = {  # a mistake that a lab can name: what it makes of the right value, and in words
    "peak": (lambda value: value / 2, "half of it: a peak, counted from the mean, where peak to peak was asked"),
    "complement": (lambda value: 1 - value, "one minus it: the other share of the period"),
    "percent": (lambda value: 100 * value, "a hundred times it: a percentage without its sign"),
}
MODES = ("continuous", "discontinuous")
WHICH = ("min", "usual", "max")
COPIES = ("own numbers", "example")


@dataclass(frozen=True)
class Vary:
    """One number that varies: `key` of the scenario or a letter, `unit`, and the `values` it is drawn from, in rising order."""

    key: str
    unit: str
    values: tuple[float, ...]


@dataclass(frozen=True)
class Task:
    """One question: see the head of this file. `follows` are ids of earlier tasks."""

    id: str
    ask: str
    quantity: str
    by: str = "formula"
    points: float = 1.0
    tolerance: float = 0.02
    follows: tuple[str, ...] = ()
    trap: str | None = None
    measured: bool = False

    @property
    def unit(self) -> str:
        """Unit of the answer, "" for a pure number."""
        return asked(self.quantity).unit


@dataclass(frozen=True)
class Kit:
    """A part on the bench: what, its value in words, and what may stand in for it ("" for nothing)."""

    part: str
    value: str
    substitute: str = ""


@dataclass(frozen=True)
class Measure:
    """A measurement: `what`, `how` to probe it, what to `expect` (a quantity of the exact circuit, a letter of the lab, or "" where the
    sheet expects no number), relative `tolerance`, and a `caution` ("" for none)."""

    what: str
    how: str
    expect: str = ""
    tolerance: float = 0.0
    caution: str = ""


@dataclass(frozen=True, eq=False)
class Lab:
    """A lab as its file has it. `scenario` is the data of the scenario's file; `given` and `vary` in base units; `copies` says whose
    numbers lie beside the workbook's copy; `where` the file's name. Two labs are equal only if they are the same object."""

    title: str
    workbook: str
    scenario: dict
    scenario_name: str
    tasks: tuple[Task, ...]
    vary: tuple[Vary, ...] = ()
    given: tuple[tuple[str, float], ...] = ()
    mode: str = "continuous"
    source: str = "usual"
    load: str = "max"
    above_touch_limit: bool = False
    kit: tuple[Kit, ...] = ()
    check: tuple[str, ...] = ()
    measure: tuple[Measure, ...] = ()
    cautions: tuple[str, ...] = ()
    drawing: str = ""
    copies: str = "own numbers"
    where: str = "lab.toml"

    @property
    def points(self) -> float:
        """Points in all."""
        return sum(task.points for task in self.tasks)

    @property
    def combinations(self) -> int:
        """How many sets of numbers the steps allow, before any is refused."""
        count = 1
        for one in self.vary:
            count *= len(one.values)
        return count


def three_digits(value: float) -> bool:
    """Whether a number has at most three significant digits."""
    return abs(float(f"{value:.2e}") - value) <= 1e-9 * abs(value)
