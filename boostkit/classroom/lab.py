"""The lab file: a workbook, a scenario, what varies from learner to learner, the tasks, and what stands on the lab sheet.

    title = "Two slopes"
    workbook = "03_two_slopes.ipynb"
    scenario = "tide_gauge.toml"              # beside this file, or one of the kit's
    mode = "continuous"                       # or "discontinuous": the same for every learner
    point = { source = "usual", load = "max" }   # which of the scenario's values the tasks are about

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
"""

from __future__ import annotations

from dataclasses import dataclass

from .quantities import asked

TRAPS = {  # a mistake that a lab can name: what it makes of the right value, and in words
    "peak": (lambda value: value / 2, "half of it: a peak, counted from the mean, where peak to peak was asked"),
    "complement": (lambda value: 1 - value, "one less it: the other share of the period"),
    "percent": (lambda value: 100 * value, "a hundred times it: a percentage without its sign"),
}
MODES = ("continuous", "discontinuous")
WHICH = ("min", "usual", "max")


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
    """A measurement: `what`, `how` to probe it, the quantity to `expect` on the exact circuit, relative `tolerance`."""

    what: str
    how: str
    expect: str
    tolerance: float


@dataclass(frozen=True, eq=False)
class Lab:
    """A lab as its file has it. `scenario` is the scenario's data with `given` put in; `given` and `vary` in base units;
    `where` the file's name. Two labs are equal only if they are the same object."""

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
