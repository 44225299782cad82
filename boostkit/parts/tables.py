"""Candidate parts from CSV tables: one row a part, trade terms with their units in the header.

    name, voltage limit [V], on resistance [mΩ], gate charge [nC], ...

Any prefix may stand in the brackets. A column that a part can do without may be missing, and so may a cell. Lines that
start with # are remarks. Every error names file, row and column; row 1 is the first line of the file.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import MISSING, dataclass, fields
from importlib.resources import as_file, files
from pathlib import Path

from ..files import Section, read_text, rows
from ..units import quoted, read
from .kinds import TYPES, Capacitor, Heat, Inductor, Rectifier, Switch

ABOVE_ZERO = {"low": 0, "open_low": True, "high": 1e9}
ZERO_UP = {"low": 0, "high": 1e9}
HOT = {"low": 0, "high": 500}
SLOPE = {"low": -1, "high": 1}
POWER = {"low": 0, "high": 5}

BOTH_SWITCHES = {  # column: field, unit, limits; the field's default stands in where the part can do without
    "growth of on resistance": ("on_slope", "1/K", SLOPE),
    "gate charge": ("gate_charge", "C", ZERO_UP),
    "drive voltage": ("drive_voltage", "V", ABOVE_ZERO),
}
RATINGS = {
    "voltage limit": ("voltage_limit", "V", ABOVE_ZERO),
    "current limit": ("current_limit", "A", ABOVE_ZERO),
}
COLUMNS = {
    Switch: RATINGS | BOTH_SWITCHES | {
        "on resistance": ("on_resistance", "Ω", ZERO_UP),
        "rise time": ("rise_time", "s", ZERO_UP),
        "fall time": ("fall_time", "s", ZERO_UP),
        "output capacitance": ("output_capacitance", "F", ZERO_UP),
        "voltage of output capacitance": ("capacitance_voltage", "V", ZERO_UP),
    },
    Rectifier: RATINGS | BOTH_SWITCHES | {
        "resistance": ("resistance", "Ω", ZERO_UP),
        "forward voltage": ("forward_voltage", "V", ZERO_UP),
        "forward voltage slope": ("forward_slope", "V/K", SLOPE),
        "recovery charge": ("recovery_charge", "C", ZERO_UP),
        "recovery time": ("recovery_time", "s", ZERO_UP),
        "recovery current": ("recovery_current", "A", ABOVE_ZERO),
        "dead time": ("dead_time", "s", ZERO_UP),
        "body diode voltage": ("body_diode_voltage", "V", ABOVE_ZERO),
    },
    Inductor: {
        "inductance": ("inductance", "H", ABOVE_ZERO),
        "resistance": ("resistance", "Ω", ZERO_UP),
        "saturation current": ("saturation_current", "A", ABOVE_ZERO),
        "rms current": ("rms_current", "A", ABOVE_ZERO),
        "ac resistance ratio": ("ac_ratio", "", {"low": 1, "high": 1e4}),
        "ac resistance frequency": ("ac_frequency", "Hz", ABOVE_ZERO),
        "core loss": ("core_loss", "W", ZERO_UP),
        "core loss frequency": ("core_frequency", "Hz", ABOVE_ZERO),
        "core loss ripple": ("core_ripple", "A", ABOVE_ZERO),
        "core loss power of frequency": ("core_alpha", "", POWER),
        "core loss power of ripple": ("core_beta", "", POWER),
    },
    Capacitor: {
        "capacitance": ("capacitance", "F", ABOVE_ZERO),
        "voltage limit": ("voltage_limit", "V", ABOVE_ZERO),
        "series resistance": ("series_resistance", "Ω", ZERO_UP),
        "ripple current": ("ripple_current", "A", ABOVE_ZERO),
    },
}  # fmt: skip
HEAT = {"thermal resistance": ("resistance", "K/W", ZERO_UP), "temperature limit": ("limit", "°C", HOT)}
WORDS = {"kind": {Rectifier: ("diode", "switch"), Capacitor: TYPES}}
FOREIGN = {  # of a rectifier: what belongs to the other kind
    "diode": ("dead time", "body diode voltage", "gate charge", "drive voltage", "growth of on resistance"),
    "switch": ("forward voltage", "forward voltage slope"),
}
TABLES = {"switches": Switch, "rectifiers": Rectifier, "inductors": Inductor, "capacitors": Capacitor}


@dataclass(frozen=True)
class Candidates:
    """The parts there are to choose from; an empty tuple where no table was given."""

    switches: tuple[Switch, ...] = ()
    rectifiers: tuple[Rectifier, ...] = ()
    inductors: tuple[Inductor, ...] = ()
    capacitors: tuple[Capacitor, ...] = ()


def read_switches(path: str | Path) -> tuple[Switch, ...]:
    """The switches of a table (see `template`). Raises ValueError naming file, row, column, value and rule."""
    return _table(path, Switch)


def read_rectifiers(path: str | Path) -> tuple[Rectifier, ...]:
    """The rectifiers of a table, diodes and second switches (column `kind`). Errors as in `read_switches`."""
    return _table(path, Rectifier)


def read_inductors(path: str | Path) -> tuple[Inductor, ...]:
    """The inductors of a table. Errors as in `read_switches`."""
    return _table(path, Inductor)


def read_capacitors(path: str | Path) -> tuple[Capacitor, ...]:
    """The capacitors of a table (column `kind`: ceramic, electrolytic or film). Errors as in `read_switches`."""
    return _table(path, Capacitor)


def read_folder(folder: str | Path) -> Candidates:
    """Whichever of switches.csv, rectifiers.csv, inductors.csv and capacitors.csv the folder holds.

    Raises ValueError where it holds none of them, and for every fault in one.
    """
    found = {name: Path(folder) / f"{name}.csv" for name in TABLES}
    found = {name: path for name, path in found.items() if path.exists()}
    if not found:
        raise ValueError(f"{Path(folder).name or 'the folder'}: holds none of {', '.join(f'{name}.csv' for name in TABLES)}")
    return Candidates(**{name: _table(path, TABLES[name]) for name, path in found.items()})


def illustrative() -> Candidates:
    """The invented parts that ship with the kit: plausible around a few watts and up to 60 V, and no maker's parts."""
    with as_file(files("boostkit") / "data") as folder:
        return read_folder(folder)


