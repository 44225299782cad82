"""Who is in the class: a CSV of keys, with names and groups that stay in the teacher's folder.

    key, name, group
    t01, A. Learner, morning

Cells are parted by commas, semicolons or tabs. Only `key` is needed, and only the key goes into copies and sheets; further
columns are not read. Every error names file and row; row 1 is the first line of the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from ..files import read_text, rows
from ..units import quoted

KEY = re.compile(r"[A-Za-z0-9][A-Za-z0-9_-]{0,31}")
NO_UTF8 = "is not UTF-8 text"
NO_TEXT = re.compile(rb"[\x00-\x08\x0b\x0c\x0e-\x1f\x81\x8d\x8f\x90\x9d]")  # bytes of no text in Windows-1252
LONGEST = 200  # characters of a name or a group
MOST = 5000  # learners: more is another file put in by mistake
NO_FILE = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}  # names Windows keeps for itself


@dataclass(frozen=True)
class Learner:
    """One learner: `key` goes into copies and sheets; `name` and `group` never leave the teacher's folder."""

    key: str
    name: str = ""
    group: str = ""


@dataclass(frozen=True)
class Roster:
    """The learners in the order of the file; `where` is its name."""

    learners: tuple[Learner, ...]
    where: str = "roster.csv"

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys in the order of the file."""
        return tuple(learner.key for learner in self.learners)

    def __len__(self) -> int:
        return len(self.learners)

    def __iter__(self) -> Iterator[Learner]:
        return iter(self.learners)


def read_roster(path: str | Path) -> Roster:
    """A roster file. Errors: ValueError of one line with file and row, for a file that is no table, a missing column `key`, a key
    that is missing, no key or there twice, and a key that is the learner's name."""
    path = Path(path).absolute()  # the name of the folder that is meant by a full stop
    where = quoted(path.name)[1:-1]
    table = rows(table_text(path, where), where)
    if not table:
        raise ValueError(f"{where}: has no header; its first row names the columns, key among them")
    places = _places(table[0], where)
    learners = [_learner(row, places, where) for row in table[1:]]
    if not learners:
        raise ValueError(f"{where}: holds a header and no learner")
    if len(learners) > MOST:
        raise ValueError(f"{where}: holds {len(learners)} learners; at most {MOST} make one class")
    _once_each(table[1:], learners, where)
    return Roster(tuple(learners), where)


def table_text(path: str | Path, where: str) -> str:
    """The text of a CSV file as spreadsheets save it: UTF-8, else the old encoding of Windows, in which ü, µ and ± are other bytes.
    Raises ValueError as `files.read_text` does."""
    try:
        return read_text(path, where)
    except ValueError as trouble:
        if not str(trouble).endswith(NO_UTF8):
            raise
        raw = Path(path).read_bytes()
        if NO_TEXT.search(raw):
            raise ValueError(f"{trouble}; save the table as CSV UTF-8") from None
    return raw.decode("cp1252")


def checked_key(key: str, place: str) -> str:
    """The key where it may name a file and a folder on any system; else ValueError that begins with `place`."""
    if not KEY.fullmatch(key):
        raise ValueError(f"{place}: key = {quoted(key)} must be 1 to 32 letters a-z, digits, - or _, and begin with a letter or a digit: "
                         "it names files")  # fmt: skip
    if key.lower() in NO_FILE:
        raise ValueError(f"{place}: key = {quoted(key)} is a name that some systems keep for themselves; take another")
    return key


def _places(header: tuple[int, list[str]], where: str) -> dict[str, int]:
    """Where key, name and group stand."""
    line, cells = header
    words = [cell.lower() for cell in cells]
    for word in ("key", "name", "group"):
        if words.count(word) > 1:
            raise ValueError(f"{where}: row {line}: column {word} stands twice")
    if "key" not in words:
        raise ValueError(f"{where}: row {line}: must name a column key; it names {', '.join(map(quoted, cells[:6]))}")
    return {word: words.index(word) for word in ("key", "name", "group") if word in words}


def _learner(row: tuple[int, list[str]], places: dict[str, int], where: str) -> Learner:
    line, cells = row
    there = f"{where}: row {line}"
    found = {word: cells[place] if place < len(cells) else "" for word, place in places.items()}
    learner = Learner(**found)
    if not learner.key:
        raise ValueError(f"{there}: key is missing")
    checked_key(learner.key, there)
    for word in ("name", "group"):
        text = getattr(learner, word)
        if len(text) > LONGEST or not text.isprintable():
            raise ValueError(f"{there}: {word} = {quoted(text)} must be one line of text of at most {LONGEST} characters")
    if learner.name and _letters(learner.key) == _letters(learner.name):
        raise ValueError(f"{there}: key = {quoted(learner.key)} is the learner's name; copies carry the key, so take a number or a made-up "
                         "word")  # fmt: skip
    return learner


def _letters(text: str) -> str:
    return "".join(c for c in text.lower() if c.isalnum())


def _once_each(rows: list[tuple[int, list[str]]], learners: list[Learner], where: str) -> None:
    """A key stands once, capitals or not: some file systems do not tell them apart."""
    first: dict[str, int] = {}
    for (line, _), learner in zip(rows, learners, strict=True):
        before = first.setdefault(learner.key.lower(), line)
        if before != line:
            raise ValueError(f"{where}: row {line}: key = {quoted(learner.key)} stands in row {before} already (capitals do not count)")
