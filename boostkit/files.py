"""Files in and out: every error with file and key, output whole or not at all, never over existing work.

TOML and JSON come in as a `Section`, which hands out values by type and refuses what it was not asked for. Results go
out through `write_all`. Errors are ValueErrors of one line; they name a file, never the folder it lies in.
"""

import contextlib
import csv
import dataclasses
import difflib
import hashlib
import json
import math
import os
import re
import secrets
import shutil
import stat
import tomllib
from pathlib import Path

from boostkit import units

REQUIRED = object()
REGISTER = ".made_by_boostkit.json"
SILENT = "the system refused"
LARGEST = 5_000_000                          # bytes; a specification has a few hundred
_DEEP_KEY = re.compile(r"""(?m)(?:^|[\[{,])[ \t]*(?:(?:[\w-]+|"[^"\n]*"|'[^'\n]*')[ \t]*\.[ \t]*){32}""")


class Section:
    """One table of a file, read by type: every error starts with the file and the full key.

    Args: `data`, the dictionary; `where`, the file's name; `key`, the dotted key of this table, empty at the top.
    Ask for what may be there, then call `finish`: it refuses every key that was never asked for.
    """

    def __init__(self, data, where, key=""):
        self.data, self.where, self.key = data, where, key
        self._known, self._children = {}, []         # a dict keeps the order in which keys were asked for

    def has(self, name):
        """Whether the key is there."""
        self._known[name] = True
        return name in self.data

    def value(self, name, default=REQUIRED):
        """The value as the file has it, of any type; ValueError where it is missing and has no default."""
        if self.has(name):
            return self.data[name]
        if default is REQUIRED:
            raise ValueError(f"{self._full(name)} is missing")
        return default

    def section(self, name, optional=False):
        """The table under this key as a Section; None where it is missing and optional."""
        data = self.value(name, None if optional else REQUIRED)
        if data is None:
            return None
        if not isinstance(data, dict):
            self.fail(name, units.quoted(data), "must be a table of keys")
        child = Section(data, self.where, f"{self.key}.{name}" if self.key else name)
        self._children.append(child)
        return child

    def quantity(self, name, unit, default=REQUIRED, low=None, high=None, *, open_low=False, open_high=False, why=""):
        """A quantity in SI base units (see `units.read`) within the limits (see `units.guard`), or the default."""
        given = self.value(name, default)
        if name not in self.data:
            return default
        number = units.read(given, unit, self._full(name))
        limits = {"open_low": open_low, "open_high": open_high, "why": why}
        return units.guard(self._full(name), number, low, high, unit=unit, **limits)

    def choice(self, name, allowed, default=REQUIRED):
        """One of the allowed words, or the default."""
        given = self.value(name, default)
        if name in self.data and (not isinstance(given, str) or given not in allowed):
            self.fail(name, units.quoted(given), f"must be one of {', '.join(allowed)}{_nearest(given, allowed)}")
        return given

    def text(self, name, default=REQUIRED):
        """A line of printable text of 1 to 200 characters, spaces at the ends dropped, or the default."""
        given = self.value(name, default)
        if name not in self.data:
            return default
        line = given.strip() if isinstance(given, str) else ""
        if not line or len(line) > 200 or not line.isprintable():
            self.fail(name, units.quoted(given), "must be one line of text, 1 to 200 characters")
        return line

    def fail(self, name, value_text, rule):
        """Raises the ValueError `file: key = value rule`, for a rule that only the caller knows."""
        raise ValueError(f"{self._full(name)} = {value_text} {rule}")

    def finish(self):
        """Refuses keys that were never asked for, here and in the sections handed out, suggesting the nearest."""
        for name in self.data:
            if name not in self._known:
                hint = _nearest(name, self._known) or f"; known here: {', '.join(self._known) or 'nothing'}"
                raise ValueError(f"{self._full(name)} is not a known key{hint}")
        for child in self._children:
            child.finish()

    def _full(self, name):
        plain = name if name.isprintable() and 0 < len(name) <= 40 else units.quoted(name)
        return f"{self.where}: {self.key}.{plain}" if self.key else f"{self.where}: {plain}"


def read_toml(path):
    """A TOML file as a Section. Errors: ValueError, for a fault of syntax with its line."""
    def loads(text):
        if deep := _DEEP_KEY.search(text):           # the parser's time grows with the square of a key's words
            raise ValueError(f"a key has more than 32 words between dots (at line {text.count(chr(10), 0, deep.end()) + 1})")
        return tomllib.loads(text)

    return _parsed(path, loads)


