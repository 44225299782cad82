"""A workbook as a learner gets it: answers taken out, their own numbers in place. And the teacher's key to it.

Cells with the tag `answer-here` are emptied to a prompt, cells with the tag `key-only` are left out; outputs, what other programs
noted in the file, and attachments that no cell shows are dropped. The source of every other cell stays as it is, to the byte. An emptied
cell asks for the tasks of which lines stood in it, as `duty = ...` or `# duty = ...`; the last one also for those that no cell names.
"""

from __future__ import annotations

import base64
import binascii
import re
from collections.abc import Iterable, Iterator

from ..files import to_json
from ..paper.workbook import KEPT_CELL_METADATA, KERNELSPEC, LANGUAGE
from ..units import show
from .lab import Lab, Task
from .numbers import Variant
from .sheets import ANSWER_HERE, KEY_ONLY, cell_sheet, points, tasks_named
from .tasks import Answer

NUMBER = re.compile(r"[0-9]*\.?[0-9]+")
DIGITS = 4  # digits of an answer that a copy must not tell


def blanked(notebook, lab: Lab, key: str) -> dict:
    """The learner's copy of a notebook (as `paper.workbook.read` gives it); the notebook itself stays as it is."""
    kept = _kept(notebook)
    asked = _asked(kept, lab)
    cells = [_cell(cell, asked.get(place), key) for place, cell in enumerate(kept)]
    return {
        "cells": cells,
        "metadata": {"kernelspec": dict(KERNELSPEC), "language_info": dict(LANGUAGE)},
        "nbformat": notebook["nbformat"],
        "nbformat_minor": notebook["nbformat_minor"],
    }


def copy_text(notebook, lab: Lab, key: str) -> str:
    """The text of the learner's .ipynb file."""
    return to_json(blanked(notebook, lab, key))


def is_tagged(notebook) -> bool:
    """Whether any cell is to be emptied or left out; a workbook without tags is handed out with all that it says."""
    return any(tag in (ANSWER_HERE, KEY_ONLY) for cell in notebook["cells"] for tag in _tags(cell))


def key_text(variant: Variant, answers: Iterable[Answer]) -> str:
    """The teacher's key to one learner's sheet (Markdown): numbers, answers and worked lines."""
    lab = variant.lab
    numbers = [f"- {line}" for line in variant.told()]
    lines = []
    for answer in answers:
        value = f"{show(answer.value, answer.unit, DIGITS)}, within {show(answer.tolerance, '%')}; {points(answer.task)}"
        lines += [f"**{answer.id}** {answer.task.ask}", "", f"{value}", "", f"    {answer.worked}", ""]
    return "\n".join([f"# {lab.title}: key for {variant.key}", "", *numbers, "", *lines])


# what a copy tells


def shown_numbers(notebook) -> dict[str, str]:
    """As `told_numbers`, what the cells that a copy keeps showed when the notebook was run: a copy with the same scenario shows it too."""
    kept = [{"shown": [] if ANSWER_HERE in _tags(cell) else list(_shown_texts(cell))} for cell in _kept(notebook)]
    return {digits: f"{place}, run," for digits, place in told_numbers({"cells": kept, "metadata": {}}).items()}


def told_numbers(copy: dict) -> dict[str, str]:
    """Every number of four digits or more in a copy, by its first four digits (rounded, and cut off), and where it stands."""
    found: dict[str, str] = {}
    for place, text in _texts(copy):
        for match in NUMBER.finditer(text):
            for digits in _four(match[0]):
                found.setdefault(digits, place)
    return found


def given_away(told: dict[str, str], answers: Iterable[Answer]) -> list[str]:
    """The answers whose four digits a copy tells, in words; round values (two digits or fewer) give nothing away."""
    found = []
    for answer in answers:
        digits = _digits(answer.value)
        if digits in told and not digits.endswith("00"):
            found.append(f"{told[digits]} holds the digits {digits} of {answer.id} = {show(answer.value, answer.unit, DIGITS)}")
    return found


def _four(number: str) -> set[str]:
    """The first four significant digits of a number as it is written, rounded and cut off; none where it has fewer."""
    digits = number.replace(".", "").lstrip("0")
    return {digits[:DIGITS], _digits(float(f"0.{digits[:17]}"))} if len(digits) >= DIGITS else set()


def _digits(value: float) -> str:
    return f"{abs(value):.{DIGITS - 1}e}".partition("e")[0].replace(".", "")


def _texts(copy: dict) -> Iterator[tuple[str, str]]:
    """Every text of a copy with its place: sources, metadata, and what is inside attachments."""
    for number, cell in enumerate(copy["cells"], 1):
        for text in _strings(cell):
            yield f"cell {number}", text
    for text in _strings(copy["metadata"]):
        yield "the notebook's metadata", text


def _shown_texts(cell) -> Iterator[str]:
    """What a cell's outputs say in words; a picture's digits say nothing."""
    for output in cell.get("outputs", []):
        yield output.get("text", "")
        yield from (str(data) for mime, data in output.get("data", {}).items() if mime.startswith("text/"))


def _strings(value) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, inner in value.items():
            if name == "attachments":
                yield from (_content(data) for bundle in inner.values() for data in bundle.values())
            elif name != "id":
                yield name
                yield from _strings(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _strings(inner)


def _content(data) -> str:
    """An attachment's content, letter by letter, out of base64 where it is that."""
    try:
        return base64.b64decode(data, validate=True).decode("latin-1")
    except (binascii.Error, ValueError, TypeError):
        return str(data)


# one cell


def _tags(cell) -> list:
    tags = cell.get("metadata", {}).get("tags", [])
    return tags if isinstance(tags, list) else []


def _kept(notebook) -> list:
    return [cell for cell in notebook["cells"] if KEY_ONLY not in _tags(cell)]


def _asked(cells: list, lab: Lab) -> dict[int, tuple[Task, ...]]:
    """The tasks that each emptied cell asks for, by its place; those that no cell names are asked for in the last."""
    found = {place: tasks_named(cell["source"], lab) for place, cell in enumerate(cells) if ANSWER_HERE in _tags(cell)}
    if found:
        elsewhere = {task.id for place, tasks in found.items() if place != max(found) for task in tasks}
        there = {task.id for task in found[max(found)]}
        found[max(found)] = tuple(task for task in lab.tasks if task.id in there or task.id not in elsewhere)
    return found


def _cell(cell, tasks: tuple[Task, ...] | None, key: str) -> dict:
    """A cell as the learner gets it; `tasks`: what an emptied cell asks for, None where the cell is not emptied."""
    kind, source = cell["cell_type"], cell["source"]
    emptied = tasks is not None
    kept = {"cell_type": kind, "metadata": {name: value for name, value in cell["metadata"].items() if name in KEPT_CELL_METADATA}}
    if "id" in cell:
        kept["id"] = cell["id"]
    kept["source"] = cell_sheet(tasks, key, kind) if emptied else source
    if kind == "code":
        kept |= {"execution_count": None, "outputs": []}
    elif not emptied and (shown := _shown(cell)):
        kept["attachments"] = shown
    return kept


def _shown(cell) -> dict:
    """The pictures among a cell's attachments that its text shows."""
    bundles = cell.get("attachments", {})
    return {name: {mime: data for mime, data in bundle.items() if mime.startswith("image/")}
            for name, bundle in bundles.items() if f"(attachment:{name})" in cell["source"]}  # fmt: skip
