"""Blanked copies: nothing of the answers, everything else to the byte."""

import json
import re

import nbformat
import pytest
from classes import PICTURE, UNTOUCHED, notebook

from boostkit.classroom.copies import blanked, copy_text, given_away, is_tagged, key_text, shown_numbers, told_numbers
from boostkit.classroom.tasks import expected
from boostkit.paper.workbook import read
from boostkit.units import show


@pytest.fixture(scope="module")
def spellings(one):
    """The answers to four digits, as they could be written: with and without prefix, as a percentage."""
    found = []
    for each in expected(one).values():
        number = f"{each.value:.3e}"
        found += [show(each.value, each.unit, 4), f"{each.value:.4g}", f"{float(number):f}".rstrip("0"), f"{each.value * 1e3:.4g}"]
    return found


@pytest.fixture(scope="module")
def book(spellings, tmp_path_factory):
    """A workbook that tells them all, wherever a workbook can."""
    path = tmp_path_factory.mktemp("book") / "small.ipynb"
    path.write_text(json.dumps(notebook(spellings)), encoding="utf-8")
    return read(path)


def test_a_copy_tells_no_answer_anywhere(one, book, spellings):
    """No spelling of a four-digit answer in the whole file: sources, outputs, metadata, attachments."""
    before, after = json.dumps(book), copy_text(book, one.lab, "t01")
    assert all(spelling.partition(" ")[0] in before for spelling in spellings)
    assert not [spelling for spelling in spellings if spelling.partition(" ")[0] in after]
    assert given_away(told_numbers(blanked(book, one.lab, "t01")), expected(one).values()) == []
    assert given_away(told_numbers(json.loads(before)), expected(one).values())


def test_the_rest_stays_to_the_byte(one, book):
    """Cells without a tag keep source, kind, identity and the picture they show; the notebook handed in is not changed."""
    before = json.dumps(book)
    copy = blanked(book, one.lab, "t01")
    assert json.dumps(book) == before
    kept = [cell for cell in copy["cells"] if "answer-here" not in cell["metadata"].get("tags", [])]
    whole = [cell for cell in book.cells if not cell.metadata.get("tags")]
    assert [cell["source"].encode() for cell in kept] == [text.encode() for text in UNTOUCHED]
    assert [(cell["id"], cell["cell_type"]) for cell in kept] == [(cell["id"], cell["cell_type"]) for cell in whole]
    assert kept[2]["attachments"] == {"sketch.png": {"image/png": PICTURE}}
    assert "attachments" not in kept[0]


def test_a_copy_is_a_notebook(one, book):
    """Jupyter's own check passes, no code cell was run, and each blanked cell asks for its tasks."""
    copy = nbformat.reads(copy_text(book, one.lab, "t01"), as_version=4)
    nbformat.validate(copy)
    assert all(cell.outputs == [] and cell.execution_count is None for cell in copy.cells if cell.cell_type == "code")
    emptied = [cell.source for cell in copy.cells if "answer-here" in cell.metadata.get("tags", [])]
    asked = [re.findall(r"^(?:# )?(\w+) = \"\"$", source, re.M) for source in emptied]
    assert asked == [["duty", "ripple_current"], ["mean_current", "resonance"], ["ripple_measured"]]  # the last takes what none names
    assert all("# key: t01" in cell.source for cell in copy.cells if cell.metadata.get("tags"))


def test_the_last_emptied_cell_asks_for_what_no_other_names(one, book):
    """Its own tasks and those that no cell names, in the lab's order; a task of another cell is asked for there alone."""
    def asked(*sources):
        cells = [{"cell_type": "code", "metadata": {"tags": ["answer-here"]}, "source": source} for source in sources]
        hidden = {"cell_type": "code", "metadata": {"tags": ["key-only"]}, "source": "peak_current = 1"}
        made = blanked({**book, "cells": [*cells, hidden]}, one.lab, "t01")
        return [re.findall(r"^# (\w+) = \"\"$", cell["source"], re.M) for cell in made["cells"]]

    assert asked("") == [[task.id for task in one.lab.tasks]]
    assert asked("1", "# resonance = 2") == [[], [task.id for task in one.lab.tasks]]
    rest = ["duty", "mean_current", "ripple_current", "ripple_measured"]
    assert asked("resonance = 1", "ripple_measured = 2\nduty = 0") == [["resonance"], rest]
    assert asked("duty = 1", "duty = 2")[1] == [task.id for task in one.lab.tasks]
    assert asked() == []


def test_what_stored_outputs_say_is_found(book):
    """Words of kept cells only, not a picture's digits: what a copy with the same scenario shows when it is run."""
    def cell(digits, *tags, kind="text/plain"):
        output = {"output_type": "display_data", "data": {kind: f"is {digits}"}}
        return {"cell_type": "code", "metadata": {"tags": list(tags)}, "source": "", "outputs": [output]}

    stream = {"cell_type": "code", "metadata": {}, "source": "0.4321", "outputs": [{"output_type": "stream", "text": "0.1234\n"}]}
    cells = [cell(5678), cell(6789, kind="image/png"), cell(7891, "answer-here"), cell(8912, "key-only"), stream]
    assert shown_numbers({**book, "cells": cells}) == {"5678": "cell 1, run,", "1234": "cell 4, run,"}


def test_an_untagged_workbook_is_told(book):
    """A workbook without tags would be handed out whole: that is noticed."""
    assert is_tagged(book)
    assert not is_tagged({"cells": [{"metadata": {}}, {"metadata": {"tags": ["other"]}}]})


@pytest.mark.parametrize(("text", "told"), [
    ("0.6667", True), ("66.67 %", True), ("0.66666", True), ("0.666701", True), ("6667", True), ("0.667", False), ("0.6670", False),
    ("16667", False), ("0.6657", False), ("x6667", True),
])  # fmt: skip
def test_four_digits_are_found_in_any_spelling(one, text, told):
    """Rounded or cut off, with any prefix; three digits tell nothing, and other digits are another number."""
    class Two:
        id, value, unit = "share", 2 / 3, ""

    copy = {"cells": [{"source": text, "metadata": {}}], "metadata": {}}
    assert bool(given_away(told_numbers(copy), [Two])) is told


@pytest.mark.parametrize("cell", [
    {"source": "", "metadata": {"tags": ["see 0.6667"]}},
    {"source": "", "metadata": {}, "attachments": {"a": {"image/svg+xml": "<t>0.6667</t>"}}},
    {"source": "", "metadata": {}, "attachments": {"a": {"image/png": "iVBORzAuNjY2Nw=="}}},
])  # fmt: skip
def test_what_is_told_aside_is_found_too(cell):
    """Metadata, a drawing, and text inside a picture's base64."""
    assert "6667" in told_numbers({"cells": [cell], "metadata": {}})


def test_the_key_shows_every_answer_and_how_it_comes_about(one):
    """Four digits, the tolerance, the points, and the worked line of each task."""
    answers = expected(one)
    text = key_text(one, answers.values())
    for each in answers.values():
        assert show(each.value, each.unit, 4) in text and each.worked in text and each.task.ask in text
    assert "t01" in text
