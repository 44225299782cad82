"""What is said on paper: a design as a page, and a workbook as a page.

A design is read by its shape: `spec` with `title` and `v_out`; `corners`, `verdicts` and `parts` (dictionaries or
objects); `lines` (objects with `group`, `say`, `text`, `latex`); `cautions` (sentences).
"""

from __future__ import annotations

import base64
import binascii
import re
from itertools import groupby

from .. import __version__
from ..units import show
from .blocks import Block, Caution, Equation, Figure, Heading, Listing, Marked, Page, Prose, Table

TOUCH_LIMIT = 60.0  # V, ripple-free DC in dry places: IEC 60364-4-41 (as in BS 7671); IEC 61140
OUTPUT_LINES = 200  # of one output; what follows is counted and left to the screen
ALT_LENGTH = 700

ABOVE_TOUCH_LIMIT = (
    "60 V is the most ripple-free DC that may be touched without further protection in dry places (IEC 60364-4-41, "
    "IEC 61140); damp places and other codes set lower limits.",
    "Cover every live part, switch off at the source before reaching in, and measure that the output capacitors are "
    "empty: they hold this voltage after switch-off.",
    "Local codes come before this sheet. Have the work done or checked by a person licensed for it.",
)
CORNERS = {  # key of a corner: head, unit
    "v_in": (Marked("$V_{in}$"), "V"),
    "i_out": (Marked("$I_{out}$"), "A"),
    "duty": (Marked("Duty $D$"), ""),
    "mode": ("Conduction", None),
    "ripple_voltage": (Marked(r"$\Delta v_{out}$"), "V"),
    "inductor_peak": (Marked(r"$\hat{i}_L$"), "A"),
    "efficiency": ("Efficiency", "%"),
    "efficiency_conduction": ("Conduction only", "%"),
}


def design_page(design, figures=()) -> Page:
    """A finished design, for a technician. `figures`: (caption, alternative text, SVG or PNG bytes) in order."""
    return Page(
        title=str(design.spec.title),
        subtitle="Worked design of a boost converter",
        first=(*_voltage_warning(design.spec.v_out),
               *_unmet(design.verdicts, _get(design, "protections", ()), _get(design, "shortfalls", ())), *_cautions(design.cautions)),
        blocks=(
            Heading("What was asked, and what comes out"), *_verdicts(design.verdicts),
            Heading("Parts"), *_parts(design.parts),
            *_figures(figures),
            Heading("Every corner of the specification"), *_corners(design.corners),
            Heading("Worked lines"), *_lines(design.lines),
        ),
        note=(
            f"Computed by boostkit {__version__} from the specification “{design.spec.title}”. The worked lines are "
            "formulas with their stated limits; the verdicts and the corners are measured on the exact waveforms of "
            "the circuit with the parts listed. Nothing here was measured on a bench. Local codes and licensed "
            "practice come before this sheet."
        ),
        maker=f"boostkit {__version__}",
    )  # fmt: skip


def _voltage_warning(v_out: float) -> list[Block]:
    if v_out <= TOUCH_LIMIT:
        return []
    return [Caution(f"Output {show(v_out, 'V')}: above the 60 V DC touch limit", ABOVE_TOUCH_LIMIT, strong=True)]


def _unmet(verdicts, protections, shortfalls) -> list[Block]:
    short = (*(f"Not met: {_get(verdict, 'demand')} {_shown(verdict, 'limit')}: it comes to {_shown(verdict, 'value')}."
               for verdict in verdicts if not _get(verdict, "met")),
             *(f"{_get(guard, 'what')} does not protect: {_get(guard, 'unmet')}." for guard in protections if _get(guard, "unmet")),
             *(f"Not met, {words}." for words in shortfalls))
    return [Caution("This design falls short", short, strong=True)] if short else []


def _shown(verdict, key: str) -> str:
    return _said(_get(verdict, key), _get(verdict, "unit", ""))


def _cautions(cautions) -> list[Block]:
    return [Caution("Before you build or touch it", tuple(Marked(c) for c in cautions))] if cautions else []


def _verdicts(verdicts) -> list[Block]:
    if not verdicts:
        return [Prose("The specification sets no limits, so there are no verdicts.")]
    rows = []
    for verdict in verdicts:
        limit, value = (_shown(verdict, key) for key in ("limit", "value"))
        met = "met" if _get(verdict, "met") else Marked("**not met**")
        rows.append((_sentence(_get(verdict, "demand")), limit, value, met, _place(_get(verdict, "worst_at", ""))))
    return [Table(("Demand", "Limit", "Worst value", "Verdict", "Worst at"), tuple(rows), "lrrll")]


def _parts(parts) -> list[Block]:
    rows = []
    for part in parts:
        remarks = [_get(part, key) for key in ("why", "look_for") if _get(part, key)]
        remark = " ".join(_sentence(text).rstrip(".") + "." for text in remarks)
        rows.append((_sentence(_get(part, "what")), _said(_get(part, "value"), _get(part, "unit", "")), Marked(remark)))
    return [Table(("Part", "Value", "Why, and what to look for"), tuple(rows), "lll", (0.24, 0.2, 0.56))]


def _figures(figures) -> list[Block]:
    drawn = [Figure(_bytes(picture), alt, caption) for caption, alt, picture in figures]
    return [Heading("Drawings and waveforms"), *drawn] if drawn else []


def _bytes(picture: bytes | str) -> bytes:
    return picture.encode() if isinstance(picture, str) else picture


