"""The workbooks: run, stored, within their counts, and without a number of the scenario in their prose."""

import re
from pathlib import Path

import pytest

from boostkit.paper import workbook

FOLDER = Path(__file__).parent.parent / "workbooks"
BOOKS = sorted(FOLDER.glob("*.ipynb"))
EXPECTED = 16


def test_there_are_as_many_workbooks_as_expected():
    """A workbook that vanished would otherwise pass unseen."""
    assert len(BOOKS) >= EXPECTED


def test_the_scenario_is_the_kits_own_example():
    """The scenario in the workbooks and the built-in specification are one text."""
    assert (FOLDER / "scenario.toml").read_bytes() == (FOLDER.parent / "boostkit/data/tide_gauge.toml").read_bytes()


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_it_was_run_and_stored(path):
    """Execution counts, no stored error, kernel, size: a notebook that was never run does not pass."""
    assert workbook.check(path) == []


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_it_keeps_to_the_counts(path):
    """Small cells, enough prose between them."""
    counts = workbook.counts(path)
    assert counts.median_lines <= 4
    assert counts.longest_cell <= 12
    assert counts.longest_run <= 2
    assert counts.longest_function <= 6
    assert counts.words_per_line >= 8  # about ten are wanted


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: path.stem)
def test_no_number_of_the_scenario_stands_in_its_prose(path):
    """Another scenario must not make a sentence false: no voltage, current or frequency in a markdown cell but the limits
    of touch voltage and what an exercise invents."""
    book = workbook.read(path)
    text = "\n".join(cell.source for cell in book.cells if cell.cell_type == "markdown")
    assert re.findall(r"\b(?:5\.5|7\.2|18|0\.35|0\.6|0\.02|150)\s*(?:V|A|k?Hz|kHz)\b", text) == []
