"""What goes on paper, before anyone thinks of type: a page is a title block and a list of blocks in reading order.

A design and a workbook are both turned into a `Page`; `typeset` prints it. `str` is plain text and printed as it
stands; `Marked` is Markdown with `$…$` for formulas. Either may hold anything: the typesetter lets nothing in it run.
"""

from __future__ import annotations

from dataclasses import dataclass


class Marked(str):
    """Text in Markdown, formulas between dollar signs."""

    __slots__ = ()


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is a section and appears in the contents."""

    text: str
    level: int = 1


@dataclass(frozen=True)
class Prose:
    """Markdown: paragraphs, lists, formulas, tables. Headings in it move up by `lift` levels.

    `leads`: it introduces the next block and stays on its page.
    """

    text: str
    lift: int = 0
    leads: bool = False


@dataclass(frozen=True)
class Equation:
    """A formula on a line of its own, in LaTeX without delimiters; `alt` is what a screen reader says for it."""

    latex: str
    alt: str = ""
    numbered: bool = False


@dataclass(frozen=True)
class Table:
    """Rows of cells under a head. `align`: a letter for each column, `l`, `c` or `r`; `widths`: shares of the page."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    align: str
    widths: tuple[float, ...] = ()


@dataclass(frozen=True)
class Figure:
    """A picture: SVG or PNG bytes. `alt` says in words what it shows; an empty caption prints none."""

    picture: bytes
    alt: str
    caption: str = ""


@dataclass(frozen=True)
class Caution:
    """A marked box. `strong` is for what can hurt at once; `leads`: it stays on the page of what follows."""

    title: str
    items: tuple[str, ...]
    strong: bool = False
    leads: bool = False


@dataclass(frozen=True)
class Listing:
    """Text in fixed-width letters: `kind` is `code` or `output`."""

    text: str
    kind: str = "output"


Block = Heading | Prose | Equation | Table | Figure | Caution | Listing


@dataclass(frozen=True)
class Page:
    """A whole paper: title block, then blocks. `note` stands at the end: what was computed, and by which version."""

    title: str
    subtitle: str
    blocks: tuple[Block, ...]
    note: str = ""
    first: tuple[Block, ...] = ()  # on the first page, above the contents
    contents: bool = True
    maker: str = "boostkit"