def read_json(path):
    """A JSON file (one object at the top, no key twice, no NaN) as a Section. Errors: ValueError, with the line."""
    def loads(text):
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_constant)

    return _parsed(path, loads)


def read_text(path, name):
    """The text of a UTF-8 file, called `name` in errors. Errors: ValueError where it cannot be read, is too large or empty, or no text."""
    path = Path(path)
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            raise ValueError(f"{name}: is {'a folder' if path.is_dir() else 'no ordinary file'}")
        with path.open("rb") as file:
            raw = file.read(LARGEST + 1)
    except OSError as trouble:
        raise ValueError(f"{name}: cannot be read: {(trouble.strerror or SILENT).lower()}") from None
    if len(raw) > LARGEST:
        raise ValueError(f"{name}: is larger than {LARGEST // 1_000_000} MB")
    try:
        text = raw.decode("utf-8-sig")               # some editors start a file with a byte order mark
    except UnicodeDecodeError as trouble:
        line = raw[: trouble.start].count(b"\n") + 1
        raise ValueError(f"{name}: line {line}: is not UTF-8 text") from None
    if not text.strip():
        raise ValueError(f"{name}: is empty")
    return text


def rows(text, where):
    """The rows of a CSV table that say something, as (row, cells): row 1 is the first line, lines that start with # are remarks, and cells
    are parted by what the first row has most of: commas, semicolons or tabs. Errors: ValueError naming `where` and the row."""
    lines = ["" if line.lstrip().startswith("#") else line for line in text.splitlines()]
    mark = max(",;\t", key=next(filter(str.strip, lines), "").count)
    reader = csv.reader(lines, delimiter=mark, skipinitialspace=True, strict=True)
    try:
        return [(reader.line_num, [cell.strip() for cell in row]) for row in reader if any(cell.strip() for cell in row)]
    except csv.Error as trouble:
        raise ValueError(f"{where}: row {reader.line_num}: is no row of a CSV table: {trouble}") from None


