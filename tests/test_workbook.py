"""Running workbooks, storing their outputs to the byte, and the guard over what is stored."""

import re

import nbformat
import pytest

from boostkit.paper import handout, pages, typeset, workbook
from boostkit.paper.blocks import Figure, Listing

V4 = nbformat.v4
SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="200" height="80">'
    b'<path d="M0 80 L100 0 L200 80" stroke="black"/></svg>'
)

FIGURE = """class Drawn:
    def _repr_mimebundle_(self, **_):
        import os
        if os.environ["BOOSTKIT_VECTORS"] == "1":
            return {"text/plain": "figure: a peak", "image/svg+xml": SVG}
        return {"text/plain": "figure: a peak"}"""


@pytest.fixture()
def book(tmp_path):
    """A workbook that shows an address, a figure, a slider, a warning's absence and its folder."""
    sources = ["import ipywidgets, pathlib\nprint('12.3 V', object())", f"SVG = {SVG.decode()!r}\n{FIGURE}", "Drawn()",
               "ipywidgets.IntSlider()", "pathlib.Path('beside.txt').read_text()"]  # fmt: skip
    notebook = V4.new_notebook(cells=[V4.new_markdown_cell("# Title"), *map(V4.new_code_cell, sources)])
    notebook.metadata["widgets"] = {"state": {}}
    (tmp_path / "beside.txt").write_text("beside")
    nbformat.write(notebook, tmp_path / "book.ipynb")
    return tmp_path / "book.ipynb"


def test_a_workbook_run_twice_changes_no_byte(book):
    """The first run stores outputs, the second leaves file and clock alone; nothing stored depends on the run."""
    seen = []
    assert workbook.rewrite([book], progress=lambda *step: seen.append(step)) == [book]
    first = book.read_bytes()
    assert workbook.rewrite([book]) == [] and book.read_bytes() == first
    assert workbook.check(book) == []
    text = first.decode()
    assert "at 0x…" in text and "12.3 V" in text and "beside" in text
    outputs = [output for cell in workbook.read(book).cells for output in cell.get("outputs", [])]
    assert {mime for output in outputs for mime in output.get("data", {})} == {"text/plain"}
    assert not re.search(r"widget-view|model_id|\"widgets\"|0x[0-9a-f]{4}|\d\.\d+\.\d+\"", text)
    assert seen[0] == (0, 6, "book.ipynb") and seen[-1] == (6, 6, "book.ipynb")
    assert [p.name for p in sorted(book.parent.iterdir())] == ["beside.txt", "book.ipynb"]


def test_a_handout_of_a_workbook_has_vectors_and_leaves_the_file_alone(book):
    """Printing runs the workbook with vectors on, names and prints a failed cell, and does not touch the workbook."""
    notebook = nbformat.read(book, 4)
    notebook.cells += [V4.new_code_cell("1/0"), V4.new_code_cell("print('after')")]
    nbformat.write(notebook, book)
    before = book.read_bytes()
    failed = handout.write_workbook(book, book.with_suffix(".pdf"))
    assert failed == ["cell 7: ZeroDivisionError: division by zero"]
    assert book.read_bytes() == before and book.with_suffix(".pdf").read_bytes().startswith(b"%PDF")
    run = workbook.run(book, vectors=True, keep_going=True)
    page = pages.notebook_page(run, "book.ipynb")
    assert Figure(SVG, "figure: a peak") in page.blocks and Listing("after") in page.blocks
    assert typeset.pdf(page) == book.with_suffix(".pdf").read_bytes()


def test_a_failing_or_endless_cell_stores_nothing(tmp_path):
    """The error names file and cell in one line; the file is as it was."""
    path = tmp_path / "bad.ipynb"
    nbformat.write(V4.new_notebook(cells=[V4.new_code_cell("1/0")]), path)
    before = path.read_bytes()
    with pytest.raises(ValueError, match=r"^bad.ipynb, cell 1 failed: ZeroDivisionError: division by zero$"):
        workbook.rewrite([path])
    assert path.read_bytes() == before
    nbformat.write(V4.new_notebook(cells=[V4.new_code_cell("while True: pass")]), path)
    with pytest.raises(ValueError, match="longer than 1 s"):
        workbook.run(path, timeout=1)


@pytest.mark.parametrize("content", ["", "{}", "[1]", '{"nbformat": 4}', "\x00"])
def test_what_is_not_a_notebook_is_refused_in_one_line(tmp_path, content):
    """Files of another kind, and missing ones, give one line with the name."""
    (tmp_path / "no.ipynb").write_text(content)
    with pytest.raises(ValueError, match=r"no\.ipynb: [^\n]*$"):
        workbook.check(tmp_path / "no.ipynb")
    with pytest.raises(ValueError, match=r"gone\.ipynb: cannot be read"):
        workbook.read(tmp_path / "gone.ipynb")


def good_notebook():
    code = [V4.new_code_cell(str(count), execution_count=count) for count in (1, 2)]
    notebook = V4.new_notebook(cells=[V4.new_markdown_cell("# Title"), *code])
    workbook.settle(notebook)
    return notebook


def outputs(kind: str, **content):
    """A change to a notebook: this output is stored in its first code cell."""
    return lambda notebook: notebook.cells[1].outputs.append(V4.new_output(kind, **content))


FAULTS = {
    "never run": (lambda nb: nb.cells[1].update(execution_count=None), "execution count is None"),
    "run out of order": (lambda nb: nb.cells[2].update(execution_count=5), "is 5, not 2"),
    "a stored error": (outputs("error", ename="E", evalue="e"), "error is stored"),
    "a stored warning": (outputs("stream", name="stderr", text="w"), "warning"),
    "another kernel": (lambda nb: nb.metadata.kernelspec.update(name="julia"), "kernelspec"),
    "widget state": (lambda nb: nb.metadata.update(widgets={}), "widget state"),
    "a widget view": (outputs("display_data", data={workbook.WIDGET: {}}), "widget view"),
    "a cell's own id": (lambda nb: nb.cells[0].update(id="abc"), "cell 1: its id is not cell-001"),
    "too large": (lambda nb: nb.cells[0].update(source="x" * 600_001), "601 kB is more than 600 kB"),
    "no code": (lambda nb: nb.update(cells=nb.cells[:1]), "no code cell"),
}  # fmt: skip


@pytest.mark.parametrize("name", FAULTS)
def test_the_guard_finds_each_fault(tmp_path, name):
    """A good workbook has no fault; with one fault put in, exactly that one is named."""
    notebook, path = good_notebook(), tmp_path / "book.ipynb"
    nbformat.write(notebook, path)
    assert workbook.check(path) == []
    spoil, words = FAULTS[name]
    spoil(notebook)
    nbformat.write(notebook, path)
    (fault,) = workbook.check(path)
    assert words in fault


def test_a_workbook_is_counted(tmp_path):
    """Lines, runs, words and functions of a small workbook, counted by hand."""
    code = V4.new_code_cell
    cells = [
        V4.new_markdown_cell("one two three four five six"), code("a = 1\n\nb = 2"), code("c = 3"),
        V4.new_markdown_cell("seven eight"), code("%time 1\ndef f():\n    x = 1\n\n    return x\nf()"),
    ]  # fmt: skip
    nbformat.write(V4.new_notebook(cells=cells), tmp_path / "book.ipynb")
    assert workbook.counts(tmp_path / "book.ipynb") == workbook.Counts(
        median_lines=2, longest_cell=5, longest_run=2, words_per_line=8 / 8, longest_function=3,
    )  # fmt: skip
