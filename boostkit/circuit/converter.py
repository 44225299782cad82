"""The nouns: source, inductor, switch, rectifier, capacitors, load, and the converter that they make.

Everything is in SI base units. A converter is immutable; `change` gives a changed copy. The letters of the text
(`v_in`, `duty`, `r_load`, ...) and the keys of a converter file (`source.voltage`, ...) name the same numbers: `LETTERS`
is the one list of both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields
from pathlib import Path

from ..files import Section, read_toml
from ..units import quoted, show
from .saturation import Curve, curve_through, field_energy, flux_linkage, read_curve

LETTERS = {  # the letter in text and formulas: section, key, unit
    "v_in": ("source", "voltage", "V"),
    "r_source": ("source", "resistance", "Ω"),
    "l_source": ("source", "inductance", "H"),
    "inductance": ("inductor", "inductance", "H"),
    "r_inductor": ("inductor", "resistance", "Ω"),
    "saturation": ("inductor", "saturation", None),
    "f_sw": ("switch", "frequency", "Hz"),
    "duty": ("switch", "duty", ""),
    "peak_current": ("switch", "peak_current", "A"),
    "r_switch": ("switch", "on_resistance", "Ω"),
    "v_switch_body": ("switch", "body_diode_voltage", "V"),
    "rectifier": ("rectifier", "kind", None),
    "v_rectifier": ("rectifier", "forward_voltage", "V"),
    "r_rectifier": ("rectifier", "resistance", "Ω"),
    "dead_time": ("rectifier", "dead_time", "s"),
    "v_rectifier_body": ("rectifier", "body_diode_voltage", "V"),
    "capacitance": ("capacitor", "capacitance", "F"),
    "r_capacitor": ("capacitor", "series_resistance", "Ω"),
    "c_input": ("input_capacitor", "capacitance", "F"),
    "r_input_capacitor": ("input_capacitor", "series_resistance", "Ω"),
    "r_load": ("load", "resistance", "Ω"),
    "i_out": ("load", "current", "A"),
    "v_knee": ("load", "knee", "V"),
}
SILICON = 0.8  # V, a body diode that nobody specified: illustrative, common practice, no source


@dataclass(frozen=True)
class Source:
    """An electromotive force `voltage` (V) behind `resistance` (Ω) and `inductance` (H, needs an input capacitor)."""

    voltage: float
    resistance: float = 0.0
    inductance: float = 0.0


@dataclass(frozen=True)
class Inductor:
    """`inductance` (H, at small current) in series with the winding's `resistance` (Ω).

    `saturation`: points (current A, share): beyond that current, in either direction, this share of the inductance is left
    (the slope of flux linkage over current); no points, no saturation. In a file `saturation = [[2.0, 0.6], [3.0, 0.2]]`.
    """

    inductance: float
    resistance: float = 0.0
    saturation: Curve = ()

    @classmethod
    def through(cls, currents, flux_linkages, resistance: float = 0.0) -> Inductor:
        """The inductor whose flux linkage (Wb) follows straight lines from zero through these points and on beyond the last;
        both rise strictly. Raises ValueError where they do not, or a line is steeper than the first."""
        inductance, curve = curve_through(currents, flux_linkages)
        return cls(inductance, resistance, curve)

    def flux_linkage(self, current):
        """Flux linkage (Wb) at a current (A), numbers or arrays."""
        return flux_linkage(self.inductance, self.saturation, current)

    def energy(self, current, since=0.0):
        """Energy (J) that its field takes up from the current `since` to `current` (A): the integral of current over flux
        linkage, numbers or arrays."""
        return field_energy(self.inductance, self.saturation, current, since)


@dataclass(frozen=True)
class Switch:
    """A switch and its drive.

    `frequency` (Hz) and `duty`: a clock. `frequency` and `peak_current` (A): a clock closes it, the current opens it.
    `peak_current` alone: no clock; it closes when the inductor current has come to rest and opens at the set current.
    """

    frequency: float | None = None
    duty: float | None = None
    peak_current: float | None = None
    on_resistance: float = 0.0
    body_diode_voltage: float = SILICON

    @property
    def drive(self) -> str:
        """`duty`, `peak current` or `two thresholds`."""
        if self.duty is not None:
            return "duty"
        return "two thresholds" if self.frequency is None else "peak current"


@dataclass(frozen=True)
class Rectifier:
    """A diode (`forward_voltage` V and `resistance` Ω) or a second switch (`resistance` Ω, driven in opposition)."""

    kind: str = "diode"
    forward_voltage: float = 0.0
    resistance: float = 0.0
    dead_time: float = 0.0
    body_diode_voltage: float = SILICON


@dataclass(frozen=True)
class Capacitor:
    """`capacitance` (F) with `series_resistance` (Ω, the ESR)."""

    capacitance: float
    series_resistance: float = 0.0


@dataclass(frozen=True)
class Load:
    """A `resistance` (Ω), or a constant `current` (A) that turns into a resistance below the `knee` voltage (V)."""

    resistance: float | None = None
    current: float | None = None
    knee: float = 1.0


@dataclass(frozen=True)
class Converter:
    """A boost converter at one operating point. Make one `from_file`, `from_dict` or from letters with `of`."""

    source: Source
    inductor: Inductor
    switch: Switch
    rectifier: Rectifier
    capacitor: Capacitor
    load: Load
    input_capacitor: Capacitor | None = field(default=None)

    @classmethod
    def from_file(cls, path: str | Path) -> Converter:
        """Read a converter file (TOML). Raises ValueError naming file and key."""
        return cls.from_section(read_toml(path))

    @classmethod
    def from_dict(cls, data: dict, where: str = "converter") -> Converter:
        """The same from a nested dict with the keys of a converter file."""
        return cls.from_section(Section(data, where))

    @classmethod
    def of(cls, **letters) -> Converter:
        """From the letters of the text: `Converter.of(v_in=6, duty=0.6, f_sw=150e3, inductance=47e-6, ...)`."""
        return cls.from_dict(_nested(letters))

    @classmethod
    def from_section(cls, top: Section) -> Converter:
        """Read and check every part; unknown keys are refused."""
        parts = {name: _part(top, name) for name in _READERS}
        top.finish()
        _check_together(top, parts)
        return cls(**parts)

    def to_dict(self) -> dict:
        """The keys of a converter file, defaults that were not given left out; `from_dict` reads it back."""
        nested = {part.name: _keys(getattr(self, part.name)) for part in fields(self)}
        return {name: keys for name, keys in nested.items() if keys}

    def change(self, **letters) -> Converter:
        """A copy with some letters changed (`None` takes one away); a new kind of load or drive replaces the old one."""
        for rivals in (("r_load", "i_out"), ("duty", "peak_current")):
            if any(letters.get(name) is not None for name in rivals):
                letters = dict.fromkeys(rivals) | letters
        if letters.get("r_load") is not None:
            letters = {"v_knee": None} | letters
        changed: dict = {}
        for name, value in letters.items():
            section, key, _ = LETTERS[_known(name)]
            keys = changed.setdefault(section, _keys(getattr(self, section)))
            keys[key] = value
            if value is None:
                del keys[key]
        top = Section({name: keys for name, keys in changed.items() if keys}, "converter")
        parts = {name: _part(top, name) if name in changed else getattr(self, name) for name in _READERS}  # the others were checked once
        _check_together(top, parts)
        return Converter(**parts)

    def letters(self) -> dict:
        """The numbers of this converter by their letters (numbers only; what is absent is left out)."""
        foreign = {"diode": ("dead_time", "v_rectifier_body"), "switch": ("v_rectifier",)}[self.rectifier.kind]
        values = {}
        for name, (section, key, unit) in LETTERS.items():
            value = getattr(getattr(self, section), key, None)
            if value is not None and unit is not None and name not in foreign:
                values[name] = value
        return values

    @property
    def t_sw(self) -> float:
        """Switching period, s."""
        return 1.0 / self.switch.frequency if self.switch.frequency else math.nan


def _known(name: str) -> str:
    if name not in LETTERS:
        raise ValueError(f"{name} is not a letter of a converter; known are {', '.join(LETTERS)}")
    return name


def _nested(letters: dict) -> dict:
    nested: dict = {}
    for name, value in letters.items():
        section, key, _ = LETTERS[_known(name)]
        if value is not None:
            nested.setdefault(section, {})[key] = value
    return nested


def _source(s: Section) -> Source:
    return _done(s, Source(
        s.quantity("voltage", "V", low=0, open_low=True, high=1e5),
        s.quantity("resistance", "Ω", 0.0, low=0, high=1e6),
        s.quantity("inductance", "H", 0.0, low=0, high=1e3),
    ))


def _inductor(s: Section) -> Inductor:
    return _done(s, Inductor(
        s.quantity("inductance", "H", low=1e-12, high=1e3), s.quantity("resistance", "Ω", 0.0, low=0, high=1e6), read_curve(s)
    ))


def _switch(s: Section) -> Switch:
    if not s.has("duty") and not s.has("peak_current"):
        s.fail("duty", "missing", "must be given (or peak_current for a switch that the current opens)")
    if s.has("duty") and s.has("peak_current"):
        s.fail("peak_current", quoted(s.value("peak_current")), "cannot stand beside duty: give one of the two")
    clocked = s.has("duty") or s.has("frequency")
    return _done(s, Switch(
        s.quantity("frequency", "Hz", low=1e-3, high=1e9) if clocked else None,
        s.quantity("duty", "", low=0, high=1, open_high=True) if s.has("duty") else None,
        s.quantity("peak_current", "A", low=0, open_low=True, high=1e5) if s.has("peak_current") else None,
        s.quantity("on_resistance", "Ω", 0.0, low=0, high=1e6),
        s.quantity("body_diode_voltage", "V", SILICON, low=0, high=100),
    ))


def _rectifier(s: Section | None) -> Rectifier:
    if s is None:
        return Rectifier()
    kind = s.choice("kind", ("diode", "switch"), "diode")
    for key, owner in (("forward_voltage", "diode"), ("dead_time", "switch"), ("body_diode_voltage", "switch")):
        if s.has(key) and kind != owner:
            s.fail(key, quoted(s.value(key)), f'belongs to a rectifier of kind "{owner}"; this one is a "{kind}"')
    return _done(s, Rectifier(
        kind,
        s.quantity("forward_voltage", "V", 0.0, low=0, high=100),
        s.quantity("resistance", "Ω", 0.0, low=0, high=1e6),
        s.quantity("dead_time", "s", 0.0, low=0, high=1),
        s.quantity("body_diode_voltage", "V", SILICON, low=0, high=100),
    ))


def _capacitor(s: Section) -> Capacitor:
    return _done(s, Capacitor(
        s.quantity("capacitance", "F", low=1e-15, high=1e3), s.quantity("series_resistance", "Ω", 0.0, low=0, high=1e6)
    ))


def _load(s: Section) -> Load:
    if s.has("resistance") == s.has("current"):
        s.fail("resistance", "given twice" if s.has("current") else "missing", "must be given, or current: one of the two")
    if s.has("resistance"):
        if s.has("knee"):
            s.fail("knee", quoted(s.value("knee")), "belongs to a load with a constant current")
        return _done(s, Load(resistance=s.quantity("resistance", "Ω", low=1e-9, high=1e12)))
    return _done(s, Load(
        current=s.quantity("current", "A", low=0, high=1e5),
        knee=s.quantity("knee", "V", 1.0, low=0, open_low=True, high=1e4),
    ))


_READERS = {"source": _source, "inductor": _inductor, "switch": _switch, "rectifier": _rectifier, "capacitor": _capacitor,
            "load": _load, "input_capacitor": _capacitor}  # fmt: skip


def _part(top: Section, name: str):
    """One part out of its section; of the two that may be missing, the plain rectifier or no capacitor."""
    section = top.section(name, optional=name in ("rectifier", "input_capacitor"))
    return None if section is None and name == "input_capacitor" else _READERS[name](section)


def _keys(part) -> dict:
    """What a section says of a part, defaults left out."""
    values = {f.name: (getattr(part, f.name), f.default) for f in fields(part)} if part is not None else {}
    return {name: value for name, (value, default) in values.items() if value is not None and value != default}


def _done(section: Section, part):
    section.finish()
    return part


def _check_together(top: Section, parts: dict) -> None:
    """Rules between parts."""
    source, switch, rectifier = parts["source"], parts["switch"], parts["rectifier"]
    if source.inductance and parts["input_capacitor"] is None:
        top.fail("source.inductance", show(source.inductance, "H"),
                 "needs an [input_capacitor]: without one it only adds to the inductor, so add it to inductor.inductance")
    if rectifier.kind == "switch":
        if switch.duty is None:
            top.fail("switch.peak_current", show(switch.peak_current, "A"),
                     'needs a rectifier of kind "diode": a second switch is driven by the clock and its duty')
        room = (1 - switch.duty) / switch.frequency
        if 2 * rectifier.dead_time >= room:
            top.fail("rectifier.dead_time", show(rectifier.dead_time, "s"),
                     f"must fit twice into the open time of the switch, {show(room, 's')}")