def _corners(corners) -> list[Block]:
    keys = [key for key in CORNERS if any(_get(corner, key) is not None for corner in corners)]
    rows = tuple(tuple(_said(_get(corner, key), CORNERS[key][1]) for key in keys) for corner in corners)
    align = "".join("l" if key == "mode" else "r" for key in keys)
    explained = Prose(
        r"$\Delta v_{out}$ is the output ripple, peak to peak; $\hat{i}_L$ the peak of the inductor current. "
        "*Efficiency* counts every modelled loss, *conduction only* what the exact circuit itself turns into heat."
    )
    return [explained, Table(tuple(CORNERS[key][0] for key in keys), rows, align)]


def _lines(lines) -> list[Block]:
    blocks: list[Block] = []
    for group, members in groupby(lines, key=lambda line: line.group):
        blocks.append(Heading(_sentence(group), level=2))
        for line in members:
            latex = _undelimited(line.latex or "")
            blocks.append(Prose(str(line.say), leads=bool(latex)))
            if latex:
                blocks.append(Equation(latex, alt=line.text, numbered=True))
            elif line.text and line.text != line.say:
                blocks.append(Listing(line.text))
    return blocks


def _get(thing, name: str, default=None):
    return thing.get(name, default) if isinstance(thing, dict) else getattr(thing, name, default)


def _said(value, unit: str | None) -> str:
    if value is None:
        return "–"
    if isinstance(value, str):
        return value
    return show(value, unit or "")


def _place(where) -> str:
    if isinstance(where, dict):
        named = ((CORNERS.get(name, (name, "")), value) for name, value in where.items())
        return Marked(", ".join(f"{head} {_said(value, unit)}" for (head, unit), value in named))
    return "–" if where is None else str(where)


def _sentence(text) -> str:
    text = str(text)
    return text[:1].upper() + text[1:]


# a workbook


def notebook_page(notebook, name: str, *, code: bool = True, fresh: bool = True) -> Page:
    """A workbook with its outputs. `name`: its file name; `code`: print the code too; `fresh`: it was run just now."""
    cells = [(number, cell.cell_type, cell) for number, cell in enumerate(notebook.cells, start=1)]
    title, cells = _title(cells, name)
    blocks: list[Block] = []
    for number, kind, cell in cells:
        if kind == "markdown":
            blocks.append(Prose(cell.source, lift=1))
        elif kind == "code":
            if code and cell.source.strip():
                blocks.append(Listing(cell.source.strip("\n"), "code"))
            blocks += [block for output in cell.outputs for block in _output(output, number)]
    when = "run from top to bottom for this print" if fresh else "printed with the outputs stored in it, not run again"
    note = f"Printed by boostkit {__version__} from the workbook {name}, {when}. Its outputs were computed by its code."
    return Page(title, "", tuple(blocks), note=note, contents=_headings(cells) > 2, maker=f"boostkit {__version__}")


def _headings(cells) -> int:
    return sum(len(re.findall(r"^#{1,2} ", cell.source, re.M)) for _, kind, cell in cells if kind == "markdown")


def _title(cells, name):
    """The first heading, taken out of its cell; else the file's name."""
    for place, (number, kind, cell) in enumerate(cells):
        found = re.match(r"\s*#[ \t]+(.+)\n?", cell.source) if kind == "markdown" else None
        if found:
            rest = type(cell)({**cell, "source": cell.source[found.end():]})
            return found[1].strip(), [*cells[:place], (number, kind, rest), *cells[place + 1:]]
    return name.removesuffix(".ipynb"), cells


def _output(output, number: int) -> list[Block]:
    if output.output_type == "stream":
        return _listing(output.text)
    if output.output_type == "error":
        return [Caution(f"Cell {number} failed here", (f"{output.ename}: {output.evalue}",), strong=True)]
    data = output.get("data", {})
    picture = _picture(data)
    if picture:
        alt = " ".join(data.get("text/plain", "").split())[:ALT_LENGTH]
        return [Figure(picture, alt or f"figure of cell {number}, without a description")]
    if "text/markdown" in data:
        return [Prose(data["text/markdown"], lift=1)]
    if "text/latex" in data:
        return _latex(data["text/latex"])
    if "text/plain" in data:
        return _listing(data["text/plain"])
    return [Prose(f"*Cell {number} shows something here that only a screen can show.*")] if data else []


def _picture(data) -> bytes | None:
    if "image/svg+xml" in data:
        return data["image/svg+xml"].encode()
    try:
        return base64.b64decode(data["image/png"]) if "image/png" in data else None
    except binascii.Error:
        return None


def _listing(text: str) -> list[Block]:
    lines = re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", text).strip("\n").split("\n")
    if len(lines) > OUTPUT_LINES:
        lines = [*lines[:OUTPUT_LINES], f"… and {len(lines) - OUTPUT_LINES} more lines"]
    text = "\n".join(lines)
    return [Listing(text)] if text.strip() else []


def _latex(text: str) -> list[Block]:
    latex = _undelimited(text)
    return [Prose(text)] if "$" in latex else [Equation(latex)]


def _undelimited(text: str) -> str:
    """A formula without the dollar signs or the environment around it."""
    text = text.strip()
    for before, after in (("$$", "$$"), ("$", "$"), (r"\[", r"\]"), (r"\begin{equation*}", r"\end{equation*}"),
                          (r"\begin{equation}", r"\end{equation}")):  # fmt: skip
        if text.startswith(before) and text.endswith(after) and len(text) > len(before) + len(after):
            text = text[len(before) : -len(after)].strip()
            break
    return text.removeprefix(r"\displaystyle").strip()
