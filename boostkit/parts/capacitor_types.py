"""Types of capacitor: what is left of the marked capacitance in service, the series resistance, the heat, the life.

Three types ship, `ceramic`, `electrolytic` and `film`, with invented numbers; a reader's own stand in a TOML file of the same
form. Series inductance is left out: far above the frequency at which it resonates, a capacitor is a coil.

Safety: a capacitor stays charged after the source is gone, and a ceramic or film one gives its charge in an instant.
Discharge it through a resistor made for it and measure before you touch. An electrolytic capacitor with its poles reversed,
or above its voltage, boils, opens its vent and can burst: check the polarity twice, wear eye protection when power is first
applied, and keep your face away from the vent.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from math import inf, pi

import numpy as np

from ..files import Section, read_toml
from ..units import guard, quoted

REFERENCE_AGE = 1000.0  # h at which the marked capacitance holds: usual for ceramics (IEC 60384-9, from memory)
REFERENCE_RATING = 25.0  # V at which a file states the series time
HALVING = 10.0  # K by which a cooler electrolytic lives twice as long: common practice, no source


@dataclass(frozen=True)
class Curve:
    """Straight lines between points; `where` rises. Call it with a number or an array inside its range."""

    name: str
    where: tuple[float, ...]
    factor: tuple[float, ...]
    unit: str = ""

    def __call__(self, at):
        low, high = np.min(at), np.max(at)
        if not (low >= self.where[0] and high <= self.where[-1]):
            wrong = low if not low >= self.where[0] else high
            guard(self.name, float(wrong), self.where[0], self.where[-1], unit=self.unit, why="no data beyond")
        return np.interp(at, self.where, self.factor)

    def lowest(self, low: float, high: float) -> float:
        """The place between two places at which the curve lies lowest: one of the two, or a corner between."""
        return min((low, high, *(w for w in self.where if low < w < high)), key=self)


@dataclass(frozen=True)
class Type:
    """One type of capacitor. The keys are explained in `boostkit/data/capacitor_types.toml`; SI units, °C, hours."""

    kind: str
    bias: Curve
    temperature: Curve
    series_temperature: Curve
    ageing: float
    tolerance: float
    largest_share: float
    loss_tangent: float
    series_time: float
    series_voltage_power: float
    lead_resistance: float
    smallest: float
    largest_energy: float
    volume_fixed: float
    volume_per_energy: float
    cooling: float
    rise: float
    hours: float

    @property
    def limits(self) -> tuple[float, float]:
        """Coldest and hottest temperature that it bears, °C."""
        return self.temperature.where[0], self.temperature.where[-1]

    def capacitance_left(self, share, temperature=25.0, hours=REFERENCE_AGE):
        """What is left of the marked capacitance, as a factor; numbers or arrays.

        Args: `share`, direct voltage over rated voltage, 0 to 1; `temperature`, °C; `hours` since it was made, at least 1
        (younger than 1000 h it has a little more than marked). Errors: ValueError outside the curves.
        """
        guard("hours", float(np.min(hours)), 1, unit="h", why="the law of ageing starts there")
        aged = 1 - self.ageing * np.log10(np.asarray(hours, float) / REFERENCE_AGE)
        return self.bias(share) * self.temperature(temperature) * np.maximum(aged, 0.0)

    def esr(self, frequency, temperature, capacitance, v_rated):
        """Series resistance of one piece, Ω: dielectric (falls with frequency), electrolyte (falls with temperature), leads.

        Args: frequency Hz, temperature °C, capacitance as marked F, rated voltage V; numbers or arrays.
        """
        dielectric = self.loss_tangent / (2 * pi * frequency * capacitance)
        time = self.series_time * (REFERENCE_RATING / v_rated) ** self.series_voltage_power
        return dielectric + time / capacitance * self.series_temperature(temperature) + self.lead_resistance

    def volume(self, capacitance, v_rated):
        """Room that one piece takes, m³."""
        return self.volume_fixed + self.volume_per_energy * capacitance * v_rated**2

    def heat_resistance(self, capacitance, v_rated):
        """From one piece to its surroundings, K/W: the surface of a cube of its volume, cooled evenly."""
        return 1 / (self.cooling * 6 * self.volume(capacitance, v_rated) ** (2 / 3))

    def ripple_rise(self, i_rms, frequency, temperature, capacitance, v_rated):
        """By how many kelvins a ripple current (A rms, all taken at one frequency) heats one piece."""
        heat = i_rms**2 * self.esr(frequency, temperature, capacitance, v_rated)
        return heat * self.heat_resistance(capacitance, v_rated)

    def ripple_limit(self, capacitance, v_rated):
        """The ripple current that heats one piece by the rise allowed, at 100 kHz and 20 °C, A rms."""
        return np.sqrt(self.rise / self.ripple_rise(1.0, 1e5, 20.0, capacitance, v_rated))

    def life(self, temperature):
        """Hours at a temperature inside, °C: twice as many for each 10 K below its limit. inf where it does not wear out."""
        return self.hours * 2 ** ((self.limits[1] - temperature) / HALVING) if self.hours else inf


@cache
def shipped() -> dict[str, Type]:
    """The three types of the kit, by name; their numbers are invented."""
    with as_file(files("boostkit") / "data" / "capacitor_types.toml") as path:
        return from_file(path)


def of(kind: str) -> Type:
    """One of the three types. Errors: ValueError for another name."""
    if kind not in shipped():
        raise ValueError(f"kind = {quoted(kind)} must be one of {', '.join(shipped())}: no other type ships")
    return shipped()[kind]


def from_file(path) -> dict[str, Type]:
    """The types in a TOML file, one table each. Errors: ValueError with file, key, value and rule."""
    top = read_toml(path)
    found = {kind: _type(kind, top.section(kind)) for kind in top.data}
    top.finish()
    return found


def _type(kind: str, section: Section) -> Type:
    curves = {"bias": "direct voltage over rated voltage", "temperature": "temperature", "series_temperature": "temperature"}
    shares = ("ageing", "loss_tangent", "series_voltage_power", "series_time", "lead_resistance", "hours", "volume_fixed")
    sizes = {"smallest": "F", "largest_energy": "J", "volume_per_energy": "m³/J", "cooling": "", "rise": "K"}
    values = {name: _curve(section, name, words) for name, words in curves.items()}
    values |= {name: section.quantity(name, "", low=0) for name in shares}
    values |= {name: section.quantity(name, unit, low=0, open_low=True) for name, unit in sizes.items()}
    values["tolerance"] = section.quantity("tolerance", "", low=0, high=1, open_high=True)
    values["largest_share"] = section.quantity("largest_share", "", low=0, high=1, open_low=True)
    return Type(kind, **values)


def _curve(section: Section, name: str, words: str) -> Curve:
    points = section.value(name)
    try:
        where, factor = (tuple(float(x) for x in side) for side in zip(*points, strict=True))
        good = len(where) > 1 and np.all(np.diff(where) > 0) and min(factor) > 0 and np.all(np.isfinite([*where, *factor]))
    except (TypeError, ValueError):
        good = False
    if not good:
        section.fail(name, quoted(points), "must be a list of pairs [where, factor], rising, with factors above zero")
    if name == "bias" and (where[0], where[-1]) != (0.0, 1.0):
        section.fail(name, quoted(points), "must run from 0 to 1: direct voltage over rated voltage")
    return Curve(words, where, factor, "" if name == "bias" else "°C")
