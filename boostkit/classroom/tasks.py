"""What each task's answer is for one learner, and the line of the key that shows how it comes about."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from ..algebra.formula import latex_value
from ..algebra.quantity import known
from ..algebra.written import Written
from ..circuit.validity import measured
from ..units import show
from .lab import TRAPS, Task
from .numbers import Variant
from .quantities import Asked, asked, taken


@dataclass(frozen=True)
class Answer:
    """The answer of one task: `value` in the base unit `unit`, relative `tolerance`, and the worked line as text and as LaTeX."""

    task: Task
    value: float
    unit: str
    tolerance: float
    worked: str
    latex: str

    @property
    def id(self) -> str:
        return self.task.id

    @property
    def trapped(self) -> float | None:
        """What the mistake that the task's `trap` names makes of the value; None where it names none."""
        return TRAPS[self.task.trap][0](self.value) if self.task.trap else None


def expected(variant: Variant, own: Mapping[str, float] | None = None) -> dict[str, Answer]:
    """The answers by task, in the lab's order.

    own: a learner's own answers by task, in base units. A task that follows from one of them is then reckoned with it, so that a
    mistake counts once; its own answer is never used for itself. Raises ValueError where a number puts a formula out of its range.
    """
    found: dict[str, Answer] = {}
    for task in variant.lab.tasks:
        earlier = {name: (own or {}).get(name, found[name].value) for name in task.follows}
        found[task.id] = answer(task, variant, earlier)
    return found


def answer(task: Task, variant: Variant, earlier: Mapping[str, float]) -> Answer:
    """One answer; `earlier`: the values of the tasks that it follows from."""
    quantity = asked(task.quantity)
    if task.by == "circuit":
        value = float(quantity.read(variant.state))
        worked = f"{_left(quantity)} = {show(value, quantity.unit)}, on the exact circuit at a duty of {show(variant.state.duty)}"
        return Answer(task, value, quantity.unit, task.tolerance, worked, "")
    letters = letters_for(task, variant, earlier)
    values = taken(quantity.formula, letters)
    line, more = quantity.formula.worked(**values), _defined({name: value for name, value in values.items() if name not in letters})
    return Answer(task, float(line.value), quantity.unit, task.tolerance, line.text + "".join(f"; {text}" for text, _ in more),
                  line.latex + "".join(rf";\quad {latex}" for _, latex in more))


def letters_for(task: Task, variant: Variant, earlier: Mapping[str, float]) -> dict[str, float]:
    """The letters that a task may use: the learner's numbers, and the answers that it follows from."""
    letters = variant.letters | {"v_set": variant.letters["v_out"]}
    by_id = {each.id: each for each in variant.lab.tasks}
    for name, value in earlier.items():
        letter = asked(by_id[name].quantity).letter
        letters |= {"duty": 1 - value} if letter == "duty_off" else {letter: value}  # a formula takes D, and D' from it
    return letters


def holds(task: Task, variant: Variant) -> bool:
    """Whether the task's formula is valid at the learner's numbers, by what the exact circuit does there."""
    quantity = asked(task.quantity)
    if task.by == "circuit" or quantity.at_border:
        return True
    return bool(quantity.formula.holds(**variant.letters | measured(variant.state)))


def reading(variant: Variant, name: str) -> float:
    """A quantity read off the learner's exact circuit, in base units: what a measurement should show."""
    quantity = asked(name)
    if quantity.read is None:
        raise ValueError(f"{name} cannot be read off the circuit")
    return float(quantity.read(variant.state))


def _defined(values: Mapping[str, float]) -> list[tuple[str, str]]:
    """For letters that follow from their definition: the definition and the number, as text and as LaTeX."""
    found = []
    for name, value in values.items():
        letter, rule = known(name), Written(known(name).defined_as)
        found.append((f"{letter.plain} = {rule.plain} = {show(value, letter.unit)}",
                      f"{letter.latex} = {rule.latex} = {latex_value(value, letter.unit)}"))  # fmt: skip
    return found


def _left(quantity: Asked) -> str:
    return quantity.formula.equation.left.plain if quantity.derivation else quantity.meaning
