"""What recorded a waveform: its columns, its converter, its errors. Nouns, read from one small TOML file.

    [columns]
    time = "TIME"                                   # or  interval = "4 ns"  or  interval = { line = "Sample Interval" }
    v_out = { column = "CH1", unit = "V", scale = 10 }
    i_inductor = { column = "CH2", unit = "V", scale = 5 }     # a probe of 5 A for each volt

    [instrument]
    bits = 12
    gain_error = "1.5 %"                            # of the reading, as the maker's limit
    bandwidth = "100 MHz"
    time_error = "0.005 %"                          # of any time
    [instrument.v_out]
    range = "2 V"                                   # from the lowest to the highest reading, at the probe's tip
    offset = "18 V"                                 # the middle of that range
    probe_error = "1 %"                             # of the reading, as the maker's limit
    offset_error = "20 mV"
    coupling = "DC"                                 # or "AC": then the mean is unknown
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

from ..files import Section, read_toml
from ..units import quoted

UNITS = {"v": "V", "i": "A"}  # by the first letter of a channel's name
RESERVED = ("time", "interval")


@dataclass(frozen=True)
class Column:
    """Where a quantity stands in the file: header text or number of the column (first is 1), unit written there, factor."""

    column: str | int
    unit: str = ""
    scale: float = 1.0


@dataclass(frozen=True)
class Channel:
    """One input with its probe. `range` (from lowest to highest reading) and `offset` (its middle) at the probe's tip, in
    the unit of the channel; errors are limits: `gain_error` and `probe_error` as shares, `offset_error` in that unit."""

    range: float | None = None
    offset: float = 0.0
    gain_error: float = 0.0
    probe_error: float = 0.0
    offset_error: float = 0.0
    coupling: str = "DC"


@dataclass(frozen=True)
class Instrument:
    """What recorded: `bits` of its converter, `bandwidth` (Hz), `time_error` (share of any time), a Channel by quantity."""

    bits: int | None = None
    bandwidth: float | None = None
    time_error: float = 0.0
    usual: Channel = Channel()
    channels: dict[str, Channel] = field(default_factory=dict)

    def channel(self, name: str) -> Channel:
        """The channel of a quantity; the instrument's usual one where it has none of its own."""
        return self.channels.get(name, self.usual)

    def step(self, name: str) -> float | None:
        """Smallest difference that the converter tells apart, in the unit of the channel; None where range or bits are unknown."""
        span = self.channel(name).range
        return None if span is None or self.bits is None else span / 2**self.bits


@dataclass(frozen=True)
class Mapping:
    """How to read a file: `columns` by quantity, the column of `time` or the sampling `interval` (s, or the metadata line
    that holds it), what separates cells and decimals where it cannot be told, and the instrument."""

    columns: dict[str, Column]
    time: Column | None = None
    interval: float | str | None = None
    delimiter: str | None = None
    decimal: str | None = None
    instrument: Instrument = Instrument()
    where: str = "mapping"


def read_mapping(path: str | Path) -> Mapping:
    """The mapping of a capture from its TOML file (see the top of this file). Raises ValueError naming file and key."""
    top = read_toml(path)
    top.text("title", "")
    top.has("notes")
    columns = top.section("columns")
    layout = top.section("file", optional=True) or Section({}, top.where, "file")
    names = [name for name in columns.data if name not in RESERVED]
    found = Mapping(
        columns={name: _column(columns, name) for name in names},
        time=_column(columns, "time", "s") if columns.has("time") else None,
        interval=_interval(columns) if columns.has("interval") else None,
        delimiter={"tab": "\t"}.get(d := layout.choice("delimiter", (",", ";", "tab"), None), d),
        decimal=layout.choice("decimal", (".", ","), None),
        instrument=_instrument(top.section("instrument", optional=True), names),
        where=top.where,
    )
    if twice := [name for n, name in enumerate(names) if found.columns[name].column in [found.columns[each].column for each in names[:n]]]:
        columns.fail(twice[0], quoted(found.columns[twice[0]].column), "is the column of another quantity already")
    if not names:
        raise ValueError(f"{top.where}: columns holds no quantity; name at least one, as in v_out = \"CH1\"")
    if (found.time is None) == (found.interval is None):
        columns.fail("time", "given twice" if found.time else "missing", "must be given, or interval: one of the two")
    top.finish()
    return found


def unit_of(name: str) -> str:
    """The SI unit of a channel by its name: v_... in V, i_... in A, empty for others."""
    return UNITS.get(name.partition("_")[0], "")


def _column(columns: Section, name: str, unit: str | None = None) -> Column:
    if not name.isidentifier():
        columns.fail(name, quoted(columns.value(name)), "must be called by letters, digits and _ only, as in v_out")
    unit = unit_of(name) if unit is None else unit
    given = columns.value(name)
    if isinstance(given, dict):
        entry = columns.section(name)
        scale = entry.quantity("scale", "", 1.0, low=-1e9, high=1e9)
        if scale == 0:
            entry.fail("scale", "0", "must not be zero")
        return Column(_place(entry, "column"), entry.text("unit", ""), scale)
    return Column(_place(columns, name))


def _place(section: Section, key: str) -> str | int:
    """A header text, or the number of a column."""
    given = section.value(key)
    if isinstance(given, int) and not isinstance(given, bool):
        return int(section.quantity(key, "", low=1, high=1000))
    return section.text(key)


def _interval(columns: Section) -> float | str:
    if isinstance(columns.value("interval"), dict):
        return columns.section("interval").text("line")
    return columns.quantity("interval", "s", low=0, open_low=True, high=1e6)


def _instrument(section: Section | None, names) -> Instrument:
    if section is None:
        return Instrument()
    bits = section.quantity("bits", "", None, low=1, high=32, why="the bits of its converter")
    if bits is not None and bits != int(bits):
        section.fail("bits", quoted(bits), "must be a whole number")
    usual = Channel(gain_error=_share(section, "gain_error"), probe_error=_share(section, "probe_error"))
    return Instrument(
        bits=None if bits is None else int(bits),
        bandwidth=section.quantity("bandwidth", "Hz", None, low=0, open_low=True, high=1e12),
        time_error=_share(section, "time_error"),
        usual=usual,
        channels={name: _channel(section.section(name), unit_of(name), usual) for name in names if section.has(name)},
    )


def _channel(s: Section, unit: str, usual: Channel) -> Channel:
    return replace(
        usual,
        range=s.quantity("range", unit, None, low=0, open_low=True, high=1e6),
        offset=s.quantity("offset", unit, 0.0, low=-1e6, high=1e6),
        gain_error=_share(s, "gain_error", usual.gain_error),
        probe_error=_share(s, "probe_error", usual.probe_error),
        offset_error=s.quantity("offset_error", unit, 0.0, low=0, high=1e6),
        coupling=s.choice("coupling", ("DC", "AC"), "DC"),
    )


def _share(section: Section, key: str, default: float = 0.0) -> float:
    return section.quantity(key, "", default, low=0, high=1, open_high=True)
