"""A design, or any workbook, as a typeset PDF.

`write(design, "gauge.pdf")`; `write_workbook("03_two_slopes.ipynb", "03.pdf")`. The same input gives the same bytes.
A file is written whole or not at all, and never over work that is not this kit's own.
"""

from __future__ import annotations

from pathlib import Path

from ..files import write_all
from . import typeset, workbook
from .pages import design_page, notebook_page


def pdf(design, figures=None) -> bytes:
    """The bytes of a design's PDF. `figures`: (caption, alternative text, SVG or PNG bytes) each, in order; if not given,
    the design's own.

    Raises ValueError where a formula cannot be set in type.
    """
    if figures is None:
        from ..show.sheet import of_design

        figures = of_design(design)
    return typeset.pdf(design_page(design, figures))


def write(design, path: str | Path, force: bool = False, figures=None, source: str | None = None) -> Path:
    """Print a design to `path`. `source` names what it was made from (default: its title), see `files.write_all`."""
    write_all({path: pdf(design, figures)}, source or design.spec.title, force)
    return Path(path)


def write_workbook(book, path: str | Path, *, code: bool = True, force: bool = False, progress=None,
                   timeout: float = 120) -> list[str]:
    """Run a workbook, print it to `path`, and return what failed in it, one line for each cell.

    - `book`: a path: it is run in a fresh kernel and the file stays as it is. A notebook object: printed as it stands.
    - `code`: print the code cells too. `progress` and `timeout` (s, each cell): see `workbook.run`.

    Raises ValueError where it is not a notebook, where a cell exceeds its time, or a formula cannot be set in type.
    """
    fresh = isinstance(book, (str, Path))
    name = Path(book).name if fresh else "in memory"
    if fresh:
        book = workbook.run(book, progress=progress, timeout=timeout, vectors=True, keep_going=True)
    write_all({path: typeset.pdf(notebook_page(book, name, code=code, fresh=fresh))}, name, force)
    return workbook.failures(book)
