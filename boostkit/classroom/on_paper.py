"""A learner's answer sheet, copy of the workbook, and the teacher's key, as PDFs."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace

from .. import __version__
from ..paper import typeset, workbook
from ..paper.blocks import Block, Caution, Equation, Heading, Listing, Marked, Page, Prose, Table
from ..paper.pages import ABOVE_TOUCH_LIMIT, TOUCH_LIMIT, notebook_page
from ..units import show
from .numbers import Variant
from .ratings import filled
from .sheets import COUNTS, HOW_MEASURED, points
from .tasks import Answer

WIDEST = 90  # letters of a worked line that fit across the page as a formula
LEADING = re.compile(r"^(\s*[0-9]*)(?!\.[0-9])([#+.)-])")  # what would begin a list or a heading; 29.7 does not
ROOM = Marked("\u00a0\\\n\u00a0\\\n\u00a0")  # three empty lines: a hand needs them


def sheet_page(variant: Variant) -> Page:
    """The answer sheet: numbers, questions, and room to write. It carries the key and no name."""
    lab = variant.lab
    rows = tuple((f"{n}", f"{task.ask} ({points(task)})", task.unit or "–", ROOM) for n, task in enumerate(lab.tasks, 1))
    measured = [Prose(HOW_MEASURED)] if any(task.measured for task in lab.tasks) else []
    cautions = tuple(filled(each, variant.letters, variant.state) for each in lab.cautions)
    return _page(variant, "Answer sheet", (
        *voltage_warning(variant), *([Caution("Before you touch the bench", cautions)] if cautions else []),
        Heading("Your numbers"), _numbers(variant),
        Heading("Questions"), Prose(" ".join(["Write each value with its unit.", *COUNTS])), *measured,
        Table(("", "Question", "Unit", "Answer"), rows, "llll", (0.05, 0.53, 0.08, 0.34)),
    ))  # fmt: skip


def key_page(variant: Variant, answers: Iterable[Answer], bench: Iterable[Block] = ()) -> Page:
    """The key: each answer to four digits, and the worked line. `bench`: what stands below that, on the measurements."""
    blocks: list[Block] = []
    for answer in answers:
        value = f"{show(answer.value, answer.unit, 4)}, within {show(answer.tolerance, '%')}; {points(answer.task)}"
        blocks += [Heading(answer.id.replace("_", " "), 2), Prose(f"{plain(answer.task.ask)} **{plain(value)}**", leads=True)]
        if answer.latex and len(answer.worked) <= WIDEST:
            blocks.append(Equation(answer.latex, alt=answer.worked))
        else:
            blocks.append(Listing(answer.worked))
    return _page(variant, "Key", (Heading("Numbers"), _numbers(variant), Heading("Answers"), *blocks, *bench))


def voltage_warning(variant: Variant) -> list[Block]:
    """What a sheet above the touch limit says first, whatever its lab file says."""
    if variant.highest <= TOUCH_LIMIT:
        return []
    return [Caution(f"Up to {show(variant.highest, 'V')}: above the 60 V DC touch limit", ABOVE_TOUCH_LIMIT, strong=True)]


def copy_page(copy: dict, name: str) -> Page:
    """A learner's copy of the workbook (`copies.blanked`), as it is handed out: not run, so without figures. `name`: its file's."""
    note = f"Printed by boostkit {__version__} from {name}, not run, so without its figures. The scenario and its numbers are invented."
    return replace(notebook_page(workbook.noted(copy), name), note=note)


def pdf(page: Page) -> bytes:
    """The bytes of the PDF."""
    return typeset.pdf(page)


def _page(variant: Variant, what: str, blocks: tuple[Block, ...]) -> Page:
    note = (f"Made by boostkit {__version__}. The scenario and its numbers are invented. Local codes and licensed practice come before "
            "this sheet.")  # fmt: skip
    return Page(variant.lab.title, f"{what} of {variant.key}", blocks, note, contents=False, maker=f"boostkit {__version__}")


def _numbers(variant: Variant) -> Table:
    rows = tuple((Marked(f"${letter.latex}$"), show(value, letter.unit), letter.meaning) for letter, value in variant.needed())
    return Table(("Letter", "Value", "What it is"), rows, "lrl", (0.18, 0.22, 0.6))


def plain(text: str) -> Marked:
    """Text in which nothing is Markdown."""
    inside = "".join("\\" + c if c in "\\`*_{}[]|<>$^~@" else c for c in text)
    return Marked(LEADING.sub(r"\1\\\2", inside))
