"""Answer sheets, out and in: a TOML file, a CSV table, or the cells of a workbook that carry the tag `answer-here`.

A returned sheet is data from a stranger: it is read as text, nothing in it is run, and whatever is wrong with it is a ValueError of
one line that begins with the file's name. Lines of an answer cell are those of the TOML sheet: `ripple_current = "620 mA"`, in
code behind a #. They count only in a cell whose prompt names the task, in a line that `cell_sheet` writes: a learner's code may have a
`duty = 0.75` of its own.
"""

from __future__ import annotations

import csv
import io
import re
from dataclasses import dataclass
from pathlib import Path

from ..files import LARGEST as LARGEST_WORKBOOK
from ..files import read_json, read_text, read_toml, rows
from ..units import quoted
from .lab import Lab, Task
from .numbers import Variant
from .roster import table_text
from .stated import LONGEST

ANSWER_HERE, KEY_ONLY = "answer-here", "key-only"
KINDS = (".toml", ".csv", ".ipynb")
TWO_ANSWERS = "handed in twice with different values"  # how an answer begins that is none
LARGEST = 100_000  # bytes of a TOML or CSV sheet: a filled-in one has a few thousand
LONGEST_LINE = 1000  # letters: Python's TOML parser takes time and memory by the square of a long dotted key
COLUMNS = ("key", "task", "question", "unit", "answer")
KEY_LINE = re.compile(r"\s*#\s*key\s*:\s*(\S+)\s*")
READ_HERE = "answers read from this cell"
READ_HERE_LINE = re.compile(rf"\s*#\s*{READ_HERE}\b[^:]*:(.*)", re.IGNORECASE)
ANSWER_LINE = re.compile(r"(?:#\s*)?([A-Za-z0-9_]{1,32})\s*=\s*(\S.*)")  # of a line without blanks around it
IN_QUOTES = re.compile(r"""(["'])(.*?)\1""")
HOW_IN_CELL = "# Write each answer between the quotation marks, with its unit. Your other lines are not read."
COUNTS = (
    "An answer that follows from an earlier mistake counts as right. A wrong unit or prefix counts half;",
    "so does a peak for a peak-to-peak value, and the other share of the period for the one asked.",
)
HOW = (
    'Write each answer between the quotation marks, with its unit: "1.94 A", "620 mA", "66.7 %".',
    "A number without a unit is taken in the unit in square brackets; [-] is a pure number or a percentage. Point or comma is decimal.",
    "Values are read, never reckoned: write 0.667, not 2/3.",
    *COUNTS,
)
HOW_MEASURED = 'A measured answer may carry its uncertainty: "1.94 A ± 0.04 A" (expanded, k = 2) or "1.94(2) A" (standard).'


@dataclass(frozen=True)
class Sheet:
    """A sheet as it came back: `key` ("" where it names none), `answers` by task as text, empty ones left out, `where` it stood."""

    key: str
    answers: dict[str, str]
    where: str = "sheet"


# out


def toml_sheet(variant: Variant) -> str:
    """The sheet of one learner as a TOML file to fill in."""
    lab = variant.lab
    how = [*HOW, *([HOW_MEASURED] if any(task.measured for task in lab.tasks) else [])]
    told = ["", "Your numbers (invented):", *(f"  {line}" for line in variant.told())]
    head = [f"{lab.title}: answer sheet of {variant.key}", "", *how, *told]
    return "\n".join([*(f"# {line}".rstrip() for line in head), "", f'key = "{variant.key}"', "", "[answers]", *asked_lines(lab.tasks), ""])


def csv_sheet(variant: Variant) -> str:
    """The same as a table for a spreadsheet; the column `answer` is to be filled in."""
    return table(COLUMNS, [(variant.key, task.id, task.ask, task.unit or "-", "") for task in variant.lab.tasks])


def cell_sheet(tasks: tuple[Task, ...], key: str, kind: str = "code") -> str:
    """What stands in a blanked cell: its tasks to fill in, or a line that asks for working. `kind`: the notebook's word for the cell."""
    named = f"# {READ_HERE} (keep this line): {', '.join(task.id for task in tasks)}"
    asked = asked_lines(tasks, "# " if kind == "code" else "")  # as code, `sag = ""` would take the name from what the workbook calls sag
    lines = [f"# key: {key}", *([named, HOW_IN_CELL, *asked] if tasks else ["# Your working goes here."])]
    return "\n".join(["```text", *lines, "```"] if kind == "markdown" else lines)


def asked_lines(tasks: tuple[Task, ...], before: str = "") -> list[str]:
    """Each question as a comment, and below it the line to fill in; `before`: what stands in front of that."""
    return [line for task in tasks for line in (f"# {task.ask} [{task.unit or '-'}] ({points(task)})", f'{before}{task.id} = ""')]


def points(task: Task) -> str:
    """`2 points`, `1 point`."""
    return f"{task.points:g} point{'' if task.points == 1 else 's'}"


def tasks_named(source: str, lab: Lab) -> tuple[Task, ...]:
    """The tasks whose lines stand in the source of a cell, as code or as a comment, in the lab's order."""
    named = {match[1] for line in source.splitlines() if (match := ANSWER_LINE.fullmatch(line.strip()))}
    return tuple(task for task in lab.tasks if task.id in named)


