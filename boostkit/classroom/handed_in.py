"""Which returned file is whose. A file's name or folder decides; the key inside it must agree.

A learner may hand in more than one file, as a TOML sheet and a workbook; their answers are put together. A file that cannot be read
speaks against its owner only where nothing else of theirs holds an answer.
"""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from ..units import quoted
from .sheets import KINDS, TWO_ANSWERS, Sheet, read_sheet

MOST = 20_000  # files: more is a disk put in by mistake
COPY_MARK = re.compile(r"( ?\(\d+\)| - Copy|[ _-]copy)+$", re.IGNORECASE)  # what a browser or a desktop puts behind a name
NO_SHEETS = ("scenario.toml",)
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class HandedIn:
    """What came back: readable `sheets` by key, why others are `unreadable` by key, `notes` by key, and `strays` of no learner."""

    sheets: dict[str, Sheet] = field(default_factory=dict)
    unreadable: dict[str, str] = field(default_factory=dict)
    notes: dict[str, list[str]] = field(default_factory=dict)
    strays: tuple[str, ...] = ()


def collect(paths: Iterable[str | Path], keys: Iterable[str], progress: Progress | None = None) -> HandedIn:
    """Read the sheets among these files and folders. No file stops the others, whatever it holds."""
    known = {key.lower(): key for key in keys}
    read: dict[str, list[Sheet]] = defaultdict(list)
    faults: dict[str, list[str]] = defaultdict(list)
    strays = []
    files = _files(paths)
    for number, path in enumerate(files, 1):
        owner, sheet, fault = _looked_at(path, known)
        if fault:
            faults[owner].append(fault) if owner else strays.append(fault)
        else:
            read[owner].append(sheet)
        if progress:
            progress(number, len(files), "reading sheets")
    return _sorted_out(read, faults, tuple(strays))


def _files(paths: Iterable[str | Path]) -> list[Path]:
    """The files named, and those below the folders named that could be sheets; links to folders are not followed."""
    found: list[Path] = []
    for path in map(Path, paths):
        if not path.is_dir():
            found.append(path)
            continue
        for folder, inner, names in os.walk(path):
            inner[:] = sorted(name for name in inner if not name.startswith("."))
            found += [Path(folder, name) for name in sorted(names)
                      if name.lower().endswith(KINDS) and not name.startswith(".") and name not in NO_SHEETS]  # fmt: skip
            if len(found) > MOST:
                raise ValueError(f"{quoted(path.name)}: holds more than {MOST} files; name the folder with the sheets only")
    return found


def _looked_at(path: Path, known: dict[str, str]) -> tuple[str, Sheet | None, str]:
    """Owner ("" for nobody), the sheet, and what is wrong with it ("" for nothing)."""
    owner = _by_place(path, known)
    try:
        sheet = read_sheet(path)
    except ValueError as trouble:
        return owner, None, str(trouble)
    except Exception as trouble:  # whatever a hostile file makes a parser do, the next learner's sheet is read
        return owner, None, f"{quoted(path.name)[1:-1]}: cannot be read ({type(trouble).__name__})"
    inside = known.get(sheet.key.lower(), "")
    if sheet.key and not inside:
        return owner, None, f"{sheet.where}: carries the key {quoted(sheet.key)}, which nobody in this class has"
    if owner and inside and inside != owner:
        return owner, None, f"{sheet.where}: carries the key of {inside} and lies in the place of {owner}"
    if not owner and not inside:
        return "", None, f"{sheet.where}: carries no key, and neither its name nor its folder does"
    return owner or inside, sheet, ""


def _by_place(path: Path, known: dict[str, str]) -> str:
    """The key that the file's name ends in, else that of the nearest folder named after a key."""
    stem = COPY_MARK.sub("", path.stem.lower())
    named = [key for low, key in known.items() if stem == low or stem.endswith("_" + low)]
    if named:
        return max(named, key=len)
    return next((known[folder.name.lower()] for folder in path.parents[:3] if folder.name.lower() in known), "")


def _sorted_out(read: dict[str, list[Sheet]], faults: dict[str, list[str]], strays: tuple[str, ...]) -> HandedIn:
    sheets = {key: _together(key, several) for key, several in read.items()}
    unreadable = {key: "; ".join(why[:3]) for key, why in faults.items() if key not in sheets or not sheets[key].answers}
    notes = {key: [f"another file could not be read: {each}" for each in why[:3]] for key, why in faults.items() if key not in unreadable}
    return HandedIn({key: sheet for key, sheet in sheets.items() if key not in unreadable}, unreadable, notes, strays)


def _plain(text: str) -> str:
    """An answer without what makes no difference: blanks, and which decimal mark."""
    return "".join(text.split()).replace(",", ".")


def _together(key: str, several: list[Sheet]) -> Sheet:
    """A learner's answers out of all their files; where two differ, the text says so and is no value."""
    found: dict[str, str] = {}
    for sheet in several:
        for name, text in sheet.answers.items():
            found[name] = text if _plain(found.get(name, text)) == _plain(text) else f"{TWO_ANSWERS}: {found[name][:60]} | {text[:60]}"
    return Sheet(key, found, ", ".join(sheet.where for sheet in several))
