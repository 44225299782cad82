"""Marking one learner's sheet: a verdict, points and a line of feedback for each answer. Nothing on the sheet is ever run.

An answer is held against the learner's own numbers. A value that follows from an earlier answer of the same learner is right too, even
where that one was wrong: a mistake counts once. Half the points stand where the number is right and its unit or prefix is not, and
where the mistake is one that the task names.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from ..bench.deciding import AGREES, CANNOT_TELL, decided
from ..units import quoted, show
from .lab import TRAPS, Task
from .numbers import Variant
from .sheets import TWO_ANSWERS, Sheet
from .stated import Stated, in_another_unit, stated
from .tasks import Answer, answer, expected

RIGHT, WITHIN, FOLLOWS = "right", "right within measurement uncertainty", "follows from an earlier answer"
UNIT, NAMED, WRONG, MISSING, NO_VALUE = "wrong unit or prefix", "named mistake", "wrong", "missing", "no value"
TRAPPED = {"peak": "peak for peak-to-peak", "complement": "the other share", "percent": UNIT}  # the verdict where a task names a mistake
SHARES = {RIGHT: 1.0, WITHIN: 1.0, FOLLOWS: 1.0, UNIT: 0.5, NAMED: 0.5, **dict.fromkeys(TRAPPED.values(), 0.5)}  # of a task's points
MOST_UNCERTAIN = 3  # tolerances: an uncertainty beyond this would pass for anything
PREFIXES = tuple(10.0**power for power in (-12, -9, -6, -3, 3, 6, 9, 12))
DIGITS = 4


@dataclass(frozen=True)
class Mark:
    """One answer: what was written, the verdict, points got and to be had, and a line for the learner."""

    task: Task
    text: str
    verdict: str
    feedback: str

    @property
    def points(self) -> float:
        return self.task.points * SHARES.get(self.verdict, 0.0)


@dataclass(frozen=True)
class Marks:
    """A learner's marks in the lab's order. `unreadable` says why there are none, `notes` what else the teacher should know."""

    key: str
    marks: tuple[Mark, ...] = ()
    unreadable: str = ""
    notes: tuple[str, ...] = ()

    @property
    def points(self) -> float:
        """Points got, of all tasks."""
        return sum(mark.points for mark in self.marks)


def mark(sheet: Sheet, variant: Variant, key: Mapping[str, Answer] | None = None) -> Marks:
    """The marks of a sheet. `key`: the right answers, where they are known already (`tasks.expected`)."""
    key = key or expected(variant)
    own: dict[str, float] = {}
    done: dict[str, Mark] = {}
    for task in variant.lab.tasks:
        theirs = _from_own(task, variant, own, key)
        carried = tuple(name for name in task.follows if name in own and done[name].verdict not in (RIGHT, WITHIN))
        done[task.id], value = _judged(task, sheet.answers.get(task.id, ""), key[task.id], theirs, carried)
        if value is not None:
            own[task.id] = value
    unknown = [name for name in sheet.answers if name not in key]
    notes = (f"answers to no task of this lab: {', '.join(map(quoted, unknown[:3]))}",) if unknown else ()
    return Marks(sheet.key or variant.key, tuple(done.values()), notes=notes)


def _from_own(task: Task, variant: Variant, own: Mapping[str, float], key: Mapping[str, Answer]) -> Answer | None:
    """The answer that the learner's own earlier ones lead to; None where they lead nowhere."""
    if not any(name in own for name in task.follows):
        return None
    try:
        found = answer(task, variant, {name: own.get(name, key[name].value) for name in task.follows})
    except (ValueError, ArithmeticError):
        return None
    return found if math.isfinite(found.value) and found.value != 0 else None


def _judged(task: Task, text: str, right: Answer, own: Answer | None, carried: tuple[str, ...]) -> tuple[Mark, float | None]:
    """A verdict, and the value that later tasks may follow from."""
    if not text:
        return Mark(task, "", MISSING, f"no answer; right is {_shown(right)}"), None
    if text.startswith(TWO_ANSWERS):
        return Mark(task, text, NO_VALUE, f"{text}; hand in one; right is {_shown(right)}"), None
    try:
        given = stated(text, right.unit, task.id)
    except ValueError as trouble:
        return _of_other_kind(task, text, right, own, trouble)
    targets = [right] + ([own] if own else [])
    for judge in (_right, _follows, _named, _within, _prefix):  # a wide interval about a named mistake is still that mistake
        if found := judge(given, targets, carried):
            return Mark(task, text, *found), given.value
    too_vague = _measured(given, right) == CANNOT_TELL
    vague = f"; an uncertainty above {show(MOST_UNCERTAIN * task.tolerance, '%')} is not accepted" if too_vague else ""
    return Mark(task, text, WRONG, f"{show(given.value, right.unit, DIGITS)} is wrong{vague}; right is {_shown(right)}"), given.value


