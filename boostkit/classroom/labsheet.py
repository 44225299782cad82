"""The lab sheet of one learner: cautions, parts, checks before power, and what to measure, where to put the probe and what to expect.

Expected values are read off the learner's exact circuit. One that a task asks for is not printed: the sheet says where it is asked,
and the teacher's key holds it.
"""

from __future__ import annotations

from .. import __version__
from ..algebra import is_known
from ..algebra.quantity import known
from ..paper.blocks import Block, Caution, Heading, Listing, Page, Prose, Table
from ..units import show
from .lab import Lab, Measure, Task
from .numbers import Variant
from .on_paper import ROOM, plain, voltage_warning
from .quantities import NAMES, asked
from .ratings import filled
from .tasks import reading

NOTE = ("Made by boostkit {}. The scenario is invented. Expected values are those of the exact circuit with the parts' nominal values and "
        "without losses at the edges; they were not measured on a bench. Local codes and licensed practice come before this sheet.")
POWER = "Only now the source is switched on, and only with the teacher's word."
AT_THE_BENCH = "At the bench"
LEFT_OVER = "When you are done: drive off, source off, wait until the output reads below 1 V, then take hold."


def has_sheet(lab: Lab) -> bool:
    """Whether a lab has anything to put on a lab sheet."""
    return bool(lab.kit or lab.check or lab.measure)


def page(variant: Variant) -> Page:
    """The lab sheet as a page for `paper.typeset`."""
    note = NOTE.format(__version__)
    return Page(variant.lab.title, f"Lab sheet of {variant.key}", tuple(_blocks(variant)), note, contents=False,
                maker=f"boostkit {__version__}")


def text(variant: Variant) -> str:
    """The lab sheet as Markdown."""
    head = [f"# {variant.lab.title}: lab sheet of {variant.key}"]
    return "\n\n".join([*head, *(_markdown(block) for block in _blocks(variant)), NOTE.format(__version__)]) + "\n"


def key_text(variant: Variant) -> str:
    """For the teacher's key (Markdown): what every measurement should show, those that a task asks for too."""
    lines = [f"- {what}: {expected}" for what, expected in _at_the_bench(variant)]
    return "\n".join(["", f"## {AT_THE_BENCH}", "", *lines, ""]) if lines else ""


def key_blocks(variant: Variant) -> tuple[Block, ...]:
    """The same for the key as a page."""
    rows = tuple((plain(what), plain(expected)) for what, expected in _at_the_bench(variant))
    return (Heading(AT_THE_BENCH), Table(("Measured", "Expected"), rows, "ll", (0.5, 0.5))) if rows else ()


def _at_the_bench(variant: Variant) -> list[tuple[str, str]]:
    return [(measure.what, _range(value, unit, measure.tolerance))
            for measure in variant.lab.measure if measure.expect for value, unit in (_expected(measure, variant),)]  # fmt: skip


# the sheet, block by block


def _blocks(variant: Variant) -> list[Block]:
    lab = variant.lab
    blocks: list[Block] = voltage_warning(variant)
    if lab.cautions:
        blocks.append(Caution("Before you touch the bench", tuple(_said(each, variant) for each in lab.cautions), strong=True))
    if lab.drawing:
        blocks += [Heading("The circuit and its points"), Listing(lab.drawing)]
    if lab.kit:
        blocks += [Heading("Parts"), _parts(variant)]
    if lab.check:
        rows = tuple((f"{n}", _said(each, variant), "") for n, each in enumerate(lab.check, 1))
        blocks += [Heading("Before power is applied"), Table(("", "Check, in this order", "Done"), rows, "llc", (0.05, 0.85, 0.1)),
                   Prose(POWER)]  # fmt: skip
    if lab.measure:
        blocks += [Heading("Measure"), *(block for n, each in enumerate(lab.measure, 1) for block in _measured(n, each, variant))]
        blocks.append(Caution("To end with", (LEFT_OVER,)))
    return blocks


def _said(sentence: str, variant: Variant) -> str:
    return filled(sentence, variant.letters, variant.state)


def _parts(variant: Variant) -> Table:
    rows = tuple((each.part, _said(each.value, variant), _said(each.substitute, variant) or "–") for each in variant.lab.kit)
    return Table(("Part", "Value", "What may stand in for it, and what that changes"), rows, "lll", (0.17, 0.36, 0.47))


def _measured(number: int, measure: Measure, variant: Variant) -> list[Block]:
    blocks: list[Block] = [Heading(f"{number}. {measure.what}", 2)]
    if measure.caution:
        blocks.append(Caution("Here", (_said(measure.caution, variant),), leads=True))
    blocks.append(Prose(plain(_said(measure.how, variant)), leads=True))
    return [*blocks, Table(("Expected", "You read, with its unit"), ((_expectation(measure, variant), ROOM),), "ll", (0.6, 0.4))]


def _expectation(measure: Measure, variant: Variant) -> str:
    if not measure.expect:
        return "No number from this sheet."
    if task := asking(measure, variant.lab):
        number = variant.lab.tasks.index(task) + 1
        return (f"Question {number} of your answer sheet asks for it: write it there too." if task.measured
                else f"Compare it with your answer to question {number}, and say what makes the difference.")
    return _range(*_expected(measure, variant), measure.tolerance)


def asking(measure: Measure, lab: Lab) -> Task | None:
    """The task that asks for what is measured here, one that is answered at the bench first; None where none does."""
    found = [task for task in lab.tasks if task.quantity == measure.expect]
    return max(found, key=lambda task: task.measured, default=None)


def _expected(measure: Measure, variant: Variant) -> tuple[float, str]:
    """The value in base units, and its unit."""
    if measure.expect in NAMES:
        return reading(variant, measure.expect), asked(measure.expect).unit
    if measure.expect not in variant.letters or not is_known(measure.expect):
        raise ValueError(f"{variant.lab.where}: a measurement expects {measure.expect}, and nothing in the lab tells it")
    return variant.letters[measure.expect], known(measure.expect).unit


def _range(value: float, unit: str, tolerance: float) -> str:
    low, high = (show(value * (1 + sign * tolerance), unit) for sign in (-1, 1))
    return f"{show(value, unit)}, within {show(tolerance, '%')}: {low} to {high}"


# the same blocks as Markdown


def _markdown(block: Block) -> str:
    if isinstance(block, Heading):
        return f"{'#' * (block.level + 1)} {block.text}"
    if isinstance(block, Listing):
        return f"```text\n{block.text}\n```"
    if isinstance(block, Caution):
        return "\n".join([f"> **{block.title}**", ">", *(f"> - {plain(item)}" for item in block.items)])
    if isinstance(block, Table):
        rows = [block.head, ["---"] * len(block.head), *(["" if cell is ROOM else plain(cell) for cell in row] for row in block.rows)]
        return "\n".join(f"| {' | '.join(row)} |" for row in rows)
    return block.text