def table(head: tuple[str, ...], rows) -> str:
    """CSV text with a byte order mark, so that a spreadsheet reads µ and Ω. No cell begins with what it would take for a formula."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerows([_harmless(cell) for cell in row] for row in (head, *rows))
    return "\ufeff" + out.getvalue()


def _harmless(cell) -> str:
    """Text of a cell on one line; what begins like a formula gets an apostrophe in front (common practice, no source)."""
    text = "".join(c if c.isprintable() else " " for c in (f"{cell:g}" if isinstance(cell, float) else str(cell)))
    return "'" + text if text.lstrip(" '\u00a0").startswith(("=", "+", "-", "@", "|", "＝", "＋", "－", "＠")) and text != "-" else text


# in


def read_sheet(path: str | Path) -> Sheet:
    """A returned sheet. Raises ValueError of one line that begins with the file's name, whatever the file holds."""
    path = Path(path)
    where = quoted(path.name)[1:-1]
    kind = path.suffix.lower()
    if kind not in KINDS:
        raise ValueError(f"{where}: must end in {', '.join(KINDS)}")
    if path.is_symlink():
        raise ValueError(f"{where}: is a link to another place")
    if kind != ".ipynb" and path.is_file() and path.stat().st_size > LARGEST:
        raise ValueError(f"{where}: is larger than {LARGEST // 1000} kB")
    if path.is_file() and path.stat().st_size > LARGEST_WORKBOOK:
        raise ValueError(f"{where}: is larger than {LARGEST_WORKBOOK // 1_000_000} MB; clear its outputs and hand it in again")
    return {".toml": _from_toml, ".csv": _from_csv, ".ipynb": _from_notebook}[kind](path, where)


def _from_toml(path: Path, where: str) -> Sheet:
    if any(len(line) > LONGEST_LINE for line in read_text(path, where).splitlines()):
        raise ValueError(f"{where}: holds a line of more than {LONGEST_LINE} letters")
    top = read_toml(path)
    key = top.value("key", "")
    if not isinstance(key, str):
        top.fail("key", quoted(key), "must be text in quotation marks")
    found = {name: _text(value) for name, value in top.section("answers").data.items()}
    return Sheet(key.strip(), _filled(found), where)


def _from_csv(path: Path, where: str) -> Sheet:
    lines = rows(table_text(path, where), where)
    places = _places(lines[0][1] if lines else [], where)
    key, found = "", {}
    for line, cells in lines[1:]:
        row = {name: cells[place] if place < len(cells) else "" for name, place in places.items()}
        if key and row["key"] and row["key"] != key:
            raise ValueError(f"{where}: row {line}: carries the key {quoted(row['key'])}, and a row above it {quoted(key)}")
        if row["task"] in found:
            raise ValueError(f"{where}: row {line}: task {quoted(row['task'])} stands twice")
        key = key or row["key"]
        found[row["task"]] = _text(row["answer"])
    return Sheet(key, _filled(found), where)


def _places(header: list[str], where: str) -> dict[str, int]:
    words = [cell.lower() for cell in header]
    for word in ("key", "task", "answer"):
        if words.count(word) != 1:
            raise ValueError(f"{where}: its first row must name the columns key, task and answer, each once")
    return {word: words.index(word) for word in ("key", "task", "answer")}


def _from_notebook(path: Path, where: str) -> Sheet:
    cells = read_json(path).value("cells", None)
    tagged = [_source(cell).splitlines() for cell in cells if _has_tag(cell)] if isinstance(cells, list) else []
    if not tagged:
        raise ValueError(f"{where}: has no cell with the tag {ANSWER_HERE}")
    keys = list(dict.fromkeys(match[1] for lines in tagged for line in lines if (match := KEY_LINE.fullmatch(line))))
    if len(keys) > 1:
        raise ValueError(f"{where}: carries more than one key: {', '.join(map(quoted, keys[:3]))}")
    named = [(lines, names) for lines in tagged if (names := _read_here(lines))]
    if not named:
        raise ValueError(f"{where}: has no cell left with the line '# {READ_HERE}: ...'")
    found: dict[str, str] = {}
    for lines, names in named:
        found |= _filled(_answered(lines, names))
    return Sheet(keys[0] if keys else "", found, where)


def _read_here(lines: list[str]) -> set[str]:
    """The tasks that a cell's prompt names."""
    return {name.strip() for line in lines if (match := READ_HERE_LINE.fullmatch(line)) for name in match[1].split(",") if name.strip()}


def _answered(lines: list[str], names: set[str]) -> dict[str, str]:
    """What a cell answers to these tasks. As in a workbook, what is written last counts; but while a line with quotation marks is there,
    filled in or not, it is the answer's, and one without them is the learner's code."""
    in_quotes: dict[str, str] = {}
    bare: dict[str, str] = {}
    for line in lines:
        if (match := ANSWER_LINE.fullmatch(line.strip())) and match[1] in names:
            if quotes := IN_QUOTES.match(match[2]):
                in_quotes[match[1]] = _text(quotes[2]) or in_quotes.get(match[1], "")
            else:
                bare[match[1]] = _text(match[2].partition("#")[0])
    return bare | in_quotes


def _has_tag(cell) -> bool:
    metadata = cell.get("metadata") if isinstance(cell, dict) else None
    tags = metadata.get("tags") if isinstance(metadata, dict) else None
    return isinstance(tags, list) and ANSWER_HERE in tags


def _source(cell: dict) -> str:
    source = cell.get("source", "")
    parts = source if isinstance(source, list) else [source]
    return "".join(part for part in parts if isinstance(part, str))


def _text(value) -> str:
    """A value of a sheet as text, an apostrophe of a spreadsheet taken off; what is longer than an answer keeps its beginning."""
    text = quoted(value) if isinstance(value, dict | list) else str(value) if not isinstance(value, int) else quoted(value)
    return text[: LONGEST + 1].strip().removeprefix("'").strip()


def _filled(found: dict[str, str]) -> dict[str, str]:
    return {name: text for name, text in found.items() if text}
