"""Running workbooks, and the one writer of the outputs that are stored in them.

`python -m boostkit.paper.workbook [FILES]` re-runs the given workbooks, or all of them, and stores what they print.
Nothing that is stored depends on the machine or the hour, so a second run changes no byte.
"""

from __future__ import annotations

import ast
import os
import re
import statistics
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

# nbformat and nbclient take more than a second to load: each is imported where it is used.

SIZE_LIMIT = 600_000  # bytes: what a reviewer's viewer and a class's network still open at once
KERNELSPEC = {"display_name": "Python 3", "language": "python", "name": "python3"}
LANGUAGE = {"file_extension": ".py", "mimetype": "text/x-python", "name": "python"}
WIDGET = "application/vnd.jupyter.widget-view+json"  # holds a random model id and shows nothing without the kernel
KEPT_CELL_METADATA = ("tags", "editable", "deletable")
ADDRESS = re.compile(r"\bat 0x[0-9a-fA-F]+")
KERNEL_FILE = re.compile(r"\S*ipykernel_\d+[\\/]\d+\.py")

Progress = Callable[[int, int, str], None]  # cells done, cells in all, name of the workbook


def read(path: str | Path):
    """The notebook in a file. Raises ValueError with the file's name where it is not a notebook."""
    import nbformat

    try:
        return nbformat.read(path, as_version=4)
    except OSError as problem:
        raise ValueError(f"{path}: cannot be read ({problem.strerror})") from None
    except Exception as problem:  # nbformat lets several parsers' own errors through
        raise ValueError(f"{path}: is not a Jupyter notebook ({_first_line(problem)})") from None


def noted(plain: dict):
    """The notebook that a plain dict describes, such as a learner's copy."""
    import nbformat

    return nbformat.from_dict(plain)


def run(path: str | Path, *, progress: Progress | None = None, timeout: float = 120, cwd: str | Path | None = None,
        vectors: bool = False, keep_going: bool = False):
    """Run a workbook from top to bottom in a fresh kernel and return it with its outputs; the file is not touched.

    - `progress(done, total, name)` is called before each cell and once at the end.
    - `timeout` (s) for each cell. `cwd`: the folder it runs in, by default the workbook's own.
    - `vectors`: figures also hand over an SVG drawing (the kernel sees `BOOSTKIT_VECTORS=1`), for paper.
    - `keep_going`: a failing cell keeps its error as output and the next one runs.

    Raises ValueError naming the cell that failed or took too long.
    """
    path = Path(path)
    notebook = read(path)
    settle(notebook)
    client = _client(notebook, path, progress, timeout, cwd, keep_going)
    with tempfile.TemporaryDirectory() as profile:
        # A reader's own IPython start-up files must not show in the outputs.
        surroundings = {**os.environ, "IPYTHONDIR": profile, "BOOSTKIT_VECTORS": "1" if vectors else "0"}
        _execute(client, path, surroundings)
    settle(notebook)
    if progress:
        progress(len(notebook.cells), len(notebook.cells), path.name)
    return notebook


def _client(notebook, path, progress, timeout, cwd, keep_going):
    from nbclient import NotebookClient

    def starting(cell, cell_index):
        if progress:
            progress(cell_index, len(notebook.cells), path.name)

    return NotebookClient(
        notebook, kernel_name="python3", extra_arguments=["--log-level=ERROR"], timeout=int(timeout),
        allow_errors=keep_going, record_timing=False, store_widget_state=False, coalesce_streams=True,
        on_cell_start=starting,
        resources={"metadata": {"path": str(cwd or path.resolve().parent)}},
    )


def _execute(client, path, surroundings):
    from nbclient.exceptions import CellExecutionError, CellTimeoutError, DeadKernelError

    try:
        client.execute(env=surroundings)
    except CellExecutionError as problem:
        number = next((n for n, cell in _code(client.nb) if _errors(cell)), "?")
        raise ValueError(f"{path.name}, cell {number} failed: {problem.ename}: {problem.evalue}") from None
    except CellTimeoutError:
        raise ValueError(f"{path.name}: a cell ran for longer than {client.timeout} s and was stopped") from None
    except DeadKernelError:
        raise ValueError(f"{path.name}: the Python that ran it ended before the last cell") from None
    except RuntimeError as problem:
        raise ValueError(f"{path.name}: no Python could be started to run it ({_first_line(problem)})") from None


def settle(notebook) -> None:
    """Take out of a notebook, in place, all that differs from machine to machine or from run to run."""
    notebook.nbformat, notebook.nbformat_minor = 4, 5
    notebook.metadata.pop("widgets", None)
    notebook.metadata.update(kernelspec=dict(KERNELSPEC), language_info=dict(LANGUAGE))
    for number, cell in enumerate(notebook.cells, start=1):
        cell.id = _id(number)
        cell.metadata = type(cell.metadata)({k: v for k, v in cell.metadata.items() if k in KEPT_CELL_METADATA})
        for output in cell.get("outputs", []):
            _settle_output(output)


def _id(number: int) -> str:
    return f"cell-{number:03d}"


def _settle_output(output) -> None:
    for mime, content in list(output.get("data", {}).items()):
        if mime == WIDGET:
            del output["data"][mime]
        elif isinstance(content, str) and mime.startswith("text/"):
            output["data"][mime] = _steady(content)
    if "text" in output:
        output["text"] = _steady(output["text"])
    if "traceback" in output:
        output["traceback"] = [_steady(line) for line in output["traceback"]]


