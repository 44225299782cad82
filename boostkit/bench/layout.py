"""Where things stand in a text file of an instrument: header, cells, decimals, units, the sampling interval.

Instruments write lines about themselves first, then a row of column names, perhaps a row of units, then rows of numbers.
Everything is found from the first thousand lines; rows are counted from 1, the first line of the file.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from ..units import quoted, read
from .instrument import RESERVED, UNITS, Column, Mapping, unit_of

PREAMBLE = 1000  # lines in which the first number must come
BASES = ("V", "A", "s", "W", "Hz", "Ω")
KINDS = {"V": ("V",), "A": ("A", "V"), "s": ("s",)}  # what a file may write a quantity in; a current often in the volts of its probe
NUMBER = re.compile(r"[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA_NUMBER = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
QUOTED = re.compile(r'"([^"\n]*)"')
THOUSANDS, SHORT = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}"), re.compile(r"[+-]?[0-9]{1,3}")  # 14,803 is the one or the other
BRACKETED = re.compile(r"[\[(]\s*([^\s\[\]()]+)\s*[\])]\s*$")


@dataclass(frozen=True)
class Layout:
    """How to take rows apart. `names`: time first where it has a column, then the channels; `places` of their columns,
    counted from 0, and the `factors` that bring them to SI units. `first`: row of the first number. `separators`: how many
    delimiters most rows have. `interval` in s where the file has no column of time."""

    names: tuple[str, ...]
    places: tuple[int, ...]
    factors: tuple[float, ...]
    first: int
    delimiter: str
    decimal: str
    separators: int
    interval: float | None

    def plain(self, text: str) -> str:
        """The text with decimal points and without quotes."""
        if '"' in text:
            inside = "." if self.decimal == self.delimiter else " "
            text = QUOTED.sub(lambda match: match[1].replace(self.delimiter, inside), text).replace('"', "")
        return text.replace(",", ".") if self.decimal == "," != self.delimiter else text


def find_layout(lines: list[str], mapping: Mapping | None, where: str) -> Layout:
    """The layout of the file with these first lines. Raises ValueError naming file, and row or column."""
    lines = lines[:PREAMBLE]
    mapping = mapping or _by_names(lines, where)
    wanted = ({"time": mapping.time} if mapping.time else {}) | mapping.columns
    titles = {name: c.column for name, c in wanted.items() if isinstance(c.column, str)}
    header, delimiter = _header(lines, titles, mapping, where) if titles else (-1, None)
    delimiter = delimiter or _by_numbers(lines, wanted, mapping.delimiter)
    cells = split(lines[header], delimiter) if titles else []
    places = {name: cells.index(c.column) if name in titles else c.column - 1 for name, c in wanted.items()}
    first = _first_numbers(lines, header + 1, places, delimiter)
    if first is None:
        raise ValueError(f"{where}: no row after {f'row {header + 1}' if titles else 'its start'} holds a number in each of "
                         f"{', '.join(wanted)}")
    units = _units(lines[header + 1], places, delimiter) if titles else []
    if titles:                               # what lacks a number between header and first numbers is a gap, not a beginning
        first = next(k for k in range(header + 1 + bool(units), len(lines)) if lines[k].strip())
    data = [line for line in lines[first:] if line.strip()]
    separators = Counter(QUOTED.sub("", line).count(delimiter) for line in data[:200]).most_common(1)[0][0]
    if titles and mapping.decimal is None:
        _refuse_doubt(lines, first, places, delimiter, len(cells), separators, where)
    return Layout(
        names=tuple(wanted),
        places=tuple(places.values()),
        factors=tuple(_factor(name, c, _written_unit(units, places[name], titles.get(name, "")), where) for name, c in wanted.items()),
        first=first + 1,
        delimiter=delimiter,
        decimal=mapping.decimal or _decimal(data, places, delimiter),
        separators=separators,
        interval=_interval(lines[:first], mapping.interval, where) if mapping.time is None else None,
    )


def split(line: str, delimiter: str) -> list[str]:
    """The cells of a line, without quotes and blanks around them."""
    if '"' in line:
        cells = re.split(rf'{re.escape(delimiter)}(?=(?:[^"]*"[^"]*")*[^"]*$)', line)
    else:
        cells = line.split(delimiter)
    return [cell.strip().strip('"').strip() for cell in cells]


def _by_names(lines: list[str], where: str) -> Mapping:
    """Without a mapping the columns must be called as in the kit: time, v_out, i_inductor ..."""
    for line in reversed(lines):
        for delimiter in ("\t", ";", ","):
            cells = split(line, delimiter)
            found = [c for c in cells if c.isidentifier() and c not in RESERVED and c.partition("_")[0] in UNITS]
            if "time" in cells and found:
                return Mapping({name: Column(name) for name in found}, Column("time"), where=where)
    raise ValueError(f"{where}: no row names the columns time and one of v_out, i_inductor, ...; "
                     "say in a mapping file of the same name, ending in .toml, what its columns are called")


def _header(lines, titles: dict[str, str], mapping: Mapping, where: str) -> tuple[int, str]:
    """The last line that holds all the titles, and what separates its cells."""
    best: list[str] = []
    for row in range(len(lines) - 1, -1, -1):
        for delimiter in [mapping.delimiter] if mapping.delimiter else ("\t", ";", ","):
            cells = split(lines[row], delimiter)
            held = [title for title in titles.values() if title in cells]
            if len(held) == len(titles):
                for title in held:
                    if cells.count(title) > 1:
                        raise ValueError(f"{where}: row {row + 1}: the column {quoted(title)} stands twice; give its number instead")
                return row, delimiter if len(cells) > 1 else mapping.delimiter or _likely(lines[row + 1 :])
            best = held if len(held) > len(best) else best
    missing = next(title for title in titles.values() if title not in best)
    raise ValueError(f"{where}: no row names the column {quoted(missing)}"
                     f"{f' beside {quoted(best[0])}' if best else ''}; {mapping.where} asks for it")


def _likely(lines) -> str:
    """What separates the cells below a header of one cell: most likely nothing, so what cannot be a decimal comma."""
    return "\t" if any("\t" in line for line in lines[:5]) else ";"


def _by_numbers(lines, wanted, given: str | None) -> str:
    """What separates cells where there is no header: the first that gives numbers in the wanted columns."""
    places = {name: c.column - 1 for name, c in wanted.items()}
    likely = given or next((d for d in ("\t", ";", ",") if _first_numbers(lines, 0, places, d) is not None), ",")
    return likely


def _first_numbers(lines, start: int, places: dict[str, int], delimiter: str) -> int | None:
    """Index of the first line with a number in each of the places."""
    for row in range(start, len(lines)):
        cells = split(lines[row], delimiter)
        if len(cells) > max(places.values()) and all(NUMBER.fullmatch(cells[place]) for place in places.values()):
            return row
    return None


def _refuse_doubt(lines, start: int, places, delimiter: str, titles: int, separators: int, where: str) -> None:
    """Commas that could be read in two ways: between cells and within numbers, or as a decimal mark and between thousands."""
    for row in range(start, len(lines)):
        cells = split(lines[row], delimiter)
        if delimiter == "," and titles > 1 and len(cells) == separators + 1 and any(cell[:1].isdigit() for cell in cells[titles:]):
            raise ValueError(f"{where}: row {row + 1}: has {len(cells)} cells, the header {titles}: commas stand between cells and within "
                             "numbers; save it with semicolons, or with a decimal point")
    for name, place in places.items() if delimiter != "," else ():
        found = {cell: row + 1 for row in range(start, len(lines)) if len(cells := split(lines[row], delimiter)) > place
                 and NUMBER.fullmatch(cell := cells[place])}  # fmt: skip
        doubtful = [cell for cell in found if "," in cell]
        if doubtful and all(map(THOUSANDS.fullmatch, doubtful)) and any(map(SHORT.fullmatch, found)):
            raise ValueError(f"{where}: row {found[doubtful[0]]}: {name} = {quoted(doubtful[0])} has a decimal comma or one between "
                             "thousands; say decimal = \",\" under [file] of the mapping, or save it without thousands")


def _decimal(data, places, delimiter: str) -> str:
    """A comma where the first rows have one within a number, else a point."""
    for line in data[:200]:
        cells = split(line, delimiter)
        if any(COMMA_NUMBER.fullmatch(cells[p]) for p in places.values() if p < len(cells)):
            return ","
    return "."


def _units(line: str, places: dict[str, int], delimiter: str) -> list[str]:
    """The cells of a row of units, nothing where it is none, for want of a unit known here."""
    cells = [cell.strip("[]() ") for cell in split(line, delimiter)]
    held = [cells[p] for p in places.values() if p < len(cells) and cells[p]]
    return cells if any(_size(cell, BASES) for cell in held) else []


def _size(word: str, bases) -> float | None:
    """A unit in SI units, None where it is none of these."""
    for base in bases:
        try:
            return read(f"1 {word}", base)
        except ValueError:
            continue
    return None


def _written_unit(units: list[str], place: int, title: str) -> str:
    """The unit that the file itself gives: in a row below the header, or in brackets in the title."""
    if place < len(units) and units[place]:
        return units[place]
    found = BRACKETED.search(title)
    return found[1] if found else ""


def _factor(name: str, column: Column, written: str, where: str) -> float:
    """What the numbers of a column are multiplied with to be in SI units."""
    word = column.unit or written
    own = "s" if name == "time" else unit_of(name)
    if not word:
        return column.scale
    scaled = column.scale != 1 and own != "s"                            # as 5 A for each volt
    size = _size(word, (own, *BASES) if scaled else KINDS.get(own, BASES))
    if size is None:
        raise ValueError(f"{where}: column {quoted(str(column.column))}: {quoted(word)} is no unit of {name}; give unit in the mapping, "
                         "and scale where another quantity was recorded")
    return column.scale * size


def _interval(preamble: list[str], given: float | str, where: str) -> float:
    """The sampling interval, s: given, or out of the metadata line that starts with the given words."""
    if not isinstance(given, str):
        return given
    number = rf'{re.escape(given)}[\s:=;,"]*({NUMBER.pattern})[\s;,"]*([A-Za-zµμ]*)'
    for row, line in enumerate(preamble):
        found = re.match(number, line.strip().lstrip('"#% '), re.IGNORECASE)
        if found:
            text, word = found[1].replace(",", "."), found[2] or "s"
            interval = read(f"{text} {word}", "s", f"{where}: row {row + 1}: {given}")
            if interval > 0:
                return interval
    raise ValueError(f"{where}: no line before the numbers starts with {quoted(given)} and a sampling interval above 0")
