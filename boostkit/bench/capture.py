"""A captured waveform out of a CSV file, as an instrument wrote it.

Comma, semicolon or tab; decimal point or comma; lines about the instrument before the header; a byte order mark; UTF-8,
UTF-16 or an old Windows encoding. Rows that cannot be used are left out and listed with their reason, never filled in.
The file is read in pieces, so that a few million rows take little more memory than their numbers.
"""

from __future__ import annotations

import stat
from dataclasses import dataclass, field
from operator import methodcaller
from pathlib import Path

import numpy as np

from ..units import quoted, show
from .instrument import Instrument, Mapping, read_mapping, unit_of
from .layout import Layout, find_layout

PIECE = 4_000_000  # characters read at a time
MOST_ROWS = 20_000_000
MOST_GAPS = 1000  # that are listed; the rest is counted
SMALL = 32  # rows that are looked at one by one where they do not all hold numbers
SHORTEST, LONGEST = 1e-15, 1e6  # s between samples: beyond that the unit of time is wrong
BEYOND = 9.9e36  # 9.9e37 stands for infinity, 9.91e37 for no number: SCPI-1999, 7.2.1, from memory
NOT_A_NUMBER = 9.91e37
OVERFLOW = {"ol", "+ol", "-ol", "over", "overflow", "ovld", "overload", "ovr", "inf", "+inf", "-inf", "clipped"}
MISSING = {"", "-", "--", "---", "nan", "n/a", "na", "null", "none"}


@dataclass(frozen=True)
class Capture:
    """A recorded waveform in SI units.

    `time` (N,) in s, strictly rising; `channels`: an array (N,) of finite numbers by quantity; `units` by quantity. `interval`:
    the usual time between samples, s. `gaps`: (row of the file, what is wrong there) of what is left out, at most 1000.
    `overflowed`: channels that left the instrument's range, so that their extremes are unknown. `notes`: words about the file.
    """

    time: np.ndarray
    channels: dict[str, np.ndarray]
    units: dict[str, str]
    where: str
    interval: float
    gaps: tuple[tuple[int, str], ...] = ()
    overflowed: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    instrument: Instrument = field(default_factory=Instrument)

    def channel(self, name: str) -> np.ndarray:
        """One channel; ValueError naming those that are there."""
        if name not in self.channels:
            raise ValueError(f"{self.where}: there is no channel {name}; there are {', '.join(self.channels)}")
        return self.channels[name]


def read(path: str | Path, mapping: Mapping | str | Path | None = None) -> Capture:
    """The capture in a CSV file.

    Args: `mapping`, what its columns are called: a Mapping or a TOML file (see `instrument`); without one the TOML file of
    the same name beside it, and without that the columns must be called `time`, `v_out`, `i_inductor`, ... in SI units.
    Raises ValueError of one line with file and row.
    """
    path = Path(path)
    where = quoted(path.name)[1:-1]
    if mapping is None and path.with_suffix(".toml").is_file():
        mapping = path.with_suffix(".toml")
    if isinstance(mapping, str | Path):
        mapping = read_mapping(mapping)
    try:
        pieces = _pieces(path, where)
        first = next(pieces, [])
        layout = find_layout(first, mapping, where)
        rows = _Rows(layout, where)
        rows.take(first[layout.first - 1 :])
        for lines in pieces:
            rows.take(lines)
    except OSError as trouble:
        raise ValueError(f"{where}: cannot be read: {(trouble.strerror or 'the system refused').lower()}") from None
    return _capture(rows, layout, mapping.instrument if mapping else Instrument())


def _pieces(path: Path, where: str):
    """The lines of the file, a few megabytes at a time."""
    if not stat.S_ISREG(path.stat().st_mode):
        raise ValueError(f"{where}: is {'a folder' if path.is_dir() else 'no ordinary file'}")
    rest = ""
    with path.open(encoding=_encoding(path), errors="replace") as file:
        while text := file.read(PIECE):
            lines = (rest + text).split("\n")
            rest = lines.pop()
            if len(rest) >= PIECE:
                raise ValueError(f"{where}: has a line of more than {PIECE // 1_000_000} million characters")
            if lines:
                yield lines
    if rest:
        yield [rest]


