"""A class's marks: who got what, what the class found hard, and the tables that say so."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from ..units import show
from .handed_in import HandedIn
from .lab import Lab, Task
from .marking import MISSING, Marks, mark
from .numbers import Variant
from .roster import Learner
from .sheets import Sheet, table

Progress = Callable[[int, int, str], None]
NOT_HANDED_IN = "not handed in"


@dataclass(frozen=True)
class Hard:
    """One task: the share of its points that the class got, of how many sheets, and how often each verdict was given."""

    task: Task
    share: float
    sheets: int
    verdicts: dict[str, int]


@dataclass(frozen=True)
class Outcome:
    """The class. `marks` in the roster's order, `strays` are files of no learner."""

    lab: Lab
    learners: tuple[Learner, ...]
    marks: tuple[Marks, ...]
    strays: tuple[str, ...] = ()

    @property
    def read(self) -> tuple[Marks, ...]:
        """Those whose sheet was read."""
        return tuple(each for each in self.marks if each.marks)

    @property
    def unreadable(self) -> tuple[Marks, ...]:
        """Those whose sheet could not be read."""
        return tuple(each for each in self.marks if each.unreadable)

    @property
    def hard(self) -> tuple[Hard, ...]:
        """The tasks, the one with the smallest share of points first; empty where no sheet was read."""
        found = [_hard(n, task, self.read) for n, task in enumerate(self.lab.tasks)] if self.read else []
        return tuple(sorted(found, key=lambda hard: hard.share))


def mark_class(lab: Lab, learners: tuple[Learner, ...], came: HandedIn, variant_of: Callable[[str], Variant],
               progress: Progress | None = None) -> Outcome:  # fmt: skip
    """Mark all that came back. `variant_of` gives a learner's numbers; it is asked only for those whose sheet was read."""
    found = []
    for number, learner in enumerate(learners, 1):
        found.append(_one(learner.key, came, variant_of))
        if progress:
            progress(number, len(learners), f"marking {learner.key}")
    return Outcome(lab, learners, tuple(found), came.strays)


def marks_table(outcome: Outcome) -> str:
    """One row a learner: points in all and by task. Names stand in it: it stays with the teacher."""
    ids = [task.id for task in outcome.lab.tasks]
    rows = []
    for learner, each in zip(outcome.learners, outcome.marks, strict=True):
        by_task = [mark.points for mark in each.marks] or [""] * len(ids)
        total = each.points if each.marks else ""
        rows.append((learner.key, learner.name, learner.group, status(each), total, outcome.lab.points, *by_task, "; ".join(each.notes)))
    return table(("key", "name", "group", "sheet", "points", "of", *ids, "notes"), rows)


def feedback_table(outcome: Outcome) -> str:
    """One row an answer, by key alone: what was written, the verdict, and a line of feedback."""
    rows = []
    for each in outcome.marks:
        if not each.marks:
            rows.append((each.key, "", "", status(each), "", "", ""))
        rows += [(each.key, one.task.id, one.text, one.verdict, one.points, one.task.points, one.feedback) for one in each.marks]
    return table(("key", "task", "answer", "verdict", "points", "of", "feedback"), rows)


def hard_table(outcome: Outcome) -> str:
    """What the class found hard: the tasks, hardest first, with the share of points and how often each verdict was given."""
    rows = [(hard.task.id, hard.task.ask, show(hard.share, "%"), hard.sheets, told(hard.verdicts)) for hard in outcome.hard]
    return table(("task", "question", "share of points", "sheets", "verdicts"), rows)


def told(verdicts: Mapping[str, int]) -> str:
    """`12 right, 3 wrong`, the most frequent first."""
    return ", ".join(f"{count} {verdict}" for verdict, count in sorted(verdicts.items(), key=lambda pair: -pair[1]))


def status(each: Marks) -> str:
    """What became of a learner's sheet, in words."""
    if each.unreadable:
        return f"unreadable, because {each.unreadable}"
    return "read" if each.marks else NOT_HANDED_IN


def _one(key: str, came: HandedIn, variant_of: Callable[[str], Variant]) -> Marks:
    if key in came.unreadable:
        return Marks(key, unreadable=came.unreadable[key])
    sheet = came.sheets.get(key)
    if sheet is None:
        return Marks(key)
    variant = variant_of(key)
    try:
        found = mark(Sheet(key, sheet.answers, sheet.where), variant)
    except Exception as trouble:  # whatever a hostile answer does to a formula, the next learner is marked
        return Marks(key, unreadable=f"{sheet.where}: its answers cannot be judged ({type(trouble).__name__})")
    return Marks(key, found.marks, notes=(*found.notes, *came.notes.get(key, ())))


def _hard(number: int, task: Task, read: tuple[Marks, ...]) -> Hard:
    marks = [each.marks[number] for each in read]
    verdicts = Counter(one.verdict for one in marks)
    verdicts[MISSING] += 0
    return Hard(task, sum(one.points for one in marks) / (task.points * len(marks)), len(marks), {k: n for k, n in verdicts.items() if n})