def _right(given: Stated, targets: list[Answer], carried: tuple[str, ...]):
    if _near(given.value, targets[0]):
        return RIGHT, f"right; to four digits {_shown(targets[0])}"
    return None


def _follows(given: Stated, targets: list[Answer], carried: tuple[str, ...]):
    if len(targets) < 2 or not _near(given.value, targets[1]):
        return None
    if not carried:  # the earlier answer was right, and rounded
        return RIGHT, f"right with your own rounded values; to four digits {_shown(targets[0])}"
    return FOLLOWS, f"follows from your answer to {' and '.join(carried)}, which was marked there; right is {_shown(targets[0])}"


def _within(given: Stated, targets: list[Answer], carried: tuple[str, ...]):
    right = targets[0]
    if not right.task.measured or _measured(given, right) != AGREES:
        return None
    return WITHIN, f"right within ±{show(given.expanded, right.unit, 2)}; expected is {_shown(right)}"


def _named(given: Stated, targets: list[Answer], carried: tuple[str, ...]):
    for target in targets:
        trap = target.task.trap
        if trap and _close(given.value, target.trapped, target.tolerance):
            return TRAPPED.get(trap, NAMED), f"this is {TRAPS[trap][1]}; right is {_shown(targets[0])}"
    return None


def _prefix(given: Stated, targets: list[Answer], carried: tuple[str, ...]):
    for target in targets:
        for factor, words in _factors(target.unit):
            if _close(given.value, factor * target.value, target.tolerance):
                return UNIT, f"the number is right, the unit is not: it is {words} the right value; right is {_shown(targets[0])}"
    return None


def _factors(unit: str):
    """The factors that a wrong unit or prefix brings, and their words."""
    if unit == "":
        yield from ((100.0, "a hundred times"), (0.01, "a hundredth of"))
    if unit == "Hz":
        yield 2 * math.pi, "2π times (rad/s for Hz)"
    yield from ((factor, f"{factor:g} times") for factor in PREFIXES)


def _of_other_kind(task: Task, text: str, right: Answer, own: Answer | None, trouble: ValueError) -> tuple[Mark, float | None]:
    """An answer that is no quantity of the kind asked for: the right number in another unit, another quantity, or no value."""
    other = in_another_unit(text, right.unit)
    asked = f"a value in {right.unit}" if right.unit else "a pure number"
    if other is None:
        words = str(trouble).removeprefix(f"{task.id} = {quoted(text)} ")
        return Mark(task, text, NO_VALUE, f"cannot be read as {asked}: {words}; right is {_shown(right)}"), None
    for target in [right] + ([own] if own else []):
        factor = 2 * math.pi if (right.unit, other.unit) == ("Hz", "rad/s") else 1.0
        if any(_close(other.value, factor * power * target.value, target.tolerance) for power in (1.0, *PREFIXES)):
            words = f"the number is right, the unit is not: asked is {asked}; right is {_shown(right)}"
            return Mark(task, text, UNIT, words), target.value
    return Mark(task, text, WRONG, f"asked is {asked}; right is {_shown(right)}"), None


def _near(value: float, target: Answer) -> bool:
    return _close(value, target.value, target.tolerance)


def _close(value: float, target: float, tolerance: float) -> bool:
    # the last factor forgives the rounding of the computer, so that a value exactly at the limit is inside
    return abs(value - target) <= tolerance * abs(target) * (1 + 1e-9)


def _measured(given: Stated, right: Answer) -> str:
    """The rule of the bench, with what a mark allows."""
    return decided(given.value - right.value, given.expanded, MOST_UNCERTAIN * right.tolerance * abs(right.value))


def _shown(right: Answer) -> str:
    return show(right.value, right.unit, DIGITS)