def _encoding(path: Path) -> str:
    """By the byte order mark; else UTF-8, or where the beginning is none, the old encoding of Windows."""
    with path.open("rb") as file:
        start = file.read(65536)
    if start[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return "utf-16"
    try:
        start[: start.rfind(b"\n") + 1].decode("utf-8")
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8-sig"


class _Rows:
    """The rows of numbers as they come in, and what is wrong with the others."""

    def __init__(self, layout: Layout, where: str):
        self.layout, self.where, self.next = layout, where, layout.first
        self.numbers, self.values, self.bad, self.refused, self.empty = [], [], [], 0, 0
        self.overflowed, self.good = set(), 0

    def take(self, lines: list[str]) -> None:
        """A piece of the file, its lines following those taken before."""
        lines = self.layout.plain("\n".join(lines)).split("\n")
        cells = np.fromiter(map(methodcaller("count", self.layout.delimiter), lines), dtype=int, count=len(lines))
        self._some(lines, self.next, cells == self.layout.separators)
        self.next += len(lines)
        if self.good > MOST_ROWS:
            raise ValueError(f"{self.where}: row {self.next}: has more than {MOST_ROWS // 1_000_000} million rows; record fewer")

    def _some(self, lines: list[str], first: int, regular: np.ndarray) -> None:
        """All at once where each row holds its numbers; else in halves, and the last few one by one. `regular`: which rows
        have as many cells as most."""
        values = self._fast(lines) if regular.all() else None
        if values is not None:
            self._keep(np.arange(first, first + len(lines)), values)
        elif len(lines) <= SMALL:
            found = {first + k: self._one(line, first + k) for k, line in enumerate(lines)}
            kept = {row: numbers for row, numbers in found.items() if numbers}
            if kept:
                self._keep(np.array(list(kept)), np.array(list(kept.values())))
        else:
            half = len(lines) // 2
            self._some(lines[:half], first, regular[:half])
            self._some(lines[half:], first + half, regular[half:])

    def _fast(self, lines: list[str]) -> np.ndarray | None:
        """All numbers of regular rows, shape (rows, columns); None where a row has none."""
        try:
            values = np.loadtxt(lines, delimiter=self.layout.delimiter, usecols=self.layout.places, comments=None, ndmin=2)
        except ValueError:
            return None
        return values if len(values) == len(lines) and (np.abs(values) < BEYOND).all() else None

    def _one(self, line: str, row: int) -> list[float] | None:
        """One row by itself: its numbers, or None and the reason noted."""
        cells = [cell.strip() for cell in line.split(self.layout.delimiter)]
        wrong = None
        if not line.strip("\0 \t"):
            wrong = "is empty"
            self.empty += not line
        elif "\0" in line:
            wrong = "holds bytes that are no text"
        elif len(cells) > self.layout.separators + 1 and any(cells[self.layout.separators + 1 :]):
            wrong = f"has {len(cells)} cells, most rows {self.layout.separators + 1}"
        found = []
        for name, place in zip(self.layout.names, self.layout.places, strict=True):
            number, reason = _number(cells[place] if place < len(cells) else "")
            found.append(number)
            if reason and not wrong:
                wrong = f"{name} {reason}"
            if reason == OUT_OF_RANGE and name != "time":
                self.overflowed.add(name)
        if not wrong:
            return found
        self.refused += 1
        if len(self.bad) < MOST_GAPS:
            self.bad.append((row, wrong))
        return None

    def _keep(self, numbers: np.ndarray, values: np.ndarray) -> None:
        self.numbers.append(numbers)
        self.values.append(values)
        self.good += len(numbers)


OUT_OF_RANGE = "is beyond the instrument's range"


def _number(cell: str) -> tuple[float, str]:
    """A cell as a number, or what is wrong with it."""
    word = cell.lower()
    if word in OVERFLOW or (word and not word.strip("*#")):
        return 0.0, OUT_OF_RANGE
    if word in MISSING:
        return 0.0, "is missing"
    try:
        number = float(cell) if "_" not in cell else None
    except ValueError:
        number = None
    if number is None:
        return 0.0, f"= {quoted(cell)} is no number"
    if abs(number) >= BEYOND:
        return 0.0, "is missing" if np.isclose(number, NOT_A_NUMBER, rtol=1e-4) else OUT_OF_RANGE
    return number, ""


def _capture(rows: _Rows, layout: Layout, instrument: Instrument) -> Capture:
    """The rows put together and checked."""
    where = rows.where
    bad = _without_tail(rows)
    if rows.good < 2 or rows.refused > rows.good + len(rows.bad) - len(bad):
        said = f"row {bad[0][0]} {bad[0][1]}" if bad else "a waveform has at least two"
        raise ValueError(f"{where}: holds {rows.good} usable rows and {rows.refused} others: {said}")
    numbers, values = np.concatenate(rows.numbers), np.concatenate(rows.values)
    columns = {name: column * f for name, column, f in zip(layout.names, values.T, layout.factors, strict=True)}
    time = columns.pop("time", None)
    if time is None:
        if rows.empty > rows.good // 4:
            raise ValueError(f"{where}: has {rows.empty} empty lines among {rows.good} rows, each a lost sample; save it without")
        time = (numbers - layout.first) * layout.interval
    interval = _interval(time, numbers, where)
    holes = _holes(time, numbers, interval)
    notes = [f"{n} left the instrument's range: its extremes are unknown" for n in sorted(rows.overflowed)]
    if rows.refused > len(rows.bad):
        notes.append(f"{rows.refused} rows were left out; the first {MOST_GAPS} are listed")
    return Capture(
        time=time, channels=columns, units={name: unit_of(name) for name in columns}, where=where, interval=interval,
        gaps=tuple(sorted([*bad, *holes])[:MOST_GAPS]), overflowed=tuple(sorted(rows.overflowed)), notes=tuple(notes),
        instrument=instrument,
    )  # fmt: skip


def _without_tail(rows: _Rows) -> list[tuple[int, str]]:
    """What is wrong, without empty lines after the last number."""
    last = rows.numbers[-1][-1] if rows.numbers else 0
    return [(row, reason) for row, reason in rows.bad if row < last or reason != "is empty"]


def _interval(time: np.ndarray, numbers: np.ndarray, where: str) -> float:
    """The usual time between samples; ValueError where time does not rise."""
    steps = np.diff(time)
    if not (steps > 0).all():
        k = int(np.argmin(steps > 0))
        raise ValueError(f"{where}: row {numbers[k + 1]}: time = {show(time[k + 1], 's', 9)} must be later than in the row above, "
                         f"{show(time[k], 's', 9)}; if the file prints too few digits, give the interval instead")
    interval = float(np.median(steps))
    if not SHORTEST <= interval <= LONGEST:
        raise ValueError(f"{where}: row {numbers[1]}: time = {show(time[1], 's')} comes {show(interval, 's')} after the row above; that "
                         f"must lie in [{show(SHORTEST, 's')}, {show(LONGEST, 's')}]: which unit has time?")
    return interval


def _holes(time: np.ndarray, numbers: np.ndarray, interval: float) -> list[tuple[int, str]]:
    """Where time jumps although no row was left out."""
    jumps = np.flatnonzero((np.diff(time) > 1.5 * interval) & (np.diff(numbers) == 1))[:MOST_GAPS]
    return [(int(numbers[k + 1]), f"comes {show(time[k + 1] - time[k], 's')} after the row above") for k in jumps]