def to_json(obj):
    """JSON text of dataclasses, dictionaries, lists, numbers (numpy's too) and texts, in the order given.
    Errors: ValueError naming the key, for nan, inf and anything that JSON has no word for."""
    return json.dumps(_plain(obj, "result"), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def write_all(contents, source, force=False):
    """Writes several files, all or none, and nothing over work that is not this kit's own.

    Args: `contents`, a dictionary from path to text or bytes; `source`, the name of the input they were made from;
    `force`, replace whatever is there (a link itself, never what it points to). A folder is made where it is missing.
    A file is replaced only if this kit wrote it from the same source and it is unchanged since: the hidden register
    `.made_by_boostkit.json` beside it holds its source and SHA-256. Errors: ValueError; then nothing has changed."""
    made = []
    try:
        files = {_real(path): _encoded(path, content) for path, content in contents.items()}
        registers = {path.parent: _register(path.parent) for path in files}
        for path in files:
            _may_write(path, registers[path.parent].get(path.name), source, force)
        for folder, register in registers.items():
            mine = {p.name: {"source": source, "sha256": hashlib.sha256(c).hexdigest()} for p, c in files.items() if p.parent == folder}
            files[folder / REGISTER] = to_json(register | mine).encode()     # last, so that it never promises too much
            _make_folder(folder, made)
        _replace_all(files)
    except OSError as trouble:
        with contextlib.suppress(OSError):
            for folder in reversed(made):
                folder.rmdir()
        what = ", ".join(_name(path) for path in contents)
        raise ValueError(f"{what}: could not be written: {(trouble.strerror or SILENT).lower()}") from None


def _nearest(word, known):
    close = difflib.get_close_matches(str(word)[:60], list(known), 1)
    return f"; did you mean {close[0]}?" if close else ""


def _real(path):
    return Path(os.path.realpath(Path(path).parent)) / Path(path).name       # a folder has one name, the file stays


def _name(path):
    return units.quoted(Path(path).name or str(path))[1:-1]


def _encoded(path, content):
    if Path(path).name in (REGISTER, "", ".."):
        raise ValueError(f"{_name(path)}: is no name for a file to write")
    try:
        return content.encode() if isinstance(content, str) else bytes(content)
    except UnicodeEncodeError:
        raise ValueError(f"{_name(path)}: holds half a character that UTF-8 cannot write") from None


def _parsed(path, loads):
    name = _name(path)
    text = read_text(path, name)
    try:
        data = loads(text)
    except RecursionError:
        raise ValueError(f"{name}: is nested too deeply") from None
    except ValueError as trouble:
        raise ValueError(f"{name}: {_syntax(trouble, text)}") from None
    if not isinstance(data, dict):
        raise ValueError(f"{name}: must hold one object of keys")
    return Section(data, name)


def _syntax(trouble, text):
    """A parser's complaint as `line 3: what is wrong`, in one line of printable text."""
    if isinstance(trouble, json.JSONDecodeError):
        said, line = trouble.msg, trouble.lineno
    else:
        said, _, place = str(trouble).partition(" (at ")
        found = re.match(r"line ([0-9]+)", place)
        line = found[1] if found else text.rstrip().count("\n") + 1 if place else None
    said = "".join(c if c.isprintable() else " " for c in said)[:120]
    said = said[:1].lower() + said[1:] if re.match(r"[A-Z][a-z]*\b", said) else said  # NaN keeps its letters
    return f"line {line}: {said}" if line else said


def _once_each(pairs):
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise ValueError(f"key {units.quoted(next(n for n in names if names.count(n) > 1))} stands twice")
    return found


def _no_constant(word):
    raise ValueError(f"{word} is not a number that JSON allows")


def _plain(obj, key):
    if hasattr(obj, "tolist"):                       # numpy scalars and arrays, without importing numpy
        obj = obj.tolist()
    if dataclasses.is_dataclass(obj) and not isinstance(obj, type):
        obj = {field.name: getattr(obj, field.name) for field in dataclasses.fields(obj)}
    if isinstance(obj, dict) and all(isinstance(name, str) for name in obj):
        return {name: _plain(value, f"{key}.{name}") for name, value in obj.items()}
    if isinstance(obj, list | tuple):
        return [_plain(value, f"{key}[{n}]") for n, value in enumerate(obj)]
    if obj is None or isinstance(obj, str | bool | int) or (isinstance(obj, float) and math.isfinite(obj)):
        return obj
    raise ValueError(f"{key} = {units.quoted(obj)} cannot be written as JSON")


def _register(folder):
    """What this kit wrote into a folder: name -> {source, sha256}. A register that makes no sense counts as none."""
    path = folder / REGISTER
    if path.is_symlink() or path.is_dir():
        raise ValueError(f"{REGISTER}: must be an ordinary file; it records what this kit has written")
    try:
        found = read_json(path).data
    except ValueError:
        return {}
    return {name: entry for name, entry in found.items() if isinstance(entry, dict)}


def _may_write(path, entry, source, force):
    if path.is_dir() and not path.is_symlink():
        raise ValueError(f"{_name(path)}: is a folder, so no file of this name can be written")
    if force or not os.path.lexists(path):
        return
    if path.is_symlink():
        reason = "is a link to another place"
    elif entry is None:
        reason = "was not written by this kit"
    elif entry.get("source") != source:
        reason = f"was made from {units.quoted(entry.get('source'))}, not from {units.quoted(source)}"
    elif not path.is_file() or entry.get("sha256") != hashlib.sha256(path.read_bytes()).hexdigest():
        reason = "has been changed since this kit wrote it"
    else:
        return
    raise ValueError(f"{_name(path)}: exists and {reason}, so it is kept; move it away, or use force to replace it")


def _make_folder(folder, made):
    missing = [f for f in (folder, *folder.parents) if not f.exists()]
    for each in reversed(missing):
        each.mkdir()
        made.append(each)


def _beside(path):
    return path.with_name(f".boostkit-{secrets.token_hex(6)}.tmp")


def _replace_all(files):
    """All files to temporary ones beside them, then each into its place; on an error everything is put back."""
    fresh = {path: _beside(path) for path in files}
    old = {path: _beside(path) for path in files if os.path.lexists(path)}
    placed = []
    try:
        for path, raw in files.items():
            _write_new(fresh[path], raw)
        for path, copy in old.items():
            _keep(path, copy)
        for path in files:
            os.replace(fresh[path], path)
            placed.append(path)
    except BaseException:
        for path in placed:                          # should this fail too, the copies of the old files stay
            os.replace(old[path], path) if path in old else path.unlink()
        _clear(*fresh.values(), *old.values())
        raise
    _clear(*old.values())


def _clear(*paths):
    for path in paths:
        path.unlink(missing_ok=True)


def _write_new(path, raw):
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)        # O_EXCL follows no link
    with os.fdopen(os.open(path, flags, 0o666), "wb") as file:                       # less the user's mask, as usual
        file.write(raw)
        file.flush()
        os.fsync(file.fileno())


def _keep(path, copy):
    try:
        os.link(path, copy, follow_symlinks=False)
    except (OSError, NotImplementedError):           # a file system without hard links
        shutil.copy2(path, copy, follow_symlinks=False)