def _steady(text: str) -> str:
    return KERNEL_FILE.sub("<cell>", ADDRESS.sub("at 0x…", text))


def rewrite(paths, progress: Progress | None = None) -> list[Path]:
    """Re-run each workbook and store its outputs, a file at once or not at all; returns the files that changed.

    Raises ValueError naming the first cell that fails; that workbook is left as it was.
    """
    import nbformat

    changed = []
    for path in map(Path, paths):
        notebook = run(path, progress=progress)
        text = (nbformat.writes(notebook) + "\n").encode()
        if text != path.read_bytes():
            _store(path, text)
            changed.append(path)
    return changed


def _store(path: Path, content: bytes) -> None:
    # Not through `files.write_all`: that one refuses to replace what the reader wrote, and this is meant to.
    fresh = path.with_name(f".{path.name}.new")
    try:
        fresh.write_bytes(content)
        os.replace(fresh, path)
    finally:
        fresh.unlink(missing_ok=True)


def check(path: str | Path) -> list[str]:
    """What keeps a stored workbook from being publishable, one sentence each; an empty list when all is well.

    A notebook that was never run has no outputs to compare and so passes any comparison: this finds it.
    """
    path = Path(path)
    notebook = read(path)
    faults = []
    if path.stat().st_size > SIZE_LIMIT:
        faults.append(f"{path.stat().st_size / 1000:.0f} kB is more than {SIZE_LIMIT / 1000:.0f} kB")
    if notebook.metadata.get("kernelspec", {}).get("name") != "python3":
        faults.append("the kernelspec is not python3")
    if "widgets" in notebook.metadata:
        faults.append("widget state is stored")
    code = list(_code(notebook))
    if not code:
        faults.append("it has no code cell")
    for count, (number, cell) in enumerate(code, start=1):
        faults += [f"cell {number}: {fault}" for fault in _cell_faults(cell, count)]
    for number, cell in enumerate(notebook.cells, start=1):
        if cell.get("id") != _id(number):
            faults.append(f"cell {number}: its id is not {_id(number)}")
    return faults


def _cell_faults(cell, count):
    if cell.execution_count != count:
        yield f"its execution count is {cell.execution_count}, not {count}: run the workbook from top to bottom"
    if _errors(cell):
        yield "an error is stored"
    if any(output.get("name") == "stderr" for output in cell.outputs):
        yield "a warning is stored"
    if any(WIDGET in output.get("data", {}) for output in cell.outputs):
        yield "a widget view is stored"


@dataclass(frozen=True)
class Counts:
    """How a workbook is built, in the numbers of the style page. Blank lines do not count."""

    median_lines: float  # of the code cells
    longest_cell: int  # lines
    longest_run: int  # code cells in a row without prose
    words_per_line: float  # words of prose for each line of code
    longest_function: int  # lines


def counts(path: str | Path) -> Counts:
    """The style page's counts of a workbook."""
    cells = read(path).cells
    lines = [_lines(cell.source) for cell in cells if cell.cell_type == "code"] or [0]
    words = sum(len(cell.source.split()) for cell in cells if cell.cell_type == "markdown")
    kinds = "".join("c" if cell.cell_type == "code" else " " for cell in cells)
    return Counts(
        median_lines=statistics.median(lines),
        longest_cell=max(lines),
        longest_run=max(len(run) for run in kinds.split(" ")),
        words_per_line=words / max(1, sum(lines)),
        longest_function=max(_longest_function(cell.source) for _, cell in _code(cells)) if "c" in kinds else 0,
    )


def _lines(source: str) -> int:
    return sum(1 for line in source.splitlines() if line.strip())


def _longest_function(source: str) -> int:
    plain = "\n".join("" if line.lstrip().startswith(("%", "!")) else line for line in source.splitlines())
    try:
        tree = ast.parse(plain)
    except SyntaxError:
        return 0
    functions = (node for node in ast.walk(tree) if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)))
    source_lines = plain.splitlines()
    return max((_lines("\n".join(source_lines[f.lineno - 1 : f.end_lineno])) for f in functions), default=0)


def failures(notebook) -> list[str]:
    """The cells that failed, one line each: `cell 7: NameError: name 'x' is not defined`."""
    return [
        f"cell {number}: {output.ename}: {output.evalue}"
        for number, cell in _code(notebook) for output in cell.outputs if output.output_type == "error"
    ]  # fmt: skip


def _code(notebook):
    """The code cells with their place in the notebook, counted from 1."""
    cells = notebook if isinstance(notebook, list) else notebook.cells
    return ((number, cell) for number, cell in enumerate(cells, start=1) if cell.cell_type == "code")


def _errors(cell) -> bool:
    return any(output.output_type == "error" for output in cell.outputs)


def _first_line(problem: Exception) -> str:
    return (str(problem).strip().splitlines() or [type(problem).__name__])[0][:200]


def main(arguments: list[str]) -> int:
    """Re-run the workbooks named, or all of this checkout, and say which changed."""
    paths = [Path(a) for a in arguments] or sorted((Path(__file__).parents[2] / "workbooks").glob("*.ipynb"))
    try:
        changed = rewrite(paths)
    except ValueError as problem:
        print(problem, file=sys.stderr)
        return 1
    for path in paths:
        print(f"{path.name}: {'outputs stored' if path in changed else 'unchanged'}")
        for fault in check(path):
            print(f"  {fault}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