def template(name: str) -> str:
    """The header of a table with every column that it may have: `template("switches")`."""
    kind = TABLES[name]
    words = [word for word, kinds in WORDS.items() if kind in kinds]
    quantities = [f"{column} [{unit}]" if unit else column for column, (_, unit, _) in (COLUMNS[kind] | HEAT).items()]
    return ",".join(["name", *words, *quantities, "origin"]) + "\n"


def _table(path: str | Path, kind: type) -> tuple:
    where = Path(path).name
    table = rows(read_text(path, where), where)
    if not table:
        raise ValueError(f"{where}: holds no header")
    units_of = _header(table[0], kind, where)
    parts = [_part(_cells(row, line, units_of, where), kind) for line, row in table[1:]]
    if not parts:
        raise ValueError(f"{where}: holds a header and no part")
    name, times = Counter(part.name for part in parts).most_common(1)[0]
    if times > 1:
        raise ValueError(f"{where}: name = {quoted(name)} must stand in one row only")
    return tuple(parts)


def _header(row: tuple[int, list[str]], kind: type, where: str) -> dict[str, str]:
    """Column name to the unit in its brackets, in the order of the file; unknown, double and unitless ones refused."""
    line, cells = row
    there = f"{where}: row {line}"
    found: dict[str, str] = {}
    for cell in cells:
        name, bracket, unit = cell.partition("[")
        name = " ".join(name.split())
        if name in found:
            raise ValueError(f"{there}: column {quoted(name)} stands twice")
        if bracket and not unit.rstrip().endswith("]"):
            raise ValueError(f"{there}: column {quoted(cell)} must close its bracket, as in [mΩ]")
        found[name] = unit.rstrip().removesuffix("]").strip()
    asked, quantities = Section(found, there), COLUMNS[kind] | HEAT
    for name in ("name", *(word for word, kinds in WORDS.items() if kind in kinds), "origin", *quantities):
        asked.has(name)
    asked.finish()
    for name, unit in found.items():
        wanted = quantities[name][1] if name in quantities else ""
        if wanted and not unit:
            raise ValueError(f"{there}: column {quoted(name)} must say its unit in brackets, as in [{wanted}]")
        if unit:
            read(f"1 {unit}", wanted, f"{there}: a cell of column {name}")
    return found


def _cells(row: list[str], line: int, units_of: dict[str, str], where: str) -> Section:
    """One row as a Section: a bare number gets the unit of its column, an empty cell is left out."""
    there = f"{where}: row {line}"
    if len(row) > len(units_of) and any(row[len(units_of):]):
        raise ValueError(f"{there}: has {len(row)} cells, and the header {len(units_of)}")
    given = zip(units_of.items(), row, strict=False)
    return Section({name: f"{cell} {unit}" if unit and _bare(cell) else cell for (name, unit), cell in given if cell}, there)


def _bare(cell: str) -> bool:
    try:
        float(cell.replace("\u2212", "-"))  # a word processor's minus
    except ValueError:
        return False
    return True


def _part(row: Section, kind: type):
    name, origin = row.text("name"), row.text("origin", "")
    words = {word: row.choice(word, kinds[kind]) for word, kinds in WORDS.items() if kind in kinds and _asked(row, word, kind)}
    values = _values(row, COLUMNS[kind], kind)
    for column in FOREIGN.get(words.get("kind", "diode"), ()) if kind is Rectifier else ():
        if row.has(column):
            row.fail(column, quoted(row.value(column)), f'is nothing that a rectifier of kind "{words.get("kind", "diode")}" has')
    heat = Heat(**_values(row, HEAT, Heat))
    return kind(name=name, **words, **values, heat=heat, invented=origin == "invented")


def _values(row: Section, columns: dict, kind: type) -> dict[str, float]:
    """The numbers of a row by field, those left out that are absent and have a default."""
    return {
        field: row.quantity(column, unit, **limits)
        for column, (field, unit, limits) in columns.items() if _asked(row, column, kind, field)
    }  # fmt: skip


def _asked(row: Section, column: str, kind: type, field: str = "") -> bool:
    """Whether the cell is there, or has to be."""
    required = next(f for f in fields(kind) if f.name == (field or column)).default is MISSING
    return row.has(column) or required
