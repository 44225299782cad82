"""Readings of meters, each with the uncertainty that its maker states. From a small TOML file:

    [v_in]
    reading = "6.004 V"            # or several: [6.004, 6.003, 6.005]
    of_reading = "0.5 %"           # limit of error: this share of the reading ...
    digits = 2                     # ... and this many steps of the last place
    last_place = "1 mV"            # the smallest step of the display
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from ..files import Section, read_toml
from ..units import quoted, read, show
from .instrument import unit_of
from .uncertain import Uncertain, factor, from_readings, resolution, uncertain, within


@dataclass(frozen=True)
class Readings:
    """Uncertain numbers by name (`v_in`, `i_in`, `v_out`, `i_out`, ...), in SI units. Every meter errs independently."""

    values: dict[str, Uncertain]
    units: dict[str, str]
    where: str

    def __getitem__(self, name: str) -> Uncertain:
        if name not in self.values:
            raise ValueError(f"{self.where}: {name} was not read; there are {', '.join(self.values)}")
        return self.values[name]


def read_readings(path: str | Path) -> Readings:
    """The meter readings in a TOML file (see the top of this file). Raises ValueError naming file and key."""
    top = read_toml(path)
    top.text("title", "")
    names = [name for name, data in top.data.items() if isinstance(data, dict)]
    if not names:
        raise ValueError(f"{top.where}: holds no reading; write one as [v_in] with reading = \"6.004 V\"")
    for name in names:
        if not unit_of(name):
            top.fail(name, "a table", "must be called v_... for a voltage or i_... for a current")
    values = {name: _reading(top.section(name), name, unit_of(name)) for name in names}
    top.finish()
    return Readings(values, {name: unit_of(name) for name in names}, top.where)


def _reading(section: Section, name: str, unit: str) -> Uncertain:
    """The reading with the limits of its meter: share of the reading, digits, and the step of the display."""
    step = section.quantity("last_place", unit, 0.0, low=0, high=1e6)
    share = section.quantity("of_reading", "", 0.0, low=0, high=1, open_high=True)
    digits = section.quantity("digits", "", 0.0, low=0, high=1000)
    if digits and not step:
        section.fail("digits", show(digits), "needs last_place, the smallest step of the display")
    return (_mean(section, name, unit) * factor(share, f"gain of the meter for {name}")
            + within(digits * step, f"digits of the meter for {name}") + resolution(step, f"resolution of {name}"))  # fmt: skip


def _mean(section: Section, name: str, unit: str) -> Uncertain:
    given = section.value("reading")
    if not isinstance(given, list):
        return uncertain(section.quantity("reading", unit, low=-1e6, high=1e6), 0.0, name)
    if len(given) < 2 or len(given) > 1000:
        section.fail("reading", quoted(given), "must be one reading or a list of 2 to 1000")
    return from_readings([read(each, unit, f"{section.where}: {section.key}.reading") for each in given], f"scatter of {name}")
